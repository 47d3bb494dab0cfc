"""How early can a build be done beside what stands, if it may take whatever is left?

A search puts builds in again and again, so that a place that is a little late does no harm. What is
asked for once is told at once: here a build is put in so that it waits for no more than it must.
"""

from __future__ import annotations

from fulfil_models import stations
from fulfil_models.compiled import NEVER, CNeed, CWay
from fulfil_models.insertion import State
from fulfil_models.ledger import Placement


class EarlyState(State):
    """A partial plan into which builds are put as early as can be, one after another."""

    def can_fill(self, need: CNeed) -> bool:
        """Whether a need could be filled at any time by one of its ways, alone."""
        return self._need_ready(need) < NEVER

    def _filling_order(self, operations: int) -> range:
        """The first operation first: of a part that several call for it takes what is there, and
        only the later ones wait. The other way round it waits, and all that follow with it."""
        return range(operations)

    def _fill_by_job(self, need: CNeed, way: CWay, at: int, placement: Placement) -> int | None:
        """As for any build; but what waits for the job, and what follows that, is not in its way.

        It stands there only until it is put where the job lets it start.
        """
        until = super()._fill_by_job(need, way, at, placement)
        if until is None or until >= NEVER or way.job is None or not way.job.operations:
            return until
        kept = list(self.layers)
        for centre, start, duration, count in placement.loads:
            if start >= at:
                self.layers[centre] = stations.remove(self.layers[centre], start, duration, count)
        starts = self._soonest(way.job)
        self.layers[:] = kept
        if starts is None:
            return until
        end = starts[-1] + way.job.operations[-1].duration
        return min(until, end) if end > at else until

"""How much later does everybody ship who draws on a supply, if that comes later?

Each build is timed again alone: what others hold stays held, it keeps the supplies that the plan
gives it, and each of its operations keeps its slot unless something it waits for comes later; then
it takes the first free slot from there on. So nothing comes sooner than in the plan, and what comes
later is re-computed, never estimated. A transfer goes with the next departure, a parts order ships
when its units are there.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from math import gcd

from fulfil_models import stations
from fulfil_models.book import centres_of
from fulfil_models.book_entries import (
    build_late_days,
    is_promised,
    order_late_days,
    weight_of,
)
from fulfil_models.cells import MICRO
from fulfil_models.plan import Plan, PlannedJob, PlannedOperation, Supply
from fulfil_models.plan_index import PlanIndex
from fulfil_models.problem import Problem, carrier_day
from fulfil_models.routes import next_departure

Later = Mapping[str, datetime]
"""by supply: the moment from which it is usable then, of those that come later"""


@dataclass(frozen=True, slots=True)
class Hit:
    """A build, or a line of a parts order, that ships later.

    Attributes
    ----------
    ships, late_days: as in the plan; `late_days` are calendar days.
    ships_then, late_days_then: with the supply later.
    weight: of a late day.
    more_late_days: late days more, unweighted, as the plan counts them: of a build working time in
        standard days of its point, of a line calendar days.
    """

    who: str
    ships: date
    late_days: int
    ships_then: date
    late_days_then: int
    weight: Fraction
    more_late_days: Fraction

    @property
    def weighted_late_days(self) -> Fraction:
        """Weighted late days more than in the plan."""
        return self.weight * self.more_late_days


def weighted(hits: tuple[Hit, ...]) -> Fraction:
    """Weighted late days more of all of them."""
    return sum((hit.weighted_late_days for hit in hits), Fraction(0))


def cost_of(late_days: Fraction, problem: Problem) -> Fraction:
    """What so many weighted late days cost, in the currency (contract rule 8)."""
    return late_days * Fraction(problem.settings.late_day_cost_micro, MICRO)


class Slipping:
    """A plan whose supplies may come later, one at a time."""

    def __init__(self, problem: Problem, plan: Plan, index: PlanIndex | None = None) -> None:
        self.problem = problem
        self.index = index or PlanIndex(plan)
        self._lanes = {(lane.origin, lane.destination): lane for lane in problem.lanes}
        self._builds = {row.build: row for row in problem.dataset.builds}
        self._lines = {(row.order, row.line): row for row in problem.dataset.parts_orders}
        self._drawn_from: defaultdict[str, list[Supply]] = defaultdict(list)
        for supply in plan.supplies:
            if supply.from_supply is not None:
                self._drawn_from[supply.from_supply].append(supply)
        self._loads = _Loads(problem, self.index)

    def later(self, supply: str, arrives: date) -> Later:
        """What is usable later, and when, if a supply arrives on a day: itself, and what is moved
        from it. Empty where it is there no later than in the plan."""
        found: dict[str, datetime] = {}
        stack = [(self.index.supplies[supply], arrives)]
        while stack:
            row, day = stack.pop()
            axis = self.problem.axes[row.point]
            usable = axis.start_moment(axis.opening(day))
            if usable <= row.usable:
                continue
            found[row.supply] = usable
            for moved in self._drawn_from[row.supply]:
                lane = self._lanes.get((row.point, moved.point))
                if lane is None:
                    continue  # it is not in the data any more
                leaves = next_departure(self.problem, lane, usable.date())
                stack.append((moved, leaves + timedelta(lane.days)))
        return found

    def hits(self, later: Later, *, free: bool = False) -> tuple[Hit, ...]:
        """Everybody who ships later, the most weighted late days first.

        `free`: as if every station were free for whoever has lost his slot.
        """
        late = [use for name in later for use in self.index.uses_of.get(name, ())]
        waiting = {use for use in late if use.supply in later and later[use.supply] > use.at}
        builds = sorted({use.build for use in waiting if use.build is not None})
        lines = sorted({(use.order or "", use.line or "") for use in waiting if not use.build})
        # what is not in the data any more waits for nothing
        found = [self._build(name, later, free=free) for name in builds if name in self._builds]
        found += [self._line(*key, later) for key in lines if key in self._lines]
        hits = (hit for hit in found if hit is not None)
        return tuple(sorted(hits, key=lambda hit: (-hit.weighted_late_days, hit.who)))

    def _build(self, name: str, later: Later, *, free: bool) -> Hit | None:
        row, build = self.index.builds[name], self._builds[name]
        axis = self.problem.axes[row.point]
        cutoff = self.problem.points[row.point].cutoff
        finish = _Run(self, name, later, free=free).finish()
        moment = axis.end_moment(finish)
        if moment <= row.finish:
            return None
        ships = max(axis.ship_day(moment, cutoff), self.problem.as_of)
        minutes = max(0, finish - axis.due(build.promised, cutoff)) - row.late_minutes
        return Hit(
            who=name,
            ships=row.ships,
            late_days=row.late_days,
            ships_then=ships,
            late_days_then=build_late_days(build, ships),
            weight=weight_of(build),
            more_late_days=max(0, minutes) / axis.standard_day,
        )

    def _line(self, order: str, line: str, later: Later) -> Hit | None:
        row = self._lines[order, line]
        promised = is_promised(row)
        sent = [s for s in self.index.plan.shipments if (s.order, s.line) == (order, line)]
        days: list[date] = []
        late: list[int] = []
        for shipment in sent:
            moment = later.get(shipment.supply)
            day = shipment.ships if moment is None else max(shipment.ships, moment.date())
            transit = self.problem.delivery(shipment.point, row.destination)
            arrives = shipment.arrives if transit is None else carrier_day(day, transit.days)
            days.append(day)
            late.append(order_late_days(row, day, arrives, self.problem.as_of))
        ships, now = max(s.ships for s in sent), max(s.late_days for s in sent)
        then, late_then = max(days), max(*late, now)
        if then == ships and late_then == now:
            return None
        return Hit(
            who=f"{order}/{line}",
            ships=ships,
            late_days=now if promised else 0,
            ships_then=then,
            late_days_then=late_then if promised else 0,
            weight=weight_of(row),
            more_late_days=Fraction(late_then - now),
        )


class _Loads:
    """The load of every work centre in the plan, made when it is asked for.

    Positions are cells: so many working minutes that all begins and ends with one.
    """

    def __init__(self, problem: Problem, index: PlanIndex) -> None:
        self.problem = problem
        self.centres = {centre.name: centre for centre in centres_of(problem)}
        self._stations = {
            (row.part, row.operation): row.stations for row in problem.dataset.routings
        }
        self._parts = {job.job: job.part for job in index.plan.jobs}
        spans: dict[tuple[str, int], tuple[int, int]] = {}
        self._rows: defaultdict[str, list[PlannedOperation]] = defaultdict(list)
        for row in index.plan.operations:
            if row.work_centre not in self.centres:
                continue  # it is not in the data any more
            self._rows[row.work_centre].append(row)
            axis = problem.axes[self.centres[row.work_centre].point]
            start = axis.position(row.start)
            spans[row.job, row.operation] = start, axis.position(row.end) - start
        axes = {id(axis): axis for axis in problem.axes.values()}.values()
        self.cell = gcd(
            *(minutes for span in spans.values() for minutes in span),
            *(at for centre in self.centres.values() for gone in centre.gone for at in gone[:2]),
            *(minutes for axis in axes for minutes in axis.before),
        )
        self.spans = {key: (at // self.cell, n // self.cell) for key, (at, n) in spans.items()}
        """by operation: where it begins and how long it takes, in cells"""
        self._layers: dict[str, stations.Layers] = {}

    def count(self, row: PlannedOperation) -> int:
        """Stations that an operation holds at once."""
        asked = self._stations.get((self._parts[row.job], row.operation), 1)
        return min(asked, self.centres[row.work_centre].stations)

    def layers(self, name: str) -> stations.Layers:
        """The load of a work centre, by what is out of it and by all operations."""
        if name not in self._layers:
            centre = self.centres[name]
            layers = stations.empty(centre.stations)
            for start, end, count in centre.gone:
                cells = (end - start) // self.cell
                layers = stations.add(layers, start // self.cell, cells, count)
            for row in self._rows[name]:
                start, cells = self.spans[row.job, row.operation]
                if cells:
                    layers = stations.add(layers, start, cells, self.count(row))
            self._layers[name] = layers
        return self._layers[name]


class _Run:
    """One build timed again, with some of its supplies later."""

    def __init__(self, of: Slipping, build: str, later: Later, *, free: bool) -> None:
        self.index = of.index
        self.loads = of._loads
        self.build = build
        self.later = later
        self.free = free
        self.axis = of.problem.axes[of.index.builds[build].point]
        self.ends: dict[str, int] = {}
        """by job: where its last placed operation ends"""
        self.layers: dict[str, stations.Layers] = {}

    def finish(self) -> int:
        """The position at which the build is finished, in working minutes."""
        jobs = self.index.jobs_of[self.build]
        depth = {job.job: self._depth(job) for job in jobs}
        spans = self.loads.spans
        rows = [
            row
            for job in jobs
            for row in self.index.operations_of.get(job.job, ())
            if (row.job, row.operation) in spans
        ]
        # in the order of the plan; of what begins together, what is made for another comes first
        rows.sort(
            key=lambda row: (spans[row.job, row.operation][0], -depth[row.job], row.operation)
        )
        for row in rows:
            start, cells = spans[row.job, row.operation]
            if cells and not self.free:
                layers = self._layers(row.work_centre)
                count = self.loads.count(row)
                self.layers[row.work_centre] = stations.remove(layers, start, cells, count)
        for row in rows:
            self._place(row, *spans[row.job, row.operation])
        return self._end(self.build) * self.loads.cell

    def _depth(self, job: PlannedJob) -> int:
        depth = 0
        while job.for_job is not None:
            job, depth = self.index.jobs[job.for_job], depth + 1
        return depth

    def _layers(self, name: str) -> stations.Layers:
        if name not in self.layers:
            self.layers[name] = self.loads.layers(name)
        return self.layers[name]

    def _place(self, row: PlannedOperation, start: int, cells: int) -> None:
        at = max(start, self.ends.get(row.job, 0), self._ready(row.job, row.operation))
        if cells and not self.free:
            layers, count = self._layers(row.work_centre), self.loads.count(row)
            at = stations.first_fit(layers, at, cells, count)
            self.layers[row.work_centre] = stations.add(layers, at, cells, count)
        self.ends[row.job] = at + cells

    def _ready(self, job: str, operation: int | None) -> int:
        """From when what an operation takes is there, of what comes later or is made for it; of a
        phantom, all of its components."""
        ready = 0
        for peg in self.index.pegs_of.get(job, ()):
            if operation is not None and peg.operation != operation:
                continue
            moment = self.later.get(peg.supply)
            made = self.index.supplies[peg.supply].job
            if moment is not None:
                ready = max(ready, self.axis.position(moment) // self.loads.cell)
            elif made is not None:
                ready = max(ready, self._end(made))
        return ready

    def _end(self, job: str) -> int:
        """Where a job ends; a phantom when the last of its components is there."""
        if job in self.ends:
            return self.ends[job]
        if self.index.operations_of.get(job):
            return 0  # its slots come later in the plan than what it is made for
        return self._ready(job, None)

"""What do jobs call for through all levels of the bills, each with its own rounding to steps?"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property
from heapq import heappop, heappush

from fulfil_models.cells import MILLI
from fulfil_models.explosion import JobNeed, job_needs, low_level_codes, rules_for
from fulfil_models.problem import Problem
from fulfil_models.tables import Build


@dataclass(frozen=True, slots=True)
class Job:
    """A job for so much of a made part, by the bills of an `edition`."""

    part: str
    quantity_milli: int
    edition: int


@dataclass(frozen=True)
class WholeBills:
    """Totals of jobs through all levels; what makes the same from the same bill is made once."""

    problem: Problem
    _jobs: dict[tuple[str, int, int], list[JobNeed]] = field(default_factory=dict)

    @cached_property
    def codes(self) -> dict[str, int]:
        return low_level_codes(self.problem)

    @cached_property
    def _changes(self) -> list[date]:
        """First days on which some bill line is good that was not, or no longer is."""
        bills = self.problem.dataset.bills
        days = {row.starts for row in bills if row.starts is not None}
        days |= {
            row.ends + timedelta(1) for row in bills if row.ends is not None and row.ends < date.max
        }
        return sorted(days)

    def edition(self, ordered: date) -> int:
        """A number that days share on which all bills are the same."""
        return bisect_right(self._changes, ordered)

    def build(self, build: Build) -> dict[str, int]:
        """Totals of a build as it is configured."""
        if self.problem.options.get(build.build) or rules_for(self.problem, build):
            first = job_needs(self.problem, build.product, MILLI, build=build)
        else:
            first = self.job(build.product, MILLI, build.ordered)
        return self.totals(first, build.ordered)

    def totals(self, first: Iterable[JobNeed], ordered: date) -> dict[str, int]:
        """Thousandths of every part that needs call for, of their own and of all levels below."""
        return self.spread(first, ordered, frozenset())[0]

    def spread(
        self, first: Iterable[JobNeed], ordered: date, uncut: Collection[str]
    ) -> tuple[dict[str, int], dict[Job, int]]:
        """What needs call for, of their own and of all levels below, save below some made parts.

        What is made is worked off in order of low-level code, so that all jobs for a part are known
        when its turn comes; jobs of the same quantity are worked off together.

        Parameters
        ----------
        uncut: made parts that are not taken apart.

        Returns
        -------
        Thousandths of every part, and how many jobs there are for those that are not taken apart.
        """
        parts = self.problem.parts
        edition = self.edition(ordered)
        waiting: defaultdict[str, Counter[int]] = defaultdict(Counter)
        queue: list[tuple[int, str]] = []
        found: defaultdict[str, int] = defaultdict(int)
        jobs: Counter[Job] = Counter()

        def add(needs: Iterable[JobNeed], times: int) -> None:
            for need in needs:
                part, quantity_milli = need.component, need.quantity_milli
                found[part] += quantity_milli * times
                if part in uncut:
                    jobs[Job(part, quantity_milli, edition)] += times
                elif parts[part].make:
                    if part not in waiting:
                        heappush(queue, (self.codes[part], part))
                    waiting[part][quantity_milli] += times

        add(first, 1)
        while queue:
            _, part = heappop(queue)
            for quantity_milli, times in waiting[part].items():
                add(self.job(part, quantity_milli, ordered), times)
        return found, jobs

    def job(self, part: str, quantity_milli: int, ordered: date) -> list[JobNeed]:
        """Needs of a job by the bill that is good on a day."""
        key = part, quantity_milli, self.edition(ordered)
        if key not in self._jobs:
            self._jobs[key] = job_needs(self.problem, part, quantity_milli, ordered=ordered)
        return self._jobs[key]

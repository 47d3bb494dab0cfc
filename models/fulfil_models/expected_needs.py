"""Which parts will orders take that nobody has placed yet, month by month?

An expected build is taken apart like a build of its product that is ordered on the first of the
month, each job with its own rounding to steps; its take rates count as options of one unit. Since
less than a whole machine may be expected, so may be less than a step of a part.

Of a made part that is on the shelf or on order the first months that need it are served; what it is
made of is needed for the others alone.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from typing import Any

import numpy as np
import numpy.typing as npt

from fulfil_models.cells import MILLI, PPM
from fulfil_models.expected_orders import Expected, ProductForecast
from fulfil_models.explosion import JobNeed, job_needs
from fulfil_models.months import first_day
from fulfil_models.tables import Build, BuildOption
from fulfil_models.whole_bills import Job, WholeBills

Key = str | Job
"""a part, or a job for a made part that is not taken apart yet"""
Amounts = Mapping[Key, int]
_Row = npt.NDArray[Any]
"""by month; plain integers, since products of three may need more than 64 bits, or fractions"""


@dataclass(frozen=True, slots=True)
class ForecastNeed:
    """Units of a part that orders not placed yet are expected to take in a month.

    The expected value, rounded up to whole thousandths. Of a made part with what is there of it; of
    what it is made of only for what is to be made. `how` the forecast behind it was made: `given`,
    `past orders` or `intermittent`.
    """

    month: str
    milli: int
    how: str


def expected_needs(
    bills: WholeBills,
    expected: Expected,
    months: tuple[str, ...],
    spare: Mapping[str, Sequence[int]],
) -> dict[str, tuple[ForecastNeed, ...]]:
    """By part, in order of month.

    Parameters
    ----------
    spare: by made part: thousandths that come to be there in each month and that nothing firm
        takes.
    """
    machines = _Machines(bills, months, spare)
    rows: dict[tuple[str, str], _Row] = {}
    jobs: defaultdict[str, dict[tuple[Job, str], _Row]] = defaultdict(dict)

    def add(key: Key, how: str, row: _Row) -> None:
        if isinstance(key, Job):
            of_part = jobs[key.part]
            of_part[key, how] = of_part.get((key, how), 0) + row
        else:
            rows[key, how] = rows.get((key, how), 0) + row

    for (key, how), row in _all_taken(machines, expected, months):
        add(key, how, row)
    # all jobs for a part are known when its turn comes
    for part in sorted(spare, key=lambda name: (bills.codes[name], name)):
        if part in jobs:
            needed: _Row = np.zeros(len(months), dtype=object)
            for (job, _), row in jobs[part].items():
                needed += job.quantity_milli * row
            rest: _Row = np.empty(len(months), dtype=object)
            rest[:] = list(_unserved(needed.tolist(), spare[part]))
            for (job, how), row in jobs[part].items():
                for key, amount in machines.below(job).items():
                    add(key, how, amount * (row * rest))
    needs: defaultdict[str, list[ForecastNeed]] = defaultdict(list)
    for (part, how), row in rows.items():
        needs[part] += [
            ForecastNeed(month, milli, how)
            for month, milli in zip(months, (-(-row // (MILLI * PPM))).tolist(), strict=True)
            if milli
        ]
    return {
        part: tuple(sorted(needs[part], key=lambda n: (n.month, n.how)))
        for part in sorted(needs)
        if needs[part]
    }


def _all_taken(
    machines: _Machines, expected: Expected, months: tuple[str, ...]
) -> Iterator[tuple[tuple[Key, str], _Row]]:
    """Of each part or job by how: in millionths of thousandths of thousandths, or of jobs."""
    taken = [
        (rows[0].how, machines.each(product, ordered), left)
        for product, rows in expected.items()
        for ordered, left in machines.alike(rows)
    ]
    keys = list(dict.fromkeys((key, how) for how, each, _ in taken for key in each))
    number = {key: place for place, key in enumerate(keys)}
    totals = np.zeros((len(keys), len(months)), dtype=object)
    for how, each, left in taken:
        places = [number[key, how] for key in each]
        totals[places] += np.outer(
            np.array(list(each.values()), dtype=object), np.array(left, dtype=object)
        )
    yield from zip(keys, totals, strict=True)


def _unserved(needed: Iterable[int], spare: Sequence[int]) -> Iterator[Fraction | int]:
    """The share of what is needed in each month that what is there does not serve."""
    there = 0
    for need, come_milli in zip(needed, spare, strict=True):
        there += come_milli * MILLI * PPM
        served = min(there, need)
        there -= served
        yield Fraction(need - served, need) if served else 1


class _Machines:
    """What an average machine, or a spare part, takes of every part through all levels."""

    def __init__(self, bills: WholeBills, months: tuple[str, ...], uncut: Collection[str]) -> None:
        data = bills.problem.dataset
        days = {month: first_day(month) for month in months}
        self._months = {month: (day, bills.edition(day)) for month, day in days.items()}
        self._uncut = uncut
        self._rates: defaultdict[str, dict[str, int]] = defaultdict(dict)
        for row in data.take_rates:
            if row.rate_ppm:
                self._rates[row.product][row.component] = row.rate_ppm
        self._built = {row.product for row in data.builds} | set(self._rates)
        self._built |= {row.product for row in data.delivered}
        # a build named after each product takes one of everything that some of its builds take
        options = tuple(
            BuildOption(build=product, component=component, quantity_milli=MILLI)
            for product, rates in self._rates.items()
            for component in rates
        )
        # and of its bill only what there is of them: all else it takes with options or without
        lines = tuple(row for row in data.bills if row.component in self._rates.get(row.parent, ()))
        dataset = replace(data, bills=lines, build_options=options, region_rules=())
        self._optional = replace(bills.problem, dataset=dataset)
        self._bills = bills
        self._each: dict[tuple[str, int], Amounts] = {}

    def alike(self, rows: Iterable[ProductForecast]) -> Iterator[tuple[date, list[int]]]:
        """What is left of a forecast in each month, those apart in which bills differ.

        With the day by which the bills of each are judged.
        """
        left: dict[int, tuple[date, dict[str, int]]] = {}
        for row in rows:
            if row.left_milli:
                day, edition = self._months[row.month]
                left.setdefault(edition, (day, {}))[1][row.month] = row.left_milli
        for day, by_month in left.values():
            yield day, [by_month.get(month, 0) for month in self._months]

    def each(self, product: str, ordered: date) -> Amounts:
        """For one unit ordered on a day: millionths of thousandths of every part, and of jobs."""
        key = product, self._bills.edition(ordered)
        if key not in self._each:
            self._each[key] = self._take_apart(product, ordered)
        return self._each[key]

    def below(self, job: Job) -> Amounts:
        """What a job calls for: thousandths of every part, and jobs."""
        day = next(day for day, edition in self._months.values() if edition == job.edition)
        return self._spread(self._bills.job(job.part, job.quantity_milli, day), day)

    def _take_apart(self, product: str, ordered: date) -> Amounts:
        made = self._bills.problem.parts[product].make
        each: Counter[Key] = Counter()
        if made or product not in self._built:
            each[product] = MILLI * PPM
        if product in self._uncut and product not in self._built:
            each[Job(product, MILLI, self._bills.edition(ordered))] = PPM
        elif made or product in self._built:
            usual = self._bills.job(product, MILLI, ordered)
            for key, amount in self._spread(usual, ordered).items():
                each[key] += amount * PPM
            if product in self._rates:
                self._add_options(each, product, ordered, usual)
        return {key: total for key, total in each.items() if total}

    def _add_options(
        self, each: Counter[Key], product: str, ordered: date, usual: list[JobNeed]
    ) -> None:
        """What a machine with one more of a component takes more, by the share that has it."""
        # no point: nothing that a job takes depends on where it is done
        full = Build(build=product, product=product, point="", ordered=ordered)
        before = {(row.operation, row.component): row for row in usual}
        for need in job_needs(self._optional, product, MILLI, build=full):
            without = before.get((need.operation, need.component))
            if need != without:
                rate_ppm = self._rates[product][need.component]
                for key, amount in self._more(need, without, ordered).items():
                    each[key] += amount * rate_ppm

    def _more(self, need: JobNeed, without: JobNeed | None, ordered: date) -> Amounts:
        """What one need calls for beyond another of the same component, through all levels."""
        if not self._bills.problem.parts[need.component].make:
            before_milli = 0 if without is None else without.quantity_milli
            return {need.component: need.quantity_milli - before_milli}
        more = Counter(self._spread([need], ordered))
        if without is not None:
            more.subtract(self._spread([without], ordered))
        return more

    def _spread(self, needs: Iterable[JobNeed], ordered: date) -> Amounts:
        parts, jobs = self._bills.spread(needs, ordered, self._uncut)
        return {key: amount for rows in (parts, jobs) for key, amount in rows.items()}

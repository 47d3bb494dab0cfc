"""Which parts are needed for what is ordered, and which for what will be, month by month?

Firm needs are those of builds and parts orders: on the day on which the plan draws them, and of
what is in no plan, by the whole bill, on the day it is due. Beside them, and never mixed with them,
stand the needs of orders that are expected and not placed yet. All are gross: nothing on the shelf
is taken off, and of a made part both it and what it is made of are needed.

An expected build is taken apart like a build of its product that is ordered on the first of the
month, each job with its own rounding to steps; its take rates count as options of one unit. Since
less than a whole machine may be expected, so may be less than a step of a part.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cached_property
from heapq import heappop, heappush

import numpy as np

from fulfil_models.available_flows import BUILD, PARTS_ORDER, missing
from fulfil_models.cells import MILLI, PPM, day_of
from fulfil_models.expected_orders import (
    GIVEN,
    HISTORY_MONTHS,
    Expected,
    ProductForecast,
    expected_orders,
    first_day,
    late_in_month,
    months_ahead,
)
from fulfil_models.explosion import JobNeed, job_needs, low_level_codes, rules_for
from fulfil_models.findings import listed
from fulfil_models.left_over import standing_uses
from fulfil_models.plan import Plan
from fulfil_models.plan_index import PlanIndex, Use
from fulfil_models.problem import Problem, carrier_day
from fulfil_models.stranded import line_key
from fulfil_models.tables import Build, BuildOption


@dataclass(frozen=True, slots=True)
class FirmNeed:
    """Units of a part that a build or parts order takes on a day.

    Attributes
    ----------
    day: on which the plan draws them; of what is in no plan the day it is due, which may lie
        before the planning date.
    kind: `build` or `parts_order`.
    who: the build, or the order and line.
    point: where they are taken; None for a parts order in no plan, which any point may ship.
    """

    day: date
    milli: int
    kind: str
    who: str
    point: str | None


@dataclass(frozen=True, slots=True)
class ForecastNeed:
    """Units of a part that orders not placed yet are expected to take in a month.

    The expected value, rounded up to whole thousandths. `how` the forecast behind it was made:
    `given`, `past orders` or `intermittent`.
    """

    month: str
    milli: int
    how: str


@dataclass(frozen=True, slots=True)
class DemandAhead:
    """What will be needed of every part.

    Attributes
    ----------
    months: those looked at for forecasts, that of the planning date first.
    firm: by part, in order of day and of who needs it. Of any day, also after the last month.
    forecast: by part, in order of month; of products that are made, too.
    products: what is expected to be ordered of each product and part, and how much of it is.
    notes: what was taken for granted.
    """

    months: tuple[str, ...]
    firm: Mapping[str, tuple[FirmNeed, ...]]
    forecast: Mapping[str, tuple[ForecastNeed, ...]]
    products: Mapping[str, tuple[ProductForecast, ...]]
    notes: tuple[str, ...]


def demand_ahead(
    problem: Problem, plan: Plan | None, months: int, *, index: PlanIndex | None = None
) -> DemandAhead:
    """Firm needs of all parts, and the forecast ones of so many months.

    Parameters
    ----------
    problem: its planning date begins the first month. Builds and lines that were left out of
        planning are firm all the same.
    plan: says when needs are drawn; without one all stand at the day they are due.
    index: of the plan, if it was made already.

    Raises ValueError for less than one month.
    """
    ahead = months_ahead(problem.as_of, months)
    if problem.left_out_builds or problem.left_out_lines:
        problem = replace(problem, left_out_builds=frozenset(), left_out_lines=frozenset())
    expected = expected_orders(problem, ahead)
    explosion = _Explosion(problem)
    return DemandAhead(
        months=ahead,
        firm=_firm_needs(explosion, plan, index),
        forecast=_forecast_needs(explosion, expected, ahead),
        products=expected,
        notes=tuple(_notes(problem, expected, ahead)),
    )


# ---- what one machine takes


@dataclass(frozen=True)
class _Explosion:
    """Totals of jobs through all levels; what makes the same from the same bill is made once."""

    problem: Problem
    _jobs: dict[tuple[str, int, int], list[JobNeed]] = field(default_factory=dict)

    @cached_property
    def _codes(self) -> dict[str, int]:
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
        """Thousandths of every part that needs call for, of their own and of all levels below.

        What is made is worked off in order of low-level code, so that all jobs for a part are known
        when its turn comes; jobs of the same quantity are worked off together.
        """
        parts = self.problem.parts
        waiting: defaultdict[str, Counter[int]] = defaultdict(Counter)
        queue: list[tuple[int, str]] = []
        found: defaultdict[str, int] = defaultdict(int)

        def add(needs: Iterable[JobNeed], times: int) -> None:
            for need in needs:
                part, quantity_milli = need.component, need.quantity_milli
                found[part] += quantity_milli * times
                if parts[part].make:
                    if part not in waiting:
                        heappush(queue, (self._codes[part], part))
                    waiting[part][quantity_milli] += times

        add(first, 1)
        while queue:
            _, part = heappop(queue)
            for quantity_milli, jobs in waiting[part].items():
                add(self.job(part, quantity_milli, ordered), jobs)
        return found

    def job(self, part: str, quantity_milli: int, ordered: date) -> list[JobNeed]:
        """Needs of a job by the bill that is good on a day."""
        key = part, quantity_milli, self.edition(ordered)
        if key not in self._jobs:
            self._jobs[key] = job_needs(self.problem, part, quantity_milli, ordered=ordered)
        return self._jobs[key]


# ---- firm needs


def _firm_needs(
    explosion: _Explosion, plan: Plan | None, index: PlanIndex | None
) -> dict[str, tuple[FirmNeed, ...]]:
    """By part; what one takes of it at a point on a day is one need."""
    problem = explosion.problem
    found: defaultdict[str, Counter[tuple[date, str, str, str]]] = defaultdict(Counter)
    if plan is not None:
        _add_drawn(found, problem, index or PlanIndex(plan))
    builds, lines = missing(problem, plan)
    for build in builds:
        due = problem.as_of if build.promised is None else day_of(build.promised)
        kind, who = taker_of_build(build.build)
        for part, milli in explosion.build(build).items():
            found[part][due, kind, who, build.point] += milli
    for order in lines:
        due = order.promised or problem.as_of
        if order.promised is None and order.within_days is not None:
            due = carrier_day(order.ordered, order.within_days)
        kind, who = taker_of_line(order.order, order.line)
        found[order.part][due, kind, who, ""] += order.quantity_milli
    return {
        part: tuple(
            FirmNeed(day, milli, kind, who, point or None)
            for (day, kind, who, point), milli in sorted(found[part].items())
        )
        for part in sorted(found)
    }


def _add_drawn(
    found: defaultdict[str, Counter[tuple[date, str, str, str]]],
    problem: Problem,
    index: PlanIndex,
) -> None:
    """What a plan draws for builds and lines that are still in the data."""
    for use in standing_uses(problem, index):
        kind, who = taker(use)
        point = index.supplies[use.supply].point
        found[use.part][use.at.date(), kind, who, point] += use.quantity_milli


def taker(use: Use) -> tuple[str, str]:
    """Kind and name of who draws, as a `FirmNeed` has them."""
    if use.build is not None:
        return taker_of_build(use.build)
    return taker_of_line(use.order or "", use.line or "")


def taker_of_build(build: str) -> tuple[str, str]:
    return BUILD, build


def taker_of_line(order: str, line: str) -> tuple[str, str]:
    return PARTS_ORDER, line_key(order, line)


# ---- forecast needs


def _forecast_needs(
    explosion: _Explosion, expected: Expected, months: tuple[str, ...]
) -> dict[str, tuple[ForecastNeed, ...]]:
    """By part; in millionths of thousandths of thousandths until all is added up."""
    machines = _Machines(explosion, months)
    taken = [
        (rows[0].how, machines.each(product, ordered), left)
        for product, rows in expected.items()
        for ordered, left in machines.alike(rows)
    ]
    keys = sorted({(part, how) for how, each, _ in taken for part in each})
    number = {key: place for place, key in enumerate(keys)}
    # plain integers in the arrays: such products of three may need more than 64 bits
    totals = np.zeros((len(keys), len(months)), dtype=object)
    for how, each, left in taken:
        places = [number[part, how] for part in each]
        totals[places] += np.outer(
            np.array(list(each.values()), dtype=object), np.array(left, dtype=object)
        )
    needs: defaultdict[str, list[ForecastNeed]] = defaultdict(list)
    for (part, how), row in zip(keys, (-(-totals // (MILLI * PPM))).tolist(), strict=True):
        needs[part] += [
            ForecastNeed(month, milli, how)
            for month, milli in zip(months, row, strict=True)
            if milli
        ]
    return {
        part: tuple(sorted(rows, key=lambda n: (n.month, n.how)))
        for part, rows in needs.items()
        if rows
    }


class _Machines:
    """What an average machine, or a spare part, takes of every part through all levels."""

    def __init__(self, explosion: _Explosion, months: tuple[str, ...]) -> None:
        data = explosion.problem.dataset
        days = {month: first_day(month) for month in months}
        self._months = {month: (day, explosion.edition(day)) for month, day in days.items()}
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
        bills = tuple(row for row in data.bills if row.component in self._rates.get(row.parent, ()))
        dataset = replace(data, bills=bills, build_options=options, region_rules=())
        self._optional = replace(explosion.problem, dataset=dataset)
        self._explosion = explosion
        self._each: dict[tuple[str, int], dict[str, int]] = {}

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

    def each(self, product: str, ordered: date) -> dict[str, int]:
        """For one unit ordered on a day: millionths of thousandths of every part."""
        key = product, self._explosion.edition(ordered)
        if key not in self._each:
            self._each[key] = self._take_apart(product, ordered)
        return self._each[key]

    def _take_apart(self, product: str, ordered: date) -> dict[str, int]:
        explosion = self._explosion
        made = explosion.problem.parts[product].make
        each: Counter[str] = Counter()
        if made or product not in self._built:
            each[product] = MILLI * PPM
        if made or product in self._built:
            usual = explosion.job(product, MILLI, ordered)
            for part, milli in explosion.totals(usual, ordered).items():
                each[part] += milli * PPM
            if product in self._rates:
                self._add_options(each, product, ordered, usual)
        return {part: total for part, total in each.items() if total}

    def _add_options(
        self, each: Counter[str], product: str, ordered: date, usual: list[JobNeed]
    ) -> None:
        """What a machine with one more of a component takes more, by the share that has it."""
        # no point: nothing that a job takes depends on where it is done
        full = Build(build=product, product=product, point="", ordered=ordered)
        before = {(row.operation, row.component): row for row in usual}
        for need in job_needs(self._optional, product, MILLI, build=full):
            without = before.get((need.operation, need.component))
            if need != without:
                rate_ppm = self._rates[product][need.component]
                for part, milli in self._more(need, without, ordered).items():
                    each[part] += milli * rate_ppm

    def _more(self, need: JobNeed, without: JobNeed | None, ordered: date) -> Mapping[str, int]:
        """What one need calls for beyond another of the same component, through all levels."""
        if not self._explosion.problem.parts[need.component].make:
            before_milli = 0 if without is None else without.quantity_milli
            return {need.component: need.quantity_milli - before_milli}
        more = self._explosion.totals([need], ordered)
        if without is not None:
            for part, milli in self._explosion.totals([without], ordered).items():
                more[part] = more.get(part, 0) - milli
        return more


# ---- what was taken for granted


def _notes(problem: Problem, expected: Expected, months: tuple[str, ...]) -> Iterator[str]:
    if expected:
        yield (
            "firm orders use up the forecast of the month they fall in; only what is left of it "
            "is counted, beside the firm needs"
        )
    given = [
        part
        for part, rows in expected.items()
        if any(row.how == GIVEN and row.month == months[0] and row.left_milli for row in rows)
    ]
    if given and late_in_month(problem.as_of):
        yield (
            f"{months[0]} is nearly over, and all that orders leave of its forecast is expected by "
            f"its end: of {listed(given, 3)}; if fewer will come, lower it in `demand`"
        )
    past = [part for part, rows in expected.items() if rows[0].how != GIVEN]
    if past:
        yield (
            f"no forecast is given for {listed(past, 3)}: what is expected of them is the average "
            f"of what was ordered in the {HISTORY_MONTHS} months before {months[0]}"
        )
    last = max((row.month for row in problem.dataset.demand), default=months[-1])
    if months[0] <= last < months[-1]:
        yield (
            f"the forecast that is given ends in {last}: of what it names nothing is expected "
            "after that"
        )

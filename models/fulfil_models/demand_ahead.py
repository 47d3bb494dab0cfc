"""Which parts are needed for what is ordered, and which for what will be, month by month?

Firm needs are those of builds and parts orders: on the day on which the plan draws them, and of
what is in no plan, by the whole bill, on the day it is due. Beside them, and never mixed with them,
stand the needs of orders that are expected and not placed yet. Both are gross: nothing on the shelf
is taken off, and of a made part both it and what it is made of are needed; save that what is made
is not expected to be made where it is there already.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

from fulfil_models.available_flows import BUILD, PARTS_ORDER, missing
from fulfil_models.cells import day_of
from fulfil_models.expected_needs import ForecastNeed, expected_needs
from fulfil_models.expected_orders import (
    GIVEN,
    HISTORY_MONTHS,
    Expected,
    ProductForecast,
    expected_orders,
    late_in_month,
)
from fulfil_models.findings import listed
from fulfil_models.left_over import left_over, standing_uses
from fulfil_models.months import month_of, months_ahead
from fulfil_models.plan import Plan
from fulfil_models.plan_index import PlanIndex, Use
from fulfil_models.problem import Problem, carrier_day
from fulfil_models.stranded import line_key
from fulfil_models.whole_bills import WholeBills

__all__ = ["DemandAhead", "FirmNeed", "ForecastNeed", "demand_ahead"]


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
    if plan is not None and index is None:
        index = PlanIndex(plan)
    bills = WholeBills(problem)
    firm = _firm_needs(bills, plan, index)
    spare = _spare(problem, plan, index, firm, ahead)
    forecast = expected_needs(bills, expected, ahead, spare)
    serving = sorted(spare.keys() & forecast.keys())
    return DemandAhead(
        months=ahead,
        firm=firm,
        forecast=forecast,
        products=expected,
        notes=tuple(_notes(problem, expected, ahead, serving)),
    )


# ---- firm needs


def _firm_needs(
    bills: WholeBills, plan: Plan | None, index: PlanIndex | None
) -> dict[str, tuple[FirmNeed, ...]]:
    """By part; what one takes of it at a point on a day is one need."""
    problem = bills.problem
    found: defaultdict[str, Counter[tuple[date, str, str, str]]] = defaultdict(Counter)
    if index is not None:
        _add_drawn(found, problem, index)
    builds, lines = missing(problem, plan)
    for build in builds:
        due = problem.as_of if build.promised is None else day_of(build.promised)
        kind, who = taker_of_build(build.build)
        for part, milli in bills.build(build).items():
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


def in_no_plan(problem: Problem, plan: Plan | None) -> set[tuple[str, str]]:
    """Kind and name of what is firm and in no plan, as a `FirmNeed` has them."""
    builds, lines = missing(problem, plan)
    found = {taker_of_build(row.build) for row in builds}
    return found | {taker_of_line(row.order, row.line) for row in lines}


def taker(use: Use) -> tuple[str, str]:
    """Kind and name of who draws, as a `FirmNeed` has them."""
    if use.build is not None:
        return taker_of_build(use.build)
    return taker_of_line(use.order or "", use.line or "")


def taker_of_build(build: str) -> tuple[str, str]:
    return BUILD, build


def taker_of_line(order: str, line: str) -> tuple[str, str]:
    return PARTS_ORDER, line_key(order, line)


# ---- made parts that are there


def _spare(
    problem: Problem,
    plan: Plan | None,
    index: PlanIndex | None,
    firm: Mapping[str, tuple[FirmNeed, ...]],
    months: tuple[str, ...],
) -> dict[str, list[int]]:
    """By made part: thousandths that come to be there in each month and that nothing firm takes.

    All points together: what is made is where it is needed.
    """
    left = left_over(problem, index)
    unplanned = in_no_plan(problem, plan)
    lacking: Counter[str] = Counter()
    for use in left.unfilled:
        lacking[use.part] += use.quantity_milli
    place = {month: number for number, month in enumerate(months)}
    found: dict[str, list[int]] = {}
    for part, lots in left.lots.items():
        if not problem.parts[part].make:
            continue
        needs = (need.milli for need in firm.get(part, ()) if (need.kind, need.who) in unplanned)
        firm_milli = lacking[part] + sum(needs)
        come = [0] * len(months)
        for lot in lots:
            taken = min(firm_milli, lot.milli)
            firm_milli -= taken
            at = place.get(month_of(lot.day))
            if at is not None:
                come[at] += lot.milli - taken
        if any(come):
            found[part] = come
    return found


# ---- what was taken for granted


def _notes(
    problem: Problem, expected: Expected, months: tuple[str, ...], serving: list[str]
) -> Iterator[str]:
    """`serving`: made parts that are there for what is expected."""
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
    if serving:
        yield (
            f"what is there of {listed(serving, 3)}, at whatever point, serves what is expected: "
            "what these are made of is needed for the rest alone"
        )

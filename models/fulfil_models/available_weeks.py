"""Of one part: what comes and what is committed in each week, and what is left to promise?

Supply that is promised from is firm: what is on the shelf and not held, what is on order, and what
the builds' own jobs make. Orders that a plan counts on, but that nobody has placed yet, stand
beside it and are supply only if asked for. The needs that such orders serve are committed in any
case, so that nobody sells units which a firm build would have to go without if an order were late.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from fulfil_models.available import AvailablePeriod, available_to_promise
from fulfil_models.available_flows import (
    Doubtful,
    Flows,
    Shelf,
    Unplanned,
    bought,
    committed,
    doubtful_lines,
    planned,
    shelves_of,
    unplanned_needs,
)
from fulfil_models.plan import Plan
from fulfil_models.plan_index import PlanIndex
from fulfil_models.problem import Problem

DAYS = 7


@dataclass(frozen=True, slots=True)
class Week:
    """One ISO week. What may be promised is meant by its end; see `AvailablePeriod`."""

    week: str
    starts: date
    """its Monday"""
    flows: Flows
    discrete_milli: int | None
    cumulative_milli: int
    look_ahead_milli: int


@dataclass(frozen=True, slots=True)
class Step:
    """From a week on so much may be promised in all, or, of a shortfall, so much is missing."""

    week: str
    starts: date
    quantity_milli: int


@dataclass(frozen=True, slots=True)
class PartAvailability:
    """What may be promised of a part.

    Attributes
    ----------
    made: a made part; what could be made of it beyond the plan is not counted.
    point: looked at alone; None for all points together.
    new_orders_counted: orders that are not placed yet count as supply.
    new_orders_milli: what they bring in all.
    weeks: those asked for, the week of the planning date first. Later commitments are looked at,
        too: `later` is what comes and goes after them, None where nothing does.
    left_milli: supply less commitments when all has come and gone.
    steps: weeks from whose end on more may be promised than before; none if nothing may be.
    shortfall: the first week at whose end supply falls short of commitments, with the most that is
        missing in any week from then on.
    """

    part: str
    description: str | None
    unit: str
    caution: str | None
    made: bool
    point: str | None
    new_orders_counted: bool
    on_hand_milli: int
    held_milli: int
    new_orders_milli: int
    shelves: tuple[Shelf, ...]
    weeks: tuple[Week, ...]
    later: Flows | None
    left_milli: int
    steps: tuple[Step, ...]
    shortfall: Step | None
    doubtful: tuple[Doubtful, ...]
    unplanned: tuple[Unplanned, ...]


def availability(
    problem: Problem,
    plan: Plan | None,
    part: str,
    point: str | None = None,
    *,
    weeks: int = 12,
    count_new_orders: bool = False,
    index: PlanIndex | None = None,
) -> PartAvailability:
    """What may be promised of a part, by week.

    Parameters
    ----------
    problem: its planning date is the day on which the first week begins to count.
    plan: says when needs are drawn; without one all stand at the day they are due.
    point: look at this point alone, with what is moved to and from it.
    weeks: how many to show, 1 or more.
    index: of the plan, if it was made already, for questions about many parts.

    Raises KeyError for a part that is not in the data.
    """
    if plan is not None and index is None:
        index = PlanIndex(plan)
    row = problem.parts[part]
    shelves = tuple(shelves_of(problem, part, point))
    unplanned = tuple(unplanned_needs(problem, plan, part, point))
    flows = _by_week(
        problem.as_of,
        weeks,
        [
            *bought(problem, part, point),
            *(() if index is None else planned(problem, index, part, point)),
            *((one.due, committed(one)) for one in unplanned),
        ],
    )
    new = [week.new_orders_milli if count_new_orders else 0 for week in flows]
    table = available_to_promise(
        sum(shelf.free_milli for shelf in shelves),
        [week.firm_milli + max(more, 0) for week, more in zip(flows, new, strict=True)],
        [week.committed_milli + max(-more, 0) for week, more in zip(flows, new, strict=True)],
    )
    first = _monday(problem.as_of)
    every = [
        _week(first + timedelta(DAYS * number), of_week, period)
        for number, (of_week, period) in enumerate(zip(flows, table.periods, strict=True))
    ]
    later = sum(flows[weeks:], Flows())
    return PartAvailability(
        part=part,
        description=row.description,
        unit=row.unit,
        caution=row.caution,
        made=row.make,
        point=point,
        new_orders_counted=count_new_orders,
        on_hand_milli=table.on_hand_milli,
        held_milli=sum(shelf.held_milli for shelf in shelves),
        new_orders_milli=sum(week.new_orders_milli for week in flows),
        shelves=shelves,
        weeks=tuple(every[:weeks]),
        later=None if later == Flows() else later,
        left_milli=every[-1].cumulative_milli,
        steps=tuple(_steps(every)),
        shortfall=_shortfall(every),
        doubtful=tuple(doubtful_lines(problem, part, point)),
        unplanned=unplanned,
    )


def week_name(day: date) -> str:
    """The ISO 8601 week of a day, such as 2026-W38."""
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"


def _monday(day: date) -> date:
    return day - timedelta(day.weekday())


def _week(monday: date, flows: Flows, period: AvailablePeriod) -> Week:
    return Week(
        week=week_name(monday),
        starts=monday,
        flows=flows,
        discrete_milli=period.discrete_milli,
        cumulative_milli=period.cumulative_milli,
        look_ahead_milli=period.look_ahead_milli,
    )


def _by_week(as_of: date, least: int, rows: Iterable[tuple[date, Flows]]) -> list[Flows]:
    """Sums by week: at least so many weeks, and as many as it takes to have everything in one.

    What was to happen before the planning date stands in the first week.
    """
    first = _monday(as_of)
    flows = [Flows()] * least
    for day, moved in rows:
        number = max((_monday(day) - first).days // DAYS, 0)
        flows += [Flows()] * (number + 1 - len(flows))
        flows[number] += moved
    return flows


def _steps(weeks: Iterable[Week]) -> Iterator[Step]:
    before = 0
    for week in weeks:
        if week.look_ahead_milli > before:
            before = week.look_ahead_milli
            yield Step(week.week, week.starts, before)


def _shortfall(weeks: Iterable[Week]) -> Step | None:
    short = [week for week in weeks if week.cumulative_milli < 0]
    if not short:
        return None
    worst = min(week.cumulative_milli for week in short)
    return Step(short[0].week, short[0].starts, -worst)

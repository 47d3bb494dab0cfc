"""What is needed of each bought part beyond what is there and on order, by when, where, for whom?

Firm needs that the plan fills from stock or from open purchases are covered. What it fills by new
orders, what is in no plan, what is expected and the safety stock are wanted, less what is left at
the dates that are stated. A need that is there before any new order could be waits for open
purchases rather than for a new order.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from fulfil_models.available_flows import missing
from fulfil_models.demand_ahead import DemandAhead, FirmNeed
from fulfil_models.expected_orders import first_day
from fulfil_models.plan import Plan, Supply, SupplyKind
from fulfil_models.plan_index import PlanIndex, Use
from fulfil_models.problem import Problem
from fulfil_models.shared_cap import month_of
from fulfil_models.source_terms import can_order, first_arrival, whole_orders
from fulfil_models.stranded import line_key
from fulfil_models.tables import Source
from fulfil_models.taken import purchase_key, stock_key, with_orders


class Why(StrEnum):
    """What units are wanted for; those before others are served first."""

    FIRM = "firm"
    FORECAST = "forecast"
    SAFETY = "safety"


@dataclass(frozen=True, slots=True)
class Want:
    """Units of a part that are needed at a point and that nothing covers yet.

    Attributes
    ----------
    day: by which they are to be there; may lie before the planning date.
    who: the build, or the parts order and line; of a forecast the month, of safety stock empty.
    hurried: new order of the plan that is expedited for it; None where none is.
    """

    part: str
    point: str
    day: date
    milli: int
    why: Why
    who: str
    hurried: str | None = None


@dataclass(frozen=True, slots=True)
class Wanted:
    """All that is wanted.

    Attributes
    ----------
    wants: by part and point, in order of day.
    sourceless: firm wants of parts that nobody can deliver.
    """

    wants: Mapping[tuple[str, str], tuple[Want, ...]]
    sourceless: tuple[Want, ...]


def wanted(
    problem: Problem,
    plan: Plan,
    demand: DemandAhead,
    safety_milli: Mapping[str, int],
    *,
    parts: Iterable[str] | None = None,
) -> Wanted:
    """What nothing covers yet.

    Parameters
    ----------
    demand: firm and expected needs, gross.
    safety_milli: safety stock of parts, wanted from the first month in which any is expected on.
    parts: only these; None for all.
    """
    index = PlanIndex(plan)
    sources = usable_sources(problem)
    only = None if parts is None else set(parts)
    homes = home_points(demand, sources)
    left = _left(problem, index)
    planned = _from_new_orders(problem, index)
    soonest = _soonest(problem, sources)
    found: defaultdict[tuple[str, str], list[Want]] = defaultdict(list)
    sourceless: list[Want] = []
    unplanned = _unplanned(problem, plan)
    for part in sorted({*planned, *demand.firm, *demand.forecast}):
        if only is not None and part not in only:
            continue
        open_ones = [
            need for need in demand.firm.get(part, ()) if (need.kind, need.who) in unplanned
        ]
        rows = _wants_of(problem, part, demand, homes, open_ones, safety_milli.get(part, 0))
        net = _net(soonest, planned[part], rows, left[part])
        for want in net:
            if (want.part, want.point) in sources:
                found[want.part, want.point].append(want)
            elif want.why is Why.FIRM:
                sourceless.append(want)
    return Wanted(
        {key: tuple(sorted(rows, key=_order)) for key, rows in sorted(found.items())},
        tuple(sorted(sourceless, key=_order)),
    )


def usable_sources(problem: Problem) -> dict[tuple[str, str], list[Source]]:
    """By part and point: who can deliver, the first in rank first."""
    found: defaultdict[tuple[str, str], list[Source]] = defaultdict(list)
    for row in sorted(problem.dataset.sources, key=lambda r: (r.part, r.point, r.rank, r.supplier)):
        if can_order(row):
            found[row.part, row.point].append(row)
    return dict(found)


def _order(want: Want) -> tuple[date, bool, str, str, int]:
    return want.day, want.why is not Why.FIRM, want.why, want.who, want.milli


def home_points(
    demand: DemandAhead, sources: Mapping[tuple[str, str], Sequence[Source]]
) -> dict[str, str]:
    """Point for which each part is bought where nobody says which.

    That of those it can be delivered to which takes the most; else the first in rank.
    """
    at: defaultdict[str, dict[str, int]] = defaultdict(dict)
    for (part, point), rows in sources.items():
        at[part][point] = rows[0].rank
    homes = {}
    for part, points in at.items():
        taken: Counter[str] = Counter()
        for need in demand.firm.get(part, ()):
            if need.point in points:
                taken[need.point] += need.milli
        homes[part] = min(points, key=lambda name: (-taken[name], points[name], name))
    return homes


# ---- what is left


@dataclass(slots=True)
class _Left:
    """Units that come to a point on a day and that nobody has."""

    point: str
    day: date
    milli: int


def _left(problem: Problem, index: PlanIndex) -> defaultdict[str, list[_Left]]:
    """By part: stock and open purchases that the plan and holds leave, in order of day."""
    drawn = _drawn(index)
    taken = problem.taken.lots_milli
    found: defaultdict[str, list[_Left]] = defaultdict(list)
    for stock in problem.dataset.stock:
        left = stock.quantity_milli - stock.held_milli
        left -= drawn["", stock.point, stock.part] + taken.get(
            stock_key(stock.point, stock.part), 0
        )
        if left > 0:
            found[stock.part].append(_Left(stock.point, problem.as_of, left))
    for row in problem.dataset.purchases:
        left = row.quantity_milli - drawn[row.order, row.line, row.part]
        left -= taken.get(purchase_key(row.order, row.line), 0)
        if left > 0:
            day = problem.settings.counted_on(row.due)
            found[row.part].append(_Left(row.point, day, left))
    for rows in found.values():
        rows.sort(key=lambda row: (row.day, row.point))
    return found


def _drawn(index: PlanIndex) -> Counter[tuple[str, str, str]]:
    """What a plan draws, by (empty, point, part) of stock and (order, line, part) of purchases."""
    found: Counter[tuple[str, str, str]] = Counter()
    for use in index.uses:
        root = index.root(index.supplies[use.supply])
        if root.kind is SupplyKind.STOCK:
            found["", root.point, root.part] += use.quantity_milli
        elif root.kind is SupplyKind.PURCHASE:
            found[root.order or "", root.line or "", root.part] += use.quantity_milli
    return found


# ---- what is wanted


def _from_new_orders(problem: Problem, index: PlanIndex) -> defaultdict[str, list[Want]]:
    """By part: what the plan draws on orders that nobody has placed yet."""
    builds = {row.build for row in problem.builds}
    lines = {(row.order, row.line) for row in problem.parts_orders}
    found: defaultdict[str, list[Want]] = defaultdict(list)
    for use in index.uses:
        supply, day = _first_place(index, use)
        there = use.build in builds if use.build is not None else (use.order, use.line) in lines
        if supply.kind is SupplyKind.NEW_PURCHASE and there:
            hurried = supply.supply if supply.expedited else None
            found[supply.part].append(
                Want(
                    part=supply.part,
                    point=supply.point,
                    day=day,
                    milli=use.quantity_milli,
                    why=Why.FIRM,
                    who=use.who,
                    hurried=hurried,
                )
            )
    return found


def _first_place(index: PlanIndex, use: Use) -> tuple[Supply, date]:
    """Where units of a draw come from in the first place, and the day they are taken there."""
    supply, day = index.supplies[use.supply], use.at.date()
    while supply.kind is SupplyKind.TRANSFER and supply.from_supply is not None:
        day = supply.leaves_on or day
        supply = index.supplies[supply.from_supply]
    return supply, day


def _unplanned(problem: Problem, plan: Plan) -> set[tuple[str, str]]:
    """Kind and name of what is firm and in no plan, as `FirmNeed` has them."""
    builds, lines = missing(problem, plan)
    found = {("build", row.build) for row in builds}
    return found | {("parts_order", line_key(row.order, row.line)) for row in lines}


def _wants_of(
    problem: Problem,
    part: str,
    demand: DemandAhead,
    homes: Mapping[str, str],
    open_ones: Iterable[FirmNeed],
    safety_milli: int,
) -> list[Want]:
    """What of a part is wanted by those in no plan, by forecasts and as safety stock."""
    home = homes.get(part)
    if problem.parts[part].make:
        return []  # what it is made of is wanted, not the part
    wants = [
        Want(part, home or need.point or "", need.day, need.milli, Why.FIRM, need.who)
        for need in open_ones
    ]
    if home is None:
        return wants
    wants += _expected(problem, part, demand, home)
    months = [need.month for need in demand.forecast.get(part, ())]
    if safety_milli and months:
        day = max(problem.as_of, first_day(months[0]))
        wants.append(Want(part, home, day, safety_milli, Why.SAFETY, ""))
    return wants


def _expected(problem: Problem, part: str, demand: DemandAhead, home: str) -> list[Want]:
    """What is expected to be taken, in steps of the part.

    A step is wanted from the month on in which half of it is expected: less than that, month after
    month, is what the safety stock is for.
    """
    step = problem.parts[part].step_milli
    by_month: Counter[str] = Counter()
    for need in demand.forecast.get(part, ()):
        by_month[need.month] += need.milli
    wants, expected, before = [], 0, 0
    for month in sorted(by_month):
        expected += by_month[month]
        rounded = (2 * expected + step) // (2 * step) * step
        if rounded > before:
            day = max(problem.as_of, first_day(month))
            wants.append(Want(part, home, day, rounded - before, Why.FORECAST, month))
            before = rounded
    return wants


# ---- netting


def _net(
    soonest: Mapping[tuple[str, str], date],
    planned: Iterable[Want],
    others: Iterable[Want],
    left: list[_Left],
) -> list[Want]:
    """What remains of wants of one part.

    New orders of the plan are made good by what is left at their own point, since the plan knows
    what can be moved; the others by what is left anywhere: firm ones first, then what is expected
    and the safety stock in turn.
    """
    groups: dict[tuple[int, str], list[Want]] = {}
    for want in planned:
        groups.setdefault((0, want.point), []).append(want)
    for want in others:
        groups.setdefault((1 if want.why is Why.FIRM else 2, ""), []).append(want)
    net: list[Want] = []
    for (turn, point), wants in sorted(groups.items()):
        lots = [row for row in left if turn or row.point == point]
        rows = [(_waits_until(want, soonest) if turn else want.day, want.milli) for want in wants]
        for want, milli in zip(wants, unmatched(rows, lots), strict=True):
            if milli:
                net.append(replace(want, milli=milli))
    return net


def _waits_until(want: Want, soonest: Mapping[tuple[str, str], date]) -> date:
    """The day up to which what is on order serves a want as well as a new order could."""
    return max(want.day, soonest.get((want.part, want.point), want.day))


def _soonest(
    problem: Problem, sources: Mapping[tuple[str, str], Sequence[Source]]
) -> dict[tuple[str, str], date]:
    """By part and point: the first day on which a new order can come."""
    coming: Counter[tuple[str, str, str]] = Counter()
    for row in with_orders(problem.dataset, problem.taken).purchases:
        month = month_of(problem.settings.counted_on(row.due))
        coming[row.part, row.supplier, month] += row.quantity_milli

    def first(source: Source) -> date:
        day = first_arrival(problem.settings, source)
        cap = source.monthly_cap_milli
        while cap is not None:
            left = cap - coming[source.part, source.supplier, month_of(day)]
            if whole_orders(source, left):
                break
            day = (day.replace(day=1) + timedelta(32)).replace(day=1)
        return day

    return {key: min(map(first, rows)) for key, rows in sources.items()}


def unmatched(rows: Sequence[tuple[date, int]], lots: list[_Left]) -> list[int]:
    """What lots do not cover of each (day, thousandths).

    From the first to the last, each takes of the latest lots that are there by its day: what is
    there then is there for all that come after, too. Takes what it uses out of the lots.
    """
    open_millis = [milli for _, milli in rows]
    for place in sorted(range(len(rows)), key=lambda p: rows[p][0]):
        for lot in reversed(lots):
            if not open_millis[place]:
                break
            if lot.milli and lot.day <= rows[place][0]:
                took = min(lot.milli, open_millis[place])
                lot.milli -= took
                open_millis[place] -= took
    return open_millis

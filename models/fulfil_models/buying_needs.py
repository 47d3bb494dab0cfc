"""What is needed of each bought part beyond what is there and on order, by when, where, for whom?

Firm needs that the plan fills from stock or from open purchases are covered, as far as those are
still there. What it fills by new orders, what is in no plan, what is expected and the safety stock
are wanted, less what is left, at the dates that are stated, at points from which it can come to
where it is wanted. A need that is there before any new order could be waits for open
purchases rather than for a new order.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum

from fulfil_models.buying_reach import BuyingReach, Points
from fulfil_models.demand_ahead import (
    DemandAhead,
    FirmNeed,
    in_no_plan,
    taker,
    taker_of_build,
    taker_of_line,
)
from fulfil_models.explosion import job_needs, low_level_codes
from fulfil_models.left_over import LeftOver, Lot, left_over, standing_uses
from fulfil_models.months import first_day, month_of, next_month
from fulfil_models.plan import Plan, Supply, SupplyKind
from fulfil_models.plan_index import PlanIndex, Use
from fulfil_models.problem import Problem
from fulfil_models.source_terms import can_order, first_arrival, whole_orders
from fulfil_models.tables import Source
from fulfil_models.taken import with_orders


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
    reach = BuyingReach(problem, demand, homes)
    left = left_over(problem, index)
    lots = defaultdict(list, left.lots)
    planned = _from_new_orders(problem, index)
    open_needs = _unfilled(problem, index, left, reach, lots)
    _add_unplanned(problem, plan, demand, open_needs)
    soonest = _soonest(problem, sources)
    found: defaultdict[tuple[str, str], list[Want]] = defaultdict(list)
    sourceless: list[Want] = []
    for part in sorted({*planned, *open_needs, *demand.forecast}):
        if only is not None and part not in only:
            continue
        claims = planned[part]
        claims += _claims_of(
            problem, part, demand, reach, open_needs[part], safety_milli.get(part, 0)
        )
        for want in _net(soonest, claims, lots[part]):
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


# ---- what is wanted


@dataclass(frozen=True, slots=True)
class _Claim:
    """A want before anything is taken off it.

    Attributes
    ----------
    turn: those before others are served first of what is left.
    places: points from which what is left serves it; None for all.
    """

    turn: int
    want: Want
    places: Points | None


_PLANNED, _OPEN, _EXPECTED = range(3)
"""turns: what the plan orders, what else is firm, what is expected and the safety stock"""


def _from_new_orders(problem: Problem, index: PlanIndex) -> defaultdict[str, list[_Claim]]:
    """By part: what the plan draws on orders that nobody has placed yet.

    They are made good by what is left at their own point: the plan knows what can be moved.
    """
    found: defaultdict[str, list[_Claim]] = defaultdict(list)
    for use in standing_uses(problem, index):
        supply, day = _first_place(index, use)
        if supply.kind is SupplyKind.NEW_PURCHASE:
            want = Want(
                part=supply.part,
                point=supply.point,
                day=day,
                milli=use.quantity_milli,
                why=Why.FIRM,
                who=use.who,
                hurried=supply.supply if supply.expedited else None,
            )
            found[supply.part].append(_Claim(_PLANNED, want, frozenset({supply.point})))
    return found


def _first_place(index: PlanIndex, use: Use) -> tuple[Supply, date]:
    """Where units of a draw come from in the first place, and the day they are taken there."""
    supply, day = index.supplies[use.supply], use.at.date()
    while supply.kind is SupplyKind.TRANSFER and supply.from_supply is not None:
        day = supply.leaves_on or day
        supply = index.supplies[supply.from_supply]
    return supply, day


def _unfilled(
    problem: Problem,
    index: PlanIndex,
    left: LeftOver,
    reach: BuyingReach,
    lots: Mapping[str, list[Lot]],
) -> defaultdict[str, list[FirmNeed]]:
    """By part: what the plan draws on what is not there any more.

    Of a part that is made what it is made of is needed, less what is left of it elsewhere.
    """
    found: defaultdict[str, list[FirmNeed]] = defaultdict(list)
    for use in left.unfilled:
        kind, who = taker(use)
        point = index.supplies[use.supply].point
        found[use.part].append(FirmNeed(use.at.date(), use.quantity_milli, kind, who, point))
    if any(problem.parts[part].make for part in found):
        ordered = {taker_of_build(row.build): row.ordered for row in problem.builds}
        ordered |= {taker_of_line(row.order, row.line): row.ordered for row in problem.parts_orders}
        codes = low_level_codes(problem)
        for part in sorted(codes, key=lambda name: codes[name]):
            if part in found and problem.parts[part].make:
                needs = found.pop(part)
                open_millis = unmatched(
                    [(need.day, need.milli) for need in needs],
                    lots[part],
                    [_places(reach, need) for need in needs],
                )
                for need, milli in zip(needs, open_millis, strict=True):
                    day = ordered[need.kind, need.who]
                    for row in job_needs(problem, part, milli, ordered=day) if milli else ():
                        found[row.component].append(replace(need, milli=row.quantity_milli))
    return found


def _add_unplanned(
    problem: Problem,
    plan: Plan,
    demand: DemandAhead,
    needs: defaultdict[str, list[FirmNeed]],
) -> None:
    """What is needed of each part for what is firm and in no plan."""
    unplanned = in_no_plan(problem, plan)
    for part, rows in demand.firm.items():
        needs[part] += [need for need in rows if (need.kind, need.who) in unplanned]


def _places(reach: BuyingReach, need: FirmNeed) -> Points | None:
    return None if need.point is None else reach.sending_to([need.point])


def _claims_of(
    problem: Problem,
    part: str,
    demand: DemandAhead,
    reach: BuyingReach,
    open_needs: Iterable[FirmNeed],
    safety_milli: int,
) -> list[_Claim]:
    """What of a part is wanted by firm ones that have none, by forecasts and as safety stock."""
    home = reach.homes.get(part)
    if problem.parts[part].make:
        return []  # what it is made of is wanted, not the part
    claims = [
        _Claim(
            _OPEN,
            Want(part, home or need.point or "", need.day, need.milli, Why.FIRM, need.who),
            _places(reach, need),
        )
        for need in open_needs
    ]
    if home is None:
        return claims
    wants = _expected(problem, part, demand, home)
    months = [need.month for need in demand.forecast.get(part, ())]
    if safety_milli and months:
        day = max(problem.as_of, first_day(months[0]))
        wants.append(Want(part, home, day, safety_milli, Why.SAFETY, ""))
    if wants:
        places = reach.for_expected(part)
        claims += [_Claim(_EXPECTED, want, places) for want in wants]
    return claims


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
    soonest: Mapping[tuple[str, str], date], claims: Iterable[_Claim], lots: list[Lot]
) -> list[Want]:
    """What remains of the wants of one part, turn by turn."""
    turns: defaultdict[int, list[_Claim]] = defaultdict(list)
    for claim in claims:
        turns[claim.turn].append(claim)
    net: list[Want] = []
    for turn, rows in sorted(turns.items()):
        wants = [claim.want for claim in rows]
        days = [want.day if turn == _PLANNED else _waits_until(want, soonest) for want in wants]
        open_millis = unmatched(
            [(day, want.milli) for day, want in zip(days, wants, strict=True)],
            lots,
            [claim.places for claim in rows],
        )
        net += [
            replace(want, milli=milli)
            for want, milli in zip(wants, open_millis, strict=True)
            if milli
        ]
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
            day = next_month(day)
        return day

    return {key: min(map(first, rows)) for key, rows in sources.items()}


def unmatched(
    rows: Sequence[tuple[date, int]],
    lots: Sequence[Lot],
    places: Sequence[Points | None] | None = None,
) -> list[int]:
    """What lots do not cover of each (day, thousandths).

    From the first to the last, each takes of the latest lots that are there by its day: what is
    there then is there for all that come after, too. Takes what it uses out of the lots.

    Parameters
    ----------
    places: by row, the points whose lots serve it; None for all.
    """
    open_millis = [milli for _, milli in rows]
    for place in sorted(range(len(rows)), key=lambda p: rows[p][0]):
        points = None if places is None else places[place]
        for lot in reversed(lots):
            if not open_millis[place]:
                break
            if lot.milli and lot.day <= rows[place][0] and (points is None or lot.point in points):
                took = min(lot.milli, open_millis[place])
                lot.milli -= took
                open_millis[place] -= took
    return open_millis

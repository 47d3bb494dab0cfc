"""Which parts hold builds up, when do they run out, and when was the last day to order?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from fulfil_models.held_up import Hold, held_up
from fulfil_models.offers import Offer, offers
from fulfil_models.order_days import OpenDays, OrderDays
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.plan_index import Origin, PlanIndex, Use, origin_of
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset, PartsOrder, Source
from fulfil_models.timeline import USED, Gap, Movement, gaps, timeline


@dataclass(frozen=True, slots=True)
class OnHand:
    """What is on the shelf of a point: free to use, and held."""

    point: str
    free_milli: int
    held_milli: int


@dataclass(frozen=True, slots=True)
class OnOrder:
    """One open purchase line, and the day the plan counts on it."""

    order: str
    line: str
    supplier: str
    point: str
    quantity_milli: int
    due: date
    counted_on: date
    past_due: bool
    confirmed: bool


@dataclass(frozen=True, slots=True)
class ToOrder:
    """A new order of the part that the plan counts on."""

    supplier: str
    point: str
    quantity_milli: int
    place_on: date | None
    arrives_on: date | None
    expedited: bool


@dataclass(frozen=True, slots=True)
class MonthlyCap:
    """A supplier that rations the part, and the units it lets go in a calendar month."""

    supplier: str
    cap_milli: int


@dataclass(frozen=True, slots=True)
class Waiting:
    """A build or parts-order line that waits for the part.

    Attributes
    ----------
    who: the build, or the order and its line.
    called: the part called for, where this one stands in for another.
    starts_on: day on which the operation that takes it starts, or the parcel ships.
    days: calendar days by which it could be done sooner if the part were there, after what stands
        before it in the build's list of blockers, and without what follows there where that holds
        it as long; None where the plan gives no figure.
    ordered: day on which its customer ordered it; None where the data no longer tell.
    late_days: calendar days it is late.
    blamed_days: those of them that the part answers for.
    wanted_on: day on which the part would have had to be there for no lateness on its account;
        None where it causes none.
    order_by: last day on which an order would have been in time for that, monthly caps aside; None
        where it cannot be ordered.
    expedited_by: the same for an expedited order; None where nobody expedites it.
    origin: what it gets in the end; usable: when.
    """

    who: str
    called: str
    point: str
    starts_on: date
    ordered: date | None
    promised: date | datetime | None
    days: int | None
    late_days: int
    blamed_days: int
    wanted_on: date | None
    order_by: date | None
    expedited_by: date | None
    origin: Origin
    usable: datetime


@dataclass(frozen=True, slots=True)
class Replaced:
    """A build or parts-order line that is given another part in place of this one."""

    who: str
    used: str
    quantity_milli: int


@dataclass(frozen=True, slots=True)
class AtPoint:
    """A point at which the part is used, as if nothing were moved to it or ordered anew."""

    point: str
    needed_milli: int
    gaps: tuple[Gap, ...]


@dataclass(frozen=True, slots=True)
class Shortage:
    """A part that holds something up.

    Attributes
    ----------
    made: it is made here, not bought.
    needed_milli: all that the plan draws of it.
    runs_out_on: day after which nothing is left of stock and open orders though more is needed;
        the planning date where nothing is there now.
    gaps: all times at which that is so, over all points together; none for a made part.
    at_points: the same for each point that uses it, on its own.
    lead_days: shortest lead time of a source, transport to the point that waits included.
    order_by: last day on which an order would have avoided the first lateness on its account.
    order_for: whom that would have helped.
    order_for_since: when they ordered; the last day to order may lie before it.
    missed_by_days: how many days ago that was; None where it is still to come or not known.
    expedited_by: last day for the same if expedited.
    monthly_caps: suppliers that ration it and the units a month they let go.
    offers: what an order of today would bring, from each source of which any can be ordered.
    waiting: in the order in which they get it.
    replaced: who gets another part in its place.
    """

    part: str
    description: str | None
    unit: str
    made: bool
    needed_milli: int
    on_hand_total_milli: int
    held_milli: int
    on_order_total_milli: int
    to_order_total_milli: int
    runs_out_on: date | None
    gaps: tuple[Gap, ...]
    at_points: tuple[AtPoint, ...]
    lead_days: int | None
    order_by: date | None
    order_for: str | None
    order_for_since: date | None
    missed_by_days: int | None
    expedited_by: date | None
    monthly_caps: tuple[MonthlyCap, ...]
    offers: tuple[Offer, ...]
    on_hand: tuple[OnHand, ...]
    on_order: tuple[OnOrder, ...]
    to_order: tuple[ToOrder, ...]
    waiting: tuple[Waiting, ...]
    replaced: tuple[Replaced, ...]

    @property
    def late_days(self) -> int:
        """Days of lateness on its account, of all that wait for it together."""
        return sum(row.blamed_days for row in self.waiting)


def shortages(dataset: Dataset, settings: Settings, plan: Plan) -> tuple[Shortage, ...]:
    """Every part that holds a build or a parts order up, the one behind most lateness first."""
    index = PlanIndex(plan)
    days = OpenDays(dataset, settings.as_of)
    found = [
        shortage(dataset, settings, plan, part, rows, index, days)
        for part, rows in held_up(index).items()
    ]
    return tuple(sorted(found, key=lambda s: (-s.late_days, -len(s.waiting), s.part)))


def shortage(
    dataset: Dataset,
    settings: Settings,
    plan: Plan,
    part: str,
    held: Mapping[Use, Hold] | None = None,
    index: PlanIndex | None = None,
    days: OpenDays | None = None,
) -> Shortage:
    """The state of one part, whether it holds anything up or not.

    Parameters
    ----------
    held, index, days: what `shortages` has worked out already; found here when not given.
    """
    if index is None:
        index = PlanIndex(plan)
    if held is None:
        held = held_up(index).get(part, {})
    row = next((row for row in dataset.parts if row.part == part), None)
    stock = sorted((r for r in dataset.stock if r.part == part), key=lambda r: r.point)
    bought = sorted(
        (r for r in dataset.purchases if r.part == part),
        key=lambda r: (settings.counted_on(r.due), r.order, r.line),
    )
    new = sorted(
        (s for s in plan.supplies if s.part == part and s.kind is SupplyKind.NEW_PURCHASE),
        key=lambda s: (s.usable, s.supply),
    )
    ways = OrderDays(dataset, part, days or OpenDays(dataset, settings.as_of))
    lines = {f"{r.order}/{r.line}": r for r in dataset.parts_orders}
    waiting = tuple(_waiting(index, ways, lines, use, hold) for use, hold in held.items())
    first = min(
        (r for r in waiting if r.order_by is not None),
        key=lambda r: (r.order_by or date.max, r.who),
        default=None,
    )
    order_by = None if first is None else first.order_by
    sources = [r for r in dataset.sources if r.part == part]
    made = row is not None and row.make and not sources
    movements = timeline(dataset, settings, plan, part, index)
    missing = () if made else gaps(movements, settings.as_of)
    return Shortage(
        part=part,
        description=None if row is None else row.description,
        unit="ea" if row is None else row.unit,
        made=made,
        needed_milli=sum(use.quantity_milli for use in index.uses_of_part.get(part, [])),
        on_hand_total_milli=sum(r.quantity_milli - r.held_milli for r in stock),
        held_milli=sum(r.held_milli for r in stock),
        on_order_total_milli=sum(r.quantity_milli for r in bought),
        to_order_total_milli=sum(s.quantity_milli for s in new),
        runs_out_on=missing[0].starts if missing else None,
        gaps=missing,
        at_points=() if made else _at_points(movements, settings.as_of),
        lead_days=_lead_days(ways, {r.point for r in waiting}),
        order_by=order_by,
        order_for=None if first is None else first.who,
        order_for_since=None if first is None else first.ordered,
        missed_by_days=None
        if order_by is None or order_by >= settings.as_of
        else (settings.as_of - order_by).days,
        expedited_by=min(
            (r.expedited_by for r in waiting if r.expedited_by is not None), default=None
        ),
        monthly_caps=_caps(sources),
        offers=offers(dataset, settings, ways, part, new),
        on_hand=tuple(
            OnHand(r.point, r.quantity_milli - r.held_milli, r.held_milli) for r in stock
        ),
        on_order=tuple(
            OnOrder(
                r.order,
                r.line,
                r.supplier,
                r.point,
                r.quantity_milli,
                r.due,
                settings.counted_on(r.due),
                r.due < settings.as_of,
                r.confirmed,
            )
            for r in bought
        ),
        to_order=tuple(
            ToOrder(
                str(s.supplier),
                s.point,
                s.quantity_milli,
                s.place_on,
                s.arrives_on,
                bool(s.expedited),
            )
            for s in new
        ),
        waiting=tuple(sorted(waiting, key=lambda r: (r.starts_on, r.who))),
        replaced=_replaced(index, part),
    )


def _waiting(
    index: PlanIndex,
    ways: OrderDays,
    lines: Mapping[str, PartsOrder],
    use: Use,
    hold: Hold,
) -> Waiting:
    supply = index.supplies[use.supply]
    asked = lines.get(use.who) if use.build is None else index.builds[use.build]
    usable = use.usable or use.at
    starts_on = use.at.date()
    wanted_on: date | None = None
    if hold.blamed_days > 0:
        # what came before the operation could start had only to come so much sooner than it did
        came = min(starts_on, usable.date())
        wanted_on = ways.days.until(supply.point, came - timedelta(hold.blamed_days))
    return Waiting(
        who=use.who,
        called=use.called,
        point=supply.point,
        starts_on=starts_on,
        ordered=None if asked is None else asked.ordered,
        promised=None if asked is None else asked.promised,
        days=hold.days,
        late_days=hold.late_days,
        blamed_days=hold.blamed_days,
        wanted_on=wanted_on,
        order_by=None if wanted_on is None else ways.last(supply.point, wanted_on),
        expedited_by=None
        if wanted_on is None
        else ways.last(supply.point, wanted_on, hurried=True),
        origin=origin_of(index, supply),
        usable=usable,
    )


def _lead_days(ways: OrderDays, points: Iterable[str]) -> int | None:
    """Shortest over the points given, or over all that have a source if there are none."""
    found = [days for point in points or ways.sources if (days := ways.shortest(point)) is not None]
    return min(found, default=None)


def _caps(sources: Iterable[Source]) -> tuple[MonthlyCap, ...]:
    caps = {
        (row.supplier, row.monthly_cap_milli)
        for row in sources
        if row.monthly_cap_milli is not None
    }
    return tuple(MonthlyCap(supplier, cap) for supplier, cap in sorted(caps))


def _at_points(movements: tuple[Movement, ...], as_of: date) -> tuple[AtPoint, ...]:
    needed: defaultdict[str, int] = defaultdict(int)
    for row in movements:
        if row.kind in USED:
            needed[row.point] -= row.quantity_milli
    return tuple(
        AtPoint(point, quantity_milli, gaps(movements, as_of, point))
        for point, quantity_milli in sorted(needed.items())
    )


def _replaced(index: PlanIndex, part: str) -> tuple[Replaced, ...]:
    together: dict[tuple[str, str], int] = {}
    for use in index.uses:
        if use.called == part and use.part != part:
            key = (use.who, use.part)
            together[key] = together.get(key, 0) + use.quantity_milli
    return tuple(Replaced(who, used, milli) for (who, used), milli in together.items())

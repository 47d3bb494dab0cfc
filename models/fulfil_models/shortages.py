"""Which parts hold builds up, when do they run out, and when was the last day to order?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from fulfil_models.plan import BlockerKind, Plan, PlannedBuild, SupplyKind
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset, Lane, Source
from fulfil_models.timeline import counted_on, runs_out_on, timeline
from fulfil_models.uses import Origin, PlanIndex, Use, origin_of


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
    days: calendar days by which it could be done sooner if the part were there; None where the
        plan names the part as the reason of a start without a figure.
    late_days: calendar days it is late.
    wanted_on: day on which the part would have had to be there for no lateness on its account;
        None where it causes none.
    order_by: last day on which an order would have been in time for that; None where it cannot be
        ordered.
    origin: what it gets in the end; usable: when.
    """

    who: str
    called: str
    point: str
    starts_on: date
    promised: date | datetime | None
    days: int | None
    late_days: int
    wanted_on: date | None
    order_by: date | None
    origin: Origin
    usable: datetime

    @property
    def blamed_days(self) -> int:
        """Days of its lateness that the part answers for: no more than it would gain without."""
        return min(self.days or 0, self.late_days)


@dataclass(frozen=True, slots=True)
class Shortage:
    """A part that holds something up.

    Attributes
    ----------
    needed_milli: all that the plan draws of it.
    runs_out_on: day after which nothing is left of stock and open orders though more is needed.
    lead_days: shortest lead time of a source, transport to the point that waits included.
    order_by: last day on which an order would have avoided the first lateness on its account.
    missed_by_days: how many days ago that was; None where it is still to come or not known.
    monthly_caps: suppliers that ration it and the units a month they let go.
    waiting: in the order in which they get it.
    """

    part: str
    description: str | None
    unit: str
    needed_milli: int
    on_hand_milli: int
    on_order_milli: int
    to_order_milli: int
    runs_out_on: date | None
    lead_days: int | None
    order_by: date | None
    missed_by_days: int | None
    monthly_caps: tuple[MonthlyCap, ...]
    on_hand: tuple[OnHand, ...]
    on_order: tuple[OnOrder, ...]
    to_order: tuple[ToOrder, ...]
    waiting: tuple[Waiting, ...]

    @property
    def late_days(self) -> int:
        """Days of lateness on its account, of all that wait for it together."""
        return sum(row.blamed_days for row in self.waiting)


def shortages(dataset: Dataset, settings: Settings, plan: Plan) -> tuple[Shortage, ...]:
    """Every part that holds a build or a parts order up, the one behind most lateness first."""
    index = PlanIndex(plan)
    waiting = _held_up(index)
    found = [shortage(dataset, settings, plan, part, rows, index) for part, rows in waiting.items()]
    return tuple(sorted(found, key=lambda s: (-s.late_days, -len(s.waiting), s.part)))


def shortage(
    dataset: Dataset,
    settings: Settings,
    plan: Plan,
    part: str,
    held: Mapping[Use, int | None] | None = None,
    index: PlanIndex | None = None,
) -> Shortage:
    """The state of one part, whether it holds anything up or not.

    Parameters
    ----------
    held, index: what `shortages` has worked out already; found here when not given.
    """
    if index is None:
        index = PlanIndex(plan)
    if held is None:
        held = _held_up(index).get(part, {})
    row = next((row for row in dataset.parts if row.part == part), None)
    stock = sorted((r for r in dataset.stock if r.part == part), key=lambda r: r.point)
    bought = sorted(
        (r for r in dataset.purchases if r.part == part),
        key=lambda r: (counted_on(r, settings), r.order, r.line),
    )
    new = sorted(
        (s for s in plan.supplies if s.part == part and s.kind is SupplyKind.NEW_PURCHASE),
        key=lambda s: (s.usable, s.supply),
    )
    leads = _Leads(dataset, part)
    ship_by = {f"{r.order}/{r.line}": r.promised for r in dataset.parts_orders}
    waiting = tuple(_waiting(index, leads, ship_by, use, days) for use, days in held.items())
    late = [r for r in waiting if r.order_by is not None]
    order_by = min((r.order_by for r in late if r.order_by is not None), default=None)
    return Shortage(
        part=part,
        description=None if row is None else row.description,
        unit="ea" if row is None else row.unit,
        needed_milli=sum(use.quantity_milli for use in index.uses_of_part.get(part, [])),
        on_hand_milli=sum(r.quantity_milli - r.held_milli for r in stock),
        on_order_milli=sum(r.quantity_milli for r in bought),
        to_order_milli=sum(s.quantity_milli for s in new),
        runs_out_on=runs_out_on(timeline(dataset, settings, plan, part, index)),
        lead_days=leads.shortest({r.point for r in waiting}),
        order_by=order_by,
        missed_by_days=None
        if order_by is None or order_by >= settings.as_of
        else (settings.as_of - order_by).days,
        monthly_caps=leads.caps,
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
                counted_on(r, settings),
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
    )


def _held_up(index: PlanIndex) -> dict[str, dict[Use, int | None]]:
    """By part: the draw each build or order line waits for, and the days it costs.

    Made parts are left to their own components, unless the plan names them.
    """
    uses: defaultdict[str, list[Use]] = defaultdict(list)
    for use in index.uses:
        uses[use.who].append(use)
    found: defaultdict[str, dict[Use, int | None]] = defaultdict(dict)
    for build in index.plan.builds:
        for part, days in _named(build, uses[build.build], index).items():
            last = max(
                (use for use in uses[build.build] if part in (use.part, use.called)),
                key=lambda use: (use.usable or use.at, use.at),
                default=None,
            )
            if last is not None:
                found[last.part].setdefault(last, days)
    late = {(r.order, r.line): r.late_days for r in index.plan.shipments if r.late_days > 0}
    for use in index.uses:
        late_days = late.get((use.order or "", use.line or ""), 0)
        if late_days > 0 and not any(u.who == use.who for u in found[use.part]):
            found[use.part][use] = late_days
    return {part: rows for part, rows in sorted(found.items()) if rows}


def _named(build: PlannedBuild, uses: Iterable[Use], index: PlanIndex) -> dict[str, int | None]:
    """Parts a build waits for, and the days each costs; None where the plan gives no figure.

    They are those that the plan names as blockers, or as the reason of a start. For a build of
    which the plan explains nothing, they are those that become usable at the very moment at which
    an operation starts.
    """
    days: dict[str, int | None] = {
        row.what: row.days
        for row in build.blockers
        if row.kind is BlockerKind.PART and row.days > 0
    }
    for reason in build.reasons:
        if reason.kind is BlockerKind.PART:
            days.setdefault(reason.what, None)
    if build.blockers or build.reasons:
        return days
    for use in uses:
        kind = index.supplies[use.supply].kind
        if kind not in (SupplyKind.STOCK, SupplyKind.JOB) and use.usable == use.at:
            days.setdefault(use.part, None)
    return days


def _waiting(
    index: PlanIndex, leads: _Leads, ship_by: Mapping[str, date | None], use: Use, days: int | None
) -> Waiting:
    supply = index.supplies[use.supply]
    build = None if use.build is None else index.builds[use.build]
    if build is None:
        late_days = max(
            row.late_days
            for row in index.plan.shipments
            if (row.order, row.line) == (use.order, use.line)
        )
        promised: date | datetime | None = ship_by.get(use.who)
    else:
        late_days, promised = build.late_days, build.promised
    starts_on = use.at.date()
    blamed = min(days or 0, late_days)
    wanted_on = starts_on - timedelta(blamed) if blamed > 0 else None
    lead_days = leads.to(supply.point)
    return Waiting(
        who=use.who,
        called=use.called,
        point=supply.point,
        starts_on=starts_on,
        promised=promised,
        days=days,
        late_days=late_days,
        wanted_on=wanted_on,
        order_by=None
        if wanted_on is None or lead_days is None
        else wanted_on - timedelta(lead_days),
        origin=origin_of(index, supply),
        usable=use.usable or use.at,
    )


class _Leads:
    """Shortest lead time of a part to any point, lanes included."""

    def __init__(self, dataset: Dataset, part: str) -> None:
        sources: list[Source] = [row for row in dataset.sources if row.part == part]
        caps = {
            (row.supplier, row.monthly_cap_milli)
            for row in sources
            if row.monthly_cap_milli is not None
        }
        self.caps = tuple(MonthlyCap(supplier, cap) for supplier, cap in sorted(caps))
        self._days: dict[str, int] = {}
        for row in sources:
            self._days[row.point] = min(self._days.get(row.point, row.lead_days), row.lead_days)
        self._reach(dataset.lanes)

    def _reach(self, lanes: Iterable[Lane]) -> None:
        rows = list(lanes)
        changed = bool(self._days)
        while changed:
            changed = False
            for lane in rows:
                through = self._days.get(lane.origin)
                if through is None:
                    continue
                days = through + lane.days
                if days < self._days.get(lane.destination, days + 1):
                    self._days[lane.destination] = days
                    changed = True

    def to(self, point: str) -> int | None:
        return self._days.get(point)

    def shortest(self, points: Iterable[str]) -> int | None:
        """Over the points given, or over all if there are none."""
        known = [self._days[point] for point in points if point in self._days]
        return min(known or self._days.values(), default=None)

"""What do others hold? The units and the stations that a plan, or a promise kept open, has taken.

A question about something new - a quotation, a hold - is asked beside a plan that stands: what is
taken is gone from the supplies and from the work centres, and nobody is moved.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from fulfil_models.plan import Plan, Supply, SupplyKind
from fulfil_models.tables import Dataset, Purchase

LotKey = tuple[str, str, str]
"""(kind, point, part) of stock, (kind, order, line) of an open purchase"""

ORDERED = "plan"
"""line of a purchase that stands for an order which a plan counts on; its order is the supply"""


@dataclass(frozen=True, slots=True)
class Busy:
    """Stations of a work centre that an operation holds, by the clock of its point."""

    work_centre: str
    starts: datetime
    ends: datetime
    stations: int
    who: str
    """the build"""


@dataclass(frozen=True, slots=True)
class Holding:
    """Units of a part at a point that somebody has: a build, or a parts order."""

    part: str
    point: str
    usable: datetime
    who: str


@dataclass(frozen=True)
class Taken:
    """Everything that is taken.

    Attributes
    ----------
    lots_milli: thousandths drawn of stock and of purchases, those of `orders` among them.
    orders: new purchases that are counted on, as open purchases; of what they bring, `lots_milli`
        says how much is taken.
    """

    lots_milli: Mapping[LotKey, int] = field(default_factory=dict)
    orders: tuple[Purchase, ...] = ()
    busy: tuple[Busy, ...] = ()
    holdings: tuple[Holding, ...] = ()

    def __add__(self, other: Taken) -> Taken:
        return Taken(
            dict(Counter(self.lots_milli) + Counter(other.lots_milli)),
            self.orders + other.orders,
            self.busy + other.busy,
            self.holdings + other.holdings,
        )


NOTHING = Taken()


def stock_key(point: str, part: str) -> LotKey:
    return SupplyKind.STOCK.value, point, part


def purchase_key(order: str, line: str) -> LotKey:
    return SupplyKind.PURCHASE.value, order, line


def taken_by(plan: Plan, dataset: Dataset) -> Taken:
    """What a plan has taken, as of the data it was made from.

    Raises KeyError where an operation is not in the routings any more.
    """
    return Taken(
        _drawn(plan), tuple(_orders(plan)), tuple(_busy(plan, dataset)), tuple(_holdings(plan))
    )


def _drawn(plan: Plan) -> dict[LotKey, int]:
    drawn: Counter[str] = Counter()
    for peg in plan.pegs:
        drawn[peg.supply] += peg.quantity_milli
    for shipment in plan.shipments:
        drawn[shipment.supply] += shipment.quantity_milli
    for supply in plan.supplies:
        if supply.from_supply is not None:
            drawn[supply.from_supply] += supply.quantity_milli
    return {
        key: drawn[supply.supply]
        for supply in plan.supplies
        if (key := _key(supply)) is not None and drawn[supply.supply]
    }


def _key(supply: Supply) -> LotKey | None:
    if supply.kind is SupplyKind.STOCK:
        return stock_key(supply.point, supply.part)
    if supply.kind is SupplyKind.PURCHASE:
        return purchase_key(supply.order or "", supply.line or "")
    if supply.kind is SupplyKind.NEW_PURCHASE:
        return purchase_key(supply.supply, ORDERED)
    return None


def _orders(plan: Plan) -> list[Purchase]:
    return [
        Purchase(
            order=supply.supply,
            line=ORDERED,
            part=supply.part,
            supplier=supply.supplier,
            point=supply.point,
            quantity_milli=supply.quantity_milli,
            ordered=supply.place_on,
            due=supply.arrives_on,
            confirmed=False,
        )
        for supply in plan.supplies
        if supply.kind is SupplyKind.NEW_PURCHASE
        and supply.supplier is not None
        and supply.place_on is not None
        and supply.arrives_on is not None
    ]


def _busy(plan: Plan, dataset: Dataset) -> list[Busy]:
    stations = {(row.part, row.operation): row.stations for row in dataset.routings}
    jobs = {job.job: job for job in plan.jobs}
    return [
        Busy(
            row.work_centre,
            row.start,
            row.end,
            stations[jobs[row.job].part, row.operation],
            jobs[row.job].build,
        )
        for row in plan.operations
        if row.start < row.end
    ]


def _holdings(plan: Plan) -> list[Holding]:
    builds = {job.job: job.build for job in plan.jobs}
    usable = {supply.supply: supply.usable for supply in plan.supplies}
    found = [Holding(row.used, row.point, row.usable, builds[row.job]) for row in plan.pegs]
    found += [Holding(row.used, row.point, usable[row.supply], row.order) for row in plan.shipments]
    return found


def joined(plan: Plan, other: Plan) -> Plan:
    """A plan with what was put beside it: both as one, at the cost and the bound of the first.

    What the other draws on the first one's new purchases is drawn on those.
    """
    names = {
        supply.supply: supply.order or ""
        for supply in other.supplies
        if supply.kind is SupplyKind.PURCHASE and supply.line == ORDERED
    }

    def name(supply: str) -> str:
        return names.get(supply, supply)

    supplies = {supply.supply: supply for supply in plan.supplies}
    for supply in other.supplies:
        if supply.supply in names:
            continue
        origin = None if supply.from_supply is None else name(supply.from_supply)
        there = supplies.get(supply.supply)
        quantity_milli = supply.quantity_milli + (there.quantity_milli if there else 0)
        supplies[supply.supply] = replace(supply, quantity_milli=quantity_milli, from_supply=origin)
    return replace(
        plan,
        builds=plan.builds + other.builds,
        jobs=plan.jobs + other.jobs,
        operations=plan.operations + other.operations,
        pegs=plan.pegs + tuple(replace(peg, supply=name(peg.supply)) for peg in other.pegs),
        shipments=plan.shipments
        + tuple(replace(row, supply=name(row.supply)) for row in other.shipments),
        supplies=tuple(supplies[key] for key in sorted(supplies)),
    )

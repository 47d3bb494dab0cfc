"""What do others hold? The units and the stations that a plan, or a promise kept open, has taken.

A question about something new - a quotation, a hold - is asked beside a plan that stands: what is
taken is gone from the supplies and from the work centres, and nobody is moved.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cached_property
from typing import Protocol

from fulfil_models.plan import (
    Peg,
    Plan,
    PlannedJob,
    PlannedOperation,
    Shipment,
    Supply,
    SupplyKind,
)
from fulfil_models.tables import Dataset, Purchase

LotKey = tuple[str, str, str]
"""(kind, point, part) of stock, (kind, order, line) of an open purchase"""
Move = tuple[str, str, date]
"""origin, destination and day of departure"""

ORDERED = "plan"
"""line of a purchase that stands for an order which a plan counts on; its order is the supply"""
TOGETHER = "plan and holds"
"""line of such a purchase that a plan to come may place, for itself and for promises kept open"""


@dataclass(frozen=True, slots=True)
class Busy:
    """Stations of a work centre that an operation holds, by the clock of its point."""

    work_centre: str
    starts: datetime
    ends: datetime
    stations: int
    who: str
    """the build, or the hold"""
    started: bool = False
    """it stays where it was started; what is wrong with that, no plan could mend"""


@dataclass(frozen=True, slots=True)
class Holding:
    """Units of a part at a point that somebody has: a build, a parts order, or a hold."""

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
    drawers: who draws on each lot, be it moved first or not.
    moves: departures of lanes that are made, and paid for, whoever else goes with them.
    """

    lots_milli: Mapping[LotKey, int] = field(default_factory=dict)
    orders: tuple[Purchase, ...] = ()
    busy: tuple[Busy, ...] = ()
    holdings: tuple[Holding, ...] = ()
    drawers: Mapping[LotKey, tuple[str, ...]] = field(default_factory=dict)
    moves: frozenset[Move] = frozenset()

    @cached_property
    def holders(self) -> Mapping[tuple[str, str], list[tuple[datetime, str]]]:
        """By part and point: from when units are usable, and who has them."""
        by: defaultdict[tuple[str, str], list[tuple[datetime, str]]] = defaultdict(list)
        for row in self.holdings:
            by[row.part, row.point].append((row.usable, row.who))
        return by

    def __add__(self, other: Taken) -> Taken:
        return Taken(
            dict(Counter(self.lots_milli) + Counter(other.lots_milli)),
            tuple({(row.order, row.line): row for row in self.orders + other.orders}.values()),
            self.busy + other.busy,
            self.holdings + other.holdings,
            {
                **self.drawers,
                **{
                    key: tuple(dict.fromkeys(self.drawers.get(key, ()) + names))
                    for key, names in other.drawers.items()
                },
            },
            self.moves | other.moves,
        )


NOTHING = Taken()


def stock_key(point: str, part: str) -> LotKey:
    return SupplyKind.STOCK.value, point, part


def purchase_key(order: str, line: str) -> LotKey:
    return SupplyKind.PURCHASE.value, order, line


def with_orders(dataset: Dataset, taken: Taken) -> Dataset:
    """The data set as it is to be planned beside what is taken.

    Orders that others count on stand among the open purchases, so that a supplier's monthly cap
    counts them. A plan is to be checked against the data set without them.
    """
    return replace(dataset, purchases=dataset.purchases + taken.orders)


class Uses(Protocol):
    """What of a plan says who has what: the whole plan, or these parts of it alone."""

    @property
    def jobs(self) -> tuple[PlannedJob, ...]: ...
    @property
    def operations(self) -> tuple[PlannedOperation, ...]: ...
    @property
    def pegs(self) -> tuple[Peg, ...]: ...
    @property
    def shipments(self) -> tuple[Shipment, ...]: ...
    @property
    def supplies(self) -> tuple[Supply, ...]: ...


def taken_by(plan: Uses, dataset: Dataset, who: str | None = None) -> Taken:
    """What a plan has taken, as of the data it was made from.

    `who` is said to have all of it; None: the build or the order that has it.

    Raises KeyError where an operation is not in the routings any more.
    """
    return Taken(
        _drawn(plan),
        tuple(_orders(plan)),
        tuple(_busy(plan, dataset, who)),
        tuple(_holdings(plan, who)),
        _drawers(plan, who),
        moves_of(plan),
    )


def ordered_by(plan: Uses) -> Taken:
    """The new orders of a plan and what it draws on any lot, and nothing else of what it has."""
    return Taken(_drawn(plan), tuple(_orders(plan)))


def moves_of(plan: Uses) -> frozenset[Move]:
    """The departures of lanes by which something is moved."""
    return frozenset(
        (row.origin, row.point, row.leaves_on)
        for row in plan.supplies
        if row.origin is not None and row.leaves_on is not None
    )


def drawn_by_supply(plan: Uses) -> Counter[str]:
    """Thousandths that are drawn on each supply, or moved on from it."""
    drawn: Counter[str] = Counter()
    for peg in plan.pegs:
        drawn[peg.supply] += peg.quantity_milli
    for shipment in plan.shipments:
        drawn[shipment.supply] += shipment.quantity_milli
    for supply in plan.supplies:
        if supply.from_supply is not None:
            drawn[supply.from_supply] += supply.quantity_milli
    return drawn


def _drawn(plan: Uses) -> dict[LotKey, int]:
    by_supply, drawn = drawn_by_supply(plan), Counter[LotKey]()
    for supply in plan.supplies:
        key = _key(supply)
        if key is not None and by_supply[supply.supply]:
            drawn[key] += by_supply[supply.supply]
    return dict(drawn)


def _drawers(plan: Uses, who: str | None) -> dict[LotKey, tuple[str, ...]]:
    """By lot: who draws on it, each once, by name."""
    build_of = {job.job: job.build for job in plan.jobs}
    by_supply: defaultdict[str, set[str]] = defaultdict(set)
    for peg in plan.pegs:
        by_supply[peg.supply].add(build_of[peg.job])
    for row in plan.shipments:
        by_supply[row.supply].add(row.order)
    supplies = {supply.supply: supply for supply in plan.supplies}
    found: defaultdict[LotKey, set[str]] = defaultdict(set)
    for name, drawers in by_supply.items():
        supply = supplies[name]
        while supply.from_supply is not None:
            supply = supplies[supply.from_supply]
        key = _key(supply)
        if key is not None:
            found[key] |= {who} if who else drawers
    return {key: tuple(sorted(drawers)) for key, drawers in found.items()}


def _key(supply: Supply) -> LotKey | None:
    if supply.kind is SupplyKind.STOCK:
        return stock_key(supply.point, supply.part)
    if supply.kind is SupplyKind.PURCHASE:
        return purchase_key(supply.order or "", supply.line or "")
    if supply.kind is SupplyKind.NEW_PURCHASE:
        return purchase_key(supply.supply, ORDERED)
    return None


def _orders(plan: Uses) -> list[Purchase]:
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


def _busy(plan: Uses, dataset: Dataset, who: str | None) -> list[Busy]:
    stations = {(row.part, row.operation): row.stations for row in dataset.routings}
    started = {(row.build, row.operation) for row in dataset.progress if row.started is not None}
    jobs = {job.job: job for job in plan.jobs}
    return [
        Busy(
            row.work_centre,
            row.start,
            row.end,
            stations[jobs[row.job].part, row.operation],
            who or jobs[row.job].build,
            # a build's own job bears its name; only that can have been started
            (row.job, row.operation) in started and jobs[row.job].for_job is None,
        )
        for row in plan.operations
        if row.start < row.end
    ]


def _holdings(plan: Uses, who: str | None) -> list[Holding]:
    builds = {job.job: job.build for job in plan.jobs}
    usable = {supply.supply: supply.usable for supply in plan.supplies}
    found = [Holding(row.used, row.point, row.usable, who or builds[row.job]) for row in plan.pegs]
    found += [
        Holding(row.used, row.point, usable[row.supply], who or row.order) for row in plan.shipments
    ]
    return found


# ---- as one plan


def joined(plan: Plan, other: Plan) -> Plan:
    """A plan with what was put beside it: both as one, at the cost and the bound of the first.

    What the other draws on the first one's new purchases is drawn on those.
    """
    supplies = {supply.supply: supply for supply in plan.supplies}
    names: dict[str, str] = {}
    shelves = {
        key: supply.supply
        for supply in plan.supplies
        if supply.kind in (SupplyKind.STOCK, SupplyKind.PURCHASE)
        and (key := _key(supply)) is not None
    }
    for supply in _sources_first(other):
        ordered = _stands_for(supply, supplies)
        if ordered is not None:
            names[supply.supply] = ordered
            continue
        if supply.from_supply is not None:
            supply = replace(supply, from_supply=names[supply.from_supply])
        key = _key(supply)
        name = supply.supply if key is None else shelves.get(key, supply.supply)
        while name in supplies and not _is_one(supplies[name], supply):
            name += "'"
        names[supply.supply] = name
        there = supplies.get(name)
        quantity_milli = supply.quantity_milli + (there.quantity_milli if there else 0)
        supplies[name] = replace(supply, supply=name, quantity_milli=quantity_milli)
    other = draws_renamed(replace(other, supplies=()), names)
    return replace(
        plan,
        builds=plan.builds + other.builds,
        jobs=plan.jobs + other.jobs,
        operations=plan.operations + other.operations,
        pegs=plan.pegs + other.pegs,
        shipments=plan.shipments + other.shipments,
        supplies=tuple(supplies[key] for key in sorted(supplies)),
    )


def draws_renamed(plan: Plan, names: Mapping[str, str]) -> Plan:
    """A plan in which whatever draws on a supply knows it by its new name."""
    return replace(
        plan,
        pegs=tuple(replace(row, supply=names[row.supply]) for row in plan.pegs),
        shipments=tuple(replace(row, supply=names[row.supply]) for row in plan.shipments),
        supplies=tuple(
            row if row.from_supply is None else replace(row, from_supply=names[row.from_supply])
            for row in plan.supplies
        ),
    )


def _sources_first(plan: Plan) -> list[Supply]:
    """The supplies of a plan, none before what it is moved from."""
    by_name = {supply.supply: supply for supply in plan.supplies}

    def moves(supply: Supply) -> int:
        return 0 if supply.from_supply is None else 1 + moves(by_name[supply.from_supply])

    return sorted(plan.supplies, key=moves)


def _stands_for(supply: Supply, supplies: Mapping[str, Supply]) -> str | None:
    """The new purchase of a plan that an open purchase of a piece stands for, if it does."""
    if supply.kind is not SupplyKind.PURCHASE or supply.line != ORDERED:
        return None
    there = supplies.get(supply.order or "")
    return supply.order if there is not None and there.kind is SupplyKind.NEW_PURCHASE else None


def _is_one(there: Supply, supply: Supply) -> bool:
    """Whether two supplies are the same but for their names and quantities."""
    return replace(there, supply=supply.supply, quantity_milli=supply.quantity_milli) == supply

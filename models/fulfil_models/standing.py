"""What does a plan that stands give to whom, and are those units still there?

A plan names its supplies; here they are found again as lots of the bins of a book, which may be of
later data, and what draws on them as ways of needs and outlets of lines.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from fulfil_models.compiled import CLine, CNeed, Compiled, COutlet, CTask, CWay
from fulfil_models.ledger import ADVANCE, EXPEDITE, MAKE, MOVE, OWN
from fulfil_models.months import month_of
from fulfil_models.plan import Peg, Plan, Shipment, Supply, SupplyKind
from fulfil_models.routes import Route
from fulfil_models.search import Item
from fulfil_models.supply import Lot
from fulfil_models.taken import TOGETHER

LotKey = tuple[int, int]
"""a bin and a lot of it"""
Legs = tuple[tuple[str, str], ...]
"""lanes end to end, (origin, destination)"""


class Standing:
    """A plan by key: when it starts what, what each need and line draws on."""

    def __init__(self, plan: Plan) -> None:
        self.starts = {(row.job, row.operation): row.start for row in plan.operations}
        self.supplies = {row.supply: row for row in plan.supplies}
        self._pegs: defaultdict[tuple[str, int | None, str], list[Peg]] = defaultdict(list)
        for peg in plan.pegs:
            self._pegs[peg.job, peg.operation, peg.part].append(peg)
        self._shipments: defaultdict[tuple[str, str], list[Shipment]] = defaultdict(list)
        for shipment in plan.shipments:
            self._shipments[shipment.order, shipment.line].append(shipment)
        self._first = {row.build: row.finish for row in plan.builds}
        for row in plan.operations:
            if row.job in self._first:
                self._first[row.job] = min(row.start, self._first[row.job])

    def begins(self, item: Item) -> datetime | None:
        """When a build starts or a line first ships; None where the plan does not know it.

        A build with nothing left to do begins when it is finished.
        """
        if isinstance(item, CTask):
            return self._first.get(item.task.build.build)
        days = [row.ships for row in self.shipments(item)]
        return datetime.combine(min(days), time.min) if days else None

    def pegs(self, need: CNeed, job: str) -> list[Peg]:
        """What a need draws on; `job` is what the plan calls its job."""
        own = need.need
        number = own.job.operations[own.place].number if own.place >= 0 else None
        return self._pegs.get((job, number, own.part), [])

    def shipments(self, line: CLine) -> list[Shipment]:
        """What ships for a line of a parts order."""
        return self._shipments.get((line.line.row.order, line.line.row.line), [])

    def origin(self, name: str) -> tuple[Supply, Legs, date | None]:
        """The supply behind all transfers, the lanes from there, and the day of departure."""
        supply = self.supplies[name]
        legs: list[tuple[str, str]] = []
        leaves = None
        while supply.kind is SupplyKind.TRANSFER:
            legs.insert(0, (supply.origin or "", supply.point))
            leaves = supply.leaves_on
            supply = self.supplies[supply.from_supply or ""]
        return supply, tuple(legs), leaves


class Lots:
    """The lots of every bin by what a plan calls them, and how much nobody has taken up yet."""

    def __init__(self, compiled: Compiled) -> None:
        self.left: Counter[LotKey] = Counter()
        self._events: dict[int, dict[tuple[str, ...], int]] = {}
        for there in compiled.book.supplies.bins:
            names = self._events[there.index] = {}
            for event, lot in enumerate(there.lots):
                names[_name(lot)] = event
                self.left[there.index, event] = lot.quantity_milli

    def find(self, index: int, supply: Supply) -> int | None:
        """Which lot of a bin a supply of the plan is; None where it is not there."""
        names = self._events[index]
        if supply.kind is SupplyKind.STOCK:
            return names.get(("stock",))
        if supply.kind is SupplyKind.PURCHASE:
            return names.get(("purchase", supply.order or "", supply.line or ""))
        together = names.get(("purchase", supply.supply, TOGETHER))
        if together is not None or supply.arrives_on is None:
            return together
        who = supply.supplier or ""
        month = names.get(("new", who, month_of(supply.arrives_on)))
        return names.get(("new", who, "")) if month is None else month


def _name(lot: Lot) -> tuple[str, ...]:
    if lot.purchase is not None:
        return "purchase", lot.purchase.order, lot.purchase.line
    if lot.source is None:
        return ("stock",)
    if lot.source.monthly_cap_milli is None or lot.arrives_on is None:
        return "new", lot.source.supplier, ""
    return "new", lot.source.supplier, month_of(lot.arrives_on)


def _legs(route: Route | None) -> Legs:
    return () if route is None else tuple((lane.origin, lane.destination) for lane in route.legs)


def _departure(route: Route | None, leaves: date) -> int:
    """Which departure of a route leaves on a day; -1 if none does."""
    found = -1 if route is None else route.first_departure(leaves)
    if route is None or route.departures[found : found + 1] != (leaves,):
        return -1
    return found


# ---- needs of builds


@dataclass(frozen=True, slots=True)
class Piece:
    """So much of one lot for a need.

    Attributes
    ----------
    departure: index among the way's departures, -1 if it is not moved.
    lot: None where the lot is not there any more, or for what is made.
    in_time: whether it is there when the way wants it.
    """

    way: CWay
    quantity: int
    departure: int
    lot: LotKey | None
    in_time: bool


def piece_of(standing: Standing, lots: Lots, need: CNeed, peg: Peg, at: int) -> Piece | None:
    """How a need may have, at a cell, what a peg says; None where there is no such way."""
    supply, legs, leaves = standing.origin(peg.supply)
    ways = [w for way in need.ways for w in (way, *way.parts) if w.way.used == peg.used]
    if supply.kind is SupplyKind.JOB:
        made = next((way for way in ways if way.kind == MAKE), None)
        return None if made is None else Piece(made, peg.quantity_milli, -1, None, True)
    departure = -1
    if leaves is not None:
        way = next((w for w in ways if w.kind == MOVE and _legs(w.way.route) == legs), None)
        departure = -1 if way is None else _departure(way.way.route, leaves)
        if departure < 0:
            return None
    elif supply.expedited:
        way = _hurried(lots, ways, supply, at)
    else:
        way = next((w for w in ways if w.kind == OWN), None)
    if way is None or way.way.bin is None or way.way.bin.point != supply.point:
        return None
    event = lots.find(way.bin, supply)
    if event is None:
        return Piece(way, peg.quantity_milli, departure, None, False)
    in_time = _in_time(way, event, departure, at)
    return Piece(way, peg.quantity_milli, departure, (way.bin, event), in_time)


def _in_time(way: CWay, event: int, departure: int, at: int) -> bool:
    if departure >= 0:
        return way.days[event] <= way.departures[departure]
    if way.kind == ADVANCE:
        return way.usable <= at
    return way.times[event] <= at


def _hurried(lots: Lots, ways: Sequence[CWay], supply: Supply, at: int) -> CWay | None:
    """The way of a need on an expedited order. Where its month would have brought the units in
    time without hurry, it only took what was over, and draws on its own bin."""
    own = next((way for way in ways if way.kind == OWN), None)
    for way in ways:
        if way.source is None or way.source.supplier != supply.supplier:
            continue
        event = lots.find(way.bin, supply)
        if event is not None and way.kind == EXPEDITE:
            return way
        if event is not None and way.kind == ADVANCE and event == way.event:
            return own if own is not None and own.times[event] <= at else way
    return None


# ---- lines of parts orders


@dataclass(frozen=True, slots=True)
class Sending:
    """What ships of one lot for a line: by which of its outlets, with which event of that."""

    outlet: int
    event: int
    quantity: int
    lot: LotKey | None
    in_time: bool


def sending_of(standing: Standing, lots: Lots, line: CLine, row: Shipment) -> Sending | None:
    """How a line may ship what it ships in the plan; None where there is no such outlet, or not
    on that day. One that hurries nothing is preferred."""
    supply, legs, leaves = standing.origin(row.supply)
    found: list[tuple[bool, bool, int, Sending]] = []
    for number, outlet in enumerate(line.outlets):
        own = line.line.outlets[number]
        hurried = outlet.source is not None
        if (outlet.used, outlet.point, own.bin.point) != (row.used, row.point, supply.point):
            continue
        if _legs(own.route) != legs or (hurried and not _is_from(outlet, supply)):
            continue
        event = _event(outlet, own.route, row.ships, leaves)
        lot = lots.find(outlet.bin, supply)
        if event < 0 or (outlet.advanced >= 0 and lot != outlet.advanced):
            continue
        in_time = lot is not None and lot <= outlet.last_lot[event]
        key = None if lot is None else (outlet.bin, lot)
        sending = Sending(number, event, row.quantity_milli, key, in_time)
        found.append((not in_time, hurried, number, sending))
    return min(found, key=lambda offer: offer[:3])[3] if found else None


def _is_from(outlet: COutlet, supply: Supply) -> bool:
    return bool(supply.expedited and outlet.source and outlet.source.supplier == supply.supplier)


def _event(outlet: COutlet, route: Route | None, ships: date, leaves: date | None) -> int:
    """The event of an outlet with which something ships by a day, or leaves on one; -1 if none."""
    if leaves is not None:
        departure = _departure(route, leaves)
        return outlet.departures.index(departure) if departure in outlet.departures else -1
    if outlet.advanced >= 0:
        return outlet.advanced if outlet.days[outlet.advanced] <= ships.toordinal() else -1
    return bisect_right(outlet.days, ships.toordinal()) - 1

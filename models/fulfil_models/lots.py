"""Which lot serves whom? Draws on a bin turned into pegs on supplies, new orders and transfers.

Draws are served in the order of the last lot they may use; within that, needs of builds take the
earliest lots left, parts orders the latest (they ship on the day their lot is usable). Any such
order serves everybody, since the balance of the bin never falls below nothing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from itertools import pairwise

from fulfil_models.book import Book, Need, WayKind
from fulfil_models.compiled import ordered_milli
from fulfil_models.decisions import Decisions, Fill, Ship, need_moment
from fulfil_models.months import next_month
from fulfil_models.plan import Supply, SupplyKind
from fulfil_models.problem import Problem
from fulfil_models.routes import Route, next_departure
from fulfil_models.shared_cap import first_hurried
from fulfil_models.source_terms import days_to_arrive
from fulfil_models.supply import UNLIMITED_MILLI, Bin, Lot

ORDER_COVERS_DAYS = 28
"""an order without a cap covers the needs of so many days from its arrival"""


@dataclass(slots=True)
class Claim:
    """A draw on a bin: for a fill or a shipment, by a day."""

    claimant: Fill | Ship
    quantity_milli: int
    event: int
    by: date
    """the units must be usable on this day"""
    advanced: bool = False
    pieces: list[tuple[str, int]] = field(default_factory=list)
    """(supply, quantity)"""


class Named:
    """Supplies by names that no two of them share, and no supply with a job.

    Identifiers may hold whatever stands between them in a name: where that makes two names alike,
    the one that is given later ends in `'`.
    """

    def __init__(self, taken: Iterable[str]) -> None:
        self.supplies: dict[str, Supply] = {}
        self._taken = set(taken)
        self._names: dict[tuple[Hashable, ...], str] = {}

    def new(self, wanted: str) -> str:
        """A name that nothing has yet: the wanted one if it is free."""
        while wanted in self._taken:
            wanted += "'"
        self._taken.add(wanted)
        return wanted

    def of(self, key: tuple[Hashable, ...], wanted: str) -> str:
        """The name of what is known by a key, given when it is first asked for."""
        if key not in self._names:
            self._names[key] = self.new(wanted)
        return self._names[key]


@dataclass(frozen=True, slots=True)
class Served:
    """Supplies in use by name, and the pieces that each fill and shipment gets of them."""

    supplies: dict[str, Supply]
    fills: list[tuple[Fill, str, int]]
    ships: list[tuple[Ship, str, int]]


def serve(book: Book, decisions: Decisions) -> Served:
    """Share the lots of every bin out among those that draw on it."""
    problem = book.problem
    claims: defaultdict[int, list[Claim]] = defaultdict(list)
    for fill in decisions.fills:
        if fill.way.kind != WayKind.MAKE:
            assert fill.way.bin is not None
            claims[fill.way.bin.index].append(_fill_claim(fill, decisions.starts))
    for ship in decisions.ships:
        claims[ship.outlet.bin.index].append(_ship_claim(problem, ship))
    named = Named(job.name for job in decisions.jobs)
    for index in sorted(claims):
        _serve_bin(problem, book.supplies.bins[index], claims[index], named)
    fills: list[tuple[Fill, str, int]] = []
    ships: list[tuple[Ship, str, int]] = []
    for index in sorted(claims):
        for claim in claims[index]:
            route = _route_of(claim.claimant)
            for name, quantity_milli in claim.pieces:
                if route is not None:
                    day = route.departures[claim.claimant.departure]
                    name = _move(problem, route, day, name, quantity_milli, named)
                if isinstance(claim.claimant, Ship):
                    ships.append((claim.claimant, name, quantity_milli))
                else:
                    fills.append((claim.claimant, name, quantity_milli))
    return Served(named.supplies, fills, ships)


def _route_of(claimant: Fill | Ship) -> Route | None:
    """The route over which what is drawn is moved, if it is."""
    return claimant.outlet.route if isinstance(claimant, Ship) else claimant.way.route


def _ship_claim(problem: Problem, ship: Ship) -> Claim:
    there, advance, route = ship.outlet.bin, ship.outlet.advance, ship.outlet.route
    day = there.days[ship.event]
    if route is not None:
        day = route.departures[ship.departure]
    if advance is not None:
        day = problem.axes[there.point].start_moment(advance.usable).date()
    return Claim(ship, ship.quantity_milli, ship.event, day, advance is not None)


def _fill_claim(fill: Fill, starts: dict[str, tuple[int, ...]]) -> Claim:
    if fill.way.route is not None:
        by = fill.way.route.departures[fill.departure]
    else:
        axis, moment = fill.need.job.task.axis, need_moment(fill.need, starts)
        # work of no length at a closing is done that evening, not at the next opening
        at_once = takes_no_time(fill.need)
        by = (axis.end_moment(moment) if at_once else axis.start_moment(moment)).date()
    advanced = fill.way.kind == WayKind.ADVANCE
    return Claim(fill, fill.quantity_milli, fill.event, by, advanced)


def takes_no_time(need: Need) -> bool:
    """Whether the operation that waits for a need has no length; of a phantom, its parent's."""
    while need.place < 0:
        if need.job.parent is None:
            return False
        need = need.job.parent
    return not need.job.operations[need.place].duration


def _serve_bin(problem: Problem, there: Bin, claims: list[Claim], named: Named) -> None:
    left = [lot.quantity_milli for lot in there.lots]
    taken: defaultdict[int, list[tuple[Claim, int]]] = defaultdict(list)

    def take(claim: Claim, event: int, wanted: int) -> int:
        quantity = min(wanted, left[event])
        if quantity > 0:
            left[event] -= quantity
            taken[event].append((claim, quantity))
        return wanted - quantity

    for claim in claims:
        if claim.advanced and take(claim, claim.event, claim.quantity_milli):
            raise AssertionError(f"lot of {there.part} overdrawn by expediting")
    for claim in sorted(claims, key=lambda c: (c.event, c.by)):
        if claim.advanced:
            continue
        wanted = claim.quantity_milli
        events = range(claim.event + 1)
        for event in reversed(events) if isinstance(claim.claimant, Ship) else events:
            wanted = take(claim, event, wanted)
            if not wanted:
                break
        if wanted:
            raise AssertionError(f"{there.part} at {there.point} overdrawn by {wanted}")
    for event, pieces in sorted(taken.items()):
        lot = there.lots[event]
        if lot.kind == SupplyKind.NEW_PURCHASE:
            _order(problem, lot, pieces, named)
        else:
            name = named.new(_lot_name(lot))
            total = sum(quantity for _, quantity in pieces)
            named.supplies[name] = _lot_supply(problem, lot, name, total)
            for claim, quantity in pieces:
                claim.pieces.append((name, quantity))


def _lot_name(lot: Lot) -> str:
    if lot.purchase is not None:
        return f"purchase/{lot.purchase.order}/{lot.purchase.line}"
    return f"stock/{lot.point}/{lot.part}"


def _lot_supply(problem: Problem, lot: Lot, name: str, quantity_milli: int) -> Supply:
    usable = problem.axes[lot.point].start_moment(lot.usable)
    supply = Supply(name, lot.kind, lot.part, lot.point, quantity_milli, usable)
    if lot.purchase is not None:
        return replace(supply, order=lot.purchase.order, line=lot.purchase.line)
    return supply


# ---- new purchases


def _order(
    problem: Problem,
    lot: Lot,
    pieces: list[tuple[Claim, int]],
    named: Named,
) -> None:
    """Orders that bring what is drawn on a lot of a source, each arriving as late as will do."""
    assert lot.source is not None
    hurried = [(claim, q) for claim, q in pieces if claim.advanced or lot.expedited]
    calm = [(claim, q) for claim, q in pieces if not (claim.advanced or lot.expedited)]
    if hurried and not lot.expedited:
        calm = _order_advanced(problem, lot, hurried, calm, named)
    elif hurried:
        first = min(claim.by for claim, _ in hurried)
        _place(problem, lot, hurried, first, True, named)
    if not calm:
        return
    calm.sort(key=lambda piece: piece[0].by)
    if lot.quantity_milli < UNLIMITED_MILLI:
        _place(problem, lot, calm, calm[0][0].by, False, named)
        return
    while calm:
        arrives = _arrival(problem, lot, calm[0][0].by, False)
        until = max(arrives, calm[0][0].by) + timedelta(ORDER_COVERS_DAYS)
        covered = [piece for piece in calm if piece[0].by < until]
        spare = ordered_milli(lot.source, sum(q for _, q in covered))
        count = 0
        for _, quantity in calm:
            if quantity > spare:
                break
            spare -= quantity
            count += 1
        _place(problem, lot, calm[:count], calm[0][0].by, False, named)
        calm = calm[count:]


def _order_advanced(
    problem: Problem,
    lot: Lot,
    hurried: list[tuple[Claim, int]],
    calm: list[tuple[Claim, int]],
    named: Named,
) -> list[tuple[Claim, int]]:
    """Expedite part of a monthly lot; what the order brings over and above serves others of that
    month. Returns what is left for an order that is not expedited."""
    assert lot.source is not None
    total = sum(q for _, q in hurried)
    ordered = ordered_milli(lot.source, total)
    rest = sum(q for _, q in calm) - (ordered - total)
    if rest > 0 and ordered + ordered_milli(lot.source, rest) > lot.quantity_milli:
        ordered = ordered_milli(lot.source, total + sum(q for _, q in calm))
    spare = ordered - total
    own = list(hurried)
    left = []
    for claim, quantity in sorted(calm, key=lambda piece: piece[0].by):
        served = min(quantity, spare)
        spare -= served
        if served:
            own.append((claim, served))
        if quantity > served:
            left.append((claim, quantity - served))
    _place(problem, lot, own, min(claim.by for claim, _ in own), True, named, ordered)
    return left


def _arrival(problem: Problem, lot: Lot, by: date, expedited: bool) -> date:
    """Latest day on which an order may arrive for its first use, within what its lot allows."""
    assert lot.source is not None
    assert lot.arrives_on is not None
    earliest = lot.arrives_on
    if expedited:
        earliest = first_hurried(problem, lot.source)
        if lot.source.monthly_cap_milli is not None:
            earliest = max(earliest, lot.arrives_on.replace(day=1))
    if lot.source.monthly_cap_milli is not None:
        by = min(by, next_month(lot.arrives_on) - timedelta(1))
    return max(earliest, by)


def _place(
    problem: Problem,
    lot: Lot,
    pieces: list[tuple[Claim, int]],
    by: date,
    expedited: bool,
    named: Named,
    ordered: int | None = None,
) -> None:
    """One order of a source for all these pieces."""
    source = lot.source
    assert source is not None
    arrives = _arrival(problem, lot, by, expedited)
    axis = problem.axes[lot.point]
    name = f"new/{source.supplier}/{lot.point}/{lot.part}/{arrives}" + "/expedited" * expedited
    name = named.new(name)
    total = sum(quantity for _, quantity in pieces)
    named.supplies[name] = Supply(
        name,
        SupplyKind.NEW_PURCHASE,
        lot.part,
        lot.point,
        ordered_milli(source, total) if ordered is None else ordered,
        axis.start_moment(axis.opening(arrives)),
        supplier=source.supplier,
        place_on=arrives - timedelta(days_to_arrive(source, expedited=expedited)),
        arrives_on=arrives,
        expedited=expedited,
    )
    for claim, quantity in pieces:
        claim.pieces.append((name, quantity))


# ---- transfers


def _move(
    problem: Problem,
    route: Route,
    day: date,
    origin_supply: str,
    quantity_milli: int,
    named: Named,
) -> str:
    """The transfer that brings units of a supply over a route, one supply for each lane of it."""
    name = origin_supply
    part = named.supplies[origin_supply].part
    leaves = day
    for lane in route.legs:
        arrives = leaves + timedelta(lane.days)
        axis = problem.axes[lane.destination]
        usable = axis.start_moment(axis.opening(arrives))
        key = (lane.origin, lane.destination, leaves, name)
        moved = named.of(key, f"move/{lane.origin}/{lane.destination}/{leaves}/{name}")
        old = named.supplies.get(moved)
        named.supplies[moved] = Supply(
            moved,
            SupplyKind.TRANSFER,
            part,
            lane.destination,
            quantity_milli + (old.quantity_milli if old is not None else 0),
            usable,
            origin=lane.origin,
            from_supply=name,
            leaves_on=leaves,
            arrives_on=arrives,
        )
        name = moved
        following = next((b for a, b in pairwise(route.legs) if a is lane), None)
        if following is not None:
            leaves = next_departure(problem, following, axis.next_open_day(arrives))
    return name

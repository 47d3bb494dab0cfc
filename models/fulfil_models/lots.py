"""Which lot serves whom? Draws on a bin turned into pegs on supplies, new orders and transfers.

Draws are served in the order of the last lot they may use; within that, needs of builds take the
earliest lots left, parts orders the latest (they ship on the day their lot is usable). Any such
order serves everybody, since the balance of the bin never falls below nothing. Then what exists
takes the place of new orders (`existing_first`).
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise

from fulfil_models.book import Book, Need, WayKind
from fulfil_models.decisions import Decisions, Fill, Ship, need_moment
from fulfil_models.existing_first import Claim, Pile, box_of, deliveries, pile_of, spare_orders
from fulfil_models.placed_orders import (
    is_expedited_together,
    is_together,
    order_supply,
    order_together,
    orders_for,
)
from fulfil_models.plan import Supply, SupplyKind
from fulfil_models.problem import Problem
from fulfil_models.routes import Route, next_departure
from fulfil_models.supply import Bin, Lot


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
            claims[fill.way.bin.index].append(_fill_claim(problem, fill, decisions.starts))
    for ship in decisions.ships:
        claims[ship.outlet.bin.index].append(_ship_claim(problem, ship))
    bins = book.supplies.bins
    piles = {index: _piles(problem, bins[index], claims[index]) for index in sorted(claims)}
    _take_what_exists(book, piles, decisions.ships)
    named = Named(job.name for job in decisions.jobs)
    for index in sorted(piles):
        for pile in piles[index]:
            if pile.shares:
                _name(problem, pile, named)
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


def _take_what_exists(book: Book, piles: dict[int, list[Pile]], ships: Iterable[Ship]) -> None:
    """Let what exists take the place of new orders, part by part and point by point."""
    together: defaultdict[tuple[str, str], list[int]] = defaultdict(list)
    for index in piles:
        there = book.supplies.bins[index]
        together[there.part, there.point].append(index)
    boxes = deliveries(pile for rows in piles.values() for pile in rows)
    for ship in ships:
        if ship.outlet.route is not None:
            axis = book.problem.axes[ship.outlet.point]
            day = axis.start_moment(ship.outlet.route.arrivals[ship.departure]).date()
            boxes[box_of(ship), day] += 1
    for key, indices in together.items():
        if any(pile.is_order for index in indices for pile in piles[index]):
            own = book.supplies.bin(*key)
            if own.index not in piles:
                piles[own.index] = _piles(book.problem, own, [])
                indices.append(own.index)
            spare_orders([pile for index in indices for pile in piles[index]], boxes)


def _route_of(claimant: Fill | Ship) -> Route | None:
    """The route over which what is drawn is moved, if it is."""
    return claimant.outlet.route if isinstance(claimant, Ship) else claimant.way.route


def _ship_claim(problem: Problem, ship: Ship) -> Claim:
    there, advance, route = ship.outlet.bin, ship.outlet.advance, ship.outlet.route
    day = there.days[ship.event]
    if route is not None:
        day = _there_by(problem, route, ship.departure)
    if advance is not None:
        day = problem.axes[there.point].start_moment(advance.usable).date()
    return Claim(ship, ship.quantity_milli, ship.event, day, advance is not None)


def _there_by(problem: Problem, route: Route, departure: int) -> date:
    """Last day on which units may become usable that leave with a departure of a route: lanes
    also leave on days on which nothing comes in."""
    days = problem.axes[route.origin].open_days
    return days[bisect_right(days, route.departures[departure]) - 1]


def _fill_claim(problem: Problem, fill: Fill, starts: dict[str, tuple[int, ...]]) -> Claim:
    if fill.way.route is not None:
        by = _there_by(problem, fill.way.route, fill.departure)
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


def _piles(problem: Problem, there: Bin, claims: list[Claim]) -> list[Pile]:
    """The lots of a bin that exist, and the orders for what is drawn on the others."""
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
    piles: list[Pile] = []
    for event, lot in enumerate(there.lots):
        if lot.kind != SupplyKind.NEW_PURCHASE:
            milli = lot.quantity_milli
            if is_together(lot) and is_expedited_together(problem, lot):
                milli = sum(q for _, q in taken[event])  # each unit costs, whoever has it
            piles.append(pile_of(lot, lot.usable_on, milli, taken[event]))
        elif taken[event]:
            piles += orders_for(problem, lot, taken[event])
    return piles


def _name(problem: Problem, pile: Pile, named: Named) -> None:
    """The supply that a pile is, and the pieces that it gives."""
    lot = pile.lot
    if pile.is_order:
        supply = order_supply(problem, pile, named.new)
    elif is_together(lot):
        supply = order_together(problem, pile, named.new)
    else:
        supply = _lot_supply(problem, lot, named.new(_lot_name(lot)), pile.drawn_milli)
    named.supplies[supply.supply] = supply
    for share in pile.shares:
        share.claim.pieces.append((supply.supply, share.quantity_milli))


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

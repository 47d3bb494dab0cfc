"""How do scarce units flow through points and time? The supply side of the allocation model.

Every part has a node for each point and moment at which some of it becomes usable. Units flow from
lots into nodes, on in time, along routes and out again; who draws them is said elsewhere.

Objective terms: carriage by weight on every unit moved, each lane's departure once in all, and what
expediting costs by the unit.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from math import gcd

from fulfil_models.allocation_rows import Row, Rows, Terms, at_most, exactly
from fulfil_models.book import Book, WayKind
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.routes import Route
from fulfil_models.solving import LinearModel
from fulfil_models.supply import UNLIMITED_MILLI, Lot, SharedMonth

# ---- variables


@dataclass(slots=True)
class Network:
    """Nodes of one part at one point: moments at which units become usable, and their columns."""

    part: str
    point: str
    times: list[int]
    carried: list[int] = field(default_factory=list)
    """column of what is carried on from each node; the last one is left over"""
    inflow: list[Terms] = field(default_factory=list)
    entered: list[list[tuple[int, WayKind, int]]] = field(default_factory=list)
    """by node: (column, how, route) of what comes in but is no lot of the point's own"""
    outflow: list[Terms] = field(default_factory=list)
    lots: list[float] = field(default_factory=list)
    unit: int = MILLI
    """thousandths in one unit of flow"""
    ordered: float = 0.0
    """units that expedited orders and months shared with other points could bring"""
    unlimited_from: int = 1 << 60
    """index of the first node at which there is as much as one likes"""

    def enter(self, node: int, column: int, how: WayKind, route: int = -1) -> None:
        """Units of a column come in at a node."""
        self.inflow[node].append((column, 1.0))
        self.entered[node].append((column, how, route))


@dataclass(slots=True)
class Move:
    """Units of a part moved along a route from one node."""

    column: int
    most: float
    """units that could ever be moved so"""
    lanes: list[int]
    """binaries of the lanes of the route that cost by departure"""


@dataclass(slots=True)
class Month:
    """What a supplier lets go of a part in a month, for several points."""

    left: float
    """units of flow"""
    columns: list[int] = field(default_factory=list)
    """what comes out of it, whether unhurried or expedited, and to whichever point"""


class Flows:
    """Columns of all that comes in, is carried on, moved or expedited."""

    def __init__(self, book: Book, model: LinearModel) -> None:
        self.book = book
        self.model = model
        self.units = units_of_flow(book)
        self.networks: dict[tuple[str, str], Network] = {}
        self.moves: list[Move] = []
        self.months: dict[SharedMonth, Month] = {}
        self._lanes: dict[tuple[str, str], int] = {}
        """by lane: binary that it is used at all"""
        for part in sorted(_used_parts(book)):
            self._flows_of(part)

    def _flows_of(self, part: str) -> None:
        """A node for each moment at which a lot, a move or an expedited order becomes usable."""
        supplies = self.book.supplies
        points = [point for point in self.book.problem.points if self._is_reached(part, point)]
        arcs = [
            (route, usable, position)
            for route in supplies.routes
            if route.origin in points and route.destination in points
            for usable, position in self._departures(part, route)
        ]
        for point in points:
            times = set(supplies.bin(part, point).times)
            times.update(t for route, _, t in arcs if route.destination == point)
            for hurried in supplies.expedited(part, point):
                times.update(hurried.times)
            times.update(a.usable for a in supplies.advances(part, point))
            self._add_network(part, point, sorted(times))
        for route, usable, position in arcs:
            self._add_move(part, route, usable, position)

    def _is_reached(self, part: str, point: str) -> bool:
        supplies = self.book.supplies
        return bool(
            supplies.bin(part, point).lots
            or supplies.expedited(part, point)
            or any(
                supplies.bin(part, r.origin).lots or supplies.expedited(part, r.origin)
                for r in supplies.routes_into.get(point, ())
            )
        )

    def _departures(self, part: str, route: Route) -> Iterator[tuple[int, int]]:
        """(usable, arrival) of a route for all that comes to its origin, by the first departure."""
        for usable, day in self._comings(part, route.origin):
            departure = route.first_departure(day)
            if departure < len(route.arrivals):
                yield usable, route.arrivals[departure]

    def _comings(self, part: str, point: str) -> Iterator[tuple[int, date]]:
        """(position, day) from which lots of a point are usable; then expedited ones, at other
        times."""
        supplies, axis = self.book.supplies, self.book.problem.axes[point]
        own = supplies.bin(part, point)
        yield from zip(own.times, own.days, strict=True)
        sooner = {time for hurried in supplies.expedited(part, point) for time in hurried.times}
        sooner.update(advance.usable for advance in supplies.advances(part, point))
        for time in sorted(sooner.difference(own.times)):
            yield time, axis.start_moment(time).date()

    def _add_network(self, part: str, point: str, times: list[int]) -> None:
        net = Network(part, point, times, unit=self.units.get(part, MILLI))
        self.networks[part, point] = net
        net.inflow = [[] for _ in times]
        net.entered = [[] for _ in times]
        net.outflow = [[] for _ in times]
        net.lots = [0.0] * len(times)
        for lot in self.book.supplies.bin(part, point).lots:
            node = bisect_left(times, lot.usable)
            most = self.book.supplies.most_milli(lot)
            if most >= UNLIMITED_MILLI:
                net.unlimited_from = min(net.unlimited_from, node)
            elif self.book.supplies.shared_month(lot) is None:
                net.lots[node] += most // net.unit
            else:
                column = self.model.variable(0, most // net.unit)
                self._take_from_month(net, lot, column)
                net.ordered += most // net.unit
                net.enter(node, column, WayKind.OWN)
        net.carried = [self.model.variable() for _ in times]
        self._add_expedited(net)
        self._add_advances(net)

    def _add_expedited(self, net: Network) -> None:
        """Expedited purchases: each unit costs; relaxed: whole orders are not asked for."""
        for hurried in self.book.supplies.expedited(net.part, net.point):
            for lot in hurried.lots:
                assert lot.source is not None
                each = (lot.source.expedite_cost_micro or 0) / MICRO
                most = self.book.supplies.most_milli(lot) // net.unit
                net.ordered += most
                column = self.model.variable(0, most, cost=each * net.unit / MILLI)
                self._take_from_month(net, lot, column)
                net.enter(bisect_left(net.times, lot.usable), column, WayKind.EXPEDITE)

    def _add_advances(self, net: Network) -> None:
        """Units of a monthly lot that come sooner: out of the lot's node, into an earlier one."""
        for advance in self.book.supplies.advances(net.part, net.point):
            each = (advance.source.expedite_cost_micro or 0) / MICRO
            lot = advance.bin.lots[advance.event]
            most = self.book.supplies.most_milli(lot) // net.unit
            column = self.model.variable(0, most, cost=each * net.unit / MILLI)
            net.enter(bisect_left(net.times, advance.usable), column, WayKind.ADVANCE)
            net.outflow[bisect_left(net.times, lot.usable)].append((column, 1.0))

    def _take_from_month(self, net: Network, lot: Lot, column: int) -> None:
        """Let a column come out of the month that a lot shares with other points, if it does.

        Relaxed: how the points really share it is dealt out beforehand, here it is free.
        """
        shared = self.book.supplies.shared_month(lot)
        if shared is not None:
            month = self.months.setdefault(shared, Month(shared.left_milli / net.unit))
            month.columns.append(column)

    def _add_move(self, part: str, route: Route, usable: int, position: int) -> None:
        """Units moved along a route; relaxed: a lane's departures cost once in all."""
        supplies, model = self.book.supplies, self.model
        origin = self.networks[part, route.origin]
        target = self.networks[part, route.destination]
        kg = (self.book.problem.parts[part].weight_g or 0) / 1000 * origin.unit / MILLI
        column = model.variable(cost=kg * route.cost_per_kg_micro / MICRO)
        node = bisect_left(origin.times, usable)
        target.enter(bisect_left(target.times, position), column, WayKind.MOVE, route.index)
        if node >= origin.unlimited_from:
            return
        origin.outflow[node].append((column, 1.0))
        most = self._most_from(part, route.origin)
        if most is None:
            return
        lanes = []
        for lane in route.legs:
            key = (lane.origin, lane.destination)
            if lane.cost_per_move_micro and key not in supplies.undercut:
                if key not in self._lanes:
                    self._lanes[key] = model.binary(lane.cost_per_move_micro / MICRO)
                lanes.append(self._lanes[key])
        self.moves.append(Move(column, most, lanes))

    def _most_from(self, part: str, origin: str) -> float | None:
        """Most units of a part that could leave a point; None where that is without limit."""
        points = self.book.problem.points if origin in self.book.supplies.routes_into else (origin,)
        nets = [net for point in points if (net := self.networks.get((part, point))) is not None]
        if any(net.unlimited_from < len(net.times) for net in nets):
            return None
        return max(1.0, sum(sum(net.lots) + net.ordered for net in nets))


def units_of_flow(book: Book) -> dict[str, int]:
    """Thousandths in one unit of flow of each part: the largest that divides all amounts."""
    units: defaultdict[str, int] = defaultdict(int)
    for need in book.needs:
        if not need.plentiful:
            for way in need.ways:
                units[way.used] = gcd(units[way.used], way.quantity_milli)
    for line in book.lines:
        for outlet in line.outlets:
            units[outlet.used] = gcd(units[outlet.used], outlet.quantity_milli)
    for there in book.supplies.bins:
        for lot in there.lots:
            most = book.supplies.most_milli(lot)
            if most < UNLIMITED_MILLI:
                units[there.part] = gcd(units[there.part], most)
            shared = book.supplies.shared_month(lot)
            if shared is not None:
                units[there.part] = gcd(units[there.part], shared.left_milli)
    return {part: unit or MILLI for part, unit in units.items()}


def _used_parts(book: Book) -> set[str]:
    """Parts that some need or line may draw and that are not plentiful."""
    used = {
        way.used
        for need in book.needs
        if not need.plentiful
        for way in need.ways
        if way.kind != WayKind.MAKE
    }
    return used | {outlet.used for line in book.lines for outlet in line.outlets}


# ---- rules


def a_lane_that_is_used_is_paid(move: Move) -> Iterator[Row]:
    """m <= M z for each lane of the route that costs by departure.

    m units are moved, M could be at most, z says that the lane is used at all. Relaxed: departures
    on several days are paid once.
    """
    for lane in move.lanes:
        yield at_most([(move.column, 1.0), (lane, -move.most)], 0)


def points_share_a_cap(month: Month) -> Iterator[Row]:
    """sum over points of e <= the month's cap less open purchases.

    e is what enters at a point, unhurried or expedited, from a supplier's lot of a month.
    """
    yield at_most([(column, 1.0) for column in month.columns], month.left)


def units_balance_at_a_node(net: Network) -> Iterator[Row]:
    """carried in + lots + moved in + expedited = drawn + moved out + advanced + carried on.

    At every node up to the first without limit, from which on there is nothing to balance.
    """
    for node in range(min(len(net.times), net.unlimited_from)):
        terms = [(net.carried[node], -1.0), *net.inflow[node]]
        terms += [(column, -value) for column, value in net.outflow[node]]
        if node:
            terms.append((net.carried[node - 1], 1.0))
        yield exactly(terms, -net.lots[node])


def write_moves(rows: Rows, flows: Flows) -> None:
    for move in flows.moves:
        rows.keep(a_lane_that_is_used_is_paid, move)


def write_months(rows: Rows, flows: Flows) -> None:
    for month in flows.months.values():
        rows.keep(points_share_a_cap, month)


def write_balances(rows: Rows, flows: Flows) -> None:
    """To be written last: what needs and lines draw is told to the nodes as they are made."""
    for net in flows.networks.values():
        rows.keep(units_balance_at_a_node, net)

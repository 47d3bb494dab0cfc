"""From where does each line of the parts orders ship? The orders' side of the allocation model.

Objective terms: late days, the extra cost of alternates, carriage by weight, and what deliveries
cost. Relaxed: an order pays a point's delivery once, whatever the days it ships on.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field

from fulfil_models.allocation_flows import Flows, Network
from fulfil_models.allocation_rows import Row, Rows, Terms, at_least, at_most, exactly
from fulfil_models.book import Book, Line, Outlet
from fulfil_models.cells import MICRO
from fulfil_models.problem import carrier_day

# ---- variables


@dataclass(frozen=True, slots=True)
class Piece:
    """Units of a part that a line ships from one node."""

    column: int
    used: str
    point: str
    share: float
    """of the line that one unit is"""
    late_days: int


@dataclass(slots=True)
class Kind:
    """A part that may fill a line wholly."""

    used: str
    pick: int | None
    """binary that it does; None where it is the only one"""
    count: int
    """units of flow"""
    columns: list[int] = field(default_factory=list)


@dataclass(slots=True)
class FromPoint:
    """What a line ships from one point."""

    point: str
    shares: Terms
    here: int | None
    """binary that the whole line ships from here; None where it may be split"""
    box: int | None
    """binary that the point's delivery is paid for the order; None where it costs nothing"""


@dataclass(slots=True)
class Shipping:
    """A line with everything that it may ship."""

    line: Line
    late: int
    """column of its late days"""
    kinds: dict[str, Kind] = field(default_factory=dict)
    pieces: list[Piece] = field(default_factory=list)
    marks: dict[int, int] = field(default_factory=dict)
    """by late days, the most first: binary that the last piece is so late"""
    points: list[FromPoint] = field(default_factory=list)


class Lines:
    """Columns of all lines of the parts orders."""

    def __init__(self, book: Book, flows: Flows) -> None:
        self.book = book
        self.flows = flows
        self.model = flows.model
        self._boxes: dict[tuple[str, str, int], int] = {}
        """by order, point and cost of the delivery: binary that it is paid"""
        self.shippings = [self._shipping(line) for line in book.lines]

    def _shipping(self, line: Line) -> Shipping:
        made = Shipping(line, self.model.variable(cost=line.cost_per_late_day))
        kinds = {outlet.used: outlet for outlet in line.outlets}
        for used, outlet in kinds.items():
            pick = self.model.binary(outlet.extra_cost) if len(kinds) > 1 else None
            count = outlet.quantity_milli // self.flows.units[used]
            made.kinds[used] = Kind(used, pick, count)
        done: set[tuple[str, str]] = set()
        for outlet in line.outlets:
            place = (outlet.used, outlet.point)
            if place not in done:
                done.add(place)
                self._add_pieces(made, outlet, self.flows.networks[place])
        late = {piece.late_days for piece in made.pieces if piece.late_days > 0}
        made.marks = {days: self.model.binary() for days in sorted(late, reverse=True)}
        for point in dict.fromkeys(piece.point for piece in made.pieces):
            made.points.append(self._from_point(made, point))
        return made

    def _add_pieces(self, made: Shipping, outlet: Outlet, net: Network) -> None:
        """Pieces at each node from the last that is not late on."""
        days = self._late_days(made.line, outlet, net)
        kind = made.kinds[outlet.used]
        free = bisect_right(days, 0) - 1
        for node in range(max(free, 0), len(net.times)):
            column = self.model.variable(
                0, kind.count, integer=True, cost=outlet.cost_per_milli * net.unit
            )
            net.outflow[node].append((column, 1.0))
            kind.columns.append(column)
            made.pieces.append(Piece(column, outlet.used, net.point, 1.0 / kind.count, days[node]))
            if node >= net.unlimited_from:
                break

    def _late_days(self, line: Line, outlet: Outlet, net: Network) -> list[int]:
        """By node: late days of what ships from it."""
        axis, as_of = self.book.problem.axes[net.point], self.book.problem.as_of
        found = []
        for time in net.times:
            ships = axis.start_moment(time).date()
            found.append(line.late_days(ships, carrier_day(ships, outlet.delivery.days), as_of))
        return found

    def _from_point(self, made: Shipping, point: str) -> FromPoint:
        delivery = next(o.delivery for o in made.line.outlets if o.point == point)
        key = (made.line.row.order, point, delivery.cost_micro)
        if delivery.cost_micro and key not in self._boxes:
            self._boxes[key] = self.model.binary(delivery.cost_micro / MICRO)
        here = None if made.line.row.split else self.model.binary()
        shares = [(piece.column, piece.share) for piece in made.pieces if piece.point == point]
        return FromPoint(point, shares, here, self._boxes.get(key))


# ---- rules


def one_kind_fills_a_line(shipping: Shipping) -> Iterator[Row]:
    """sum over parts u of x_u = 1: wholly by the part, or wholly by one alternate."""
    terms = [(kind.pick, 1.0) for kind in shipping.kinds.values() if kind.pick is not None]
    if terms:
        yield exactly(terms, 1)


def pieces_make_up_a_line(shipping: Shipping) -> Iterator[Row]:
    """sum over points and nodes of f = q x, for each part that may fill the line."""
    for kind in shipping.kinds.values():
        terms = [(column, 1.0) for column in kind.columns]
        if kind.pick is None:
            yield exactly(terms, kind.count)
        else:
            yield exactly([*terms, (kind.pick, -float(kind.count))], 0)


def a_line_is_as_late_as_its_last_piece(shipping: Shipping) -> Iterator[Row]:
    """late days >= sum over days d of d z_d, z_d saying that the last piece is d days late:

    for every d, sum over pieces at least d days late of f / q <= sum over days >= d of z;
    sum of all z <= 1.
    """
    if not shipping.marks:
        return
    shares: defaultdict[int, Terms] = defaultdict(list)
    for piece in shipping.pieces:
        shares[piece.late_days].append((piece.column, piece.share))
    above: Terms = []
    flags: Terms = []
    for days, mark in shipping.marks.items():
        above += shares[days]
        flags.append((mark, -1.0))
        yield at_most([*above, *flags], 0)
    yield at_most([(mark, 1.0) for mark in shipping.marks.values()], 1)
    days_late = [(mark, -float(days)) for days, mark in shipping.marks.items()]
    yield at_least([(shipping.late, 1.0), *days_late], 0)


def a_whole_line_ships_only_from_a_chosen_point(place: FromPoint) -> Iterator[Row]:
    """sum of f / q <= y_p for each point p, where the line may not be split."""
    if place.here is not None:
        yield at_most([*place.shares, (place.here, -1.0)], 0)


def a_delivery_that_is_used_is_paid(place: FromPoint) -> Iterator[Row]:
    """sum of f / q <= b_op, or y_p <= b_op, if order o ships from point p at a cost."""
    if place.box is None:
        return
    if place.here is None:
        yield at_most([*place.shares, (place.box, -1.0)], 0)
    else:
        yield at_most([(place.here, 1.0), (place.box, -1.0)], 0)


def one_point_ships_a_whole_line(shipping: Shipping) -> Iterator[Row]:
    """sum over points p of y_p = 1, where the line may not be split."""
    terms = [(place.here, 1.0) for place in shipping.points if place.here is not None]
    if terms:
        yield exactly(terms, 1)


def write_lines(rows: Rows, shippings: list[Shipping]) -> None:
    for shipping in shippings:
        rows.keep(one_kind_fills_a_line, shipping)
        rows.keep(pieces_make_up_a_line, shipping)
        rows.keep(a_line_is_as_late_as_its_last_piece, shipping)
        for place in shipping.points:
            rows.keep(a_whole_line_ships_only_from_a_chosen_point, place)
            rows.keep(a_delivery_that_is_used_is_paid, place)
        rows.keep(one_point_ships_a_whole_line, shipping)

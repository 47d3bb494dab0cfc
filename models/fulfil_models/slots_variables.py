"""What does the whole model of a small book decide? Its variables, each by what it stands for.

Nothing here says how they hang together: the rules do (`slots_work`, `slots_needs`,
`slots_orders`), and `slots_costs` what they cost; `slots_making` makes them. Moments are in cells
of the compiled book, quantities in thousandths of a unit.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fulfil_models.book import WayKind
from fulfil_models.compiled import CLine, CNeed, Compiled, COutlet, CTask, CWay
from fulfil_models.supply import Lot
from fulfil_models.tables import Delivery

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

Values = tuple[int, ...]
"""an answer: the value of every variable, by its index"""
LotKey = tuple[int, int]
"""bin, and event of the bin"""
BoxKey = tuple[str, str, int, int]
"""order, point, ordinal of the day it ships, and what the delivery costs, in millionths"""
OrderKey = tuple[int, int, bool]
"""bin, event, and whether the lot is a monthly one that is advanced"""


@dataclass(frozen=True, slots=True)
class Units:
    """What is taken of one lot, in whole steps of its part.

    Attributes
    ----------
    step_milli: the smallest quantity that can be taken.
    most_milli: the largest that is wanted.
    steps: how many steps are taken.
    taken: whether any is.
    """

    step_milli: int
    most_milli: int
    steps: cp_model.IntVar
    taken: cp_model.IntVar

    @property
    def milli(self) -> cp_model.LinearExprT:
        """The quantity."""
        return self.step_milli * self.steps

    def read(self, values: Values) -> int:
        """The quantity in an answer, in thousandths."""
        return self.step_milli * values[self.steps.index]


@dataclass(frozen=True, slots=True)
class Offer:
    """Units of one lot that a need may draw by one way.

    Attributes
    ----------
    departure: index among the route's departures; -1 where nothing is moved.
    usable: cell from which the units are usable by this way.
    """

    need: CNeed
    way: CWay
    event: int
    departure: int
    usable: int
    units: Units


@dataclass(frozen=True, slots=True)
class Use:
    """A need filled with one part: `pick` says whether, `quantity` how much that takes."""

    used: str
    quantity: int
    pick: cp_model.IntVar
    offers: tuple[Offer, ...]


@dataclass(frozen=True, slots=True)
class Filling:
    """How a need may be filled.

    Attributes
    ----------
    done: whether the need's job is done; None where it always is.
    at: start of the operation that the need is for.
    jobs: ways that make the part by a job of its own.
    uses: parts that may be drawn instead.
    """

    need: CNeed
    done: cp_model.IntVar | None
    at: cp_model.IntVar | int
    jobs: tuple[CWay, ...]
    uses: tuple[Use, ...]


@dataclass(frozen=True, slots=True)
class Parcel:
    """Units of one lot that may be shipped for a line, at one event of an outlet; `number` is that
    of the outlet."""

    outlet: COutlet
    number: int
    event: int
    lot: int
    units: Units

    @property
    def departure(self) -> tuple[int, int]:
        """(route, departure) with which it is moved before it ships; (-1, -1) if it is not."""
        if self.outlet.route < 0:
            return -1, -1
        return self.outlet.route, self.outlet.departures[self.event]

    @property
    def late_days(self) -> int:
        return self.outlet.late[self.event]

    @property
    def day(self) -> int:
        """Ordinal of the day it ships."""
        return self.outlet.days[self.event]


@dataclass(frozen=True, slots=True)
class LineUse:
    """A line filled with one part: `pick` says whether, `quantity` how much that takes."""

    used: str
    quantity: int
    pick: cp_model.IntVar
    parcels: tuple[Parcel, ...]


@dataclass(frozen=True, slots=True)
class LineFilling:
    """How a line of a parts order may be filled.

    Attributes
    ----------
    late: its late days.
    origins: by point whether anything ships from it; only of a line that may not be split.
    """

    line: CLine
    late: cp_model.IntVar
    parcels: tuple[Parcel, ...]
    uses: tuple[LineUse, ...]
    origins: dict[str, cp_model.IntVar]

    def delivery(self, parcel: Parcel) -> Delivery:
        """What carries a parcel to the customer."""
        return self.line.line.outlets[parcel.number].delivery

    def box(self, parcel: Parcel) -> BoxKey:
        """What a parcel travels in, and pays for together with others."""
        order, cost_micro = self.line.line.row.order, self.delivery(parcel).cost_micro
        return (order, parcel.outlet.point, parcel.day, cost_micro)


@dataclass(frozen=True, slots=True)
class Order:
    """An expedited purchase of one lot.

    Attributes
    ----------
    drawn: what needs and lines draw of it.
    ordered: its quantity, in thousandths.
    placed: whether it is placed at all.
    times: how many multiples it is; None where any quantity may be ordered.
    """

    lot: Lot
    drawn: tuple[Units, ...]
    ordered: cp_model.IntVar
    placed: cp_model.IntVar
    times: cp_model.IntVar | None


@dataclass(slots=True)
class Variables:
    compiled: Compiled
    starts: dict[str, list[cp_model.IntVar]] = field(default_factory=dict)
    """by job, in order of its operations"""
    done: dict[str, cp_model.IntVar] = field(default_factory=dict)
    """by job made for a need: whether it is"""
    runs: defaultdict[int, list[tuple[cp_model.IntervalVar, int]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    """by work centre: (operation from start to end, stations it takes)"""
    fillings: list[Filling] = field(default_factory=list)
    lines: list[LineFilling] = field(default_factory=list)
    moved: dict[tuple[int, int], cp_model.IntVar] = field(default_factory=dict)
    """by route and departure: whether anything leaves; only where that costs something"""
    boxes: dict[BoxKey, cp_model.IntVar] = field(default_factory=dict)
    """whether anything ships in it; only where that costs something"""
    orders: list[Order] = field(default_factory=list)
    late: list[tuple[CTask, cp_model.IntVar]] = field(default_factory=list)
    """by build: late cells"""

    def offers(self) -> Iterator[Offer]:
        """Everything that a need may draw."""
        for filling in self.fillings:
            for use in filling.uses:
                yield from use.offers

    def parcels(self) -> Iterator[Parcel]:
        """Everything that may be shipped."""
        for line in self.lines:
            yield from line.parcels

    def drawn(self) -> dict[LotKey, list[Units]]:
        """By lot: all that may be drawn of it."""
        found: defaultdict[LotKey, list[Units]] = defaultdict(list)
        for offer in self.offers():
            found[offer.way.bin, offer.event].append(offer.units)
        for parcel in self.parcels():
            found[parcel.outlet.bin, parcel.lot].append(parcel.units)
        return dict(found)

    def hurried(self) -> dict[OrderKey, list[Units]]:
        """By expedited lot: all that may be drawn of it."""
        found: defaultdict[OrderKey, list[Units]] = defaultdict(list)
        for offer in self.offers():
            if offer.way.kind in (WayKind.ADVANCE, WayKind.EXPEDITE):
                advanced = offer.way.kind == WayKind.ADVANCE
                found[offer.way.bin, offer.event, advanced].append(offer.units)
        for parcel in self.parcels():
            if parcel.outlet.source is not None:
                advanced = parcel.outlet.advanced >= 0
                found[parcel.outlet.bin, parcel.lot, advanced].append(parcel.units)
        return dict(found)


def largest(variable: cp_model.IntVar) -> int:
    """The largest value that a variable can have."""
    # the list is read out first: counted from its end, the solver's own one answers 0
    return int(list(variable.proto.domain)[-1])

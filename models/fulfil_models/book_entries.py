"""What stands in the order book: builds with their jobs, operations and needs, the ways in which a
need can be filled, work centres, and lines of parts orders with the outlets they can ship from.

Positions and durations are working minutes of the build's point; costs are floats in the currency,
used to compare plans while searching (the plan that comes out is costed exactly elsewhere).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import IntEnum
from fractions import Fraction
from functools import cached_property
from math import gcd

from fulfil_models import stations
from fulfil_models.calendar import Axis
from fulfil_models.cells import MICRO, PPM, day_of
from fulfil_models.problem import carrier_day
from fulfil_models.stations import Layers
from fulfil_models.supply import Advance, Bin, Route
from fulfil_models.tables import Build, Delivery, PartsOrder

UNPROMISED_WEIGHT = Fraction(1, 1000)
"""weight of what is not yet promised: built as soon as it disturbs nobody (contract rule 8)"""


class WayKind(IntEnum):
    """How a need can be filled; in this order where costs are equal."""

    OWN = 0  # from the bin of the part at the build's point
    MOVE = 1  # from the bin at another point, along a route
    ADVANCE = 2  # from a monthly lot of the own bin, expedited
    EXPEDITE = 3  # from an expedited purchase
    MAKE = 4  # by a job of its own


@dataclass(slots=True, eq=False)
class Way:
    """One way to fill a need wholly with `quantity_milli` of `used`."""

    kind: WayKind
    used: str
    quantity_milli: int
    cost: float
    """extra cost of the alternate and of moving by weight, for the whole need; what an order or a
    departure costs, others may share"""
    bin: Bin | None = None
    route: Route | None = None
    advance: Advance | None = None
    job: Job | None = None

    @property
    def move_cost(self) -> float:
        """Cost of the departure that the way needs, shared by all that move with it."""
        return self.route.cost_per_move_micro / MICRO if self.route else 0.0


@dataclass(slots=True, eq=False)
class Need:
    """So much of a part at the start of an operation of a job."""

    index: int
    job: Job
    place: int
    """index of the operation in its job; -1 in a phantom, at its parent's moment"""
    part: str
    quantity_milli: int
    tail: int = 0
    """working minutes from this need to the end of the build if nothing waits"""
    plentiful: bool = False
    """stock at the point covers whatever could ever be drawn from it: never a question"""
    ways: tuple[Way, ...] = ()


@dataclass(slots=True, eq=False)
class Operation:
    number: int
    centre: int
    duration: int
    stations: int
    needs: tuple[Need, ...] = ()
    pinned: int | None = None
    """position it must keep: started work, or the freeze"""
    started: datetime | None = None


@dataclass(slots=True, eq=False)
class Job:
    name: str
    task: Task
    part: str
    units_milli: int
    parent: Need | None
    operations: tuple[Operation, ...] = ()
    loose: tuple[Need, ...] = ()
    """needs of a phantom"""

    def needs(self) -> Iterator[Need]:
        yield from self.loose
        for operation in self.operations:
            yield from operation.needs


@dataclass(slots=True, eq=False)
class Task:
    """A build to be planned."""

    index: int
    build: Build
    axis: Axis
    earliest: int
    due: int
    rate: Fraction
    """cost of one late working minute, in the currency"""
    weight: Fraction
    root: Job = field(init=False)
    finished: datetime | None = None
    """end of the last finished operation"""

    def jobs(self) -> Iterator[Job]:
        """Every job that may have to be done for the build, parents first."""
        stack = [self.root]
        while stack:
            job = stack.pop()
            yield job
            stack += [w.job for n in job.needs() for w in n.ways if w.job is not None]


@dataclass(slots=True, eq=False)
class Outlet:
    """One way to fill a parts-order line: a part in a bin at a point that can deliver, or in one
    from which a route leads there."""

    used: str
    quantity_milli: int
    extra_cost: float
    """of the alternate, whole line"""
    bin: Bin
    delivery: Delivery
    cost_per_milli: float
    """carriage by weight for a thousandth of a unit"""
    advance: Advance | None = None
    """of a monthly lot that is expedited for the line"""
    route: Route | None = None
    """from the bin to the point that ships"""

    @property
    def point(self) -> str:
        """Where it ships from."""
        return self.bin.point if self.route is None else self.route.destination


@dataclass(slots=True, eq=False)
class Line:
    """A parts-order line to be planned."""

    index: int
    row: PartsOrder
    cost_per_late_day: float
    weight: Fraction
    outlets: tuple[Outlet, ...]

    def late_days(self, ships: date, arrives: date, as_of: date) -> int:
        """Late calendar days (contract rule 10)."""
        return order_late_days(self.row, ships, arrives, as_of)


def is_promised(row: Build | PartsOrder) -> bool:
    """Whether somebody was told a day, by name or by count."""
    return row.promised is not None or (isinstance(row, PartsOrder) and row.within_days is not None)


def weight_of(row: Build | PartsOrder) -> Fraction:
    """Weight of a late day (contract rule 8)."""
    return Fraction(row.weight_ppm, PPM) if is_promised(row) else UNPROMISED_WEIGHT


def build_late_days(build: Build, ships: date) -> int:
    """Calendar days after its promise of a build that ships so; 0 where nothing is promised."""
    return 0 if build.promised is None else max(0, (ships - day_of(build.promised)).days)


def due_and_done(row: PartsOrder, ships: date, arrives: date) -> tuple[date | None, date]:
    """The day by which a parts-order line is promised, None where nothing is, and which of its two
    days is held against that (contract rule 10)."""
    if row.promised is None and row.within_days is not None:
        return carrier_day(row.ordered, row.within_days), arrives
    return row.promised, ships


def order_late_days(row: PartsOrder, ships: date, arrives: date, as_of: date) -> int:
    """Late calendar days of a parts-order line that ships and arrives so (contract rule 10)."""
    due, done = due_and_done(row, ships, arrives)
    return max(0, (done - (due or as_of)).days)


@dataclass(slots=True, eq=False)
class Centre:
    """A work centre with the downtime that is known."""

    name: str
    point: str
    stations: int
    down: tuple[tuple[int, int, int], ...]
    """(from, to, stations out), positions"""
    held: tuple[tuple[int, int, int, str], ...] = ()
    """(from, to, stations, whose), positions: taken by others, who are not in the book"""
    gone: tuple[tuple[int, int, int], ...] = field(init=False)
    """(from, to, stations), positions: out, or taken by others. One after another, and never more
    than there are, also where what is out was held before."""

    def __post_init__(self) -> None:
        loads = [*self.down, *((start, end, count) for start, end, count, _ in self.held)]
        self.gone = tuple(_in_sum(loads, self.stations))


def _in_sum(loads: Iterable[tuple[int, int, int]], most: int) -> Iterator[tuple[int, int, int]]:
    """(from, to, stations) of all loads together, in order of time; at most so many stations."""
    changes: defaultdict[int, int] = defaultdict(int)
    for start, end, count in loads:
        changes[start] += count
        changes[end] -= count
    since = load = 0
    for position in sorted(changes):
        if changes[position]:
            if load:
                yield since, position, min(load, most)
            since, load = position, load + changes[position]


class Gone:
    """What is out of the work centres, or taken by others."""

    def __init__(self, centres: Iterable[Centre]) -> None:
        self._centres = tuple(centres)
        self._layers: dict[int, tuple[Layers, ...]] = {}

    @cached_property
    def divisor(self) -> int:
        """Greatest common divisor of all positions at which it begins or ends; 0 without any."""
        return gcd(*(at for c in self._centres for start, end, _ in c.gone for at in (start, end)))

    def layers(self, cell: int) -> list[Layers]:
        """Load of every work centre by it, in cells of so many minutes."""
        if cell not in self._layers:
            self._layers[cell] = tuple(_layers(centre, cell) for centre in self._centres)
        return list(self._layers[cell])


def _layers(centre: Centre, cell: int) -> Layers:
    layers = stations.empty(centre.stations)
    for start, end, count in centre.gone:
        layers = stations.add(layers, start // cell, (end - start) // cell, count)
    return layers

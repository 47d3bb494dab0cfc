"""The book in the form the insertion search runs on: plain numbers, time in cells.

A cell is the greatest common divisor of everything that has a length or a moment, so nothing is
lost by it. Needs that stock covers whatever happens are left out.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass, field, replace
from datetime import date
from math import gcd

from fulfil_models.book import Book, Job, Line, Need, Operation, Outlet, Task, Way, WayKind
from fulfil_models.cells import MICRO, MILLI, day_of
from fulfil_models.problem import carrier_day
from fulfil_models.supply import Bin, Route
from fulfil_models.tables import Source

NEVER = 1 << 60
KEPT = 1e6
"""how many times lateness counts where a promise is to be kept (`Problem.kept_builds`): nothing
outweighs that"""


@dataclass(slots=True, eq=False)
class CWay:
    way: Way
    kind: int
    bin: int
    quantity: int
    cost: float
    times: tuple[int, ...] = ()
    """cell from which the units of each event of the bin are usable by this way"""
    days: tuple[int, ...] = ()
    """day ordinals of the bin's events, for moves"""
    route: int = -1
    arrivals: tuple[int, ...] = ()
    departures: tuple[int, ...] = ()
    shared_cost: float = 0.0
    """of a departure or an expedited order, if nobody shares it"""
    event: int = -1
    """of an advance"""
    usable: int = 0
    limit: int = 0
    source: Source | None = None
    job: CJob | None = None
    parts: tuple[CWay, ...] = ()
    """of a mixed way: those it may be put together from, the cheapest first"""


MIXED = 5
"""kind of a way that takes some units here and some there"""


@dataclass(slots=True, eq=False)
class CNeed:
    need: Need
    tail: int
    ways: tuple[CWay, ...]
    simple: bool
    """one way, from the own bin, at no cost"""


@dataclass(slots=True, eq=False)
class COperation:
    operation: Operation
    centre: int
    duration: int
    stations: int
    needs: tuple[CNeed, ...]
    pinned: int | None


@dataclass(slots=True, eq=False)
class CJob:
    job: Job
    earliest: int
    operations: tuple[COperation, ...]
    loose: tuple[CNeed, ...]


@dataclass(slots=True, eq=False)
class CTask:
    task: Task
    index: int
    earliest: int
    due: int
    rate: float
    """cost of one late cell"""
    root: CJob
    work: int = 0
    parts: frozenset[int] = field(default_factory=frozenset)
    """bins that are scarce and that it may draw on"""


@dataclass(slots=True, eq=False)
class COutlet:
    bin: int
    quantity: int
    cost: float
    cost_per_milli: float
    delivery_cost: float
    point: str
    used: str
    last_lot: tuple[int, ...]
    """by event: the last lot of the bin that may be drawn on. An event is a lot that becomes usable
    or, of an outlet with a route, a departure"""
    late: tuple[int, ...]
    """late days if it ships with each event"""
    days: tuple[int, ...]
    """by event: the day on which it ships"""
    source: Source | None
    advanced: int = -1
    """event of the monthly lot that is expedited, the only one it may draw on; -1 for any"""
    limit: int = 0
    """units of that lot"""
    route: int = -1
    departures: tuple[int, ...] = ()
    """by event: index of the route's departure"""
    move_cost: float = 0.0
    """of a departure, shared by all that move with it"""

    @property
    def events(self) -> range:
        """Events that it may draw on."""
        if self.advanced >= 0:
            return range(self.advanced, self.advanced + 1)
        return range(len(self.late))


@dataclass(slots=True, eq=False)
class CLine:
    line: Line
    index: int
    day_cost: float
    outlets: tuple[COutlet, ...]


def is_pinned(task: CTask) -> bool:
    return bool(_pins(task))


def pinned_tasks(tasks: Iterable[CTask]) -> list[CTask]:
    """Builds with operations that keep their slot, by the first of these."""
    return sorted(filter(is_pinned, tasks), key=_first_pin)


def _pins(task: CTask) -> list[int]:
    """Slots kept by operations of a build, and of what is made for it."""
    operations = (op for job in all_jobs(task.root) for op in job.operations)
    return [op.pinned for op in operations if op.pinned is not None]


def _first_pin(task: CTask) -> tuple[int, int]:
    return min(_pins(task)), task.index


class Compiled:
    """A book ready for the search; `also` are further positions that are to fall on a cell."""

    def __init__(self, book: Book, also: Iterable[int] = ()) -> None:
        self.book = book
        self.cell = gcd(_cell(book), *also)
        self._ways: dict[tuple[int, int], tuple[int, ...]] = {}
        self.departures = book.supplies.found_routes.departures
        self.arrivals = book.supplies.found_routes.arrivals(self.cell)
        self.tasks = [self._task(task) for task in book.tasks]
        self.lines = [self._line(line) for line in book.lines]
        bins = book.supplies.bins
        self.supply = [list(there.supply) for there in bins]
        self.times = [tuple(t // self.cell for t in there.times) for there in bins]
        self.pinned = pinned_tasks(self.tasks)
        """builds with operations that keep their slot, in the order in which they are put in"""

    def renew(self, task: Task) -> None:
        """Compile one build anew, since other operations of it are pinned now."""
        self.tasks[task.index] = self._task(task)

    def _task(self, task: Task) -> CTask:
        made = CTask(
            task,
            task.index,
            task.earliest // self.cell,
            (self.kept_until(task) if self._is_kept(task) else task.due) // self.cell,
            float(task.rate) * self.cell * (KEPT if self._is_kept(task) else 1.0),
            self._job(task.root),
        )
        bins: set[int] = set()
        for job in all_jobs(made.root):
            for need in all_needs(job):
                for way in need.ways:
                    bins.update(part.bin for part in way.parts or (way,) if part.bin >= 0)
        made.parts = frozenset(bins)
        made.work = sum(op.duration for op in made.root.operations)
        return made

    def _is_kept(self, task: Task) -> bool:
        return task.build.build in self.book.problem.kept_builds

    def kept_until(self, task: Task) -> int:
        """Last position at which a promised build may end and be in time, by its days as well: if
        the promised day is closed, work after the last cut-off costs nothing and ships late."""
        promised = task.build.promised
        if promised is None:
            return task.due
        cutoff = self.book.problem.points[task.build.point].cutoff
        return min(task.due, task.axis.last_to_ship(day_of(promised), cutoff))

    def at_cost(self) -> Compiled:
        """The same with all lateness at what it costs, also where promises are kept before all
        else: a bound has to hold for every plan."""
        if not self.book.problem.kept_builds:
            return self
        made = copy(self)
        made.tasks = [
            replace(t, due=t.task.due // self.cell, rate=float(t.task.rate) * self.cell)
            for t in self.tasks
        ]
        return made

    def _job(self, job: Job) -> CJob:
        return CJob(
            job,
            job.task.earliest // self.cell,
            tuple(
                COperation(
                    operation,
                    operation.centre,
                    operation.duration // self.cell,
                    operation.stations,
                    self._needs(operation.needs),
                    None if operation.pinned is None else operation.pinned // self.cell,
                )
                for operation in job.operations
            ),
            self._needs(job.loose),
        )

    def _needs(self, needs: tuple[Need, ...]) -> tuple[CNeed, ...]:
        made = []
        for need in needs:
            if need.plentiful:
                continue
            # what is made for it already, or frozen to be, fills it
            going = [w for w in need.ways if w.job is not None and has_pinned(w.job)]
            ways = self._with_mixed([self._way(way) for way in going or need.ways])
            simple = len(ways) == 1 and ways[0].kind == WayKind.OWN and not ways[0].cost
            made.append(CNeed(need, need.tail // self.cell, ways, simple))
        return tuple(made)

    def _with_mixed(self, ways: list[CWay]) -> tuple[CWay, ...]:
        """Ways of a need, those that may share it put together into one for each part.

        A need of several units may draw on several supplies of one part; what its own bin holds
        whole stays a way of its own, and so does a job.
        """
        made: list[CWay] = []
        parts = self.book.problem.parts
        for used in dict.fromkeys(way.way.used for way in ways):
            drawn = [w for w in ways if w.way.used == used and w.job is None]
            jobs = [w for w in ways if w.way.used == used and w.job is not None]
            if len(drawn) > 1 and drawn[0].quantity > parts[used].step_milli:
                dearer = [w for w in drawn if w.kind != WayKind.OWN]
                first = min(dearer, key=lambda w: w.cost + w.shared_cost)
                mixed = CWay(first.way, MIXED, -1, first.quantity, first.cost + first.shared_cost)
                mixed.parts = tuple(drawn)
                drawn = [w for w in drawn if w.kind == WayKind.OWN] + [mixed]
            made += [*drawn, *jobs]
        return tuple(sorted(made, key=lambda w: (w.cost + w.shared_cost, w.kind)))

    def _way(self, way: Way) -> CWay:
        made = CWay(
            way,
            int(way.kind),
            way.bin.index if way.bin is not None else -1,
            way.quantity_milli,
            way.cost,
            shared_cost=way.move_cost,
        )
        if way.job is not None:
            made.job = self._job(way.job)
        elif way.advance is not None:
            made.event = way.advance.event
            made.usable = way.advance.usable // self.cell
            made.limit = way.advance.limit_milli
            made.source = way.advance.source
            made.shared_cost = purchase_cost(made.source, made.quantity)
        elif way.bin is not None:
            made.times = self._usable(way.bin, way.route)
            if way.kind == WayKind.EXPEDITE:
                made.source = way.bin.lots[0].source
                made.shared_cost = purchase_cost(made.source, made.quantity)
            if way.route is not None:
                made.route = way.route.index
                made.days = tuple(day.toordinal() for day in way.bin.days)
                made.arrivals = self.arrivals[made.route]
                made.departures = self.departures[made.route]
        return made

    def _usable(self, there: Bin, route: Route | None) -> tuple[int, ...]:
        """Cell from which units of each event of a bin are usable, moved if a route is given."""
        key = (there.index, -1 if route is None else route.index)
        if key not in self._ways:
            if route is None:
                self._ways[key] = tuple(t // self.cell for t in there.times)
            else:
                arrivals, departures = self.arrivals[route.index], self.departures[route.index]
                usable = []
                for day in there.days:
                    departure = bisect_left(departures, day.toordinal())
                    usable.append(arrivals[departure] if departure < len(arrivals) else NEVER)
                self._ways[key] = tuple(usable)
        return self._ways[key]

    def _line(self, line: Line) -> CLine:
        outlets = tuple(self._outlet(line, outlet) for outlet in line.outlets)
        key = line.row.order, line.row.line
        kept = KEPT if key in self.book.problem.kept_lines else 1.0
        return CLine(line, line.index, line.cost_per_late_day * kept, outlets)

    def _outlet(self, line: Line, outlet: Outlet) -> COutlet:
        problem, there = self.book.problem, outlet.bin
        advance, route = outlet.advance, outlet.route
        source = there.lots[0].source if there.lots[0].expedited else None
        last_lot = tuple(range(len(there.lots)))
        days = list(there.days)
        departures: tuple[int, ...] = ()
        cost_per_milli, axis = outlet.cost_per_milli, problem.axes[outlet.point]
        if advance is not None:
            source = advance.source
            days[advance.event] = axis.start_moment(advance.usable).date()
        if route is not None:
            last_lot, departures = _departures(route, there.days)
            days = [axis.start_moment(route.arrivals[k]).date() for k in departures]
            kg_per_milli = (problem.parts[outlet.used].weight_g or 0) / 1000 / MILLI
            cost_per_milli += kg_per_milli * route.cost_per_kg_micro / MICRO
        late = tuple(
            line.late_days(day, carrier_day(day, outlet.delivery.days), problem.as_of)
            for day in days
        )
        return COutlet(
            there.index,
            outlet.quantity_milli,
            outlet.extra_cost + purchase_cost(source, outlet.quantity_milli),
            cost_per_milli,
            outlet.delivery.cost_micro / MICRO,
            outlet.point,
            outlet.used,
            last_lot,
            late,
            tuple(day.toordinal() for day in days),
            source,
            -1 if advance is None else advance.event,
            0 if advance is None else advance.limit_milli,
            -1 if route is None else route.index,
            departures,
            0.0 if route is None else route.cost_per_move_micro / MICRO,
        )


def _departures(route: Route, days: Sequence[date]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Departures worth taking from a bin with lots usable on some days, the first after each lot:
    the last lot of the bin that each can take, and its index."""
    last_lot: dict[int, int] = {}
    for lot, day in enumerate(days):
        departure = route.first_departure(day)
        if departure < len(route.departures):
            last_lot[departure] = lot
    return tuple(last_lot.values()), tuple(last_lot)


def purchase_cost(source: Source | None, quantity_milli: int) -> float:
    """Cost of expediting so many units, rounded up to a whole order."""
    if source is None:
        return 0.0
    return ordered_milli(source, quantity_milli) / MILLI * (source.expedite_cost_micro or 0) / MICRO


def ordered_milli(source: Source, quantity_milli: int) -> int:
    """Smallest order of a source that brings so many units (its minimum and multiple)."""
    if quantity_milli <= 0:
        return 0
    wanted = max(quantity_milli, source.minimum_milli)
    multiple = source.multiple_milli
    return -(-wanted // multiple) * multiple if multiple else wanted


def has_pinned(job: Job) -> bool:
    return any(operation.pinned is not None for operation in job.operations)


def all_jobs(root: CJob) -> Iterator[CJob]:
    """A job and every job that may be made for it."""
    stack = [root]
    while stack:
        job = stack.pop()
        yield job
        stack += [w.job for need in all_needs(job) for w in need.ways if w.job is not None]


def all_needs(job: CJob) -> list[CNeed]:
    return [*job.loose, *(need for op in job.operations for need in op.needs)]


def _cell(book: Book) -> int:
    """Greatest common divisor of all lengths and moments, in working minutes."""
    cell = gcd(book.supplies.found_routes.divisor, book.gone.divisor)
    for task in book.tasks:
        cell = gcd(cell, task.earliest, task.due)
        for job in task.jobs():
            for operation in job.operations:
                cell = gcd(cell, operation.duration, operation.pinned or 0)
    for there in book.supplies.bins:
        cell = gcd(cell, *there.times)
    return cell or 1

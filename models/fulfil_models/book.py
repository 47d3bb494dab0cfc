"""The order book as the planner works on it: every job, operation and need of every build, the ways
in which each need can be filled, and every line of the parts orders.

Nothing is decided here. A `Need` lists its `Way`s; a `Job` that one of them makes hangs below it.
Positions and durations are working minutes of the build's point; costs are floats in the currency,
used to compare plans while searching (the plan that comes out is costed exactly elsewhere).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import IntEnum
from fractions import Fraction

from fulfil_models.calendar import Axis, make_axis
from fulfil_models.cells import MICRO, MILLI, PPM
from fulfil_models.explosion import JobNeed, job_needs, round_up
from fulfil_models.problem import Problem, carrier_day
from fulfil_models.supply import Advance, Bin, Route, Supplies
from fulfil_models.tables import Alternate, Build, Delivery, PartsOrder

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
    """One way to fill a parts-order line: a part in a bin at a point that can deliver."""

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


def order_late_days(row: PartsOrder, ships: date, arrives: date, as_of: date) -> int:
    """Late calendar days of a parts-order line that ships and arrives so (contract rule 10)."""
    if row.promised is not None:
        return max(0, (ships - row.promised).days)
    if row.within_days is not None:
        return max(0, (arrives - carrier_day(row.ordered, row.within_days)).days)
    return max(0, (ships - as_of).days)


@dataclass(slots=True, eq=False)
class Centre:
    """A work centre with the downtime that is known."""

    name: str
    point: str
    stations: int
    down: tuple[tuple[int, int, int], ...]
    """(from, to, stations out), positions"""


class Book:
    """All tasks, lines and centres of a problem, with their supplies."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.supplies = Supplies(problem)
        self.centres = self._make_centres()
        self._centre_index = {centre.name: i for i, centre in enumerate(self.centres)}
        self._potential = _potential_draws(problem)
        self._names: set[str] = set()
        self._needs_cache: dict[tuple[str, int, date], list[JobNeed]] = {}
        self.needs: list[Need] = []
        self.tasks = [self._make_task(i, build) for i, build in enumerate(problem.builds)]
        self.lines = [self._make_line(i, row) for i, row in enumerate(problem.parts_orders)]

    def _make_centres(self) -> list[Centre]:
        down: defaultdict[str, list[tuple[int, int, int]]] = defaultdict(list)
        for row in self.problem.dataset.downtime:
            axis = self.problem.axes[self.problem.work_centres[row.work_centre].point]
            starts, ends = axis.position(row.starts), axis.position(row.ends)
            if starts < ends:
                down[row.work_centre].append((starts, ends, row.stations))
        return [
            Centre(row.work_centre, row.point, row.stations, tuple(sorted(down[row.work_centre])))
            for row in self.problem.work_centres.values()
        ]

    # ---- builds

    def _make_task(self, index: int, build: Build) -> Task:
        problem = self.problem
        axis = problem.axes[build.point]
        promised = build.promised
        weight = Fraction(build.weight_ppm, PPM) if promised is not None else UNPROMISED_WEIGHT
        task = Task(
            index=index,
            build=build,
            axis=axis,
            earliest=axis.opening(build.earliest) if build.earliest else 0,
            due=axis.due(promised, problem.points[build.point].cutoff),
            rate=weight * Fraction(problem.settings.late_day_cost_micro, MICRO) / axis.standard_day,
            weight=weight,
        )
        task.root = self._make_job(task, build.build, build.product, MILLI, None, build)
        self._apply_progress(task)
        self._apply_freeze(task)
        _set_tails(task.root, 0)
        return task

    def _make_job(
        self,
        task: Task,
        name: str,
        part: str,
        units_milli: int,
        parent: Need | None,
        build: Build | None,
    ) -> Job:
        while name in self._names:
            name += "'"
        self._names.add(name)
        job = Job(name, task, part, units_milli, parent)
        routing = self.problem.routings.get(part, [])
        by_operation: defaultdict[int | None, list[JobNeed]] = defaultdict(list)
        for need in self._needs_of(part, units_milli, task, build):
            by_operation[need.operation].append(need)
        operations = []
        for place, step in enumerate(routing):
            minutes_milli = step.setup_milli + step.minutes_milli * units_milli // MILLI
            operation = Operation(
                step.operation,
                self._centre_index[step.work_centre],
                minutes_milli // MILLI,
                step.stations,
            )
            operation.needs = tuple(
                self._make_need(job, place, need) for need in by_operation.pop(step.operation, ())
            )
            operations.append(operation)
        job.operations = tuple(operations)
        job.loose = tuple(self._make_need(job, -1, n) for n in by_operation.pop(None, ()))
        return job

    def _needs_of(
        self, part: str, units_milli: int, task: Task, build: Build | None
    ) -> list[JobNeed]:
        if build is not None:
            return job_needs(self.problem, part, units_milli, build=build)
        key = (part, units_milli, task.build.ordered)
        if key not in self._needs_cache:
            self._needs_cache[key] = job_needs(
                self.problem, part, units_milli, ordered=task.build.ordered
            )
        return self._needs_cache[key]

    def _make_need(self, job: Job, place: int, row: JobNeed) -> Need:
        need = Need(len(self.needs), job, place, row.component, row.quantity_milli)
        self.needs.append(need)
        point = job.task.build.point
        own = self.supplies.bin(row.component, point)
        covered = own.supply[0] if own.lots and own.times[0] == 0 else 0
        if covered >= self._potential[row.component]:
            need.plentiful = True
            need.ways = (Way(WayKind.OWN, row.component, row.quantity_milli, 0.0, bin=own),)
            return need
        ways = list(self._ways(need, row.component, row.quantity_milli, 0.0))
        for alternate in self.problem.alternates.get(row.component, ()):
            quantity_milli, extra = alternate_quantity(self.problem, alternate, row.quantity_milli)
            ways += self._ways(need, alternate.alternate, quantity_milli, float(extra))
        ways.sort(key=lambda way: (way.cost + way.move_cost, way.kind))
        need.ways = tuple(ways)
        return need

    def _ways(self, need: Need, used: str, quantity_milli: int, extra: float) -> Iterator[Way]:
        point = need.job.task.build.point
        part = self.problem.parts[used]
        own = self.supplies.bin(used, point)
        if own.lots:
            yield Way(WayKind.OWN, used, quantity_milli, extra, bin=own)
        kg = (part.weight_g or 0) / 1000 * quantity_milli / MILLI
        for route in self.supplies.routes_into.get(point, ()):
            there = self.supplies.bin(used, route.origin)
            if there.lots:
                cost = extra + kg * route.cost_per_kg_micro / MICRO
                yield Way(WayKind.MOVE, used, quantity_milli, cost, bin=there, route=route)
        for hurried in self.supplies.expedited(used, point):
            yield Way(WayKind.EXPEDITE, used, quantity_milli, extra, bin=hurried)
        for advance in self.supplies.advances(used, point):
            yield Way(
                WayKind.ADVANCE, used, quantity_milli, extra, bin=advance.bin, advance=advance
            )
        job = need.job
        if part.make and makeable_at(self.problem, used, point) and not _is_within(job, used):
            number = "" if need.place < 0 else f"/{_number(self.problem, job, need.place)}"
            made = self._make_job(
                job.task, f"{job.name}{number}/{used}", used, quantity_milli, need, None
            )
            yield Way(WayKind.MAKE, used, quantity_milli, extra, job=made)

    def _apply_progress(self, task: Task) -> None:
        """Finished operations go, with what they consumed; a started one is pinned (rule 9)."""
        operations = task.root.operations
        rows = [self.problem.progress.get((task.build.build, op.number)) for op in operations]
        gone = 0
        for place, row in enumerate(rows):
            if row is not None and (row.started is not None or row.finished is not None):
                gone = place + 1 if row.finished is not None else place
                if row.finished is not None:
                    task.finished = max(task.finished or row.finished, row.finished)
        left = operations[gone:]
        if task.finished is not None:
            done = task.axis.position(task.finished)
            # nothing is left that could have to wait for `earliest`
            task.earliest = max(task.earliest, done) if left else done
        if left and (row := rows[gone]) is not None and row.started is not None:
            operation = left[0]
            operation.started = row.started
            operation.needs = ()  # issued when it was started
            operation.pinned = task.axis.position(row.started)
            operation.duration -= min(
                operation.duration, worked_before(self.problem, task.build.point, row.started)
            )
        for place, operation in enumerate(left):
            for need in operation.needs:
                need.place = place
        task.root.operations = left

    def _apply_freeze(self, task: Task) -> None:
        """Operations of the last accepted plan that start within the freeze keep their slot."""
        until = self.problem.as_of + timedelta(self.problem.settings.freeze_days)
        for job in task.jobs():
            for operation in job.operations:
                start = self.problem.previous_starts.get((job.name, operation.number))
                if (
                    start is not None
                    and operation.pinned is None
                    and self.problem.as_of <= start.date() < until
                ):
                    operation.pinned = task.axis.position(start)

    # ---- parts orders

    def _make_line(self, index: int, row: PartsOrder) -> Line:
        problem = self.problem
        promised = row.promised is not None or row.within_days is not None
        weight = Fraction(row.weight_ppm, PPM) if promised else UNPROMISED_WEIGHT
        outlets = []
        choices = [(row.part, row.quantity_milli, Fraction(0))]
        for alternate in problem.alternates.get(row.part, ()):
            quantity_milli, extra = alternate_quantity(problem, alternate, row.quantity_milli)
            choices.append((alternate.alternate, quantity_milli, extra))
        for used, quantity_milli, extra in choices:
            kg_per_milli = (problem.parts[used].weight_g or 0) / 1000 / MILLI
            for point in problem.points:
                delivery = problem.delivery(point, row.destination)
                if delivery is None:
                    continue
                own = self.supplies.bin(used, point)
                sources: list[tuple[Bin, Advance | None]] = [
                    (there, None) for there in (own, *self.supplies.expedited(used, point))
                ]
                sources += [(own, advance) for advance in self.supplies.advances(used, point)]
                outlets += [
                    Outlet(
                        used,
                        quantity_milli,
                        float(extra),
                        there,
                        delivery,
                        kg_per_milli * delivery.cost_per_kg_micro / MICRO,
                        advance,
                    )
                    for there, advance in sources
                    if there.lots
                ]
        day_cost = float(weight) * problem.settings.late_day_cost_micro / MICRO
        return Line(index, row, day_cost, weight, tuple(outlets))


def _is_within(job: Job | None, part: str) -> bool:
    """Whether a job is, or hangs below, a job that makes the part (through an alternate)."""
    while job is not None:
        if job.part == part:
            return True
        job = job.parent.job if job.parent is not None else None
    return False


def alternate_quantity(
    problem: Problem, alternate: Alternate, quantity_milli: int
) -> tuple[int, Fraction]:
    """Units of an alternate that stand in for a need, in whole steps, and their extra cost."""
    step = problem.parts[alternate.alternate].step_milli
    units_milli = round_up(Fraction(quantity_milli * alternate.ratio_ppm, PPM), step)
    return units_milli, Fraction(alternate.extra_cost_micro * units_milli, MICRO * MILLI)


def makeable_at(problem: Problem, part: str, point: str) -> bool:
    """Whether a make part can be made at a point: all its work centres stand there."""
    if part not in problem.bills and part not in problem.routings:
        return False
    return all(
        problem.work_centres[step.work_centre].point == point
        for step in problem.routings.get(part, ())
    )


def worked_before(problem: Problem, point: str, started: datetime) -> int:
    """Working minutes of a point between a moment and the opening of `as_of`."""
    if started.date() >= problem.as_of:
        return 0
    dataset = problem.dataset
    axis = make_axis(
        problem.points[point].calendar,
        started.date(),
        (problem.as_of - started.date()).days + 400,
        dataset.calendars,
        dataset.shifts,
        dataset.closures,
    )
    return axis.opening(problem.as_of) - axis.position(started)


def _number(problem: Problem, job: Job, place: int) -> int:
    return problem.routings[job.part][place].operation


def _set_tails(job: Job, after: int) -> None:
    """Work left from each need of a job and below, `after` being what follows the job."""
    rest = after + sum(operation.duration for operation in job.operations)
    for need in job.loose:
        _set_tail(need, rest)
    for operation in job.operations:
        for need in operation.needs:
            _set_tail(need, rest)
        rest -= operation.duration


def _set_tail(need: Need, rest: int) -> None:
    need.tail = rest
    for way in need.ways:
        if way.job is not None:
            _set_tails(way.job, rest)


def _potential_draws(problem: Problem) -> dict[str, int]:
    """For each part, the most that all builds and lines together could ever draw of it."""
    most: defaultdict[str, int] = defaultdict(int)
    cache: dict[tuple[str, int, date], list[JobNeed]] = {}

    def draw(part: str, quantity_milli: int, build: Build) -> None:
        stack: list[tuple[str, int, tuple[str, ...]]] = [(part, quantity_milli, (build.product,))]
        while stack:
            called, wanted, within = stack.pop()
            for used, units in _stand_ins(problem, called, wanted):
                most[used] += units
                made = problem.parts[used].make and used not in within
                if made and makeable_at(problem, used, build.point):
                    key = (used, units, build.ordered)
                    if key not in cache:
                        cache[key] = job_needs(problem, used, units, ordered=build.ordered)
                    stack += [
                        (need.component, need.quantity_milli, (*within, used))
                        for need in cache[key]
                    ]

    for build in problem.builds:
        for need in job_needs(problem, build.product, MILLI, build=build):
            draw(need.component, need.quantity_milli, build)
    for row in problem.parts_orders:
        for used, units in _stand_ins(problem, row.part, row.quantity_milli):
            most[used] += units
    return most


def _stand_ins(problem: Problem, part: str, quantity_milli: int) -> Iterator[tuple[str, int]]:
    yield part, quantity_milli
    for alternate in problem.alternates.get(part, ()):
        yield alternate.alternate, alternate_quantity(problem, alternate, quantity_milli)[0]

"""The order book as the planner works on it: every job, operation and need of every build, the ways
in which each need can be filled, and every line of the parts orders.

Nothing is decided here. A `Need` lists its `Way`s; a `Job` that one of them makes hangs below it.
What these are is said in `book_entries`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from fractions import Fraction

from fulfil_models.book_entries import (
    Centre,
    Gone,
    Job,
    Line,
    Need,
    Operation,
    Outlet,
    Task,
    Way,
    WayKind,
    order_late_days,
    weight_of,
)
from fulfil_models.calendar import make_axis
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.explosion import JobNeed, job_needs
from fulfil_models.order_outlets import make_line
from fulfil_models.potential import alternate_quantity, makeable_at, potential_draws
from fulfil_models.problem import Problem
from fulfil_models.supply import Supplies
from fulfil_models.tables import Build

__all__ = [
    "Book",
    "Centre",
    "Job",
    "Line",
    "Need",
    "Operation",
    "Outlet",
    "Task",
    "Way",
    "WayKind",
    "order_late_days",
]


class Book:
    """All tasks, lines and centres of a problem, with their supplies.

    Routes and work centres are those of `like`, a book of the same points, lanes and work centres,
    where one is given.
    """

    def __init__(self, problem: Problem, like: Book | None = None) -> None:
        self.problem = problem
        routes = None if like is None else like.supplies.found_routes
        self.supplies: Supplies = Supplies(problem, routes)
        self.centres: list[Centre] = centres_of(problem) if like is None else like.centres
        self.gone: Gone = Gone(self.centres) if like is None else like.gone
        self._centre_index = {centre.name: i for i, centre in enumerate(self.centres)}
        self._potential = potential_draws(problem)
        # a build's job bears its name, so no other job may, whichever is made first
        self._names = {build.build for build in problem.dataset.builds}
        self._needs_cache: dict[tuple[str, int, date], list[JobNeed]] = {}
        self.needs: list[Need] = []
        self.tasks = [self._make_task(i, build) for i, build in enumerate(problem.builds)]
        self.lines = [
            make_line(problem, self.supplies, i, row) for i, row in enumerate(problem.parts_orders)
        ]

    # ---- builds

    def _make_task(self, index: int, build: Build) -> Task:
        problem = self.problem
        axis = problem.axes[build.point]
        weight = weight_of(build)
        task = Task(
            index=index,
            build=build,
            axis=axis,
            earliest=axis.opening(build.earliest) if build.earliest else 0,
            due=axis.due(build.promised, problem.points[build.point].cutoff),
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
        if parent is not None:
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


def centres_of(problem: Problem) -> list[Centre]:
    """Every work centre, with what is out of it and what others have taken."""
    down: defaultdict[str, list[tuple[int, int, int]]] = defaultdict(list)
    for row in problem.dataset.downtime:
        axis = problem.axes[problem.work_centres[row.work_centre].point]
        starts, ends = axis.position(row.starts), axis.position(row.ends)
        if starts < ends:
            down[row.work_centre].append((starts, ends, row.stations))
    held: defaultdict[str, list[tuple[int, int, int, str]]] = defaultdict(list)
    for busy in problem.taken.busy:
        centre = problem.work_centres.get(busy.work_centre)
        if centre is not None:
            axis = problem.axes[centre.point]
            span = (axis.position(busy.starts), axis.position(busy.ends))
            held[busy.work_centre].append((*span, busy.stations, busy.who))
    return [
        Centre(
            row.work_centre,
            row.point,
            row.stations,
            tuple(sorted(down[row.work_centre])),
            tuple(sorted(held[row.work_centre])),
        )
        for row in problem.work_centres.values()
    ]


def _is_within(job: Job | None, part: str) -> bool:
    """Whether a job is, or hangs below, a job that makes the part (through an alternate)."""
    while job is not None:
        if job.part == part:
            return True
        job = job.parent.job if job.parent is not None else None
    return False


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

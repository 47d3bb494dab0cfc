"""From decisions to the plan that a person reads: wall times, supplies, pegs and the exact cost."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time
from fractions import Fraction

from fulfil_models.book import Book, Job, Need, Operation, Task, WayKind, order_late_days
from fulfil_models.book_entries import build_late_days
from fulfil_models.cells import GRAM_MILLI_MICRO, MICRO, MILLI
from fulfil_models.decisions import Decisions, job_end, job_moment
from fulfil_models.lots import Served, serve
from fulfil_models.plan import (
    Objective,
    Peg,
    Plan,
    PlannedBuild,
    PlannedJob,
    PlannedOperation,
    Shipment,
    Status,
    Stranded,
    Supply,
    SupplyKind,
)
from fulfil_models.problem import Problem, carrier_day

ROUNDING = Fraction(1, 10**7)
"""share of the objective within which a bound counts as met"""


def assemble(
    book: Book,
    decisions: Decisions,
    bound: Fraction = Fraction(0),
    stranded: tuple[Stranded, ...] = (),
    notes: tuple[str, ...] = (),
) -> Plan:
    """The plan that these decisions make, with its exact objective.

    `bound` is a proven lower bound of the objective, in the currency; the status is optimal where
    the objective meets it.
    """
    problem = book.problem
    served = serve(book, decisions)
    supplies = dict(served.supplies)
    pegs: list[Peg] = []
    alternates = Fraction(0)
    clock = Clock(problem, decisions, served)
    for job in decisions.jobs:
        if job.parent is not None:
            supplies[job.name] = _job_supply(job, clock)
    for fill in decisions.fills:
        if fill.way.job is not None and fill.way.kind == WayKind.MAKE:
            pegs.append(
                _peg(fill.need, fill.way.used, fill.quantity_milli, supplies, fill.way.job.name)
            )
            alternates += _alternate_cost(
                problem, fill.need.part, fill.way.used, fill.quantity_milli
            )
    for fill, name, quantity_milli in served.fills:
        pegs.append(_peg(fill.need, fill.way.used, quantity_milli, supplies, name))
        alternates += _alternate_cost(problem, fill.need.part, fill.way.used, quantity_milli)
    shipments, late_lines, deliveries = _shipments(book, served)
    for ship, _, quantity_milli in served.ships:
        alternates += _alternate_cost(problem, ship.line.row.part, ship.outlet.used, quantity_milli)
    left_out = {task.build.build for task in decisions.unplaced}
    planned = [task for task in book.tasks if task.build.build not in left_out]
    builds = [_planned_build(book, task, decisions, clock) for task in planned]
    late_minutes = [row.late_minutes for row in builds]
    weighted = sum(
        (task.weight * late for task, late in zip(planned, late_minutes, strict=True)), Fraction(0)
    )
    lateness = late_lines * Fraction(problem.settings.late_day_cost_micro, MICRO) + sum(
        (task.rate * late for task, late in zip(planned, late_minutes, strict=True)), Fraction(0)
    )
    objective = Objective(
        lateness=lateness,
        transfers=_transfer_cost(problem, supplies.values()),
        alternates=alternates,
        expediting=_expediting_cost(problem, supplies.values()),
        deliveries=deliveries,
    )
    if objective.total - bound <= ROUNDING * max(Fraction(1), objective.total):
        bound = objective.total  # met, but for the floating point of the models
    else:  # not a hair above what is proven, for the same reason
        bound = max(Fraction(0), bound - ROUNDING * max(Fraction(1), bound))
    return Plan(
        as_of=problem.as_of,
        status=Status.OPTIMAL if bound == objective.total else Status.FEASIBLE,
        objective=objective,
        bound=bound,
        weighted_late_minutes=weighted,
        builds=tuple(builds),
        jobs=tuple(
            PlannedJob(
                job.name,
                job.task.build.build,
                job.part,
                job.units_milli,
                job.parent.job.name if job.parent else None,
                _operation_number(job),
            )
            for job in sorted(decisions.jobs, key=lambda j: j.name)
        ),
        operations=tuple(_operations(book, decisions, clock)),
        pegs=tuple(
            sorted(pegs, key=lambda p: (p.job, p.operation or -1, p.part, p.usable, p.supply))
        ),
        shipments=tuple(sorted(shipments, key=lambda s: (s.order, s.line, s.ships, s.supply))),
        supplies=tuple(supplies[name] for name in sorted(supplies)),
        stranded=stranded,
        notes=notes,
    )


def _operation_number(job: Job) -> int | None:
    """Number of the operation of the parent job that a job is for."""
    if job.parent is None or job.parent.place < 0:
        return None
    return job.parent.job.operations[job.parent.place].number


Span = tuple[datetime, datetime]
"""when an operation begins and ends"""


class Clock:
    """Wall times of a plan's operations.

    The end of one shift and the opening of the next are one position: work begins at the opening
    and ends at the closing. Work of no length is done at the closing, so that its build ships
    before the night, unless something that must come first comes only with the opening.
    """

    def __init__(self, problem: Problem, decisions: Decisions, served: Served) -> None:
        self._problem = problem
        self._decisions = decisions
        self._ready: dict[int, datetime] = {}
        """by need: when the last that it draws is usable"""
        self._spans: dict[str, list[Span]] = {}
        for fill, name, _ in served.fills:
            self._is_ready(fill.need, served.supplies[name].usable)
        for job in reversed(decisions.jobs):  # what is made for a job comes before it
            self._spans[job.name] = spans = self._spans_of(job)
            if job.parent is not None and spans:
                self._is_ready(job.parent, spans[-1][1])
            elif job.parent is not None:
                for need in job.loose:
                    if need.index in self._ready:
                        self._is_ready(job.parent, self._ready[need.index])

    def _is_ready(self, need: Need, usable: datetime) -> None:
        self._ready[need.index] = max(usable, self._ready.get(need.index, usable))

    def spans(self, job: Job) -> list[Span]:
        """When each operation of a job begins and ends."""
        return self._spans[job.name]

    def end(self, job: Job) -> datetime:
        """When a job that is made for a need is done."""
        while not job.operations:  # a phantom is made at the moment of what it is for
            above = job.parent
            if above is None:
                return job.task.axis.start_moment(job.task.earliest)
            if above.place >= 0:
                return self._spans[above.job.name][above.place][0]
            job = above.job
        return self._spans[job.name][-1][1]

    def _spans_of(self, job: Job) -> list[Span]:
        axis = job.task.axis
        spans: list[Span] = []
        for operation, start in zip(job.operations, self._decisions.starts[job.name], strict=True):
            if operation.duration:
                begins = operation.started or axis.start_moment(start)
                spans.append((begins, axis.end_moment(start + operation.duration)))
                continue
            moment = axis.end_moment(start)
            if any(moment < first for first in self._come_first(job, operation, spans)):
                moment = axis.start_moment(start)
            spans.append((operation.started or moment, moment))
        return spans

    def _come_first(self, job: Job, operation: Operation, before: list[Span]) -> Iterator[datetime]:
        """What an operation of no length must not be done before."""
        task = job.task
        if task.build.earliest is not None:
            yield datetime.combine(task.build.earliest, time.min)
        if job.parent is None and task.finished is not None:
            yield task.finished
        if before:
            yield before[-1][1]
        if operation.started is not None:
            yield operation.started
        elif operation.pinned is not None:  # it keeps its slot in the freeze
            slot = self._problem.previous_starts.get((job.name, operation.number))
            if slot is not None:
                yield slot
        for need in operation.needs:
            if need.index in self._ready:
                yield self._ready[need.index]


def _job_supply(job: Job, clock: Clock) -> Supply:
    return Supply(
        job.name,
        SupplyKind.JOB,
        job.part,
        job.task.build.point,
        job.units_milli,
        clock.end(job),
        job=job.name,
    )


def _peg(need: Need, used: str, quantity_milli: int, supplies: dict[str, Supply], name: str) -> Peg:
    supply = supplies[name]
    number = need.job.operations[need.place].number if need.place >= 0 else None
    return Peg(
        need.job.name,
        number,
        need.part,
        used,
        quantity_milli,
        name,
        supply.point,
        supply.usable,
    )


def _alternate_cost(problem: Problem, part: str, used: str, quantity_milli: int) -> Fraction:
    if part == used:
        return Fraction(0)
    row = next(a for a in problem.alternates[part] if a.alternate == used)
    return Fraction(row.extra_cost_micro * quantity_milli, MICRO * MILLI)


def _operations(book: Book, decisions: Decisions, clock: Clock) -> list[PlannedOperation]:
    """Every operation that is still to be done or going on, in order of start."""
    rows = []
    for job in decisions.jobs:
        for operation, (begins, ends) in zip(job.operations, clock.spans(job), strict=True):
            centre = book.centres[operation.centre].name
            rows.append((begins, job.name, operation.number, centre, ends))
    rows.sort()
    return [
        PlannedOperation(job, number, centre, begins, ends)
        for begins, job, number, centre, ends in rows
    ]


def _planned_build(book: Book, task: Task, decisions: Decisions, clock: Clock) -> PlannedBuild:
    build, axis = task.build, task.axis
    cutoff = book.problem.points[build.point].cutoff
    if task.root.operations:
        position = job_end(task.root, decisions.starts)
        finish = clock.end(task.root)
    else:
        position = job_moment(task.root, decisions.starts)
        finish = task.finished or axis.start_moment(position)
    ships = max(axis.ship_day(finish, cutoff), book.problem.as_of)
    return PlannedBuild(
        build=build.build,
        product=build.product,
        point=build.point,
        ordered=build.ordered,
        promised=build.promised,
        finish=finish,
        ships=ships,
        late_minutes=max(0, position - task.due),
        late_days=build_late_days(build, ships),
        lead_days=(ships - build.ordered).days,
    )


def _shipments(book: Book, served: Served) -> tuple[list[Shipment], Fraction, Fraction]:
    """Shipments of parts orders, their weighted late days and what carriage costs."""
    problem = book.problem
    rows: list[Shipment] = []
    worst: defaultdict[int, int] = defaultdict(int)
    boxes: set[tuple[str, str, date, int]] = set()
    carriage = Fraction(0)
    for ship, name, quantity_milli in served.ships:
        row, delivery = ship.line.row, ship.outlet.delivery
        supply = served.supplies[name]
        ships = supply.usable.date()
        arrives = carrier_day(ships, delivery.days)
        late = order_late_days(row, ships, arrives, problem.as_of)
        worst[ship.line.index] = max(worst[ship.line.index], late)
        # what an order sends to places of different cost are different deliveries
        boxes.add((row.order, delivery.point, ships, delivery.cost_micro))
        grams = problem.parts[ship.outlet.used].weight_g or 0
        carriage += Fraction(grams * quantity_milli * delivery.cost_per_kg_micro, GRAM_MILLI_MICRO)
        rows.append(
            Shipment(
                row.order,
                row.line,
                row.part,
                ship.outlet.used,
                quantity_milli,
                name,
                delivery.point,
                ships,
                arrives,
                late,
            )
        )
    late_lines = sum(
        (line.weight * worst[line.index] for line in book.lines if line.index in worst),
        Fraction(0),
    )
    once = Fraction(sum(cost_micro for *_, cost_micro in boxes), MICRO)
    return rows, late_lines, carriage + once


def _transfer_cost(problem: Problem, supplies: Iterable[Supply]) -> Fraction:
    """Lane costs: once per lane and departure day, and by weight."""
    lanes = {(lane.origin, lane.destination): lane for lane in problem.lanes}
    moves: set[tuple[str, str, date]] = set()
    total = Fraction(0)
    for supply in supplies:
        if supply.kind == SupplyKind.TRANSFER:
            assert supply.origin is not None
            assert supply.leaves_on is not None
            lane = lanes[supply.origin, supply.point]
            grams = problem.parts[supply.part].weight_g or 0
            total += Fraction(
                grams * supply.quantity_milli * lane.cost_per_kg_micro, GRAM_MILLI_MICRO
            )
            moves.add((supply.origin, supply.point, supply.leaves_on))
    return total + sum(
        (Fraction(lanes[o, d].cost_per_move_micro, MICRO) for o, d, _ in moves), Fraction(0)
    )


def _expediting_cost(problem: Problem, supplies: Iterable[Supply]) -> Fraction:
    each = {
        (row.part, row.supplier, row.point): row.expedite_cost_micro or 0
        for row in problem.dataset.sources
    }
    return sum(
        (
            Fraction(each[s.part, s.supplier or "", s.point] * s.quantity_milli, MICRO * MILLI)
            for s in supplies
            if s.kind == SupplyKind.NEW_PURCHASE and s.expedited
        ),
        Fraction(0),
    )

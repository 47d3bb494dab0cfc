"""From decisions to the plan that a person reads: wall times, supplies, pegs and the exact cost."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime
from fractions import Fraction

from fulfil_models.book import Book, Job, Need, Task, WayKind, order_late_days
from fulfil_models.cells import MICRO, MILLI
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
GRAM_MILLI_MICRO = 1000 * MILLI * MICRO
"""divides grams x thousandths of a unit x micro-currency per kg into currency"""


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
    for job in decisions.jobs:
        if job.parent is not None:
            supplies[job.name] = _job_supply(job, decisions)
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
    builds = [_planned_build(book, task, decisions) for task in planned]
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
        operations=tuple(_operations(book, decisions)),
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


def _job_supply(job: Job, decisions: Decisions) -> Supply:
    axis = job.task.axis
    if job.operations and job.operations[-1].duration:
        usable = axis.end_moment(job_end(job, decisions.starts))
    else:
        usable = axis.start_moment(job_end(job, decisions.starts))
    return Supply(
        job.name,
        SupplyKind.JOB,
        job.part,
        job.task.build.point,
        job.units_milli,
        usable,
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


def _operations(book: Book, decisions: Decisions) -> list[PlannedOperation]:
    """Every operation that is still to be done or going on, in order of start."""
    rows = []
    for job in decisions.jobs:
        axis = job.task.axis
        for operation, start in zip(job.operations, decisions.starts[job.name], strict=True):
            centre = book.centres[operation.centre].name
            begins = operation.started or axis.start_moment(start)
            end = start + operation.duration
            ends = axis.end_moment(end) if operation.duration else axis.start_moment(end)
            rows.append((begins, job.name, operation.number, centre, ends))
    rows.sort()
    return [
        PlannedOperation(job, number, centre, begins, ends)
        for begins, job, number, centre, ends in rows
    ]


def _planned_build(book: Book, task: Task, decisions: Decisions) -> PlannedBuild:
    build, axis = task.build, task.axis
    cutoff = book.problem.points[build.point].cutoff
    if task.root.operations:
        position = job_end(task.root, decisions.starts)
        last = task.root.operations[-1]
        finish = axis.end_moment(position) if last.duration else axis.start_moment(position)
    else:
        position = job_moment(task.root, decisions.starts)
        finish = task.finished or axis.start_moment(position)
    ships = max(axis.ship_day(finish, cutoff), book.problem.as_of)
    promised = build.promised
    day = promised.date() if isinstance(promised, datetime) else promised
    return PlannedBuild(
        build=build.build,
        product=build.product,
        point=build.point,
        ordered=build.ordered,
        promised=promised,
        finish=finish,
        ships=ships,
        late_minutes=max(0, position - task.due),
        late_days=max(0, (ships - day).days) if day is not None else 0,
        lead_days=(ships - build.ordered).days,
    )


def _shipments(book: Book, served: Served) -> tuple[list[Shipment], Fraction, Fraction]:
    """Shipments of parts orders, their weighted late days and what carriage costs."""
    problem = book.problem
    rows: list[Shipment] = []
    worst: defaultdict[int, int] = defaultdict(int)
    boxes: dict[tuple[str, str, date], Fraction] = {}
    carriage = Fraction(0)
    for ship, name, quantity_milli in served.ships:
        row, delivery = ship.line.row, ship.outlet.delivery
        supply = served.supplies[name]
        ships = supply.usable.date()
        arrives = carrier_day(ships, delivery.days)
        late = order_late_days(row, ships, arrives, problem.as_of)
        worst[ship.line.index] = max(worst[ship.line.index], late)
        boxes[row.order, delivery.point, ships] = Fraction(delivery.cost_micro, MICRO)
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
    return rows, late_lines, carriage + sum(boxes.values(), Fraction(0))


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

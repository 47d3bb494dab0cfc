"""What the rules of the checker look at: the rows of a data set and of a plan, found by key, and
the few figures that several rules share.

Everything is derived from the rows here and now; nothing is taken from the models that plan.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from fractions import Fraction
from functools import cached_property
from typing import Protocol

from fulfil_models.audit_bills import Bills, Need
from fulfil_models.audit_hours import Hours
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.plan import Peg, Plan, PlannedJob, PlannedOperation, Shipment
from fulfil_models.tables import (
    Build,
    Dataset,
    Delivery,
    PartsOrder,
    Progress,
    RoutingStep,
)

FIRM = "firm"
BUILD = "build"
PARTS_ORDER = "parts_order"
UNPROMISED_WEIGHT = Fraction(1, 1000)

Finding = tuple[str, str]
"""subject, what is wrong with it"""


class Terms(Protocol):
    """The settings a plan was made under."""

    @property
    def as_of(self) -> date: ...
    @property
    def late_day_cost_micro(self) -> int: ...
    @property
    def overdue_days(self) -> int: ...
    @property
    def horizon_days(self) -> int: ...
    @property
    def freeze_days(self) -> int: ...
    @property
    def orders_from(self) -> date | None: ...


@dataclass(frozen=True, slots=True)
class Done:
    """How far a build has got: what is finished, what is started.

    Work goes in ascending order, so whatever stands before a finished or started operation is
    finished too, recorded or not.
    """

    gone: frozenset[int] = frozenset()
    finished: datetime | None = None
    started: int | None = None
    at: datetime | None = None
    """when `started` was started"""

    @property
    def issued(self) -> frozenset[int]:
        """Operations whose parts are out of the store already."""
        return self.gone if self.started is None else self.gone | {self.started}


NOTHING_DONE = Done()


class Frame(Bills):
    """A data set, the terms and a plan, by key."""

    def __init__(self, dataset: Dataset, terms: Terms, plan: Plan, previous: Plan | None) -> None:
        super().__init__(dataset)
        self.terms = terms
        self.plan = plan
        self.previous = previous
        self.points = {row.point: row for row in dataset.points}
        self.builds = {row.build: row for row in dataset.builds}
        self.lines = {(row.order, row.line): row for row in dataset.parts_orders}
        self.work_centres = {row.work_centre: row for row in dataset.work_centres}
        self.lanes = {(row.origin, row.destination): row for row in dataset.lanes}
        self.sources = {(row.part, row.supplier, row.point): row for row in dataset.sources}
        self.purchases = {(row.order, row.line): row for row in dataset.purchases}
        self.jobs = {job.job: job for job in plan.jobs}
        self.supplies = {supply.supply: supply for supply in plan.supplies}
        self.operations: defaultdict[str, dict[int, PlannedOperation]] = defaultdict(dict)
        for operation in plan.operations:
            self.operations[operation.job][operation.operation] = operation

    @property
    def midnight(self) -> datetime:
        """Beginning of the planning date."""
        return datetime.combine(self.terms.as_of, time.min)

    # ---- time

    @cached_property
    def hours(self) -> dict[str, Hours]:
        """Open time of each point, from the first recorded work on, well past the horizon."""
        as_of = self.terms.as_of
        recorded = [
            moment.date()
            for row in self.dataset.progress
            for moment in (row.started, row.finished)
            if moment is not None
        ]
        first = min([as_of, *recorded]) - timedelta(7)
        last = as_of + timedelta(2 * self.terms.horizon_days + 800)
        made: dict[str, Hours] = {}
        for row in self.points.values():
            if row.calendar not in made:
                made[row.calendar] = Hours(self.dataset, row.calendar, first, as_of, last)
        return {row.point: made[row.calendar] for row in self.points.values()}

    def hours_of(self, job: PlannedJob) -> Hours:
        return self.hours[self.builds[job.build].point]

    def moment(self, job_id: str, operation: int | None) -> datetime | None:
        """When a job's needs at an operation are due; a phantom's at its parent's moment.

        None where the plan has no such operation.
        """
        while True:
            planned = self.operations.get(job_id, {})
            if operation is not None and operation in planned:
                return planned[operation].start
            job = self.jobs[job_id]
            if planned or job.for_job is None:
                return None
            job_id, operation = job.for_job, job.for_operation

    def last_end(self, job: PlannedJob) -> datetime | None:
        """When the last operation of a job ends; of a build that is all done, when it was done."""
        planned = self.operations.get(job.job)
        if planned:
            return planned[max(planned)].end
        return self.done(job).finished

    def due_day(self, due: date) -> date:
        """Day an open purchase is counted on: if it is past due, `overdue_days` from now."""
        as_of = self.terms.as_of
        return due if due >= as_of else as_of + timedelta(self.terms.overdue_days)

    @property
    def ordering_from(self) -> date:
        """First day on which a new purchase may be placed: never before the planning date."""
        named = self.terms.orders_from
        return self.terms.as_of if named is None else max(named, self.terms.as_of)

    # ---- work

    @cached_property
    def _progress(self) -> dict[str, dict[int, Progress]]:
        by: defaultdict[str, dict[int, Progress]] = defaultdict(dict)
        for row in self.dataset.progress:
            if row.started is not None or row.finished is not None:
                by[row.build][row.operation] = row
        return dict(by)

    def done(self, job: PlannedJob) -> Done:
        """How far a job has got; only a build's own job can have got anywhere."""
        rows = self._progress.get(job.build)
        if job.for_job is not None or rows is None:
            return NOTHING_DONE
        last = max(rows)
        finished = [row.finished for row in rows.values() if row.finished is not None]
        over = rows[last].finished is not None
        return Done(
            gone=frozenset(
                step.operation
                for step in self.routings.get(job.part, ())
                if step.operation < last or (over and step.operation == last)
            ),
            finished=max(finished, default=None),
            started=None if over else last,
            at=None if over else rows[last].started,
        )

    def steps_left(self, job: PlannedJob) -> list[RoutingStep]:
        gone = self.done(job).gone
        return [s for s in self.routings.get(job.part, ()) if s.operation not in gone]

    # ---- needs

    def needs(self, job: PlannedJob) -> dict[Need, int]:
        """What is still to be issued to a job, in thousandths."""
        build = self.builds[job.build]
        if job.for_job is not None:
            return self.part_needs(job.part, job.quantity_milli, build.ordered)
        issued = self.done(job).issued
        needs = self.build_needs(build)
        return {need: milli for need, milli in needs.items() if need[0] not in issued}

    # ---- what is drawn

    @cached_property
    def pegs_by_need(self) -> dict[tuple[str, int | None, str], list[Peg]]:
        by: defaultdict[tuple[str, int | None, str], list[Peg]] = defaultdict(list)
        for peg in self.plan.pegs:
            by[peg.job, peg.operation, peg.part].append(peg)
        return dict(by)

    @cached_property
    def pegs_at(self) -> dict[tuple[str, int | None], list[Peg]]:
        by: defaultdict[tuple[str, int | None], list[Peg]] = defaultdict(list)
        for peg in self.plan.pegs:
            by[peg.job, peg.operation].append(peg)
        return dict(by)

    @cached_property
    def jobs_for(self) -> dict[tuple[str, int | None], list[PlannedJob]]:
        """Jobs that make something for an operation of another job."""
        by: defaultdict[tuple[str, int | None], list[PlannedJob]] = defaultdict(list)
        for job in self.plan.jobs:
            if job.for_job is not None:
                by[job.for_job, job.for_operation].append(job)
        return dict(by)

    @cached_property
    def shipments_by_line(self) -> dict[tuple[str, str], list[Shipment]]:
        by: defaultdict[tuple[str, str], list[Shipment]] = defaultdict(list)
        for shipment in self.plan.shipments:
            by[shipment.order, shipment.line].append(shipment)
        return dict(by)

    @cached_property
    def drawn(self) -> dict[str, int]:
        """Units drawn from each supply by pegs, shipments and transfers, in thousandths."""
        total: defaultdict[str, int] = defaultdict(int)
        for peg in self.plan.pegs:
            total[peg.supply] += peg.quantity_milli
        for shipment in self.plan.shipments:
            total[shipment.supply] += shipment.quantity_milli
        for supply in self.plan.supplies:
            if supply.from_supply is not None:
                total[supply.from_supply] += supply.quantity_milli
        return dict(total)

    def kg(self, supply_part: str, milli: int) -> Fraction:
        return Fraction((self.parts[supply_part].weight_g or 0) * milli, MILLI * MILLI)

    # ---- orders

    @cached_property
    def _deliveries(self) -> dict[str, list[Delivery]]:
        by: defaultdict[str, list[Delivery]] = defaultdict(list)
        for row in self.dataset.deliveries:
            by[row.point].append(row)
        return dict(by)

    def delivery(self, point: str, destination: str) -> Delivery | None:
        """How a point delivers to a destination: the longest match wins."""
        fitting = [
            row
            for row in self._deliveries.get(point, ())
            if destination.startswith(row.destination)
        ]
        return max(fitting, key=lambda row: len(row.destination), default=None)

    @cached_property
    def stranded_builds(self) -> frozenset[str]:
        return frozenset(row.key for row in self.plan.stranded if row.kind == BUILD)

    @cached_property
    def stranded_lines(self) -> frozenset[str]:
        return frozenset(row.key for row in self.plan.stranded if row.kind == PARTS_ORDER)

    def planned_builds(self) -> Iterator[Build]:
        """Firm builds that a plan must hold."""
        for build in self.builds.values():
            if build.status == FIRM and build.build not in self.stranded_builds:
                yield build

    def planned_lines(self) -> Iterator[PartsOrder]:
        """Parts-order lines that a plan must fill."""
        for line in self.lines.values():
            if line_key(line.order, line.line) not in self.stranded_lines:
                yield line


def line_key(order: str, line: str) -> str:
    """A parts-order line in one word, as subjects and stranded lines name it.

    What could be taken for the stroke between the two is written otherwise in the line.
    """
    return "/".join((order, line.replace("~", "~0").replace("/", "~1")))


def money(micro: int | Fraction) -> Fraction:
    """Millionths of the currency as the currency."""
    return Fraction(micro) / MICRO


def number(milli: int) -> str:
    """A quantity in thousandths, written out."""
    return f"{milli // MILLI}" if milli % MILLI == 0 else f"{milli / MILLI}"


def clock(moment: datetime) -> str:
    """A moment to the minute, written out."""
    return f"{moment:%Y-%m-%d %H:%M}"

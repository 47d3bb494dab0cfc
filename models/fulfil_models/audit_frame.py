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

from fulfil_models.audit_hours import Hours
from fulfil_models.cells import MICRO, MILLI, PPM
from fulfil_models.plan import Peg, Plan, PlannedJob, PlannedOperation, Shipment
from fulfil_models.tables import (
    Alternate,
    BillLine,
    Build,
    BuildOption,
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
Need = tuple[int | None, str]
"""operation (None in a phantom) and part called for"""


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


class Frame:
    """A data set, the terms and a plan, by key."""

    def __init__(self, dataset: Dataset, terms: Terms, plan: Plan, previous: Plan | None) -> None:
        self.dataset = dataset
        self.terms = terms
        self.plan = plan
        self.previous = previous
        self.points = {row.point: row for row in dataset.points}
        self.parts = {row.part: row for row in dataset.parts}
        self.builds = {row.build: row for row in dataset.builds}
        self.lines = {(row.order, row.line): row for row in dataset.parts_orders}
        self.work_centres = {row.work_centre: row for row in dataset.work_centres}
        self.lanes = {(row.origin, row.destination): row for row in dataset.lanes}
        self.sources = {(row.part, row.supplier, row.point): row for row in dataset.sources}
        self.purchases = {(row.order, row.line): row for row in dataset.purchases}
        self.alternates: dict[tuple[str, str], Alternate] = {
            (row.part, row.alternate): row for row in dataset.alternates if row.approved
        }
        self.jobs = {job.job: job for job in plan.jobs}
        self.supplies = {supply.supply: supply for supply in plan.supplies}
        self.operations: defaultdict[str, dict[int, PlannedOperation]] = defaultdict(dict)
        for operation in plan.operations:
            self.operations[operation.job][operation.operation] = operation
        self._needs: dict[tuple[str, int, date], dict[Need, int]] = {}

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

    # ---- work

    @cached_property
    def routings(self) -> dict[str, list[RoutingStep]]:
        by: defaultdict[str, list[RoutingStep]] = defaultdict(list)
        for row in self.dataset.routings:
            by[row.part].append(row)
        return {part: sorted(rows, key=lambda r: r.operation) for part, rows in by.items()}

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

    @cached_property
    def bills(self) -> dict[str, list[BillLine]]:
        """Bill lines of each parent, a component's first line first."""
        by: defaultdict[str, list[BillLine]] = defaultdict(list)
        for row in self.dataset.bills:
            by[row.parent].append(row)
        return {parent: sorted(rows, key=_line_order) for parent, rows in by.items()}

    @cached_property
    def options(self) -> dict[str, list[BuildOption]]:
        by: defaultdict[str, list[BuildOption]] = defaultdict(list)
        for row in self.dataset.build_options:
            by[row.build].append(row)
        return dict(by)

    def needs(self, job: PlannedJob) -> dict[Need, int]:
        """What is still to be issued to a job, in thousandths."""
        build = self.builds[job.build]
        if job.for_job is not None:
            return self.part_needs(job.part, job.quantity_milli, build.ordered)
        issued = self.done(job).issued
        needs = self.build_needs(build)
        return {need: milli for need, milli in needs.items() if need[0] not in issued}

    def part_needs(self, part: str, units_milli: int, ordered: date) -> dict[Need, int]:
        """Needs of a job that makes so much of a part for a build ordered on a day."""
        key = (part, units_milli, ordered)
        if key not in self._needs:
            self._needs[key] = self._totals(units_milli, self._lines_of(part, ordered))
        return self._needs[key]

    def build_needs(self, build: Build) -> dict[Need, int]:
        """Needs of a build's own job, with its options and what rules of its region add."""
        per = self._lines_of(build.product, build.ordered)
        first = self._first_operation(build.product)
        for option in self.options.get(build.build, ()):
            operation = first if option.operation is None else option.operation
            key = _present(per, option.component, option.operation)
            per[key or (operation, option.component, 0)] += option.quantity_milli
        family = self.parts[build.product].family
        for rule in self.dataset.region_rules:
            if rule.family == family and (build.destination or "").startswith(rule.region):
                key = _present(per, rule.component, None) or (first, rule.component, 0)
                per[key] += rule.quantity_milli
        return self._totals(MILLI, per)

    def _first_operation(self, part: str) -> int | None:
        steps = self.routings.get(part)
        return steps[0].operation if steps else None

    def _lines_of(self, part: str, ordered: date) -> defaultdict[_Line, int]:
        """Bill quantities in effect, by operation, component and scrap."""
        per: defaultdict[_Line, int] = defaultdict(int)
        first = self._first_operation(part)
        for line in self.bills.get(part, ()):
            if (line.starts is None or line.starts <= ordered) and (
                line.ends is None or ordered <= line.ends
            ):
                # A phantom has no operations: whatever its bill says is needed at one moment.
                operation = first if line.operation is None or first is None else line.operation
                per[operation, line.component, line.scrap_ppm] += line.quantity_milli
        return per

    def _totals(self, units_milli: int, per: dict[_Line, int]) -> dict[Need, int]:
        """Units x quantity / (1 - scrap), added up by operation, in whole steps."""
        raw: defaultdict[Need, Fraction] = defaultdict(Fraction)
        for (operation, component, scrap_ppm), quantity_milli in per.items():
            if quantity_milli > 0:
                raw[operation, component] += Fraction(
                    units_milli * quantity_milli * PPM, (PPM - scrap_ppm) * MILLI
                )
        return {need: self.whole_steps(need[1], amount) for need, amount in raw.items()}

    def whole_steps(self, part: str, milli: Fraction) -> int:
        """The least number of whole steps of a part that is enough."""
        step = self.parts[part].step_milli
        return -(-milli // step) * step

    def wanted(self, part: str, used: str, milli: int) -> int:
        """How much of `used` fills a need for so much of `part`.

        The need of the part called for is rounded up to its own step first, then times the ratio
        to the alternate's step.
        """
        if used == part:
            return milli
        ratio_ppm = self.alternates[part, used].ratio_ppm
        return self.whole_steps(used, Fraction(milli * ratio_ppm, PPM))

    def may_fill(self, part: str, used: str) -> bool:
        """Whether a need for a part may be filled with another (or with itself)."""
        return used == part or (part, used) in self.alternates

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


_Line = tuple[int | None, str, int]
"""operation, component, scrap in millionths"""


def _line_order(line: BillLine) -> tuple[str, int, int, date]:
    operation = -1 if line.operation is None else line.operation
    return (line.component, operation, line.scrap_ppm, line.starts or date.min)


def _present(per: dict[_Line, int], component: str, operation: int | None) -> _Line | None:
    """The bill's first line for a component, at an operation where one is named."""
    for key in per:
        if key[1] == component and operation in (None, key[0]):
            return key
    return None


def line_key(order: str, line: str) -> str:
    """A parts-order line in one word, as subjects and stranded lines name it."""
    return f"{order}/{line}"


def money(micro: int | Fraction) -> Fraction:
    """Millionths of the currency as the currency."""
    return Fraction(micro) / MICRO


def number(milli: int) -> str:
    """A quantity in thousandths, written out."""
    return f"{milli // MILLI}" if milli % MILLI == 0 else f"{milli / MILLI}"


def clock(moment: datetime) -> str:
    """A moment to the minute, written out."""
    return f"{moment:%Y-%m-%d %H:%M}"

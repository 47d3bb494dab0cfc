"""Who draws on which supply, and when? A plan's parts, found by key."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import cached_property

from fulfil_models.plan import (
    Peg,
    Plan,
    PlannedBuild,
    PlannedJob,
    PlannedOperation,
    Supply,
    SupplyKind,
)


@dataclass(frozen=True, slots=True)
class Use:
    """One draw on a supply: by an operation of a build, or by a line of a parts order.

    Attributes
    ----------
    called, part: the part called for and the part it gets.
    at: when the operation starts; for a parts order the day it ships, at midnight.
    build, job, operation: of a build; None for a parts order.
    order, line: of a parts order; None for a build.
    """

    supply: str
    called: str
    part: str
    quantity_milli: int
    at: datetime
    usable: datetime | None = None
    build: str | None = None
    job: str | None = None
    operation: int | None = None
    order: str | None = None
    line: str | None = None

    @property
    def who(self) -> str:
        """The build, or the parts order and its line."""
        return self.build if self.build is not None else f"{self.order}/{self.line}"


@dataclass(frozen=True, slots=True)
class Origin:
    """Where units of a part come from.

    Attributes
    ----------
    kind: of the supply drawn on; `first` is the kind of the supply behind its transfers.
    point: where they are used; `first_point` is where they come from in the first place.
    """

    supply: str
    kind: SupplyKind
    first: SupplyKind
    point: str
    first_point: str
    order: str | None
    line: str | None
    supplier: str | None
    place_on: date | None
    leaves_on: date | None
    job: str | None


@dataclass(frozen=True)
class PlanIndex:
    """The rows of a plan by key."""

    plan: Plan

    @cached_property
    def builds(self) -> dict[str, PlannedBuild]:
        return {build.build: build for build in self.plan.builds}

    @cached_property
    def jobs(self) -> dict[str, PlannedJob]:
        return {job.job: job for job in self.plan.jobs}

    @cached_property
    def operations(self) -> dict[tuple[str, int], PlannedOperation]:
        return {(row.job, row.operation): row for row in self.plan.operations}

    @cached_property
    def operations_of(self) -> dict[str, list[PlannedOperation]]:
        """Operations of each job, in order of work."""
        by: defaultdict[str, list[PlannedOperation]] = defaultdict(list)
        for row in sorted(self.plan.operations, key=lambda r: (r.job, r.operation)):
            by[row.job].append(row)
        return dict(by)

    @cached_property
    def pegs_of(self) -> dict[str, list[Peg]]:
        """Pegs of each job."""
        by: defaultdict[str, list[Peg]] = defaultdict(list)
        for peg in self.plan.pegs:
            by[peg.job].append(peg)
        return dict(by)

    @cached_property
    def jobs_of(self) -> dict[str, list[PlannedJob]]:
        """Jobs of each build."""
        by: defaultdict[str, list[PlannedJob]] = defaultdict(list)
        for job in self.plan.jobs:
            by[job.build].append(job)
        return dict(by)

    @cached_property
    def supplies(self) -> dict[str, Supply]:
        return {supply.supply: supply for supply in self.plan.supplies}

    def start_of(self, job: str, operation: int | None) -> datetime | None:
        """When an operation starts; of a phantom, when the operation starts that needs it.

        None where the plan holds no such operation.
        """
        while True:
            found = None if operation is None else self.operations.get((job, operation))
            if found is not None:
                return found.start
            above = self.jobs.get(job)
            if above is None or above.for_job is None:
                return None
            job, operation = above.for_job, above.for_operation

    @cached_property
    def uses(self) -> tuple[Use, ...]:
        """Every draw of the plan, in order of time, then of who draws."""
        draws = [
            Use(
                supply=peg.supply,
                called=peg.part,
                part=peg.used,
                quantity_milli=peg.quantity_milli,
                at=self.start_of(peg.job, peg.operation) or peg.usable,
                usable=peg.usable,
                build=self.jobs[peg.job].build,
                job=peg.job,
                operation=peg.operation,
            )
            for peg in self.plan.pegs
        ]
        draws += [
            Use(
                supply=row.supply,
                called=row.part,
                part=row.used,
                quantity_milli=row.quantity_milli,
                at=midnight(row.ships),
                order=row.order,
                line=row.line,
            )
            for row in self.plan.shipments
        ]
        return tuple(sorted(draws, key=lambda use: (use.at, use.who, use.part, use.supply)))

    @cached_property
    def uses_of_part(self) -> dict[str, list[Use]]:
        """Draws of each part, in order of time."""
        by: defaultdict[str, list[Use]] = defaultdict(list)
        for use in self.uses:
            by[use.part].append(use)
        return dict(by)

    @cached_property
    def uses_of(self) -> dict[str, list[Use]]:
        """Draws on each supply, those through transfers of it included, in order of time."""
        by: defaultdict[str, list[Use]] = defaultdict(list)
        for use in self.uses:
            supply: str | None = use.supply
            while supply is not None:
                by[supply].append(use)
                found = self.supplies.get(supply)
                supply = None if found is None else found.from_supply
        return dict(by)

    @cached_property
    def first_taken(self) -> dict[str, date]:
        """By supply: the first day on which anything is drawn on it or moved away from it."""
        first: dict[str, date] = {}
        taken = [(use.supply, use.at.date()) for use in self.uses]
        taken += [
            (row.from_supply, row.leaves_on)
            for row in self.plan.supplies
            if row.from_supply is not None and row.leaves_on is not None
        ]
        for supply, day in taken:
            first[supply] = min(first.get(supply, day), day)
        return first

    def root(self, supply: Supply) -> Supply:
        """Where units come from in the first place: the end of a chain of transfers."""
        while supply.kind is SupplyKind.TRANSFER and supply.from_supply is not None:
            supply = self.supplies[supply.from_supply]
        return supply


def midnight(day: date) -> datetime:
    return datetime.combine(day, time.min)


def origin_of(index: PlanIndex, supply: Supply) -> Origin:
    """A supply as the reader wants to see it, transfers followed to their beginning."""
    first = index.root(supply)
    return Origin(
        supply=supply.supply,
        kind=supply.kind,
        first=first.kind,
        point=supply.point,
        first_point=first.point,
        order=first.order,
        line=first.line,
        supplier=first.supplier,
        place_on=first.place_on,
        leaves_on=supply.leaves_on,
        job=first.job,
    )

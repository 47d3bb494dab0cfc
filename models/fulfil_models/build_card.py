"""How does one build come about: its operations, where each part comes from, what to check?"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime

from fulfil_models.bill_tree import AppliedOption, AppliedRule, applied_options, applied_rules
from fulfil_models.fit import FitCheck, fit_checks, ratings_by_part
from fulfil_models.helps import Help, helps_for
from fulfil_models.plan import BlockerKind, Peg, Plan, PlannedBuild
from fulfil_models.plan_index import Origin, PlanIndex, origin_of
from fulfil_models.problem import Problem

MOST_HELPED = 3
"""parts of a build for which it is said what might be tried"""


@dataclass(frozen=True, slots=True)
class CardPart:
    """A part that an operation takes.

    Attributes
    ----------
    part, used: called for, and what it gets.
    through: the phantom on whose bill it stands; None where the operation calls for it itself.
    usable: when the units are there.
    """

    part: str
    used: str
    description: str | None
    quantity_milli: int
    unit: str
    through: str | None
    origin: Origin
    usable: datetime


@dataclass(frozen=True, slots=True)
class CardOperation:
    """One operation of the build or of a job made for it; `part` is what the job makes."""

    job: str
    part: str
    quantity_milli: int
    for_operation: int | None
    operation: int
    work_centre: str
    start: datetime
    end: datetime
    started: datetime | None
    parts: tuple[CardPart, ...]


@dataclass(frozen=True, slots=True)
class Finished:
    """An operation that is done and no longer planned."""

    operation: int
    finished: datetime


@dataclass(frozen=True, slots=True)
class PartCaution:
    part: str
    caution: str


@dataclass(frozen=True, slots=True)
class BuildCard:
    """All that is known of one build: its own operations first, then those of its other jobs."""

    build: PlannedBuild
    description: str | None
    customer: str | None
    destination: str | None
    options: tuple[AppliedOption, ...]
    rules: tuple[AppliedRule, ...]
    finished: tuple[Finished, ...]
    operations: tuple[CardOperation, ...]
    fit_checks: tuple[FitCheck, ...]
    cautions: tuple[PartCaution, ...]
    helps: tuple[Help, ...] = ()
    """what might be tried for the parts that hold it up first"""


def build_card(problem: Problem, plan: Plan, build: str) -> BuildCard:
    """Everything about one build of a plan.

    Parameters
    ----------
    plan: need hold no more than this build's rows and the supplies they draw on.
    """
    index = PlanIndex(plan)
    planned = index.builds[build]
    row = next((row for row in problem.dataset.builds if row.build == build), None)
    product = problem.parts.get(planned.product)
    jobs = {job.job for job in index.jobs_of.get(build, [])}
    pegs = [peg for peg in plan.pegs if peg.job in jobs]
    return BuildCard(
        build=planned,
        description=None if product is None else product.description,
        customer=None if row is None else row.customer,
        destination=None if row is None else row.destination,
        options=() if row is None else applied_options(problem, row),
        rules=() if row is None else applied_rules(problem, row),
        finished=tuple(
            Finished(done.operation, done.finished)
            for done in sorted(problem.dataset.progress, key=lambda r: r.operation)
            if done.build == build and done.finished is not None
        ),
        operations=_operations(problem, index, build, pegs),
        fit_checks=fit_checks(ratings_by_part(problem.dataset.ratings), build, pegs),
        cautions=_cautions(problem, planned, pegs),
        helps=tuple(
            row
            for part in _waited_for(planned)[:MOST_HELPED]
            for row in helps_for(problem.dataset, problem.settings, part, planned.point)
        ),
    )


def _waited_for(planned: PlannedBuild) -> list[str]:
    """Parts that hold a build up, the one that does it most first."""
    return [row.what for row in planned.blockers if row.kind is BlockerKind.PART]


def _operations(
    problem: Problem, index: PlanIndex, build: str, pegs: list[Peg]
) -> tuple[CardOperation, ...]:
    parts: defaultdict[tuple[str, int], list[CardPart]] = defaultdict(list)
    for peg in pegs:
        maker = index.supplies[peg.supply].job
        if maker is not None and maker not in index.operations_of:
            continue  # a phantom: its components are shown in its place
        place, through = _place(index, peg)
        if place is not None:
            parts[place].append(_part(problem, index, peg, through))
    found = []
    for job in index.jobs_of.get(build, []):
        for row in index.operations_of.get(job.job, []):
            progress = problem.progress.get((build, row.operation)) if job.job == build else None
            found.append(
                CardOperation(
                    job=job.job,
                    part=job.part,
                    quantity_milli=job.quantity_milli,
                    for_operation=job.for_operation,
                    operation=row.operation,
                    work_centre=row.work_centre,
                    start=row.start,
                    end=row.end,
                    started=None if progress is None else progress.started,
                    parts=tuple(
                        sorted(
                            parts[job.job, row.operation],
                            key=lambda p: (p.part, p.usable, p.origin.supply),
                        )
                    ),
                )
            )
    return tuple(sorted(found, key=lambda op: (op.job != build, op.start, op.job, op.operation)))


def _place(index: PlanIndex, peg: Peg) -> tuple[tuple[str, int] | None, str | None]:
    """The operation a peg belongs to, and the phantom between them if there is one."""
    job, operation = peg.job, peg.operation
    through: str | None = None
    while operation is None or (job, operation) not in index.operations:
        row = index.jobs[job]
        if row.for_job is None:
            return None, through
        through = row.part
        job, operation = row.for_job, row.for_operation
    return (job, operation), through


def _part(problem: Problem, index: PlanIndex, peg: Peg, through: str | None) -> CardPart:
    supply = index.supplies[peg.supply]
    row = problem.parts.get(peg.used)
    return CardPart(
        part=peg.part,
        used=peg.used,
        description=None if row is None else row.description,
        quantity_milli=peg.quantity_milli,
        unit="ea" if row is None else row.unit,
        through=through,
        origin=origin_of(index, supply),
        usable=peg.usable,
    )


def _cautions(problem: Problem, planned: PlannedBuild, pegs: list[Peg]) -> tuple[PartCaution, ...]:
    names = [planned.product, *sorted({peg.used for peg in pegs})]
    rows = (problem.parts.get(name) for name in names)
    return tuple(
        PartCaution(row.part, row.caution) for row in rows if row is not None and row.caution
    )

"""The queue re-ordered: the plan with something new as early as can be, every promise kept."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING

from fulfil.errors import RejectedPlan
from fulfil.usecases.asking import Asked
from fulfil.usecases.current import Current
from fulfil.usecases.held_quotes import taken_by_holds
from fulfil.usecases.quote_arrival import arrival_of
from fulfil.usecases.quote_cautions import Doubt, doubts, fits_of_measures
from fulfil.usecases.quote_documents import NAME, called, with_request

if TYPE_CHECKING:
    from fulfil_models.displaced import Moved, MovedLine
    from fulfil_models.fit import FitCheck
    from fulfil_models.measures import Measure
    from fulfil_models.plan import Plan
    from fulfil_models.problem import Problem
    from fulfil_models.resequence import Resequenced
    from fulfil_models.room import Request
    from fulfil_models.tables import Dataset

    from fulfil.store.session import Store

RESEQUENCING_SHARE = 0.6
"""share of the seconds that re-ordering may search; the rest reads, takes up, explains, checks"""


@dataclass(frozen=True, slots=True)
class Reordered:
    """The earliest date if the queue may be re-ordered while every promise is kept.

    Attributes
    ----------
    ships: of the last of what is asked for.
    arrives: as of `PromiseAnswer`.
    days_sooner: by which it is ready sooner: machines when they ship, spare parts when they arrive.
    cost: more than as asked, lateness apart; below 0 if less.
    measures: what is done besides the plain way, for whoever it is not done for without that.
    fits: what ratings say of the alternates among these.
    doubts: open purchases that it counts on and whose day is not to be relied on.
    moved, moved_lines: of the others, those that would move.
    """

    ships: date
    arrives: date | None
    days_sooner: int
    cost: Fraction
    measures: tuple[Measure, ...]
    fits: tuple[FitCheck, ...]
    doubts: tuple[Doubt, ...]
    moved: tuple[Moved, ...]
    moved_lines: tuple[MovedLine, ...]

    @property
    def takes_alternates(self) -> bool:
        """Whether something stands in for something else in it that would not without."""
        from fulfil_models.measures import MeasureKind

        return any(row.kind is MeasureKind.ALTERNATE for row in self.measures)

    @property
    def parts(self) -> list[str]:
        """What its measures use."""
        from fulfil_models.measures import MeasureKind

        is_swap = MeasureKind.ALTERNATE
        return [row.by if row.kind is is_swap else row.what for row in self.measures]


class Reordering:
    """One question with the queue re-ordered: what is asked for, under a name that is free."""

    def __init__(self, store: Store, now: Current, asked: Asked, plan: Plan) -> None:
        """`plan` is of what is asked for alone, where nobody moves."""
        from fulfil_models.ready import ready
        from fulfil_models.renaming import renamed

        self.store, self.now, self.before = store, now, ready(plan)
        self.renaming = {} if asked.named else {NAME: _free_name(now.dataset)}
        self.request = called(asked.request, self.renaming)
        self.piece = renamed(plan, self.renaming)

    def made(self, seconds: float) -> Resequenced:
        """The plan in which it is ready soonest."""
        return reordered_plan(self.store, self.now, self.request, self.piece, seconds)

    def told(self, made: Resequenced, name: str) -> Reordered:
        """That plan as an answer, in which what has no name of its own has this one."""
        own = dict.fromkeys(self.renaming.values(), name)
        return told(self.now.room.problem, self.request, self.before, made, own)


def told(
    problem: Problem,
    request: Request,
    before: date,
    made: Resequenced,
    names: Mapping[str, str] | None = None,
) -> Reordered:
    """A re-ordered plan as an answer.

    Parameters
    ----------
    request: what is new in it.
    before: the day on which that would be ready if nobody moved.
    names: others for some of what is new.
    """
    names = names or {}
    alone = _alone(made.plan, request)
    arrives, _ = arrival_of(problem, request, alone)
    return Reordered(
        ships=made.ships,
        arrives=arrives,
        days_sooner=(before - made.ready).days,
        cost=made.cost,
        measures=tuple(_taken_by(row, names) for row in made.measures),
        fits=tuple(
            dataclasses.replace(row, build=names.get(row.build, row.build))
            for row in fits_of_measures(problem, made.plan, made.measures)
        ),
        doubts=doubts(problem, alone),
        moved=made.moved,
        moved_lines=made.moved_lines,
    )


def reordered_plan(
    store: Store, now: Current, request: Request, piece: Plan, seconds: float
) -> Resequenced:
    """The plan with something new as early as it can be while every promise is kept.

    `piece` is what is new beside the plan, where nobody moves. See `resequence.Resequenced`.
    """
    from fulfil_models.audit import audit
    from fulfil_models.planning import Effort, Workbench
    from fulfil_models.resequence import resequenced
    from fulfil_models.taken import joined

    from fulfil.usecases.planning import frozen_plan, problem_beside

    dataset = with_request(now.believed, request)
    previous = frozen_plan(store, now.settings)
    taken = taken_by_holds(
        now.holds,
        now.believed,
        dataclasses.replace(now.orders, next_settings=now.settings),
    )
    problem, _ = problem_beside(dataset, now.settings, previous, taken)
    made = resequenced(
        Workbench(problem),
        joined(now.plan, piece),
        frozenset(row.build for row in request.builds),
        Effort(seconds=seconds * RESEQUENCING_SHARE),
        frozenset((row.order, row.line) for row in request.lines),
    )
    violations = audit(dataset, now.settings, made.plan, previous)
    if violations:
        first = violations[0]
        raise RejectedPlan(
            f"the re-ordered plan broke a rule ({first.rule}: {first.subject}: {first.wrong})",
            "this is an error of the program: report it; the date without re-ordering holds",
        )
    return made


def _alone(plan: Plan, request: Request) -> Plan:
    """What a plan has of a request."""
    builds = {row.build for row in request.builds}
    lines = {(row.order, row.line) for row in request.lines}
    jobs = {job.job for job in plan.jobs if job.build in builds}
    return dataclasses.replace(
        plan,
        builds=tuple(row for row in plan.builds if row.build in builds),
        pegs=tuple(row for row in plan.pegs if row.job in jobs),
        shipments=tuple(row for row in plan.shipments if (row.order, row.line) in lines),
    )


def _taken_by(measure: Measure, names: Mapping[str, str]) -> Measure:
    """A measure with other names for some of those it is done for."""

    def name(taker: str) -> str:
        whole, slash, line = taker.partition("/")
        return names.get(whole, whole) + slash + line

    return dataclasses.replace(measure, takers=tuple(map(name, measure.takers)))


def _free_name(dataset: Dataset) -> str:
    """A name for what is asked about that nothing in the data has."""
    there = {row.build for row in dataset.builds} | {row.order for row in dataset.parts_orders}
    name = NAME
    while name in there:
        name += "*"
    return name

"""What does each build wait for, and how much sooner could it ship without that?

The reasons are the plan's own dates walked back (`reasons`). The ladder of blockers takes one thing
away after another - the one whose absence brings most days first, everybody else staying where they
are - until only the build's own work is left. All days are differences of re-computed ship dates
(`retiming`); those of the whole ladder add up to the days from the planning date to the date on
which the build could ship as things stand.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import date, datetime

from fulfil_models.book import Task
from fulfil_models.compiled import Compiled
from fulfil_models.decisions import Decisions
from fulfil_models.plan import Blocker, BlockerKind, Plan, PlannedBuild
from fulfil_models.reasons import chain_of
from fulfil_models.retiming import NOTHING, Retimer, Timing, Wait, Waived
from fulfil_models.waits import Teller

MOST_RUNGS = 12
"""things taken away from one build; what is left then counts as its own work, and is said so"""


class Explainer:
    """Tells of each build of a plan why its date is what it is and what would bring it forward."""

    def __init__(self, compiled: Compiled, decisions: Decisions, plan: Plan) -> None:
        self.retimer = Retimer(compiled, decisions, plan)
        self.teller = Teller(self.retimer, plan)

    def planned_build(self, task: Task, row: PlannedBuild) -> PlannedBuild:
        """The row with its reasons and blockers."""
        timing = self.retimer.retime(task)
        return dataclasses.replace(
            row,
            reasons=chain_of(self.retimer, self.teller, task, timing),
            blockers=self._ladder(task, row, timing),
        )

    def _ladder(self, task: Task, row: PlannedBuild, timing: Timing) -> tuple[Blocker, ...]:
        # started work may end within a cell, which re-timing counts to its end
        waived, ships = NOTHING, min(row.ships, self._ships(task, timing.finish))
        rungs: list[_Rung] = []
        opening = {wait.key for wait in timing.waits}
        while len(rungs) < MOST_RUNGS:
            found = self._next(task, timing, waived)
            if found is None:
                break
            wait, timing = found
            waived |= {wait.key}
            sooner = min(ships, self._ships(task, timing.finish))
            rung = self._blocker(wait, (ships - sooner).days)
            rungs.append(_Rung(wait, rung, wait.key in opening))
            if rung.days:
                opening = {wait.key for wait in timing.waits}
            ships = sooner
        short = int(task.axis.standard_day / 2) // self.retimer.cell
        ladder = _together(rungs, short)
        if not ladder:
            # no day is to be gained, perhaps hours: a part is named, and queues where hours count
            hours = row.promised is not None and bool(row.late_minutes) and not row.late_days
            ladder = [r.rung for r in rungs if hours or r.rung.kind is BlockerKind.PART]
        return (*ladder, self._work(task, timing, ships))

    def _next(self, task: Task, timing: Timing, waived: Waived) -> tuple[Wait, Timing] | None:
        """The one thing waited for whose absence lets the build ship soonest; of equals the one
        that is waited for first. None where nothing is waited for any more."""
        waits = {wait.key: wait for wait in timing.waits if wait.kind is not BlockerKind.WORK}
        choices = [wait for wait in reversed(waits.values()) if wait.key not in waived]
        tried = [(wait, self.retimer.retime(task, waived | {wait.key})) for wait in choices]
        return min(tried, key=lambda found: self._rank(task, *found), default=None)

    def _rank(self, task: Task, wait: Wait, timing: Timing) -> tuple[date, bool, int]:
        # a part tells more than the queue that forms while it is waited for
        return self._ships(task, timing.finish), wait.kind is not BlockerKind.PART, timing.finish

    def _ships(self, task: Task, finish: int) -> date:
        problem = self.retimer.book.problem
        cutoff = problem.points[task.build.point].cutoff
        moment = task.axis.end_moment(finish * self.retimer.cell)
        return max(task.axis.ship_day(moment, cutoff), problem.as_of)

    def _blocker(self, wait: Wait, days: int) -> Blocker:
        cell = self.retimer.cell
        until: datetime = wait.job.task.axis.start_moment(wait.until * cell)
        ahead: tuple[str, ...] = ()
        supply: str | None = None
        if wait.kind is BlockerKind.PART and wait.need is not None:
            why, ahead, supply = self.teller.part(wait.need)
        elif wait.kind is BlockerKind.WORK_CENTRE:
            span = (wait.since * cell, wait.until * cell)
            why, ahead = self.teller.station(wait.job, wait.place, *span)
        else:
            why = f"not to be started before {wait.job.task.build.earliest}"
        return Blocker(wait.kind, wait.what, until, days, why, supply, ahead)

    def _work(self, task: Task, timing: Timing, ships: date) -> Blocker:
        """The last rung: what is left when nothing is waited for."""
        position = timing.finish * self.retimer.cell
        hours, minutes = divmod(position, 60)
        text = f"{hours} h {minutes} min" if minutes else f"{hours} h"
        why = f"{text} of working time from the planning date on"
        if any(wait.kind is not BlockerKind.WORK for wait in timing.waits):
            why += ", with waits that are not listed"
        if task.build.promised is not None and position > task.due:
            why += f"; that alone goes past the promised {task.build.promised:%Y-%m-%d}"
        days = (ships - self.retimer.book.problem.as_of).days
        return Blocker(BlockerKind.WORK, task.build.build, None, days, why)


@dataclass(frozen=True, slots=True)
class _Rung:
    """A rung, the wait it takes away, and whether that was there when a day was last gained: other
    waits come to light only when those are out of the way."""

    wait: Wait
    rung: Blocker
    opening: bool


def _together(rungs: list[_Rung], short: int) -> list[Blocker]:
    """The ladder with the days of things that gain them only together put to one of them.

    To the one that lets the build go on last, queues shorter than `short` cells and what came to
    light later aside; the others follow it with no days of their own. What gains nothing even in
    the end is left out.
    """
    found: list[Blocker] = []
    group: list[_Rung] = []
    for row in rungs:
        group.append(row)
        if row.rung.days:
            found += _as_one(group, short)
            group = []
    return found


def _as_one(group: list[_Rung], short: int) -> list[Blocker]:
    def telling(row: _Rung) -> tuple[bool, bool, int]:
        wait = row.wait
        brief = wait.kind is BlockerKind.WORK_CENTRE and wait.until - wait.since < short
        return row.opening, not brief, wait.until

    days = group[-1].rung.days
    first = max(group, key=telling).rung
    others = [row.rung for row in group if row.rung is not first]
    why = first.why
    if others:
        why += f"; the days count with {_named(others)} out of the way, too"
    first = dataclasses.replace(first, days=days, why=why)
    return [first, *(dataclasses.replace(rung, days=0) for rung in others)]


def _named(rungs: list[Blocker]) -> str:
    names = [
        f"the queue at {rung.what}" if rung.kind is BlockerKind.WORK_CENTRE else rung.what
        for rung in rungs
    ]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def explain(compiled: Compiled, decisions: Decisions, plan: Plan) -> tuple[PlannedBuild, ...]:
    """The plan's builds, each with its chain of reasons and its ladder of blockers."""
    explainer = Explainer(compiled, decisions, plan)
    tasks = {task.build.build: task for task in compiled.book.tasks}
    return tuple(explainer.planned_build(tasks[row.build], row) for row in plan.builds)

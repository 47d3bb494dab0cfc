"""What does each build wait for, and how much sooner could it ship without that?

A build is re-timed alone, everybody else staying where they are and it keeping the supplies it
holds. Walking back from its last operation gives the chain of reasons; taking away the first thing
that it waits for, then the next, until only work is left, gives the ladder of blockers. All days are
differences of re-computed ship dates.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime

from fulfil_models import stations
from fulfil_models.book import Book, Job, Need, Task
from fulfil_models.compiled import Compiled
from fulfil_models.decisions import Decisions
from fulfil_models.plan import (
    Blocker,
    BlockerKind,
    Peg,
    Plan,
    PlannedBuild,
    Reason,
    Supply,
    SupplyKind,
)

MOST_RUNGS = 8
MOST_WAIVED = 24
MOST_AHEAD = 5


@dataclass(frozen=True, slots=True)
class Wait:
    """Why an operation starts no sooner, in a re-timed build."""

    kind: BlockerKind
    what: str
    job: Job
    place: int
    need: Need | None
    since: int
    """cell from which it could have started but for this"""
    until: int


@dataclass(slots=True)
class Timing:
    """A build re-timed: cell of the start of every operation and what it waited for."""

    finish: int
    waits: list[Wait]
    """from the last operation back along the critical chain; work alone where nothing is waited for"""


class Explainer:
    """Re-times the builds of a plan, one at a time."""

    def __init__(self, compiled: Compiled, decisions: Decisions, plan: Plan) -> None:
        self.compiled = compiled
        self.book: Book = compiled.book
        self.decisions = decisions
        self.cell = compiled.cell
        self.jobs: defaultdict[int, list[Job]] = defaultdict(list)
        for job in decisions.jobs:
            self.jobs[job.task.index].append(job)
        self.made = {job.parent.index: job for job in decisions.jobs if job.parent is not None}
        self.supplies = {supply.supply: supply for supply in plan.supplies}
        self.usable: dict[int, int] = {}
        self.peg_of: dict[int, Peg] = {}
        self._read_pegs(plan)
        self.layers = [stations.empty(c.stations) for c in self.book.centres]
        for index, centre in enumerate(self.book.centres):
            for start, end, out in centre.down:
                self._load(index, start // self.cell, (end - start) // self.cell, out)
        self.holders: defaultdict[tuple[str, str], list[tuple[datetime, str]]] = defaultdict(list)
        build_of = {job.job: job.build for job in plan.jobs}
        for peg in plan.pegs:
            self.holders[peg.used, peg.point].append((peg.usable, build_of[peg.job]))
        for shipment in plan.shipments:
            self.holders[shipment.used, shipment.point].append(
                (self.supplies[shipment.supply].usable, shipment.order)
            )
        self.running: defaultdict[int, list[tuple[int, int, str]]] = defaultdict(list)
        for job in decisions.jobs:
            for operation, start in zip(job.operations, decisions.starts[job.name], strict=True):
                cells = operation.duration // self.cell
                if cells:
                    self._load(operation.centre, start // self.cell, cells, operation.stations)
                    self.running[operation.centre].append(
                        (start // self.cell, start // self.cell + cells, job.task.build.build)
                    )

    def _load(self, centre: int, start: int, duration: int, count: int) -> None:
        count = min(count, self.book.centres[centre].stations)
        self.layers[centre] = stations.add(self.layers[centre], start, duration, count)

    def _read_pegs(self, plan: Plan) -> None:
        """Position from which the last supply of each need is usable."""
        by_key: defaultdict[tuple[str, int | None, str], list[Peg]] = defaultdict(list)
        for peg in plan.pegs:
            by_key[peg.job, peg.operation, peg.part].append(peg)
        for job in self.decisions.jobs:
            for need in job.needs():
                number = job.operations[need.place].number if need.place >= 0 else None
                pegs = by_key.get((job.name, number, need.part), [])
                if pegs and need.index not in self.made:
                    last = max(pegs, key=lambda peg: peg.usable)
                    self.peg_of[need.index] = last
                    self.usable[need.index] = self._soonest(job, self.supplies[last.supply])

    def _soonest(self, job: Job, supply: Supply) -> int:
        """Position from which a supply can be usable: orders are placed late, but need not be."""
        usable = job.task.axis.position(supply.usable)
        if supply.kind is not SupplyKind.NEW_PURCHASE or supply.expedited:
            return usable
        lots = self.book.supplies.bin(supply.part, supply.point).lots
        return max(
            (
                lot.usable
                for lot in lots
                if lot.source is not None
                and lot.source.supplier == supply.supplier
                and lot.usable <= usable
            ),
            default=usable,
        )

    # ---- re-timing

    def retime(self, task: Task, waived: set[tuple[BlockerKind, str]]) -> Timing:
        """First finish of a build alone, without what is waived; and its critical chain."""
        own = [
            (operation, start)
            for job in self.jobs[task.index]
            for operation, start in zip(
                job.operations, self.decisions.starts[job.name], strict=True
            )
            if operation.pinned is None and operation.duration
        ]
        kept = {operation.centre: self.layers[operation.centre] for operation, _ in own}
        for operation, start in own:
            self.layers[operation.centre] = stations.remove(
                self.layers[operation.centre],
                start // self.cell,
                operation.duration // self.cell,
                operation.stations,
            )
        try:
            finish, waits = self._job(task.root, waived)
        finally:
            for centre, layers in kept.items():
                self.layers[centre] = layers
        return Timing(finish, waits)

    def _job(self, job: Job, waived: set[tuple[BlockerKind, str]]) -> tuple[int, list[Wait]]:
        task = job.task
        at = task.earliest // self.cell
        chain: list[Wait] = []
        if at and (BlockerKind.EARLIEST, task.build.build) in waived:
            at = 0
        elif at:
            # holds for what comes after started work too
            chain = [Wait(BlockerKind.EARLIEST, task.build.build, job, 0, None, 0, at)]
        floor = at
        for need in job.loose:
            at, chain = self._need(need, at, chain, waived)
        for place, operation in enumerate(job.operations):
            if operation.pinned is not None:
                at = operation.pinned // self.cell
            else:
                at = max(at, floor)
                for need in operation.needs:
                    at, chain = self._need(need, at, chain, waived)
                name = self.book.centres[operation.centre].name
                if (BlockerKind.WORK_CENTRE, name) not in waived:
                    start = stations.first_fit(
                        self.layers[operation.centre],
                        at,
                        operation.duration // self.cell,
                        operation.stations,
                    )
                    if start > at:
                        wait = Wait(BlockerKind.WORK_CENTRE, name, job, place, None, at, start)
                        at, chain = start, [wait, *chain]
            at += operation.duration // self.cell
        return at, chain

    def _need(
        self, need: Need, at: int, chain: list[Wait], waived: set[tuple[BlockerKind, str]]
    ) -> tuple[int, list[Wait]]:
        if (BlockerKind.PART, need.part) in waived:
            return at, chain
        made = self.made.get(need.index)
        if made is not None:
            end, below = self._job(made, waived)
            if end <= at:
                return at, chain
            if not below:
                below = [Wait(BlockerKind.WORK, made.part, made, 0, need, at, end)]
            return end, below
        usable = -(-self.usable.get(need.index, 0) // self.cell)
        if usable <= at:
            return at, chain
        return usable, [Wait(BlockerKind.PART, need.part, need.job, need.place, need, at, usable)]

    # ---- words

    def planned_build(self, task: Task, row: PlannedBuild) -> PlannedBuild:
        """The row with its reasons and blockers."""
        waived: set[tuple[BlockerKind, str]] = set()
        timing = self.retime(task, waived)
        reasons = tuple(self._reason(wait) for wait in timing.waits)
        blockers: list[Blocker] = []
        ships = self._ships(task, timing.finish)
        while timing.waits and len(blockers) < MOST_RUNGS and len(waived) < MOST_WAIVED:
            wait = next((w for w in timing.waits if w.kind is not BlockerKind.WORK), None)
            if wait is None or (wait.kind, wait.what) in waived:
                break
            waived.add((wait.kind, wait.what))
            timing = self.retime(task, waived)
            sooner = self._ships(task, timing.finish)
            days = max(0, (ships - sooner).days)
            ships = min(ships, sooner)
            # a queue that alone gains nothing is left out; a part is named even so, since another
            # that comes no sooner takes the days
            if days or wait.kind is BlockerKind.PART:
                blockers.append(self._blocker(wait, days))
        return dataclasses.replace(row, reasons=reasons, blockers=tuple(blockers))

    def _ships(self, task: Task, finish: int) -> date:
        cutoff = self.book.problem.points[task.build.point].cutoff
        moment = task.axis.end_moment(finish * self.cell)
        return max(task.axis.ship_day(moment, cutoff), self.book.problem.as_of)

    def _moment(self, wait: Wait) -> datetime:
        return wait.job.task.axis.start_moment(wait.until * self.cell)

    def _reason(self, wait: Wait) -> Reason:
        number = (
            wait.job.operations[wait.place].number
            if wait.place >= 0 and wait.job.operations
            else None
        )
        return Reason(
            wait.job.name, number, wait.kind, wait.what, self._moment(wait), self._why(wait)[0]
        )

    def _blocker(self, wait: Wait, days: int) -> Blocker:
        why, ahead, supply = self._why(wait)
        return Blocker(wait.kind, wait.what, self._moment(wait), days, why, supply, ahead)

    def _why(self, wait: Wait) -> tuple[str, tuple[str, ...], str | None]:
        if wait.kind is BlockerKind.PART and wait.need is not None:
            return self._why_part(wait.need)
        if wait.kind is BlockerKind.WORK_CENTRE:
            centre = wait.job.operations[wait.place].centre
            own = wait.job.task.build.build
            ahead = tuple(
                dict.fromkeys(
                    build
                    for start, end, build in sorted(self.running[centre])
                    if start < wait.until and end > wait.since and build != own
                )
            )
            return f"{wait.what} is busy{_with(ahead)}", ahead, None
        if wait.kind is BlockerKind.EARLIEST:
            return f"not to be started before {wait.job.task.build.earliest}", (), None
        return f"making {wait.what} takes that long", (), None

    def _why_part(self, need: Need) -> tuple[str, tuple[str, ...], str | None]:
        peg = self.peg_of[need.index]
        supply = self.supplies[peg.supply]
        own = need.job.task.build.build
        ahead = tuple(
            dict.fromkeys(
                who
                for usable, who in sorted(self.holders[peg.used, peg.point])
                if usable < peg.usable and who != own
            )
        )
        instead = "" if peg.used == need.part else f" ({peg.used} in its place)"
        text = f"{need.part}{instead} {self._comes(supply)}"
        return (
            text + (f"; what comes sooner goes to {_names(ahead)}" if ahead else ""),
            ahead,
            supply.supply,
        )

    def _comes(self, supply: Supply) -> str:
        day = supply.usable.date()
        if supply.kind is SupplyKind.PURCHASE:
            return f"comes with purchase {supply.order}/{supply.line}, usable {day}"
        if supply.kind is SupplyKind.NEW_PURCHASE:
            hurried = ", expedited" if supply.expedited else ""
            return f"is to be ordered from {supply.supplier} by {supply.place_on}{hurried}, usable {day}"
        if supply.kind is SupplyKind.TRANSFER:
            return f"is moved from {supply.origin} on {supply.leaves_on}, usable {day}"
        return f"is usable {day}"


def _names(names: tuple[str, ...]) -> str:
    more = len(names) - MOST_AHEAD
    return ", ".join(names[:MOST_AHEAD]) + (f" and {more} more" if more > 0 else "")


def _with(ahead: tuple[str, ...]) -> str:
    return f" with {_names(ahead)}" if ahead else ""


def explain(compiled: Compiled, decisions: Decisions, plan: Plan) -> tuple[PlannedBuild, ...]:
    """The plan's builds, each with its chain of reasons and its ladder of blockers."""
    explainer = Explainer(compiled, decisions, plan)
    tasks = {task.build.build: task for task in compiled.book.tasks}
    return tuple(explainer.planned_build(tasks[row.build], row) for row in plan.builds)

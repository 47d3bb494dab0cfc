"""Which operations of the last accepted plan can still keep their slot? (contract rule 9)

An operation that no longer can is let go: its station is out or taken by started work, it would
start before its build may, the operation before it cannot end in time, or its parts are not there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from fulfil_models import stations
from fulfil_models.book import Book, Job, Operation, Task
from fulfil_models.compiled import Compiled, CTask, all_jobs, pinned_tasks
from fulfil_models.insertion import State


def is_frozen(operation: Operation) -> bool:
    return operation.pinned is not None and operation.started is None


@dataclass(frozen=True, slots=True)
class _LetGo:
    """A frozen operation that was let go, with the slot that it had."""

    start: int
    operation: Operation
    task: Task


def thaw(book: Book) -> Compiled:
    """Let go of the frozen operations that cannot keep their slot; the book compiled after that."""
    _thaw_stations(book)
    trial = _Trial(Compiled(book))
    let_go: list[_LetGo] = []
    while frozen := _frozen_of(trial.stuck()):
        for row in frozen:
            row.operation.pinned = None
        for task in dict.fromkeys(row.task for row in frozen):
            trial.compiled.renew(task)
        let_go += frozen
        trial = _Trial(trial.compiled)
    # a build that was stuck may keep those that were not the reason
    by_start = sorted(let_go, key=lambda row: row.start)
    trial.keep_what_can([row for row in by_start if trial.could_stay(row)])
    return trial.settled()


class _Trial:
    """Tries whether every build can be placed with what is pinned; each try is undone.

    A build that finds its parts taken by others goes before them, once in a try: they may have a
    choice that it has not. The order that comes of it is kept, for later tries and for the list
    schedule.
    """

    def __init__(self, compiled: Compiled) -> None:
        self.compiled = compiled
        self._state = State(compiled)
        self._order = [task.index for task in pinned_tasks(compiled.tasks)]

    def stuck(self) -> list[CTask]:
        """Builds that cannot be placed."""
        promoted: set[int] = set()
        while True:
            stuck = [index for index in self._order if not self._place(index)]
            self._state.rollback(0)
            first = next((index for index in stuck if index not in promoted), None)
            if first is None:
                return [self.compiled.tasks[index] for index in stuck]
            promoted.add(first)
            self._go_first(first)

    def _place(self, index: int) -> bool:
        task = self.compiled.tasks[index]
        return self._has_parts(task) and self._state.place(task, justify=False) is not None

    def _has_parts(self, task: CTask) -> bool:
        """Whether what is left has something for each need of what is pinned. Tells at once what
        placing the build finds out only after many attempts to wait."""
        return all(
            any(self._state.ready(way) <= operation.pinned for way in need.ways)
            for job in all_jobs(task.root)
            for operation in job.operations
            if operation.pinned is not None
            for need in operation.needs
        )

    def keep_what_can(self, rows: list[_LetGo]) -> None:
        """Pin operations at the slots they had, in this order, while every build can be placed.

        Those that can stay together are found together: only where they cannot, each half is tried.
        """
        if not rows or self._keep(rows, self._none_is_stuck):
            return
        if len(rows) > 1:
            half = len(rows) // 2
            self.keep_what_can(rows[:half])
            self.keep_what_can(rows[half:])

    def could_stay(self, row: _LetGo) -> bool:
        """Whether the build of an operation could be placed with it, if no other build were."""
        return self._keep([row], lambda: self._place(row.task.index), for_good=False)

    def _keep(self, rows: list[_LetGo], good: Callable[[], bool], *, for_good: bool = True) -> bool:
        """Pin operations; whether that is good. If not, or not for good, it is undone."""
        layers, order = list(self._state.layers), list(self._order)
        for row in rows:
            row.operation.pinned = row.start
        self._renew(rows)
        for row in rows:
            centre, cell = row.operation.centre, self.compiled.cell
            self._state.layers[centre] = stations.add(
                self._state.layers[centre],
                row.start // cell,
                row.operation.duration // cell,
                row.operation.stations,
            )
            if row.task.index not in self._order:
                self._order.append(row.task.index)
        kept = good()
        self._state.rollback(0)
        if not kept or not for_good:
            for row in rows:
                row.operation.pinned = None
            self._renew(rows)
            self._state.layers[:], self._order[:] = layers, order
        return kept

    def _none_is_stuck(self) -> bool:
        """Whether every build with frozen operations can be placed; none goes first twice."""
        promoted: set[int] = set()
        while True:
            first = None
            for index in self._order:
                if not self._place(index):
                    if index not in promoted:
                        first = index
                        break
                    if _frozen_of([self.compiled.tasks[index]]):
                        return False
            if first is None:
                return True
            self._state.rollback(0)
            promoted.add(first)
            self._go_first(first)

    def _go_first(self, index: int) -> None:
        self._order.remove(index)
        self._order.insert(0, index)

    def _renew(self, rows: list[_LetGo]) -> None:
        for task in dict.fromkeys(row.task for row in rows):
            self.compiled.renew(task)

    def settled(self) -> Compiled:
        """The book compiled with what is still pinned, in an order in which that can be placed."""
        made = Compiled(self.compiled.book)
        made.pinned.sort(key=lambda task: self._order.index(task.index))
        return made


def _frozen_of(stuck: list[CTask]) -> list[_LetGo]:
    """The frozen operations of some builds."""
    return [
        _LetGo(operation.pinned, operation, task.task)
        for task in stuck
        for job in task.task.jobs()
        for operation in job.operations
        if operation.pinned is not None and is_frozen(operation)
    ]


def _thaw_stations(book: Book) -> None:
    """Started work, downtime and what others hold have their stations first, then what is frozen,
    by its start."""
    layers = [stations.empty(centre.stations) for centre in book.centres]
    for index, centre in enumerate(book.centres):
        for start, end, count in centre.gone:
            layers[index] = stations.add(layers[index], start, end - start, count)
    frozen: list[tuple[int, str, int, Job]] = []
    for task in book.tasks:
        for job in task.jobs():
            for place, operation in enumerate(job.operations):
                if is_frozen(operation):
                    frozen.append((operation.pinned or 0, job.name, place, job))
                elif operation.pinned is not None:
                    layers[operation.centre] = stations.add(
                        layers[operation.centre],
                        operation.pinned,
                        operation.duration,
                        operation.stations,
                    )
    for start, _, place, job in sorted(frozen, key=lambda row: row[:3]):
        operation = job.operations[place]
        before = job.operations[place - 1] if place else None
        soonest = job.task.earliest
        if before is not None and before.pinned is not None:
            soonest = max(soonest, before.pinned + before.duration)
        here = layers[operation.centre]
        if start < soonest or not stations.fits(
            here, start, operation.duration, operation.stations
        ):
            operation.pinned = None
        else:
            layers[operation.centre] = stations.add(
                here, start, operation.duration, operation.stations
            )

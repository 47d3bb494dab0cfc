"""Which operations of the last accepted plan can still keep their slot? (contract rule 9)

An operation that no longer can is let go: its station is out or taken by started work, it would
start before its build may, the operation before it cannot end in time, or its parts are not there.
"""

from __future__ import annotations

from fulfil_models import stations
from fulfil_models.book import Book, Job, Operation
from fulfil_models.compiled import Compiled, CTask
from fulfil_models.insertion import State


def is_frozen(operation: Operation) -> bool:
    return operation.pinned is not None and operation.started is None


def thaw(book: Book) -> Compiled:
    """Let go of the frozen operations that cannot keep their slot; the book compiled after that."""
    _thaw_stations(book)
    compiled = Compiled(book)
    let_go: list[tuple[int, Operation]] = []
    while frozen := _frozen_of(_stuck(compiled)):
        for operation in frozen:
            let_go.append((operation.pinned or 0, operation))
            operation.pinned = None
        compiled = Compiled(book)
    # a build that was stuck may keep those that were not the reason
    for start, operation in sorted(let_go, key=lambda row: row[0]):
        operation.pinned = start
        again = Compiled(book)
        if _frozen_of(_stuck(again)):
            operation.pinned = None
        else:
            compiled = again
    return compiled


def _stuck(compiled: Compiled) -> list[CTask]:
    """Builds that cannot be placed with what is pinned.

    One that finds its parts taken by others goes before them, once: they may have a choice that it
    has not. The order that comes of it is kept for the list schedule.
    """
    promoted: set[int] = set()
    while True:
        state = State(compiled)
        stuck = [task for task in compiled.pinned if state.place(task, justify=False) is None]
        first = next((task for task in stuck if task.index not in promoted), None)
        if first is None:
            return stuck
        promoted.add(first.index)
        compiled.pinned.remove(first)
        compiled.pinned.insert(0, first)


def _frozen_of(stuck: list[CTask]) -> list[Operation]:
    """The frozen operations of some builds."""
    return [
        operation
        for task in stuck
        for job in task.task.jobs()
        for operation in job.operations
        if is_frozen(operation)
    ]


def _thaw_stations(book: Book) -> None:
    """Started work and downtime have their stations first, then what is frozen, by its start."""
    layers = [stations.empty(centre.stations) for centre in book.centres]
    for index, centre in enumerate(book.centres):
        for start, end, out in centre.down:
            count = min(out, centre.stations)
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

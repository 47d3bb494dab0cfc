"""What a plan decides: when each operation starts, and what each need and line draws on.

Positions are working minutes of the build's point. Searches and models write decisions;
`assembly` turns them into the plan that a person reads.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from fulfil_models.book import Book, Job, Line, Need, Outlet, Task, Way
from fulfil_models.compiled import Compiled
from fulfil_models.search import Solution


@dataclass(frozen=True, slots=True)
class Fill:
    """So much of a way's part for a need, out of the first `event` + 1 lots of the way's bin."""

    need: Need
    way: Way
    quantity_milli: int
    event: int
    departure: int = -1
    """index among the route's departures, of a move"""


@dataclass(frozen=True, slots=True)
class Ship:
    """So much for a line out of the first `event` + 1 lots of an outlet's bin."""

    line: Line
    outlet: Outlet
    quantity_milli: int
    event: int
    departure: int = -1
    """index among the departures of the outlet's route, if it has one"""


@dataclass(frozen=True, slots=True)
class Decisions:
    starts: dict[str, tuple[int, ...]]
    """by name of the job, in order of its operations; only jobs that are done"""
    jobs: tuple[Job, ...]
    """jobs that are done, parents first"""
    fills: tuple[Fill, ...]
    ships: tuple[Ship, ...]
    unplaced: tuple[Task, ...] = ()
    unshipped: tuple[Line, ...] = ()


def from_solution(book: Book, compiled: Compiled, solution: Solution) -> Decisions:
    """Decisions of a search, with what it left out as plentiful drawn from the shelf."""
    cell = compiled.cell
    starts: dict[str, tuple[int, ...]] = {}
    jobs: list[Job] = []
    fills: list[Fill] = []
    unplaced: list[Task] = []
    for task, placement in zip(book.tasks, solution.placed, strict=True):
        if placement is None:
            unplaced.append(task)
            continue
        for made, cells in placement.starts:
            starts[made.job.name] = tuple(
                _start(operation.operation.pinned, at, cell)
                for operation, at in zip(made.operations, cells, strict=True)
            )
            jobs.append(made.job)
        fills += [
            Fill(draw.need.need, draw.way.way, draw.quantity, draw.event, draw.departure)
            for draw in placement.draws
        ]
    for job in jobs:
        moment = job_moment(job, starts)
        for need in job.needs():
            if need.plentiful:
                at = moment if need.place < 0 else starts[job.name][need.place]
                way = need.ways[0]
                assert way.bin is not None
                event = bisect_right(way.bin.times, at) - 1
                fills.append(Fill(need, way, way.quantity_milli, event))
    ships: list[Ship] = []
    unshipped: list[Line] = []
    for line, shipped in zip(compiled.lines, solution.lines, strict=True):
        if shipped is None:
            unshipped.append(line.line)
            continue
        for number, event, quantity in shipped.draws:
            outlet = line.outlets[number]
            departure = outlet.departures[event] if outlet.route >= 0 else -1
            lot = outlet.last_lot[event]
            ships.append(Ship(line.line, line.line.outlets[number], quantity, lot, departure))
    return Decisions(
        starts, tuple(jobs), tuple(fills), tuple(ships), tuple(unplaced), tuple(unshipped)
    )


def _start(pinned: int | None, cells: int, cell: int) -> int:
    return cells * cell if pinned is None else pinned


def job_moment(job: Job, starts: dict[str, tuple[int, ...]]) -> int:
    """Moment at which a phantom is made: that of the need it fills; its start for other jobs."""
    while not job.operations:
        if job.parent is None:
            return job.task.earliest
        parent = job.parent
        if parent.place >= 0:
            return starts[parent.job.name][parent.place]
        job = parent.job
    return starts[job.name][0]


def need_moment(need: Need, starts: dict[str, tuple[int, ...]]) -> int:
    """Position at which a need must be filled."""
    if need.place >= 0:
        return starts[need.job.name][need.place]
    return job_moment(need.job, starts)


def job_end(job: Job, starts: dict[str, tuple[int, ...]]) -> int:
    """Position at which a job ends."""
    if not job.operations:
        return job_moment(job, starts)
    return starts[job.name][-1] + job.operations[-1].duration

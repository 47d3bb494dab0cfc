"""A solution as plain tuples, to be sent between processes and taken up again."""

from __future__ import annotations

from dataclasses import dataclass

from fulfil_models.compiled import CJob, CLine, CNeed, Compiled, CTask, CWay, all_jobs, all_needs
from fulfil_models.insertion import State
from fulfil_models.ledger import MAKE, Draw, LinePlacement, Placement
from fulfil_models.search import Solution

DrawSketch = tuple[int, int, int, int, int, int]
"""need, way, part of a mixed way (-1), event, quantity, departure"""
BuildSketch = tuple[tuple[tuple[str, tuple[int, ...]], ...], tuple[DrawSketch, ...]]
"""(job, starts of its operations in cells), and draws"""


@dataclass(frozen=True, slots=True)
class Sketch:
    """Where everything stands: by task the starts of its jobs and its draws; None if left out."""

    builds: tuple[BuildSketch | None, ...]
    lines: tuple[tuple[tuple[int, int, int], ...] | None, ...]
    cost: float


def sketch(solution: Solution) -> Sketch:
    """The plain form of a solution."""
    builds = tuple(
        None
        if placement is None
        else (
            tuple((job.job.name, tuple(starts)) for job, starts in placement.starts),
            tuple(_draw_sketch(draw) for draw in placement.draws),
        )
        for placement in solution.placed
    )
    lines = tuple(None if line is None else tuple(line.draws) for line in solution.lines)
    return Sketch(builds, lines, solution.cost)


def _draw_sketch(draw: Draw) -> DrawSketch:
    for number, way in enumerate(draw.need.ways):
        if way is draw.way:
            return (draw.need.need.index, number, -1, draw.event, draw.quantity, draw.departure)
        for part_number, part in enumerate(way.parts):
            if part is draw.way:
                return (
                    draw.need.need.index,
                    number,
                    part_number,
                    draw.event,
                    draw.quantity,
                    draw.departure,
                )
    raise AssertionError("a draw by a way that its need does not have")


def take_up(book: Compiled, drawn: Sketch) -> State:
    """The state in which a solution stands."""
    state = State(book)
    for task, build in zip(book.tasks, drawn.builds, strict=True):
        if build is not None:
            _take_up_build(state, task, *build)
    for line, pieces in zip(book.lines, drawn.lines, strict=True):
        if pieces is not None:
            _take_up_line(state, line, pieces)
    state.forget()
    return state


def _take_up_build(
    state: State,
    task: CTask,
    starts: tuple[tuple[str, tuple[int, ...]], ...],
    draws: tuple[DrawSketch, ...],
) -> None:
    jobs: dict[str, CJob] = {}
    needs: dict[int, CNeed] = {}
    for job in all_jobs(task.root):
        jobs[job.job.name] = job
        needs.update((need.need.index, need) for need in all_needs(job))
    placement = Placement()
    for name, cells in starts:
        job = jobs[name]
        placement.starts.append((job, list(cells)))
        for operation, start in zip(job.operations, cells, strict=True):
            if operation.pinned is None and operation.duration:
                state.load(operation, start, placement)
    root_starts = placement.starts[0][1]
    if task.root.operations:
        placement.finish = root_starts[-1] + task.root.operations[-1].duration
    else:
        placement.finish = task.earliest
    for index, number, part, event, quantity, departure in draws:
        way: CWay = needs[index].ways[number]
        if part >= 0:
            way = way.parts[part]
        if way.kind == MAKE:
            placement.draws.append(Draw(needs[index], way, -1, quantity))
        else:
            state.draw_exactly(needs[index], way, event, quantity, departure, placement)
    late = placement.finish - task.due
    placement.cost += task.rate * late if late > 0 else 0.0
    state.placed[task.index] = placement


def _take_up_line(state: State, line: CLine, pieces: tuple[tuple[int, int, int], ...]) -> None:
    state.lines[line.index] = LinePlacement()
    state.commit_line(line, list(pieces))

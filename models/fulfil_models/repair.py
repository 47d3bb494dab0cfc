"""How does a plan go on when the data changed? It is taken up as it stands, and mended where it
cannot stand.

A build, or a line of a parts order, stands if its slots are free and the very lots that it drew on
are there in time. All that stand are taken up first; one that cannot keeps its slots with other
units if there are any left, and else goes to the first slots and supplies that are left, not before
the slots that it had. What the plan does not know comes last. Nothing is searched for.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import Enum, auto

from fulfil_models import stations
from fulfil_models.blockers import explain
from fulfil_models.book_entries import is_promised
from fulfil_models.compiled import (
    CJob,
    CLine,
    CNeed,
    Compiled,
    COutlet,
    CTask,
    CWay,
    all_jobs,
    all_needs,
    is_pinned,
)
from fulfil_models.decisions import from_solution
from fulfil_models.insertion import State
from fulfil_models.ledger import ADVANCE, Advice, Draw, Placement
from fulfil_models.plan import Plan
from fulfil_models.planning import Workbench, solution_of, unexplained
from fulfil_models.search import Item, by_due
from fulfil_models.search import place as put_in
from fulfil_models.sketch import Sketch, sketch
from fulfil_models.standing import LotKey, Lots, Piece, Sending, Standing, piece_of, sending_of


@dataclass(frozen=True, slots=True)
class Retimed:
    """A plan gone on with, and what has no place in it any more.

    Attributes
    ----------
    plan: of everything that has a place; its bound is 0, since none is known. Whoever keeps it
        must refuse one that leaves something out.
    unplaced: builds whose parts never come with what is left.
    unshipped: lines of parts orders, (order, line), likewise.
    """

    plan: Plan
    unplaced: tuple[str, ...] = ()
    unshipped: tuple[tuple[str, str], ...] = ()


def retimed_plan(bench: Workbench, plan: Plan, notes: tuple[str, ...] = ()) -> Retimed:
    """The plan with which an earlier one goes on, of the data of a workbench."""
    compiled = aligned(bench.compiled, plan)
    solution = solution_of(repaired(compiled, plan))
    decisions = from_solution(bench.book, compiled, solution)
    made = unexplained(bench, decisions, notes=notes)
    return Retimed(
        replace(made, builds=explain(compiled, decisions, made)),
        tuple(task.build.build for task in decisions.unplaced),
        tuple((line.row.order, line.row.line) for line in decisions.unshipped),
    )


@dataclass(frozen=True, slots=True)
class Stands:
    """Where everything stands when a plan goes on.

    Attributes
    ----------
    sketch: for a search to begin with; None where a start lies between the cells of its book.
    builds, lines: those of which the promise is kept so; lines as (order, line).
    """

    sketch: Sketch | None
    builds: frozenset[str]
    lines: frozenset[tuple[str, str]]


def stands(bench: Workbench, plan: Plan) -> Stands:
    """How a plan goes on with the data of a workbench."""
    compiled = aligned(bench.compiled, plan)
    solution = solution_of(repaired(compiled, plan))
    builds = {
        task.task.build.build
        for task, placement in zip(compiled.tasks, solution.placed, strict=True)
        if placement is not None
        and task.task.build.promised is not None
        and placement.finish * compiled.cell <= compiled.kept_until(task.task)
    }
    lines = {
        (line.line.row.order, line.line.row.line)
        for line, placement in zip(compiled.lines, solution.lines, strict=True)
        if placement is not None
        and is_promised(line.line.row)
        and not any(line.outlets[number].late[event] for number, event, _ in placement.draws)
    }
    drawn = sketch(solution) if compiled is bench.compiled else None
    return Stands(drawn, frozenset(builds), frozenset(lines))


def aligned(compiled: Compiled, plan: Plan) -> Compiled:
    """The book compiled in cells so small that every start of a plan falls on one.

    Data that changed may have a greater common divisor than the plan was made with; a start
    between two cells could not be kept.
    """
    starts = list(_positions(compiled, plan))
    if all(start % compiled.cell == 0 for start in starts):
        return compiled
    made = Compiled(compiled.book, starts)
    order = [task.index for task in compiled.pinned]
    made.pinned.sort(key=lambda task: order.index(task.index))
    return made


def _positions(compiled: Compiled, plan: Plan) -> Iterator[int]:
    axes = {task.task.build.build: task.task.axis for task in compiled.tasks}
    builds = {job.job: job.build for job in plan.jobs}
    for row in plan.operations:
        axis = axes.get(builds[row.job])
        if axis is not None:
            yield axis.position(row.start)


def repaired(compiled: Compiled, plan: Plan) -> State:
    """The state in which a plan goes on: who can keeps its slots and what it draws, the others
    follow in the order of their planned starts, and what the plan does not know comes last.

    Slots are kept to the minute where `compiled` is `aligned`. What cannot be placed at all is
    None in `placed` and `lines` of the state.
    """
    return _Repair(compiled, plan).state


# ---- taking up what stands


@dataclass(slots=True)
class _Taking:
    """What a build or a line has taken up so far; `exact` if only from the lots that it had."""

    exact: bool
    placement: Placement = field(default_factory=Placement)
    lots: Counter[LotKey] = field(default_factory=Counter)


class _Turn(Enum):
    """When builds with slots that they must keep are mended, if they cannot stand as they are.

    Each turn is surer to find a place for all of them than the one before, and moves more.
    """

    AMONG_OTHERS = auto()
    FIRST = auto()
    FIRST_AND_AFRESH = auto()
    """all of them placed as the freeze has tried that they can be"""


class _Repair:
    """Puts everything of a book where a plan has it, or after that."""

    def __init__(self, compiled: Compiled, plan: Plan) -> None:
        self.compiled = compiled
        self.standing = Standing(plan)
        known: list[tuple[datetime, Item]] = []
        self.new: list[Item] = []
        for item in by_due(compiled):
            begins = self.standing.begins(item)
            if isinstance(item, CTask) and is_pinned(item):
                continue
            if begins is None:
                self.new.append(item)
            else:
                known.append((begins, item))
        known.sort(key=lambda row: row[0])
        self.known = [item for _, item in known]
        for turn in _Turn:
            self.state = State(compiled)
            self.lots = Lots(compiled)
            self._place_all(turn)
            if all(self.state.placed[task.index] is not None for task in compiled.pinned):
                break
        self.state.forget()

    def _place_all(self, turn: _Turn) -> None:
        pinned: list[Item] = list(self.compiled.pinned)
        if turn is _Turn.FIRST_AND_AFRESH:
            for task in self.compiled.pinned:
                self.state.place(task, justify=False)
        else:
            pinned = self._not_standing(pinned)
        if turn is _Turn.FIRST:
            self._mend(pinned)
        fallen = self._not_standing(self.known)
        if turn is _Turn.AMONG_OTHERS:
            self._mend(pinned)
        self._mend(fallen)
        for item in self.new:
            put_in(self.state, item, justify=False)

    def _not_standing(self, items: Iterable[Item]) -> list[Item]:
        """Items that cannot stand as they are; the others are taken up."""
        return [item for item in items if not self._take_up(item, exact=True)]

    def _mend(self, items: Iterable[Item]) -> None:
        """Keep the slots with other units, or go to the first slots and supplies left."""
        for item in items:
            if self._take_up(item, exact=False):
                continue
            if isinstance(item, CTask):
                self._place_after(item)
            else:
                self.state.place_line(item)

    def _take_up(self, item: Item, *, exact: bool) -> bool:
        """Put a build or a line where the plan has it; whether that is possible."""
        mark, taking = len(self.state.log), _Taking(exact)
        if isinstance(item, CTask):
            done = self._take_up_build(item, taking)
        else:
            done = self._take_up_line(item, taking)
        if done:
            self.lots.left.subtract(taking.lots)
        else:
            self.state.rollback(mark)
        return done

    def _take_up_build(self, task: CTask, taking: _Taking) -> bool:
        placement = taking.placement
        starts = self._starts(task.root, task.task.build.build)
        if starts is None:
            return False
        operations = task.root.operations
        placement.finish = starts[-1] + operations[-1].duration if operations else task.earliest
        if not self._take_up_job(task.root, task.task.build.build, placement.finish, taking):
            return False
        placement.cost += task.rate * max(0, placement.finish - task.due)
        self.state.placed[task.index] = placement
        return True

    def _take_up_job(self, job: CJob, name: str, by: int, taking: _Taking) -> bool:
        """Put a job, and all that is made for it, where the plan has it, to end by a moment."""
        starts = self._starts(job, name)
        if starts is None or not _follow(job, starts, by):
            return False
        taking.placement.starts.append((job, starts))
        for operation, start in zip(job.operations, starts, strict=True):
            if operation.pinned is None and operation.duration:
                here = self.state.layers[operation.centre]
                if not stations.fits(here, start, operation.duration, operation.stations):
                    return False
                self.state.load(operation, start, taking.placement)
        rows = [(need, by) for need in job.loose]
        for operation, start in zip(job.operations, starts, strict=True):
            rows += [(need, start) for need in operation.needs]
        return all(self._take_up_need(need, name, at, taking) for need, at in rows)

    def _starts(self, job: CJob, name: str) -> list[int] | None:
        """Cells at which a job's operations start; None where one has no slot on a cell."""
        starts = []
        for operation in job.operations:
            if operation.pinned is not None:
                starts.append(operation.pinned)
                continue
            moment = self.standing.starts.get((name, operation.operation.number))
            if moment is None:
                return None
            start, rest = divmod(job.job.task.axis.position(moment), self.compiled.cell)
            if rest:
                return None
            starts.append(start)
        return starts

    def _take_up_need(self, need: CNeed, job: str, at: int, taking: _Taking) -> bool:
        pegs = self.standing.pegs(need, job)
        if len({peg.used for peg in pegs}) != 1:
            return False
        left, draws = 0, Counter[tuple[int, int]]()
        ways: dict[int, CWay] = {}
        for peg in pegs:
            piece = piece_of(self.standing, self.lots, need, peg, at)
            if piece is None:
                return False
            if piece.way.job is not None:
                if piece.quantity != piece.way.quantity:
                    return False
                taking.placement.draws.append(Draw(need, piece.way, -1, piece.quantity))
                name = self.standing.supplies[peg.supply].job or ""
                return self._take_up_job(piece.way.job, name, at, taking)
            if taking.exact and not self._is_there(piece, taking):
                return False
            left += piece.quantity
            ways[id(piece.way)] = piece.way
            draws[id(piece.way), piece.departure] += piece.quantity
        if left != next(iter(ways.values())).quantity:
            return False
        return all(
            self._draw(need, ways[key], departure, quantity, at, taking.placement)
            for (key, departure), quantity in draws.items()
        )

    def _is_there(self, piece: Piece | Sending, taking: _Taking) -> bool:
        """Whether the lot of a piece is there in time with so much left; if so it is taken."""
        if piece.lot is None or not piece.in_time:
            return False
        taking.lots[piece.lot] += piece.quantity
        return taking.lots[piece.lot] <= self.lots.left[piece.lot]

    def _draw(
        self, need: CNeed, way: CWay, departure: int, quantity: int, at: int, placement: Placement
    ) -> bool:
        """Draw if the balance of the bin allows it."""
        if departure >= 0:
            if way.arrivals[departure] > at:
                return False
            event = bisect_right(way.days, way.departures[departure]) - 1
        elif way.kind == ADVANCE:
            left = way.limit - self.state.bought.get((way.bin, way.event), 0)
            if way.usable > at or left < quantity:
                return False
            event = way.event
        else:
            event = bisect_right(way.times, at) - 1
        if event < 0 or min(self.state.slack[way.bin][event:]) < quantity:
            return False
        self.state.draw_exactly(need, way, event, quantity, departure, placement)
        return True

    def _take_up_line(self, line: CLine, taking: _Taking) -> bool:
        pieces: Counter[tuple[int, int]] = Counter()
        for row in self.standing.shipments(line):
            sent = sending_of(self.standing, self.lots, line, row)
            if sent is None or (taking.exact and not self._is_there(sent, taking)):
                return False
            pieces[sent.outlet, sent.event] += sent.quantity
        outlets = [line.outlets[number] for number, _ in pieces]
        if not line.line.row.split and len({outlet.point for outlet in outlets}) > 1:
            return False
        used = {outlet.used for outlet in outlets}
        if len(used) != 1 or pieces.total() != outlets[0].quantity:
            return False
        self.state.commit_line(line, [(*key, quantity) for key, quantity in pieces.items()])
        if all(self._is_covered(outlet) for outlet in outlets):
            return True
        self.state.lines[line.index] = None
        return False

    def _is_covered(self, outlet: COutlet) -> bool:
        """Whether an outlet's bin still has what is drawn on it."""
        bought = self.state.bought.get((outlet.bin, outlet.advanced), 0)
        if outlet.advanced >= 0 and bought > outlet.limit:
            return False
        return min(self.state.slack[outlet.bin]) >= 0

    # ---- mending what does not

    def _place_after(self, task: CTask) -> None:
        """Go to the first slots left, not before those of the plan, by the ways of the plan; by
        whatever ways there are only where that is sooner, and cheaper."""
        mark = len(self.state.log)
        advice = self._advice(task)
        kept = self._try(task, advice)
        self.state.rollback(mark)
        free = self._try(task, {})
        if kept is not None and (free is None or kept[0] <= free[0] or kept[1] <= free[1]):
            self.state.rollback(mark)
            self._try(task, advice)

    def _try(self, task: CTask, advice: dict[int, Advice]) -> tuple[int, float] | None:
        """Place a build with advice; the cell in which it is finished and what it costs, None where
        it cannot be placed."""
        self.state.placed[task.index] = None
        self.state.advised = advice
        before = self.state.shared_cost
        placement = self.state.place(task, justify=False, not_before=self._not_before(task))
        self.state.advised = {}
        if placement is None:
            return None
        return placement.finish, placement.cost + self.state.shared_cost - before

    def _not_before(self, task: CTask) -> dict[int, int]:
        """By place of an operation of a build: the cell before which it does not start."""
        lower = {}
        for place, operation in enumerate(task.root.operations):
            key = (task.task.build.build, operation.operation.number)
            moment = self.standing.starts.get(key)
            if moment is not None:
                lower[place] = -(-task.task.axis.position(moment) // self.compiled.cell)
        return lower

    def _advice(self, task: CTask) -> dict[int, Advice]:
        """By which ways the needs of a build, and of what is made for it, are filled in the
        plan."""
        advice: dict[int, Advice] = {}
        for job in all_jobs(task.root):
            for need in all_needs(job):
                amounts: Counter[tuple[int, int]] = Counter()
                for peg in self.standing.pegs(need, job.job.name):
                    piece = piece_of(self.standing, self.lots, need, peg, 0)
                    if piece is not None:
                        amounts[piece.way.kind, piece.way.route] += piece.quantity
                        advice[need.need.index] = (peg.used, amounts)
        return advice


def _follow(job: CJob, starts: list[int], by: int) -> bool:
    """Whether operations with these starts follow one another, and end by a moment."""
    at = job.earliest
    for place, (operation, start) in enumerate(zip(job.operations, starts, strict=True)):
        if start < at and (place or operation.pinned is None):
            return False
        at = max(job.earliest, start + operation.duration)
    return not starts or starts[-1] + job.operations[-1].duration <= by

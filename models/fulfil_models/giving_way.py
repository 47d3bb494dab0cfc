"""Who gives way to something new, so that every promise is kept and few are moved?

Two walks of the insertion search over a plan that stands, with what is new in it. In the first only
what is new costs anything by its lateness, and that outweighs all else; a promise broken outweighs
even that. In the second what is new keeps what it won, and the others cost what they cost in any
plan. In both everybody who is taken out goes back to where he stood, if that is free: so those are
moved who are in the way, and those in their way.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from fulfil_models.book_entries import is_promised
from fulfil_models.cells import MICRO, day_of
from fulfil_models.compiled import CLine, Compiled, CTask
from fulfil_models.homing import Homing, Lateness, Pulling, Returning
from fulfil_models.insertion import State
from fulfil_models.plan import Plan
from fulfil_models.ready import LineKey, line_ready
from fulfil_models.search import Item, Solution
from fulfil_models.settings import Settings
from fulfil_models.sketch import Sketch, sketch, take_up

HURRY = 1e6
"""cost of a cell by which what is new is later than it could be: no cost of a way outweighs it"""
BROKEN = 1e12
"""cost of a cell by which a promise is broken, or of a line's broken promise: nothing outweighs
it"""
LEAST_DAY_COST = 1e-3
"""cost of a late day of a line whose promise counts for nothing by its weight"""
LAST_FIRST = 3
"""power with which the lateness of one of several new builds raises what it costs: it is the last
one that counts"""
LAST_COUNTS = 10.0
"""how much more that costs than the lateness of all together, if one is as late as the last was"""
PASSES = 3
"""how often it is tried, at the end, to bring back each of those who were moved"""

STIR = Fraction(1, 100)
"""share of the cost of a late day that it counts if a build has other slots: nobody is moved for
less"""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is new, and the plan beside which it was put, with it in it."""

    joined: Plan
    builds: frozenset[str]
    lines: frozenset[LineKey]

    def is_new(self, item: Item) -> bool:
        if isinstance(item, CTask):
            return item.task.build.build in self.builds
        return line_key(item) in self.lines


def line_key(line: CLine) -> LineKey:
    return line.line.row.order, line.line.row.line


def ready_day(line: CLine, number: int, event: int) -> int:
    """Ordinal of the day on which a line is ready that ships with an event of its outlet of that
    number."""
    ships = date.fromordinal(line.outlets[number].days[event])
    carrier_days = line.line.outlets[number].delivery.days
    return line_ready(ships, carrier_days).toordinal()


def stir_cost(settings: Settings) -> Fraction:
    """What it counts that a build has other slots, in the currency."""
    return STIR * Fraction(settings.late_day_cost_micro, MICRO)


def limits(compiled: Compiled, asked: Asked) -> dict[int, int]:
    """By index of a build that is promised: the last cell in which it may end.

    That is its due moment, or the moment at which it ends if it is late as the plan stands; sooner
    if it would then ship on a later day: of a promised day that is closed, the cut-off before it
    counts.
    """
    rows = {row.build: row for row in asked.joined.builds}
    found = {}
    for task in compiled.tasks:
        row, axis = rows[task.task.build.build], task.task.axis
        if row.promised is not None and not asked.is_new(task):
            cutoff = compiled.book.problem.points[row.point].cutoff
            last_day = day_of(row.promised) + timedelta(row.late_days)
            last = min(task.task.due + row.late_minutes, axis.last_to_ship(last_day, cutoff))
            found[task.index] = max(last, axis.position(row.finish)) // compiled.cell
    return found


def line_limits(compiled: Compiled, asked: Asked) -> dict[int, int]:
    """By index of a line that is promised: the most late days it may have, likewise."""
    late: dict[LineKey, int] = {}
    for row in asked.joined.shipments:
        key = (row.order, row.line)
        late[key] = max(late.get(key, 0), row.late_days)
    return {
        line.index: late[line_key(line)]
        for line in compiled.lines
        if is_promised(line.line.row) and not asked.is_new(line)
    }


class Race:
    """The two walks.

    `compiled` is the book for them alone: its due moments and rates are changed. `start` is the
    plan with what is new beside it, in which nothing is left out.
    """

    def __init__(self, compiled: Compiled, asked: Asked, start: Sketch) -> None:
        self.compiled = compiled
        self.asked = asked
        self.start = start
        self.new = [task for task in compiled.tasks if asked.is_new(task)]
        self.new_lines = [line for line in compiled.lines if asked.is_new(line)]
        self._ready = {line.index: _ready_days(line) for line in self.new_lines}
        self._costs = [_costing(task.due, task.rate) for task in compiled.tasks]
        self._lines = [(line.day_cost, [o.late for o in line.outlets]) for line in compiled.lines]
        self._promised = limits(compiled, asked)
        for index, limit in self._promised.items():
            compiled.tasks[index].due, compiled.tasks[index].rate = limit, BROKEN
        for index, most in line_limits(compiled, asked).items():
            line = compiled.lines[index]
            broken = _outweighing(line)
            for outlet in line.outlets:
                outlet.late = tuple(days + broken * (days > most) for days in outlet.late)

    def pull(self, steps: int, seed: int, stop: Callable[[], bool]) -> Sketch:
        """So many steps in which what is new is pulled forward."""
        for task in self.new:
            task.due, task.rate = 0, HURRY
        alone = State(self.compiled)
        for task in self.new:
            placement = alone.place(task, justify=False)
            task.due = 0 if placement is None else placement.finish
            alone.rollback(0)
        as_of = self.compiled.book.problem.as_of.toordinal()
        for line in self.new_lines:
            line.day_cost = HURRY * self._cells_of_a_day()
            for outlet, days in zip(line.outlets, self._ready[line.index], strict=True):
                outlet.late = tuple(day - as_of for day in days)
        state = self._state(self.start, self._last_first(), push=True)

        def done() -> bool:
            return stop() or (not self.new_lines and all(map(state.is_in_time, self.new)))

        search = Pulling(state, seed, [*self.new, *self.new_lines], BROKEN)
        return sketch(search.run(steps, done, heat=0.02))

    def bring_back(self, found: Sketch, steps: int, seed: int, stop: Callable[[], bool]) -> Sketch:
        """So many steps in which the others come to cost less, or back to where they stood."""
        there = take_up(self.compiled, found)
        for task in self.new:
            placement = there.placed[task.index]
            assert placement is not None
            task.due, task.rate = placement.finish, BROKEN
        for line in self.new_lines:
            shipped = there.lines[line.index]
            assert shipped is not None
            ready = self._ready[line.index]
            last = max(ready[number][event] for number, event, _ in shipped.draws)
            line.day_cost, late = self._lines[line.index]
            broken = _outweighing(line)
            for outlet, days, then in zip(line.outlets, late, ready, strict=True):
                outlet.late = tuple(
                    more + broken * (day > last) for more, day in zip(days, then, strict=True)
                )
        costs = {i: self._costs[i] for i in [*self._promised, *(task.index for task in self.new)]}
        state = self._state(found, costs)
        items: list[Item] = [*self.compiled.tasks, *self.compiled.lines]
        away = [item for item in items if not state.is_at_home(item)]
        search = Returning(state, seed, 6, away)
        best = search.run(steps, stop, heat=0.01)
        state = self._state(sketch(best), costs)
        for _ in range(PASSES):
            if not sum([state.comes_home(item) for item in search.movable]):
                break
        return sketch(Solution(tuple(state.placed), tuple(state.lines), state.cost()))

    def _state(self, drawn: Sketch, costs: Mapping[int, Lateness], *, push: bool = False) -> Homing:
        homes = take_up(self.compiled, self.start)
        for task in self.new:
            homes.placed[task.index] = None
        for line in self.new_lines:
            homes.lines[line.index] = None
        stir = float(stir_cost(self.compiled.book.problem.settings))
        return Homing(take_up(self.compiled, drawn), homes, costs, stir, push=push)

    def _cells_of_a_day(self) -> float:
        axes = self.compiled.book.problem.axes.values()
        return float(max(axis.standard_day for axis in axes)) / self.compiled.cell

    def _last_first(self) -> dict[int, Lateness]:
        """What the lateness of several new builds costs beside that of each: the later one is, the
        more does a cell."""
        if len(self.new) < 2:
            return {}
        state = take_up(self.compiled, self.start)
        finishes = [state.placed[task.index] for task in self.new]
        span = max(
            (p.finish - t.due for t, p in zip(self.new, finishes, strict=True) if p), default=0
        )
        return {task.index: _steepening(task.due, max(1, span)) for task in self.new}


def _ready_days(line: CLine) -> list[list[int]]:
    """The day on which a line is ready, by outlet and event."""
    return [
        [ready_day(line, number, event) for event in range(len(outlet.days))]
        for number, outlet in enumerate(line.outlets)
    ]


def _outweighing(line: CLine) -> int:
    """Late days that cost as much as a broken promise; each is made to cost something."""
    line.day_cost = max(line.day_cost, LEAST_DAY_COST)
    return round(BROKEN / line.day_cost)


def _costing(due: int, rate: float) -> Lateness:
    return lambda finish: rate * max(0, finish - due)


def _steepening(due: int, span: int) -> Lateness:
    most = HURRY * LAST_COUNTS * span
    return lambda finish: most * (max(0, finish - due) / span) ** (1 + LAST_FIRST)

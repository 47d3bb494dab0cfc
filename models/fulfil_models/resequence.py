"""How much sooner is something new ready if the queue is re-ordered and every promise is kept?

A plain quotation moves nobody (`promise`). Here the queue gives way: whoever has time to spare may
go later, as long as he ships when he was promised to. It starts from the plan with what is new
beside it. What is new is pulled forward first, whatever that costs; then the others come back to
where they stood, or to where they cost least (`giving_way`).

    plan ──► walk: the new sooner ──► whole model, of a small book ──► walk: the others back

What is new is ready when it ships, spare parts when they arrive (`ready`). A promise is kept if who
was in time stays so, and who was late is not later. What has no promised date may go later. Nobody
is moved where no day is gained; whoever ships, or arrives, otherwise than before is told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from fractions import Fraction
from typing import TYPE_CHECKING

from fulfil_models.blockers import explain
from fulfil_models.book_entries import is_promised
from fulfil_models.compiled import Compiled
from fulfil_models.decisions import Decisions, from_solution
from fulfil_models.displaced import Moved, MovedLine, moved, moved_lines, shipped, where_builds
from fulfil_models.giving_way import (
    Asked,
    Race,
    limits,
    line_key,
    line_limits,
    ready_day,
    stir_cost,
)
from fulfil_models.measures import Measure, measures_besides
from fulfil_models.plan import Plan
from fulfil_models.planning import SMALL_BOOK, Effort, Workbench, solution_of, unexplained
from fulfil_models.promise import extra_cost
from fulfil_models.ready import LineKey, last_ship_day, ready
from fulfil_models.repair import aligned, repaired
from fulfil_models.search import Solution
from fulfil_models.sketch import Sketch, sketch, take_up
from fulfil_models.slots import WholeModel
from fulfil_models.slots_reading import hint, read
from fulfil_models.solving import solve_constraints

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

PULLING, WHOLE_MODEL, BRINGING_BACK = 0.6, 0.5, 0.2
"""shares of the effort; of a small book half of the pulling gives way to the whole model"""


@dataclass(frozen=True, slots=True)
class Resequenced:
    """The plan in which something new is ready soonest.

    Attributes
    ----------
    plan: everybody's, what is new in it, with the reasons for its dates.
    ready: day on which the last of what is new is ready.
    ships: day on which the last of it ships.
    cost: more than with what is new beside the plan, lateness apart; below 0 if less.
    measures: what is done besides the plain way, for whoever it was not done for there.
    moved, moved_lines: the others that go elsewhere.
    """

    plan: Plan
    ready: date
    ships: date
    cost: Fraction = Fraction(0)
    measures: tuple[Measure, ...] = ()
    moved: tuple[Moved, ...] = ()
    moved_lines: tuple[MovedLine, ...] = ()


def resequenced(
    bench: Workbench,
    joined: Plan,
    new: frozenset[str],
    effort: Effort | None = None,
    new_lines: frozenset[LineKey] = frozenset(),
) -> Resequenced:
    """The soonest that something new is ready if everybody else only keeps his promise.

    Parameters
    ----------
    bench: of the data set in which what is new is firm.
    joined: the plan that stands, with what is new beside it.
    new, new_lines: its builds, and its lines of parts orders.
    effort: 20 s if not given.

    Never ready later than in `joined`; where no day is gained, nobody is moved. Raises ValueError
    where `joined` has nothing of what is new.
    """
    return _Course(bench, Asked(joined, new, new_lines), effort or Effort(seconds=20.0)).answer()


# ---- the course in which the best plan is found


@dataclass(frozen=True, slots=True)
class _Found:
    """A plan without its reasons, as it was drawn.

    Attributes
    ----------
    last: when the last of what is new is ready, and when the last of its builds ends.
    cost: its own, and that of moving those who stand elsewhere in it.
    """

    drawn: Sketch
    plan: Plan
    last: tuple[date, datetime]
    cost: Fraction

    @property
    def rank(self) -> tuple[date, datetime, Fraction]:
        """The less the better, the first figures first."""
        return (*self.last, self.cost)


class _Course:
    def __init__(self, bench: Workbench, asked: Asked, effort: Effort) -> None:
        self.bench = bench
        self.asked = asked
        self.effort = effort
        self.compiled = aligned(bench.compiled, asked.joined)
        self.before = self._last(asked.joined)
        self.where = where_builds(asked.joined, asked.builds)

    def answer(self) -> Resequenced:
        asked = self.asked
        start = sketch(solution_of(repaired(self.compiled, asked.joined)))
        if None in start.builds or None in start.lines:
            return self._as_it_was(None)  # nothing to start from
        stands = self._found(start)
        best = self._soonest(stands)
        if best.last[0] >= self.before[0]:
            return self._as_it_was(stands)
        plan = self._explained(best)
        return Resequenced(
            plan,
            best.last[0],
            last_ship_day(_new_of(asked, plan)),
            extra_cost(plan) - extra_cost(stands.plan),
            measures_besides(plan, stands.plan),
            tuple(moved(asked.joined, plan, asked.builds)),
            tuple(moved_lines(asked.joined, plan, asked.lines, self._promised_lines())),
        )

    def _as_it_was(self, stands: _Found | None) -> Resequenced:
        """Nobody is moved."""
        plan = self.asked.joined
        if stands is not None and stands.last <= self.before and self._keeps_promises(stands.plan):
            plan = self._explained(stands)
        return Resequenced(plan, self.before[0], last_ship_day(_new_of(self.asked, plan)))

    def _soonest(self, stands: _Found) -> _Found:
        compiled, effort, stop = self.compiled, self.effort, self.bench.control.stop.is_set
        race = Race(aligned(Compiled(self.bench.book), self.asked.joined), self.asked, stands.drawn)
        steps = effort.steps(compiled, PULLING * (0.5 if self._is_small() else 1.0))
        best = self._better(stands, race.pull(steps, effort.seed, stop))
        if self._is_small() and not stop():
            best = self._better(best, self._by_whole_model(best.drawn))
        if best.last[0] < self.before[0]:
            steps = effort.steps(compiled, BRINGING_BACK)
            best = self._better(best, race.bring_back(best.drawn, steps, effort.seed + 1, stop))
        return best

    def _better(self, best: _Found, drawn: Sketch | None) -> _Found:
        """What was drawn, if it keeps every promise and is better."""
        if drawn is None:
            return best
        found = self._found(drawn)
        return found if found.rank <= best.rank and self._keeps_promises(found.plan) else best

    def _is_small(self) -> bool:
        operations = sum(len(j.operations) for t in self.bench.book.tasks for j in t.jobs())
        return operations + len(self.compiled.lines) <= SMALL_BOOK

    # ---- plans

    def _decisions(self, drawn: Sketch) -> Decisions:
        solution = solution_of(take_up(self.compiled, drawn))
        return from_solution(self.bench.book, self.compiled, solution)

    def _found(self, drawn: Sketch) -> _Found:
        decisions = self._decisions(drawn)
        plan = unexplained(self.bench, decisions, notes=self.asked.joined.notes)
        there = where_builds(plan, self.asked.builds)
        stirred = sum(there.get(name) != where for name, where in self.where.items())
        cost = plan.objective.total + stirred * stir_cost(self.bench.problem.settings)
        return _Found(drawn, plan, self._last(plan), cost)

    def _last(self, plan: Plan) -> tuple[date, datetime]:
        """Day on which the last of what is new is ready, and moment at which its last build
        ends."""
        new = _new_of(self.asked, plan)
        ends = max((row.finish for row in new.builds), default=datetime.min)
        return ready(new), ends

    def _explained(self, found: _Found) -> Plan:
        builds = explain(self.compiled, self._decisions(found.drawn), found.plan)
        return replace(found.plan, builds=builds)

    def _keeps_promises(self, plan: Plan) -> bool:
        """Whether whoever is promised in the joined plan is in time, or not later than there."""
        asked = self.asked
        builds = {row.build: row for row in plan.builds}
        lines, before = shipped(plan), shipped(asked.joined)
        everybody = {row.build for row in asked.joined.builds}
        if builds.keys() != everybody or lines.keys() != before.keys():
            return False
        late_builds = any(
            builds[row.build].late_minutes > row.late_minutes
            or builds[row.build].late_days > row.late_days
            for row in asked.joined.builds
            if row.promised is not None and row.build not in asked.builds
        )
        late_lines = any(
            lines[key].late_days > before[key].late_days
            for line in self.compiled.lines
            if is_promised(line.line.row) and (key := line_key(line)) not in asked.lines
        )
        return not (late_builds or late_lines)

    def _promised_lines(self) -> frozenset[LineKey]:
        lines = self.compiled.lines
        return frozenset(line_key(line) for line in lines if is_promised(line.line.row))

    # ---- the whole model of a small book

    def _by_whole_model(self, drawn: Sketch) -> Sketch | None:
        """The soonest end of the last of what is new, then the least cost with that; None where
        nothing was found."""
        start = solution_of(take_up(self.compiled, drawn))
        soonest = self._solved(start)
        if soonest is None:
            return None
        solution, last = soonest
        cheapest = self._solved(solution, last)
        return sketch(solution if cheapest is None else cheapest[0])

    def _solved(self, start: Solution, by: int | None = None) -> tuple[Solution, int] | None:
        """The solution in which the last of what is new ends soonest, and that cell; or the one of
        least cost in which it ends by a cell."""
        whole = WholeModel(self.compiled)
        self._hold_to_promises(whole)
        last = self._last_end(whole)
        if by is None:
            whole.model.minimize(last)
        else:
            whole.model.add(last <= by)
        hint(whole.model, whole.v, start)
        seconds = self.effort.seconds * WHOLE_MODEL / 2
        answer = solve_constraints(
            whole.model,
            deterministic=seconds * 0.3,
            seconds=seconds,
            stop=self.bench.control.stop.is_set,
        )
        if answer.values is None:
            return None
        placed, lines = read(whole.v, answer.values)
        return Solution(tuple(placed), tuple(lines), 0.0), answer.values[last.index]

    def _hold_to_promises(self, whole: WholeModel) -> None:
        """End of a promised build <= its limit; late days of a promised line <= its limit."""
        last, most = limits(self.compiled, self.asked), line_limits(self.compiled, self.asked)
        for index, limit in last.items():
            root = self.compiled.tasks[index].root
            if root.operations:
                start = whole.v.starts[root.job.name][-1]
                whole.model.add(start + root.operations[-1].duration <= limit)
        for filling in whole.v.lines:
            if filling.line.index in most:
                whole.model.add(filling.late <= most[filling.line.index])

    def _last_end(self, whole: WholeModel) -> cp_model.IntVar:
        """A variable >= the end of each new build, and >= the close of each day on which some of a
        new line is ready; in cells of the points' own hours."""
        v, model = whole.v, whole.model
        cell, axes = self.compiled.cell, self.bench.problem.axes
        last = model.new_int_var(0, max(axis.length for axis in axes.values()), "last")
        for task in filter(self.asked.is_new, self.compiled.tasks):
            if task.root.operations:
                start = v.starts[task.root.job.name][-1]
                model.add(last >= start + task.root.operations[-1].duration)
        for filling in v.lines:
            if self.asked.is_new(filling.line):
                for parcel in filling.parcels:
                    day = ready_day(filling.line, parcel.number, parcel.event)
                    close = axes[parcel.outlet.point].due(date.fromordinal(day), None) // cell
                    model.add(last >= close).only_enforce_if(parcel.units.taken)
        return last


def _new_of(asked: Asked, plan: Plan) -> Plan:
    """The builds and the shipments of a plan that are new. Raises ValueError where it has none."""
    builds = tuple(row for row in plan.builds if row.build in asked.builds)
    shipments = tuple(r for r in plan.shipments if (r.order, r.line) in asked.lines)
    if not builds and not shipments:
        raise ValueError("the plan has nothing of what is new: join it to the plan first")
    return replace(plan, builds=builds, shipments=shipments)

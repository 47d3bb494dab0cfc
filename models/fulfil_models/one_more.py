"""What would one more unit of a part in a month save?

The plan goes on with one unit more, usable from the first open day of the month, which no cap
counts. Then a search of so many steps puts late builds and lines on it, and on what they leave to
others. The same search without the unit comes before it, to its end where it is not too long: so
what is said to be saved is what the unit brings, not what the plan could be better anyway. What is
found for a month holds for every month before it, too. It is the best found, not a proven figure:
the unit may be worth more.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from itertools import accumulate, chain

from fulfil_models.cells import MILLI
from fulfil_models.compiled import NEVER, CTask, is_pinned
from fulfil_models.decisions import from_solution
from fulfil_models.insertion import State
from fulfil_models.ledger import LinePlacement, Placement
from fulfil_models.months import last_day, month_of, months_from
from fulfil_models.plan import Plan
from fulfil_models.planning import Workbench, rank, solution_of, unexplained
from fulfil_models.problem import Problem
from fulfil_models.rationing import Ration, weighted_late_days
from fulfil_models.repair import aligned, repaired
from fulfil_models.search import Item, Solution, place
from fulfil_models.sketch import Sketch, sketch, take_up
from fulfil_models.tables import Purchase

ORDER = "one more"
"""order, and supplier, of the units that are put in; the line is the month"""
STEPS = 400
"""of the search that puts late builds on the unit, at most"""
STEPS_WITHOUT = 2000
"""of the search before it, at most: it is to come to its end"""
NEAREST = 8
"""of those who draw just before a late one, how many are tried with it"""
EPSILON = 1e-6


@dataclass(frozen=True, slots=True)
class Sooner:
    """Who ships on another day with the unit: sooner, or later to let others be sooner."""

    who: str
    ships: date
    ships_then: date

    @property
    def days(self) -> int:
        """Calendar days sooner; below 0 if later."""
        return (self.ships - self.ships_then).days


@dataclass(frozen=True, slots=True)
class Worth:
    """What one more unit in a month saves, as the best found.

    Attributes
    ----------
    usable_on: the first open day of the month at the point it is delivered to.
    late_days: weighted late days less.
    lateness_cost: what those cost, in the currency.
    cost: the whole cost of the plan less: alternates, expediting and moves included.
    sooner: who ships on another day for it.
    settled: the search without the unit came to its end: no step of it gained any more.
    """

    month: str
    point: str
    usable_on: date
    late_days: Fraction
    lateness_cost: Fraction
    cost: Fraction
    sooner: tuple[Sooner, ...]
    settled: bool = True


def worth_of_one_more(
    problem: Problem, plan: Plan, part: str, point: str, months: Iterable[date], steps: int = STEPS
) -> tuple[Worth, ...]:
    """What one more unit of a part at a point saves in each of some months.

    Parameters
    ----------
    months: any day of each; a month is looked at from the planning date on.
    """
    days = sorted({_first_open(problem, point, day) for day in months})
    # alone on the shelf it could make a need plentiful, which no unit that comes later may see
    apart = [] if _is_on_shelf(problem, part, point) else days[:1]
    groups = [apart, [day for day in days if day not in apart]]
    found: list[Worth] = []
    for group in reversed(groups):
        if group:
            found = [*_OneMore(problem, plan, part, point, group, steps).each(), *found]
    for number in range(len(found) - 1, 0, -1):
        sooner, later = found[number - 1], found[number]
        if later.cost > sooner.cost:  # a unit that is there may wait
            kept = replace(later, month=sooner.month, usable_on=sooner.usable_on)
            found[number - 1] = kept
    return tuple(found)


def worth_for(
    problem: Problem, plan: Plan, ration: Ration, steps: int = STEPS
) -> tuple[Worth, ...]:
    """What one more unit of a rationed part saves, in each month up to that in which the last who
    waits, or gets another part, is served; nothing where nobody is."""
    short = (*ration.waiting, *ration.stand_ins)
    last = max((taker.given_on for taker in short), default=None)
    point = _delivered_to(problem, ration)
    if last is None or point is None:
        return ()
    months = months_from(problem.as_of, last_day(month_of(last)))
    return worth_of_one_more(problem, plan, ration.part, point, months, steps)


def _delivered_to(problem: Problem, ration: Ration) -> str | None:
    """The point, of those to which its capped suppliers deliver, where waiting costs most."""
    sources = [
        row
        for row in problem.dataset.sources
        if row.part == ration.part and row.monthly_cap_milli is not None
    ]
    points = {row.build: row.point for row in problem.builds}
    costs: defaultdict[str, Fraction] = defaultdict(Fraction)
    for taker in ration.waiting:
        costs[points.get(taker.who, "")] += taker.cost
    best = min(sources, key=lambda r: (-costs[r.point], r.rank, r.point), default=None)
    return None if best is None else best.point


def _first_open(problem: Problem, point: str, day: date) -> date:
    return problem.axes[point].next_open_day(max(day.replace(day=1), problem.as_of))


def _is_on_shelf(problem: Problem, part: str, point: str) -> bool:
    return any(
        (row.part, row.point) == (part, point) and row.quantity_milli > row.held_milli
        for row in problem.dataset.stock
    )


class _OneMore:
    """A book with one unit more in each of some months, of which one at a time is really there."""

    def __init__(
        self,
        problem: Problem,
        plan: Plan,
        part: str,
        point: str,
        days: Sequence[date],
        steps: int,
    ) -> None:
        self.days = days
        self.point = point
        self.steps = steps
        extra = tuple(
            Purchase(
                order=ORDER,
                line=month_of(day),
                part=part,
                supplier=ORDER,
                point=point,
                quantity_milli=MILLI,
                ordered=problem.as_of,
                due=day,
            )
            for day in days
        )
        dataset = replace(problem.dataset, purchases=problem.dataset.purchases + extra)
        self.bench = Workbench(replace(problem, dataset=dataset))
        self.compiled = aligned(self.bench.compiled, plan)
        self.bin = self.bench.book.supplies.bin(part, point)
        self._leave(None)
        stands = sketch(solution_of(repaired(self.compiled, plan)))
        self.base, self.settled = self._searched(stands, STEPS_WITHOUT)
        self.plan = self._plan(self.base)

    def each(self) -> list[Worth]:
        """What a unit of each day saves, in the order of the days."""
        found: list[Worth] = []
        best = self.base
        for day in reversed(self.days):
            self._leave(day)
            # whatever a later unit lets everybody do, an earlier one does
            best = min((best, self._searched(sketch(best), self.steps)[0]), key=rank)
            self._leave(None)
            found.insert(0, self._worth(day, best))
        return found

    def _leave(self, day: date | None) -> None:
        """Only the unit of a day is there, or none."""
        left = [
            0
            if lot.purchase is not None
            and lot.purchase.order == ORDER
            and (day is None or lot.purchase.due != day)
            else lot.quantity_milli
            for lot in self.bin.lots
        ]
        self.compiled.supply[self.bin.index] = list(accumulate(left))

    def _searched(self, start: Sketch, steps: int) -> tuple[Solution, bool]:
        """What a search makes of a solution with what is there, and whether it came to its end."""
        state = take_up(self.compiled, start)
        ended = put_on(state, self.bin.index, steps)
        return solution_of(state), ended

    def _plan(self, solution: Solution) -> Plan:
        return unexplained(self.bench, from_solution(self.bench.book, self.compiled, solution))

    def _worth(self, day: date, found: Solution) -> Worth:
        plan = self.plan if found is self.base else self._plan(found)
        problem = self.bench.problem
        late_days = weighted_late_days(problem, self.plan) - weighted_late_days(problem, plan)
        saved = self.plan.objective.total - plan.objective.total
        lateness = self.plan.objective.lateness - plan.objective.lateness
        nothing = Fraction(0)
        return Worth(
            month=month_of(day),
            point=self.point,
            usable_on=day,
            late_days=max(nothing, late_days),
            lateness_cost=max(nothing, lateness),
            cost=max(nothing, saved),
            sooner=_sooner(self.plan, plan) if saved > 0 else (),
            settled=self.settled,
        )


def _sooner(plan: Plan, other: Plan) -> tuple[Sooner, ...]:
    """Who ships on another day in another plan, who gains most first."""
    then = _ships(other)
    found = [
        Sooner(who, day, then[who])
        for who, day in _ships(plan).items()
        if who in then and then[who] != day
    ]
    return tuple(sorted(found, key=lambda row: (-row.days, row.who)))


def _ships(plan: Plan) -> dict[str, date]:
    ships = {row.build: row.ships for row in plan.builds}
    for row in plan.shipments:
        who = f"{row.order}/{row.line}"
        ships[who] = max(ships.get(who, row.ships), row.ships)
    return ships


# ---- putting late builds on what came


def put_on(state: State, index: int, steps: int) -> bool:
    """Take late builds and lines that may draw on a bin out, the dearest first, and put them back
    where all costs less; if none gains alone, each with one of those who draw on it just before
    it, which then goes in after it. Again until nobody gains; whether that came within so many
    steps."""
    taken = 0
    gained = True
    while gained:
        gained = False
        users = _users(state, index)
        late = [item for item in users if _cost(state, item) > EPSILON]
        for group in chain(((item,) for item in late), _pairs(state, index, late, users)):
            if gained and len(group) > 1:
                break
            if taken == steps:
                state.forget()
                return False
            taken += 1
            gained = _put_again(state, group) or gained
    state.forget()
    return True


def _users(state: State, index: int) -> list[Item]:
    """Builds and lines that may draw on a bin, the dearest first."""
    book = state.book
    found: list[Item] = [
        task
        for task in book.tasks
        if index in task.parts and not is_pinned(task) and state.placed[task.index] is not None
    ]
    found += [
        line
        for line in book.lines
        if state.lines[line.index] is not None
        and any(outlet.bin == index for outlet in line.outlets)
    ]
    return sorted(found, key=lambda item: -_cost(state, item))


def _pairs(
    state: State, index: int, late: list[Item], users: list[Item]
) -> Iterator[tuple[Item, ...]]:
    """Each late one with those that draw on a bin before it does, the nearest first."""
    drawn = {id(item): _draws_at(state, item, index) for item in users}
    for item in late:
        mine = drawn[id(item)]
        before = [
            other
            for other in users
            if other is not item and 0 <= drawn[id(other)] <= (mine if mine >= 0 else NEVER)
        ]
        before.sort(key=lambda other: -drawn[id(other)])
        yield from ((item, other) for other in before[:NEAREST])


def _draws_at(state: State, item: Item, index: int) -> int:
    """The last event of a bin that one draws on; -1 where it draws on none."""
    if isinstance(item, CTask):
        placement = state.placed[item.index]
        draws = () if placement is None else placement.draws
        return max((draw.event for draw in draws if draw.way.bin == index), default=-1)
    sent = state.lines[item.index]
    rows = () if sent is None else sent.draws
    outlets = item.outlets
    events = (outlets[n].last_lot[event] for n, event, _ in rows if outlets[n].bin == index)
    return max(events, default=-1)


def _cost(state: State, item: Item) -> float:
    standing = _standing(state, item)
    return 0.0 if standing is None else standing.cost


def _put_again(state: State, items: tuple[Item, ...]) -> bool:
    """Put some in anew, one after another; whether all costs less so. If not, they are where they
    were."""
    mark, before = len(state.log), state.shared_cost
    was = [_standing(state, item) for item in items]
    for item, there in zip(items, was, strict=True):
        assert there is not None
        before += there.cost
        if isinstance(item, CTask):
            state.remove(item)
        else:
            state.remove_line(item)
    if all(place(state, item, justify=True) for item in items):
        now = (_standing(state, item) for item in items)
        after = state.shared_cost + sum(there.cost for there in now if there is not None)
        if after < before - EPSILON:
            return True
    state.rollback(mark)
    for item, there in zip(items, was, strict=True):
        if isinstance(item, CTask):
            assert not isinstance(there, LinePlacement)
            state.placed[item.index] = there
        else:
            assert not isinstance(there, Placement)
            state.lines[item.index] = there
    return False


def _standing(state: State, item: Item) -> Placement | LinePlacement | None:
    return state.placed[item.index] if isinstance(item, CTask) else state.lines[item.index]

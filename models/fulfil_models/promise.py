"""When could something new ship, beside a plan in which nobody is moved?

What is asked for - builds, lines of a parts order - is put into what the plan and the promises kept
open leave of stations and supplies (`taken`): the earliest date that takes nothing from anyone. It
is first tried plainly, with each part itself from its own point; what would bring it forward -
alternates, expediting, transfers - is tried beside that, and every date is computed anew.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from fractions import Fraction

from fulfil_models.assembly import assemble
from fulfil_models.blockers import explain
from fulfil_models.book import Book, WayKind
from fulfil_models.compiled import (
    MIXED,
    CNeed,
    Compiled,
    CWay,
    all_jobs,
    all_needs,
)
from fulfil_models.decisions import Decisions, from_solution
from fulfil_models.insertion import State
from fulfil_models.plan import BlockerKind, Plan
from fulfil_models.problem import Problem
from fulfil_models.search import Solution
from fulfil_models.tables import Build, BuildOption, Dataset, PartsOrder
from fulfil_models.taken import Taken

RATE = 1e6
"""cost of a late cell, so that no cost of a way ever outweighs time"""

Allowed = Callable[[CNeed, CWay], bool]
"""whether a need may be filled by a way"""


class Lever(StrEnum):
    """What may bring a date forward."""

    ALTERNATE = "alternate"
    EXPEDITE = "expedite"
    TRANSFER = "transfer"


@dataclass(frozen=True, slots=True)
class Forward:
    """Something that brings the date forward, computed anew.

    Attributes
    ----------
    what: the part that is held up.
    by: the alternate, the supplier, or the point it is moved from.
    cost: more than plainly, in the currency.
    """

    lever: Lever
    what: str
    by: str
    ships: date
    days_sooner: int
    cost: Fraction


def beside(
    dataset: Dataset,
    taken: Taken,
    builds: Iterable[Build] = (),
    options: Iterable[BuildOption] = (),
    lines: Iterable[PartsOrder] = (),
) -> Dataset:
    """The data set with what is asked for alone, and with the orders that others count on."""
    return dataclasses.replace(
        dataset,
        builds=tuple(builds),
        build_options=tuple(options),
        parts_orders=tuple(lines),
        progress=(),
        purchases=dataset.purchases + taken.orders,
    )


def plainly(need: CNeed, way: CWay) -> bool:
    """The part itself, from its own point or made there."""
    return way.way.used == need.need.part and way.kind in (WayKind.OWN, WayKind.MAKE)


def by_whatever(need: CNeed, way: CWay) -> bool:
    """Any way there is."""
    return True


def earliest(problem: Problem, allowed: Allowed = plainly) -> Plan | None:
    """The plan of what is asked for alone, as early as others leave room; None where its parts
    never come.

    A need that no allowed way can fill may be filled by any. The plan's lateness says nothing;
    its other costs are exact.
    """
    book = Book(problem)
    compiled = Compiled(book)
    for task in compiled.tasks:
        task.due, task.rate = 0, RATE
        for job in list(all_jobs(task.root)):
            for need in all_needs(job):
                _restrict(need, allowed)
    state = State(compiled)
    for task in compiled.tasks:
        if state.place(task, justify=False) is None:
            return None
    for line in compiled.lines:
        if state.place_line(line) is None:
            return None
    solution = Solution(tuple(state.placed), tuple(state.lines), state.cost())
    return _explained(compiled, from_solution(book, compiled, solution))


def _restrict(need: CNeed, allowed: Allowed) -> None:
    kept = tuple(_allowed_ways(need, allowed))
    if kept and len(kept) < len(need.ways):
        need.ways = kept


def _allowed_ways(need: CNeed, allowed: Allowed) -> Iterator[CWay]:
    for way in need.ways:
        if way.kind != MIXED:
            if allowed(need, way):
                yield way
        elif all(allowed(need, part) for part in way.parts):
            yield way


def _explained(compiled: Compiled, decisions: Decisions) -> Plan:
    plan = assemble(compiled.book, decisions, Fraction(0))
    return dataclasses.replace(plan, builds=explain(compiled, decisions, plan))


def extra_cost(plan: Plan) -> Fraction:
    """What a plan costs but for its lateness."""
    return plan.objective.total - plan.objective.lateness


def brought_forward(problem: Problem, plain: Plan) -> list[Forward]:
    """What would let the latest build of a plan ship sooner, the most first.

    Tried for every part that its ladder names: each approved alternate, expediting, and moving it
    from another point, one at a time.
    """
    last = max(plain.builds, key=lambda row: row.ships)
    parts = dict.fromkeys(rung.what for rung in last.blockers if rung.kind is BlockerKind.PART)
    found = []
    for part in parts:
        for lever, by, allowed in _levers(problem, part):
            other = earliest(problem, allowed)
            if other is None:
                continue
            ships = max(row.ships for row in other.builds)
            if ships < last.ships:
                cost = extra_cost(other) - extra_cost(plain)
                days = (last.ships - ships).days
                found.append(Forward(lever, part, by, ships, days, cost))
    return sorted(found, key=lambda row: (row.ships, row.cost, row.what, row.by))


def _levers(problem: Problem, part: str) -> Iterator[tuple[Lever, str, Allowed]]:
    for alternate in problem.alternates.get(part, ()):
        yield Lever.ALTERNATE, alternate.alternate, _instead(part, alternate.alternate)
    hurried = {
        row.supplier for row in problem.dataset.sources if row.part == part and row.expedite_days
    }
    for supplier in sorted(hurried):
        yield Lever.EXPEDITE, supplier, _hurried(part, supplier)
    held = {row.point for row in problem.dataset.stock if row.part == part}
    held |= {row.point for row in problem.dataset.purchases if row.part == part}
    for origin in sorted(held):
        yield Lever.TRANSFER, origin, _moved(part, origin)


def _instead(part: str, alternate: str) -> Allowed:
    def allowed(need: CNeed, way: CWay) -> bool:
        if need.need.part != part:
            return plainly(need, way)
        return way.way.used == alternate and way.kind in (WayKind.OWN, WayKind.MAKE)

    return allowed


def _hurried(part: str, supplier: str) -> Allowed:
    def allowed(need: CNeed, way: CWay) -> bool:
        if need.need.part != part or way.way.used != part:
            return plainly(need, way)
        if way.kind in (WayKind.ADVANCE, WayKind.EXPEDITE):
            return way.source is not None and way.source.supplier == supplier
        return plainly(need, way)

    return allowed


def _moved(part: str, origin: str) -> Allowed:
    def allowed(need: CNeed, way: CWay) -> bool:
        if need.need.part != part or way.way.used != part or way.kind != WayKind.MOVE:
            return plainly(need, way)
        route = way.way.route
        return route is not None and route.origin == origin

    return allowed

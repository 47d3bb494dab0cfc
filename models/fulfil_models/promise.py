"""When could something new ship, beside a plan in which nobody is moved?

What is asked for - builds, lines of a parts order - is put into the room that others leave: the
earliest date that takes nothing from anyone. It is first tried plainly, with each part itself from
where it is needed; what would bring it forward is tried beside that (`forward`).

The date is the first that is found. Of several builds each goes behind the one before, in the order
of their names. Of one, none is earlier unless parts are made for it: in which order their jobs and
its own operations take a station or a scarce part that both want is not tried out.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from fulfil_models.assembly import assemble
from fulfil_models.blockers import explain
from fulfil_models.book import Book, Outlet, WayKind
from fulfil_models.cells import MICRO
from fulfil_models.compiled import (
    CLine,
    CNeed,
    Compiled,
    COutlet,
    CTask,
    CWay,
    all_jobs,
    all_needs,
)
from fulfil_models.decisions import from_solution
from fulfil_models.early import EarlyState
from fulfil_models.plan import Plan, Shipment
from fulfil_models.problem import Problem
from fulfil_models.ready import line_ready
from fulfil_models.retiming import Retimer
from fulfil_models.room import Request, Room
from fulfil_models.search import Solution
from fulfil_models.tables import Alternate
from fulfil_models.taken import moves_of
from fulfil_models.waits import Teller

RATE = 1e6
"""cost of a late cell or day, so that no cost of a way ever outweighs time"""


@dataclass(frozen=True, slots=True)
class Offer:
    """One way in which a need or a line could be filled.

    Attributes
    ----------
    part, used: what is called for, and what would be taken.
    origin: where it is moved from, else None.
    supplier: who expedites it, else None.
    point: where it is used, or ships from.
    """

    part: str
    used: str
    kind: WayKind
    point: str
    origin: str | None = None
    supplier: str | None = None


Allowed = Callable[[Offer], bool]
"""whether something may be filled in such a way"""


def plainly(offer: Offer) -> bool:
    """The part itself, from the point where it is needed or made there."""
    return offer.used == offer.part and offer.kind in (WayKind.OWN, WayKind.MAKE)


def by_whatever(offer: Offer) -> bool:
    """Any way there is."""
    return True


class Question:
    """Something new, put into a room again and again, each time as if for the first time."""

    def __init__(self, room: Room, request: Request, stand_ins: tuple[Alternate, ...] = ()) -> None:
        """`stand_ins` are alternates to be tried besides those of the data."""
        self.request = request
        self.book: Book = room.book_for(request, stand_ins)
        self.compiled = Compiled(self.book)
        for task in self.compiled.tasks:
            task.due, task.rate = 0, RATE
        for line in self.compiled.lines:
            line.day_cost = RATE
        self._needs = [
            [
                _Choice(need, need.ways, _offered(need, task.task.build.point))
                for job in all_jobs(task.root)
                for need in all_needs(job)
            ]
            for task in self.compiled.tasks
        ]
        self._outlets = [
            [(n, _of_outlet(line, *pair)) for n, pair in enumerate(_outlets_of(line))]
            for line in self.compiled.lines
        ]

    def offers(self) -> Iterator[Offer]:
        """Every way in which a need or a line could be filled."""
        for needs in self._needs:
            for choice in needs:
                yield from (offer for _, parts in choice.offered for _, offer in parts)
        for outlets in self._outlets:
            yield from (offer for _, offer in outlets)

    def earliest(self, allowed: Allowed = plainly) -> Solution | None:
        """Everything as early as others leave room, in the order of its names; None where some
        part never comes.

        What no allowed way can fill is filled plainly, and if that cannot be, by any way.
        """
        state = EarlyState(self.compiled)
        for task, needs in zip(self.compiled.tasks, self._needs, strict=True):
            if not _placed(state, task, needs, allowed):
                return None
        for line, outlets in zip(self.compiled.lines, self._outlets, strict=True):
            if not _shipped(state, line, outlets, allowed):
                return None
        return Solution(tuple(state.placed), tuple(state.lines), state.cost())

    def ready(self, solution: Solution) -> date:
        """The day on which the last build ships, or the last line arrives."""
        days = [
            self._ships(task, placement.finish)
            for task, placement in zip(self.compiled.tasks, solution.placed, strict=True)
            if placement is not None
        ]
        for line, shipped in zip(self.compiled.lines, solution.lines, strict=True):
            for number, event, _ in () if shipped is None else shipped.draws:
                ships = date.fromordinal(line.outlets[number].days[event])
                days.append(line_ready(ships, line.line.outlets[number].delivery.days))
        return max(days)

    def _ships(self, task: CTask, finish: int) -> date:
        problem, axis = self.book.problem, task.task.axis
        cutoff = problem.points[task.task.build.point].cutoff
        moment = axis.end_moment(finish * self.compiled.cell)
        return max(axis.ship_day(moment, cutoff), problem.as_of)

    def plan(self, solution: Solution, *, explained: bool = True) -> Plan:
        """What is asked for alone, as a plan. Its lateness says nothing; other costs are exact.

        With `explained`, builds have their reasons and ladders.
        """
        decisions = from_solution(self.book, self.compiled, solution)
        plan = assemble(self.book, decisions, Fraction(0))
        if not explained:
            return plan
        return dataclasses.replace(plan, builds=explain(self.compiled, decisions, plan))

    def shipment_reasons(self, solution: Solution, plan: Plan) -> tuple[str, ...]:
        """Of each shipment of a plan, how what it takes comes, and who has what comes sooner."""
        decisions = from_solution(self.book, self.compiled, solution)
        teller = Teller(Retimer(self.compiled, decisions, plan), plan)
        return tuple(teller.shipment(row) for row in plan.shipments)


# ---- with the ways that are allowed


_Offered = list[tuple[CWay, list[tuple[CWay, Offer]]]]
"""every way of a need, with those that it is put together from: itself, but for a mixed one"""


@dataclass(frozen=True, slots=True)
class _Choice:
    """A need with all of its ways."""

    need: CNeed
    ways: tuple[CWay, ...]
    offered: _Offered


def _offered(need: CNeed, point: str) -> _Offered:
    return [
        (way, [(part, _of_way(need, point, part)) for part in way.parts or (way,)])
        for way in need.ways
    ]


def _placed(state: EarlyState, task: CTask, choices: list[_Choice], allowed: Allowed) -> bool:
    """Put a build in with the ways that are allowed.

    Where they do not do, of one part after another every way is, those first that never come.
    """
    for choice in choices:
        offered = choice.offered
        choice.need.ways = (
            _allowed_ways(offered, allowed) or _allowed_ways(offered, plainly) or choice.ways
        )
    if state.place(task, justify=False) is not None:
        return True
    short = [choice for choice in choices if choice.need.ways != choice.ways]
    never = {c.need.need.part for c in short if not state.can_fill(c.need)}
    parts = dict.fromkeys(choice.need.need.part for choice in short)
    for part in sorted(parts, key=lambda name: name not in never):
        for choice in short:
            if choice.need.need.part == part:
                choice.need.ways = choice.ways
        if state.place(task, justify=False) is not None:
            return True
    return False


def _shipped(
    state: EarlyState, line: CLine, outlets: list[tuple[int, Offer]], allowed: Allowed
) -> bool:
    """Ship a line from outlets that are allowed, and where they do not do, from any."""
    every = line.outlets
    for fits in (allowed, plainly, by_whatever):
        numbers = [number for number, offer in outlets if fits(offer)]
        line.outlets = tuple(every[number] for number in numbers)
        placement = state.place_line(line)
        line.outlets = every
        if placement is not None:
            # as numbers among all outlets, so that what is found can be read whatever is asked next
            placement.draws = [(numbers[n], event, milli) for n, event, milli in placement.draws]
            return True
    return False


def _allowed_ways(offered: _Offered, allowed: Allowed) -> tuple[CWay, ...]:
    """Ways that are allowed; of one that is put together from others, as much of it as is."""
    kept: list[CWay] = []
    for way, parts in offered:
        fit = tuple(part for part, offer in parts if allowed(offer))
        if len(fit) == len(parts):
            kept.append(way)
        elif len(fit) > 1:
            kept.append(dataclasses.replace(way, parts=fit))
        else:
            kept += fit
    if len(kept) > 1:
        kept = sorted(dict.fromkeys(kept), key=lambda w: (w.cost + w.shared_cost, w.kind))
    return tuple(kept)


def _outlets_of(line: CLine) -> Iterator[tuple[COutlet, Outlet]]:
    return zip(line.outlets, line.line.outlets, strict=True)


def _of_way(need: CNeed, point: str, way: CWay) -> Offer:
    return Offer(
        part=need.need.part,
        used=way.way.used,
        kind=WayKind(way.kind),
        point=point,
        origin=None if way.way.route is None else way.way.route.origin,
        supplier=None if way.source is None else way.source.supplier,
    )


def _of_outlet(line: CLine, compiled: COutlet, outlet: Outlet) -> Offer:
    kind = WayKind.OWN
    if outlet.route is not None:
        kind = WayKind.MOVE
    elif compiled.source is not None:
        kind = WayKind.ADVANCE if outlet.advance is not None else WayKind.EXPEDITE
    return Offer(
        part=line.line.row.part,
        used=outlet.used,
        kind=kind,
        point=outlet.point,
        origin=None if outlet.route is None else outlet.route.origin,
        supplier=None if compiled.source is None else compiled.source.supplier,
    )


def extra_cost(plan: Plan) -> Fraction:
    """What a plan costs but for its lateness."""
    return plan.objective.total - plan.objective.lateness


def cost_beside(problem: Problem, plan: Plan) -> Fraction:
    """What a plan costs but for its lateness beside what others have taken: of a departure that
    they pay for nothing is asked again, but what goes by weight.

    `problem` is that of the room that they leave.
    """
    shared = moves_of(plan) & problem.taken.moves
    lanes = {(row.origin, row.destination): row.cost_per_move_micro for row in problem.lanes}
    paid_micro = sum(lanes[origin, destination] for origin, destination, _ in shared)
    return extra_cost(plan) - Fraction(paid_micro, MICRO)


def arrival(shipments: Iterable[Shipment]) -> date | None:
    """The day on which the last shipment arrives; None without any."""
    return max((row.arrives for row in shipments), default=None)

"""When could something new ship, beside a plan in which nobody is moved?

What is asked for - builds, lines of a parts order - is put into the room that others leave: the
earliest date that takes nothing from anyone. It is first tried plainly, with each part itself from
where it is needed; what would bring it forward is tried beside that (`forward`).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from fulfil_models.assembly import assemble
from fulfil_models.blockers import explain
from fulfil_models.book import Book, Outlet, WayKind
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
from fulfil_models.insertion import State
from fulfil_models.plan import Plan, Shipment
from fulfil_models.problem import carrier_day
from fulfil_models.retiming import Retimer
from fulfil_models.room import Request, Room
from fulfil_models.search import Solution
from fulfil_models.tables import Alternate
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
    """Something new, put into a room again and again, each time as if for the first time.

    A need or a line that no allowed way can fill may be filled by any.
    """

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
            (need, need.ways, _offered(need, task.task.build.point))
            for task in self.compiled.tasks
            for job in all_jobs(task.root)
            for need in all_needs(job)
        ]
        self._outlets = [
            (line, list(zip(line.outlets, line.line.outlets, strict=True)))
            for line in self.compiled.lines
        ]

    def earliest(self, allowed: Allowed = plainly) -> Solution | None:
        """Everything as early as others leave room, in the order of its names; None where some
        part never comes."""
        for need, ways, offered in self._needs:
            need.ways = _allowed_ways(offered, allowed) or ways
        for line, outlets in self._outlets:
            kept = [pair for pair in outlets if allowed(_of_outlet(line, *pair))] or outlets
            line.outlets = tuple(compiled for compiled, _ in kept)
            line.line.outlets = tuple(outlet for _, outlet in kept)
        state = State(self.compiled)
        for task in self.compiled.tasks:
            if state.place(task, justify=False) is None:
                return None
        for line in self.compiled.lines:
            if state.place_line(line) is None:
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
                days.append(carrier_day(ships, line.line.outlets[number].delivery.days))
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


_Offered = list[tuple[CWay, list[tuple[CWay, Offer]]]]
"""every way of a need, with those that it is put together from: itself, but for a mixed one"""


def _offered(need: CNeed, point: str) -> _Offered:
    return [
        (way, [(part, _of_way(need, point, part)) for part in way.parts or (way,)])
        for way in need.ways
    ]


def _allowed_ways(offered: _Offered, allowed: Allowed) -> tuple[CWay, ...]:
    """Ways as they stand where all that they are put together from is allowed, else those parts."""
    kept: list[CWay] = []
    for way, parts in offered:
        fit = [part for part, offer in parts if allowed(offer)]
        kept += [way] if len(fit) == len(parts) else fit
    if len(kept) > 1:
        kept = sorted(dict.fromkeys(kept), key=lambda w: (w.cost + w.shared_cost, w.kind))
    return tuple(kept)


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


def arrival(shipments: Iterable[Shipment]) -> date | None:
    """The day on which the last shipment arrives; None without any."""
    return max((row.arrives for row in shipments), default=None)

"""What would bring a promise forward, by how many days, and at what cost?

Every part that holds it up is tried: an approved alternate, expediting, a transfer, another option
of its family that is in stock; then another assembling point; for parts orders a split; at last
all ways that there are for all parts, together. Each date is computed anew, and each answer is a
plan of its own that can be held. Nothing is told that brings nothing.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from fractions import Fraction

from fulfil_models.book import WayKind
from fulfil_models.cells import MICRO
from fulfil_models.measures import measures
from fulfil_models.other_machines import exchanged, other_options, other_products
from fulfil_models.plan import BlockerKind, Plan
from fulfil_models.promise import (
    Allowed,
    Offer,
    Question,
    by_whatever,
    cost_beside,
    extra_cost,
    plainly,
)
from fulfil_models.ready import last_ship_day, ready
from fulfil_models.room import Request, Room
from fulfil_models.search import Solution
from fulfil_models.tables import Alternate, Build


class Lever(StrEnum):
    """What may bring a date forward."""

    ALTERNATE = "alternate"
    EXPEDITE = "expedite"
    TRANSFER = "transfer"
    OPTION = "option"
    POINT = "point"
    SPLIT = "split"
    TOGETHER = "together"


@dataclass(frozen=True, slots=True)
class Forward:
    """Something that brings the date forward, computed anew.

    Attributes
    ----------
    what: the part, or product, that is held up.
    by: the alternate, the supplier, the point it is moved from, the other option or product;
        with all together, what is done with which part.
    ships: of the last build, or the last shipment.
    arrives: of the last shipment of a parts order, else None.
    days_sooner: days by which the last build ships, or the last shipment arrives, sooner.
    cost: more than plainly, in the currency; a departure that others pay for costs nothing again.
    request: what is asked for then.
    plan: of that alone.
    """

    lever: Lever
    what: str
    by: str
    ships: date
    arrives: date | None
    days_sooner: int
    cost: Fraction
    request: Request
    plan: Plan


def brought_forward(room: Room, question: Question, plain: Plan) -> list[Forward]:
    """What would let the last build of a plan ship sooner, or its last shipment arrive sooner; the
    most first."""
    trial = _Trial(room, plain)
    last = _last_build(question.request, plain)
    parts = _holding_up(plain, last)
    for part in parts:
        for lever, by, allowed in _ways(question, part):
            trial.attempt(question, allowed, lever, part, by)
    if last is not None:
        trial.attempt_options(question, last, parts)
        for row, request in other_products(room, question.request, last):
            (other,) = (b for b in request.builds if b.build == last.build)
            lever = Lever.POINT if other.point != last.point else Lever.ALTERNATE
            asked, extra = Question(room, request), Fraction(row.extra_cost_micro, MICRO)
            trial.attempt(asked, plainly, lever, last.product, row.alternate, extra)
    if plain.shipments:
        whole = dataclasses.replace(
            question.request,
            lines=tuple(dataclasses.replace(row, split=True) for row in question.request.lines),
        )
        trial.attempt(Question(room, whole), plainly, Lever.SPLIT, ", ".join(parts), "")
    trial.attempt_together(question)
    return sorted(
        trial.found, key=lambda row: (-row.days_sooner, row.cost, row.lever, row.what, row.by)
    )


def worth_telling(found: Sequence[Forward], most: int) -> list[Forward]:
    """So many of what brings a date forward, in their order: the most first, the cheaper first.

    Those that another beats, which is as soon and no dearer, are left out before any that none
    does.
    """
    unbeaten: list[int] = []
    for place, row in enumerate(found):
        if not unbeaten or row.cost < found[unbeaten[-1]].cost:
            unbeaten.append(place)
    beaten = [place for place in range(len(found)) if place not in unbeaten]
    return [found[place] for place in sorted([*unbeaten, *beaten][:most])]


@dataclass(frozen=True, slots=True)
class FromPoint:
    """What is asked for, all of it sent from one point; `cost` as of `extra_cost`."""

    point: str
    ships: date
    arrives: date
    cost: Fraction


def from_each_point(question: Question) -> list[FromPoint]:
    """Lines of a parts order sent from each point that can send all of them, the first to arrive
    first. Nothing is moved or expedited for it."""
    return [row for row, _ in whole_from_points(question)]


def cheaper_whole(wholes: Iterable[tuple[FromPoint, Solution]], plain: Plan) -> Solution | None:
    """The cheapest way to send all from one point that arrives no later than a plan in which each
    line comes as soon as it can; None where nothing is cheaper than that plan."""
    day, cost = ready(plain), extra_cost(plain)
    found = [
        (row.cost, row.arrives, row.point, solution)
        for row, solution in wholes
        if row.arrives <= day and row.cost < cost
    ]
    return min(found, key=lambda row: row[:3])[3] if found else None


def whole_from_points(question: Question) -> list[tuple[FromPoint, Solution]]:
    """As `from_each_point`, each with its solution."""
    found = []
    for point in question.book.problem.points:
        solution = question.earliest(_sent_from(point))
        if solution is None:
            continue
        plan = question.plan(solution, explained=False)
        if {row.point for row in plan.shipments} == {point} and not measures(plan):
            ships = max(row.ships for row in plan.shipments)
            found.append((FromPoint(point, ships, ready(plan), extra_cost(plan)), solution))
    return sorted(found, key=lambda row: (row[0].arrives, row[0].cost, row[0].point))


class _Trial:
    """Tries one thing after another, and keeps what brings the date forward."""

    def __init__(self, room: Room, plain: Plan) -> None:
        self.room = room
        self.plain = plain
        self.day = ready(plain)
        self.cost = cost_beside(room.problem, plain)
        self.found: list[Forward] = []

    def attempt(
        self,
        question: Question,
        allowed: Allowed,
        lever: Lever,
        what: str,
        by: str,
        extra: Fraction = Fraction(0),
    ) -> None:
        """`extra` is what it costs besides what its plan says."""
        plan = self._sooner(question, allowed, self.day)
        if plan is not None:
            self._keep(question, plan, lever, what, by, extra)

    def attempt_options(self, question: Question, build: Build, parts: Iterable[str]) -> None:
        """Other options of the parts' families.

        All of them are first tried as if they were alternates, in one book; only what brings the
        date forward so is configured and computed anew.
        """
        swaps = list(other_options(self.room, question, build, parts))
        # scrap of the bill's line does not go with it, so no more than one step is asked for here
        rows = tuple(
            Alternate(part=s.part, alternate=s.other, ratio_ppm=1, approved=True) for s in swaps
        )
        if not swaps:
            return
        together = Question(self.room, question.request, rows)
        for swap in swaps:
            if self._is_sooner(together, _instead(swap.part, swap.other), self.day):
                request = exchanged(question.request, build, swap)
                configured_so = Question(self.room, request)
                self.attempt(configured_so, plainly, Lever.OPTION, swap.part, swap.other)

    def attempt_together(self, question: Question) -> None:
        """All ways of all parts at once, if that brings more than anything alone."""
        best = min((ready(row.plan) for row in self.found), default=self.day)
        plan = self._sooner(question, by_whatever, best)
        if plan is not None:
            did = [measure.text for measure in measures(plan)]
            if len(did) > 1:
                self._keep(question, plan, Lever.TOGETHER, "", ", ".join(did))

    def _sooner(self, question: Question, allowed: Allowed, than: date) -> Plan | None:
        solution = question.earliest(allowed)
        if solution is None or question.ready(solution) >= than:
            return None
        return question.plan(solution, explained=False)

    def _is_sooner(self, question: Question, allowed: Allowed, than: date) -> bool:
        solution = question.earliest(allowed)
        return solution is not None and question.ready(solution) < than

    def _keep(
        self,
        question: Question,
        plan: Plan,
        lever: Lever,
        what: str,
        by: str,
        extra: Fraction = Fraction(0),
    ) -> None:
        day = ready(plan)
        self.found.append(
            Forward(
                lever=lever,
                what=what,
                by=by,
                ships=last_ship_day(plan),
                arrives=day if plan.shipments else None,
                days_sooner=(self.day - day).days,
                cost=cost_beside(self.room.problem, plan) + extra - self.cost,
                request=question.request,
                plan=plan,
            )
        )


def _last_build(request: Request, plan: Plan) -> Build | None:
    """The build that ships last, the first by name of several; None where none is asked for."""
    ships = {row.build: row.ships for row in plan.builds}
    builds = sorted(request.builds, key=lambda row: row.build)
    return max(builds, key=lambda row: ships[row.build], default=None)


def _holding_up(plan: Plan, last: Build | None) -> list[str]:
    """Parts that hold up the last build, as its ladder names them, or the last shipments."""
    if last is not None:
        (row,) = (row for row in plan.builds if row.build == last.build)
        rungs = (rung.what for rung in row.blockers if rung.kind is BlockerKind.PART)
        return list(dict.fromkeys(rungs))
    day = ready(plan)
    return list(dict.fromkeys(row.part for row in plan.shipments if row.arrives == day))


# ---- other ways of the same parts


def _ways(question: Question, part: str) -> Iterator[tuple[Lever, str, Allowed]]:
    """Ways other than plainly that there are for a part, each with what it allows."""
    offers = [offer for offer in question.offers() if offer.part == part]
    at_hand = (WayKind.OWN, WayKind.MAKE)
    for used in dict.fromkeys(o.used for o in offers if o.used != part and o.kind in at_hand):
        yield Lever.ALTERNATE, used, _instead(part, used)
    itself = [offer for offer in offers if offer.used == part]
    for supplier in dict.fromkeys(o.supplier for o in itself if o.supplier is not None):
        yield Lever.EXPEDITE, supplier, _hurried(part, supplier)
    for origin in dict.fromkeys(o.origin for o in itself if o.origin is not None):
        yield Lever.TRANSFER, origin, _moved(part, origin)


def _instead(part: str, alternate: str) -> Allowed:
    def allowed(offer: Offer) -> bool:
        instead = offer.part == part and offer.used == alternate
        return plainly(dataclasses.replace(offer, used=part) if instead else offer)

    return allowed


def _hurried(part: str, supplier: str) -> Allowed:
    def allowed(offer: Offer) -> bool:
        hurried = offer.part == offer.used == part and offer.supplier == supplier
        return hurried or plainly(offer)

    return allowed


def _moved(part: str, origin: str) -> Allowed:
    def allowed(offer: Offer) -> bool:
        moved = offer.part == offer.used == part and offer.origin == origin
        return moved or plainly(offer)

    return allowed


def _sent_from(point: str) -> Allowed:
    def allowed(offer: Offer) -> bool:
        return plainly(offer) and offer.point == point

    return allowed

"""What sales asks with the customer on the phone: when could something new ship?

Every answer is kept as a quote, which may be held and accepted (`holds`). Nothing of the plan is
changed by asking.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from fulfil.errors import Refused
from fulfil.store.errors import StaleData
from fulfil.usecases.asking import Asked, known
from fulfil.usecases.basis import Basis
from fulfil.usecases.current import Current, current
from fulfil.usecases.quote_arrival import arrival_of, machines_arrive
from fulfil.usecases.quote_cautions import (
    Doubt,
    Required,
    cautions,
    doubts,
    fits_of_measures,
    fits_of_offer,
    fits_of_options,
    needs_approval,
    regional,
    without_region,
)
from fulfil.usecases.quote_documents import (
    PLAINLY,
    Offer,
    offer_document,
    orders_drawn_on,
    quote_name,
    request_document,
)
from fulfil.usecases.reordering import Reordered, Reordering
from fulfil.usecases.wanted import Wanted, wanted_days, worst

if TYPE_CHECKING:
    from fulfil_models.fit import FitCheck
    from fulfil_models.forward import Forward, FromPoint
    from fulfil_models.measures import Measure
    from fulfil_models.plan import Plan, PlannedBuild, Shipment
    from fulfil_models.problem import Problem
    from fulfil_models.promise import Question
    from fulfil_models.room import Request

    from fulfil.store.results import DataChange
    from fulfil.store.session import Store

MOST_OFFERS = 9
"""ways to bring a date forward that are told and kept"""


@dataclass(frozen=True, slots=True)
class Sooner:
    """Something that brings the date forward; `place` is its number among the offers.

    Attributes
    ----------
    arrives: as of `PromiseAnswer`.
    fits: what ratings say of what stands in for something else.
    regional: parts that local rules commonly require for it, and not for what is asked for.
    """

    place: int
    found: Forward
    arrives: date | None
    fits: tuple[FitCheck, ...]
    regional: tuple[Required, ...]


@dataclass(frozen=True, slots=True)
class PromiseAnswer:
    """The earliest date beside the plan.

    Attributes
    ----------
    basis: the plan and the day it stands on.
    quote: the number it is kept by.
    asked: with names as the data have them.
    retimed_from, changes: the plan that was re-timed first, and what had changed since; see
        `Current`.
    builds: machines that are asked for, with reasons and ladders.
    shipments, shipment_reasons: spare parts that are asked for.
    ships: day on which the last of it ships.
    arrives: at the destination; None where none was named, or nothing delivers there.
    carrier_days: that the delivery takes, where that is the same for all of it.
    machines_arrive: the same of each build.
    wanted: days on which it is wanted, of each build and line its own.
    measures: what is done for it besides the plain way, where there is no other.
    fits: what ratings say of options that are asked for in the place of others, and of alternates
        among these measures.
    to_approve: whether something stands in for something else, as asked, in an offer, or with the
        queue re-ordered.
    forward: what would bring the date forward, each computed anew.
    left_out: ways to bring it forward that are neither told nor kept, since there are so many.
    from_points: spare parts from each point that could send all of them.
    reordered: None where it was not asked for.
    regional: parts that local rules commonly require there.
    without_region: destinations of which no region is known, so that no local rule is applied.
    doubts: open purchases that it counts on, as asked or with the queue re-ordered, and whose day
        is not to be relied on.
    cautions: (part, caution) of what is made or sent.
    cost: of delivering spare parts, and of whatever else is done; lateness costs nothing here.
    """

    basis: Basis
    quote: int
    asked: Asked
    descriptions: dict[str, str]
    retimed_from: int | None
    changes: tuple[DataChange, ...] | None
    builds: tuple[PlannedBuild, ...]
    shipments: tuple[Shipment, ...]
    shipment_reasons: tuple[str, ...]
    ships: date
    arrives: date | None
    carrier_days: int | None
    machines_arrive: dict[str, date | None]
    wanted: tuple[Wanted, ...]
    measures: tuple[Measure, ...]
    fits: tuple[FitCheck, ...]
    to_approve: bool
    forward: tuple[Sooner, ...]
    left_out: int
    from_points: tuple[FromPoint, ...]
    reordered: Reordered | None
    regional: tuple[Required, ...]
    without_region: tuple[str, ...]
    doubts: tuple[Doubt, ...]
    cautions: tuple[tuple[str, str], ...]
    cost: Fraction
    currency: str

    @property
    def due(self) -> date | None:
        """The wanted day that is missed by most, or kept with least time to spare."""
        row = worst(self.wanted)
        return None if row is None else row.day

    @property
    def days_past_wanted(self) -> int:
        """Most days by which anything is after its wanted day; 0 when all is in time."""
        return max((row.days_past for row in self.wanted), default=0)


class Promises:
    """Answers questions one after another; what stands is read again only when it changed."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._current: Current | None = None

    def quote(
        self,
        asked: Asked,
        number: int | None = None,
        *,
        reorder_seconds: float | None = None,
    ) -> PromiseAnswer:
        """The earliest date that moves nothing and takes nothing from anyone.

        Parameters
        ----------
        number: a plan other than the one that is worked by.
        reorder_seconds: also the earliest date if the queue may be re-ordered, searched so long.

        Raises Refused where names are unknown, parts never come, or there is no plan.
        """
        while True:
            # what is told was re-timed by the question that did it, and by no later one
            now = self._current = current(self._store, number, self._current)
            self._current = dataclasses.replace(now, retimed_from=None, changes=())
            try:
                return _Quoting(self._store, now, asked).answer(reorder_seconds)
            except StaleData:
                continue  # somebody loaded data meanwhile: what stands is looked at anew


def promise(
    store: Store,
    asked: Asked,
    number: int | None = None,
    *,
    reorder_seconds: float | None = None,
) -> PromiseAnswer:
    """One question; see `Promises.quote`."""
    return Promises(store).quote(asked, number, reorder_seconds=reorder_seconds)


class _Quoting:
    """One question beside what stands now."""

    def __init__(self, store: Store, now: Current, asked: Asked) -> None:
        from fulfil_models.promise import Question

        self.store = store
        self.now = now
        self.problem: Problem = now.room.problem
        self.asked = known(now.dataset, self.problem, asked)
        self.question: Question = Question(now.room, _urgent(self.asked.request))

    def answer(self, reorder_seconds: float | None) -> PromiseAnswer:
        from fulfil_models.forward import (
            brought_forward,
            cheaper_whole,
            whole_from_points,
            worth_telling,
        )
        from fulfil_models.measures import measures
        from fulfil_models.promise import cost_beside

        solution = self.question.earliest()
        if solution is None:
            raise self._never()
        plan = self.question.plan(solution)
        wholes = whole_from_points(self.question) if plan.shipments else []
        cheaper = cheaper_whole(wholes, plan)
        if cheaper is not None:
            solution, plan = cheaper, self.question.plan(cheaper)
        reasons = self.question.shipment_reasons(solution, plan) if plan.shipments else ()
        ways = brought_forward(self.now.room, self.question, plan)
        found = worth_telling(ways, MOST_OFFERS)
        reordering = Reordering(self.store, self.now, self.asked, plan)
        again = None if reorder_seconds is None else reordering.made(reorder_seconds)
        offers = [self._plain_offer(plan), *map(self._offer, found)]
        number = self.store.save_quote(
            plan=self.now.basis.plan,
            data_hash=self.now.data_hash,
            as_of=self.now.basis.as_of,
            asked=_asked_document(self.asked),
            answer={
                "offers": [offer_document(offer) for offer in offers],
                "reordered": None if again is None else again.ships.isoformat(),
            },
        )
        reordered = None
        if again is not None:
            reordered = reordering.told(again, quote_name(number))
        done = measures(plan)
        arrives, carrier_days = arrival_of(self.problem, self.asked.request, plan)
        return PromiseAnswer(
            basis=self.now.basis,
            quote=number,
            asked=self.asked,
            descriptions=self._descriptions(),
            retimed_from=self.now.retimed_from,
            changes=self.now.changes,
            builds=plan.builds,
            shipments=plan.shipments,
            shipment_reasons=reasons,
            ships=offers[0].ships,
            arrives=arrives,
            carrier_days=carrier_days,
            machines_arrive=machines_arrive(self.problem, self.asked.request, plan),
            wanted=wanted_days(self.asked.request, plan),
            measures=done,
            fits=(
                *fits_of_options(self.problem, self.asked.request, plan),
                *fits_of_measures(self.problem, plan, done),
            ),
            to_approve=self._to_approve(offers, reordered),
            forward=tuple(
                self._sooner(place, *pair)
                for place, pair in enumerate(zip(found, offers[1:], strict=True), 1)
            ),
            left_out=len(ways) - len(found),
            from_points=tuple(row for row, _ in wholes),
            reordered=reordered,
            regional=regional(self.problem, self.asked.request),
            without_region=without_region(
                self.problem, [self.asked.request, *(row.request for row in found)]
            ),
            doubts=self._doubts(plan, reordered),
            cautions=cautions(self.problem, plan, _besides(found, reordered)),
            cost=cost_beside(self.problem, plan),
            currency=self.now.settings.currency,
        )

    def _never(self) -> Refused:
        names = [row.product for row in self.asked.request.builds]
        names += [row.part for row in self.asked.request.lines]
        told = " and ".join(dict.fromkeys(names))
        made = [row.part for row in self.asked.request.lines if row.part in self.problem.routings]
        if made:
            return Refused(
                f"{told}: {made[0]} is made for an order of its own, and none is there or comes",
                f"as a machine: `fulfil promise {made[0]}`",
            )
        what = "a part of it" if self.asked.request.builds else "enough of it"
        return Refused(
            f"{told}: {what} never comes, beside what others hold",
            f"see `fulfil explode {names[0]}` and `fulfil holds`; a source or a purchase is "
            "missing",
        )

    # ---- offers

    def _plain_offer(self, plan: Plan) -> Offer:
        from fulfil_models.ready import last_ship_day

        return Offer(
            lever=PLAINLY,
            what="",
            by="",
            ships=last_ship_day(plan),
            arrives=arrival_of(self.problem, self.asked.request, plan)[0],
            days_sooner=0,
            cost=Fraction(0),
            request=self.asked.request,
            plan=plan,
            orders=orders_drawn_on(plan, self.now.taken.orders),
        )

    def _offer(self, row: Forward) -> Offer:
        return Offer(
            lever=row.lever.value,
            what=row.what,
            by=row.by,
            ships=row.ships,
            arrives=arrival_of(self.problem, row.request, row.plan)[0],
            days_sooner=row.days_sooner,
            cost=row.cost,
            request=_as_asked(row.request, self.asked.request),
            plan=row.plan,
            orders=orders_drawn_on(row.plan, self.now.taken.orders),
        )

    def _to_approve(self, offers: Iterable[Offer], reordered: Reordered | None) -> bool:
        asked = self.asked.request
        return (reordered is not None and reordered.takes_alternates) or any(
            needs_approval(self.problem, asked, row.request, row.plan) for row in offers
        )

    def _sooner(self, place: int, row: Forward, offer: Offer) -> Sooner:
        asked = regional(self.problem, self.asked.request)
        required = regional(self.problem, row.request)
        return Sooner(
            place,
            row,
            offer.arrives,
            fits_of_offer(self.problem, row),
            tuple(part for part in required if part not in asked),
        )

    def _doubts(self, plan: Plan, reordered: Reordered | None) -> tuple[Doubt, ...]:
        found = doubts(self.problem, plan)
        found += () if reordered is None else reordered.doubts
        return tuple(dict.fromkeys(found))

    # ---- facts

    def _descriptions(self) -> dict[str, str]:
        names = [row.product for row in self.asked.request.builds]
        names += [row.part for row in self.asked.request.lines]
        rows = (self.problem.parts[name] for name in names)
        return {row.part: row.description for row in rows if row.description}


def _besides(offers: Iterable[Forward], reordered: Reordered | None) -> Iterator[str]:
    """What offers make, and parts that they, or the queue re-ordered, would use."""
    for offer in offers:
        yield from (row.product for row in offer.plan.builds)
        yield from (peg.used for peg in offer.plan.pegs)
        yield from (row.used for row in offer.plan.shipments)
    yield from () if reordered is None else reordered.parts


def _urgent(request: Request) -> Request:
    """Lines as they are asked for beside a plan: to arrive as soon as can be, from one point."""
    lines = tuple(
        dataclasses.replace(row, within_days=0, promised=None, split=False) for row in request.lines
    )
    return dataclasses.replace(request, lines=lines)


def _as_asked(request: Request, asked: Request) -> Request:
    """A request of an offer with what was wanted of its lines."""
    lines = tuple(
        dataclasses.replace(row, within_days=first.within_days, promised=first.promised)
        for row, first in zip(request.lines, asked.lines, strict=True)
    )
    return dataclasses.replace(request, lines=lines)


def _asked_document(asked: Asked) -> dict[str, Any]:
    return {
        "request": request_document(asked.request),
        "wanted": None if asked.wanted is None else asked.wanted.isoformat(),
        "named": asked.named,
    }


def asked_again(document: Mapping[str, Any]) -> Asked:
    """What a kept quote asked for."""
    from fulfil.usecases.quote_documents import request_of

    wanted = document["wanted"]
    return Asked(
        request_of(document["request"]),
        None if wanted is None else date.fromisoformat(wanted),
        document["named"],
    )

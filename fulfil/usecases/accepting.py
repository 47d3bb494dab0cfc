"""A promise that is given: a quote becomes a firm order, and the plan goes on with it."""

from __future__ import annotations

import dataclasses
import time
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from math import inf
from typing import TYPE_CHECKING

from fulfil.clock import today
from fulfil.errors import Refused
from fulfil.usecases.current import Current, go_on, save_retimed
from fulfil.usecases.deciding import (
    MOST_TRIES,
    Course,
    Deciding,
    busy,
    is_held,
    not_there,
    stands,
)
from fulfil.usecases.held_quotes import Hold, keys_today, taken_by_holds
from fulfil.usecases.plans import held_before
from fulfil.usecases.promise import asked_again
from fulfil.usecases.quote_cautions import needs_approval
from fulfil.usecases.quote_documents import (
    NAME,
    Offer,
    Promise,
    last_promised,
    named,
    names_of,
    promises_of,
    quote_name,
    ships_of,
    with_request,
)
from fulfil.usecases.reordering import Reordered, reordered_plan, told

if TYPE_CHECKING:
    from fulfil_models.plan import Plan
    from fulfil_models.tables import Dataset

    from fulfil.store.desk import Desk
    from fulfil.store.results import Quote
    from fulfil.store.session import Store

REORDER_SECONDS = 20.0


@dataclass(frozen=True, slots=True)
class AcceptedQuote:
    """A promise that was given.

    Attributes
    ----------
    names: builds and orders that are in the data now.
    promised: ship date that was promised, of several the last; None where all are of arrivals.
    promises: of each build and order.
    plan: number of the plan that goes on with it.
    ships: of it, by that plan.
    to_approve: whether something stands in for something else for its sake.
    late_before, late_after: builds that miss their promise, in the plan before anything was done
        for it, and in that one.
    course: what had to be done first.
    reordered: what re-ordering the queue for it took and moved; None where nobody had to move.
    """

    quote: Quote
    names: tuple[str, ...]
    promised: date | None
    promises: tuple[Promise, ...]
    plan: int
    ships: date
    to_approve: bool
    late_before: int
    late_after: int
    reordered: Reordered | None
    currency: str
    course: Course


def accept_quote(
    store: Store,
    number: int,
    *,
    promised: date | None = None,
    name: str | None = None,
    customer: str | None = None,
    place: int | None = None,
    seconds: float = REORDER_SECONDS,
) -> AcceptedQuote:
    """Makes a quote a firm order with its promised date; the plan goes on with it.

    Parameters
    ----------
    promised: other than the date that was quoted. An earlier one is only taken if re-ordering the
        queue keeps it and every promise given before.
    name: of the build or the order; else that of the quote.
    customer: whom it is for; else the one it was held for.
    place: the offer that is taken; else the one that is held, or the plain one.
    seconds: that re-ordering may take.

    A quote that is not good any more is asked again, and goes on where the same offer is as good.
    Raises Refused where it cannot be kept; nothing is changed then.
    """
    from fulfil_models.taken import taken_by

    from fulfil.store.write import prepared

    deciding = Deciding(store, number, place, promised)
    for _ in range(MOST_TRIES):
        began = time.monotonic()
        now = deciding.look()
        quote, offer, at = deciding.taken_up(store, now.holds)
        whom = customer or deciding.held_for(quote)
        others = [hold for hold in now.holds if hold.quote.number != quote.number]
        held = is_held(now.holds, quote.number, at)
        why = None if held else not_there(now, others, Hold(quote, offer), held=False)
        if why is not None:
            deciding.renew(why)
            continue
        taking = _Taking(store, now, quote, offer, promised, name, whom, seconds)
        plan = taking.plan()
        ready, taken = prepared(taking.dataset), taken_by(plan, taking.dataset)
        with store.deciding() as desk:
            if not (deciding.is_open(desk) and _unchanged(desk, now, quote)):
                continue
            result = desk.replace_dataset(ready)
            made = save_retimed(
                desk,
                plan,
                taken,
                now.basis.plan,
                result.data_hash,
                time.monotonic() - began,
                taking.others,
                now.premises,
            )
            desk.accept(
                quote.number,
                chosen=at,
                promised=taking.promised,
                name=", ".join(taking.names),
                customer=whom,
            )
            deciding.close(desk)
            return taking.answer(desk.quote(quote.number), made, plan, deciding.course)
    raise busy()


def _unchanged(desk: Desk, now: Current, quote: Quote) -> bool:
    """Whether everything is still as it was looked at."""
    return (
        stands(desk, now)
        and keys_today(desk) == now.hold_keys
        and desk.quote(quote.number).state == quote.state
    )


def _comes(plan: Plan, promise: Promise) -> date:
    """When what was promised ships, or arrives, by a plan."""
    days = [row.ships for row in plan.builds if row.build == promise.name]
    days += [
        row.arrives if promise.arrives else row.ships
        for row in plan.shipments
        if row.order == promise.name
    ]
    return max(days)


def _late_days(plan: Plan) -> dict[tuple[str, str], int]:
    """Days by which each line of a parts order is late, that of its last shipment."""
    days: dict[tuple[str, str], int] = {}
    for row in plan.shipments:
        key = row.order, row.line
        days[key] = max(days.get(key, 0), row.late_days)
    return days


class _Taking:
    """A quote on the way to an order."""

    def __init__(
        self,
        store: Store,
        now: Current,
        quote: Quote,
        offer: Offer,
        promised: date | None,
        name: str | None,
        customer: str | None,
        seconds: float,
    ) -> None:
        self.store, self.now, self.quote, self.offer = store, now, quote, offer
        self.seconds = seconds
        self.others = tuple(h for h in now.holds if h.quote.number != quote.number)
        self.promised = promised or self.offer.ships
        self.reordered: Reordered | None = None
        if self.promised < now.basis.as_of:
            raise Refused(
                f"{self.promised} is before the planning date {now.basis.as_of}",
                "promise that day or a later one",
            )
        self.renaming = self._renaming(name)
        as_quoted = self.offer.plan if self.promised == self.offer.ships else None
        self.request = named(self.offer.request, self.renaming, self.promised, customer, as_quoted)
        self.names = names_of(self.request)
        self._refuse_names()
        self.dataset: Dataset = with_request(now.dataset, self.request)
        self._refuse_unfit()

    def _renaming(self, name: str | None) -> dict[str, str]:
        if not self.quote.asked["named"]:
            return {NAME: name or quote_name(self.quote.number)}
        if name is not None:
            raise Refused(
                f"the builds of {quote_name(self.quote.number)} have names of their own",
                "accept it without --as, or ask again with other names in the file",
            )
        return {}

    def _refuse_names(self) -> None:
        from fulfil_models.cells import IDENTIFIER, CellError

        there = {row.build for row in self.now.dataset.builds}
        there |= {row.order for row in self.now.dataset.parts_orders}
        for name in self.names:
            try:
                IDENTIFIER.parse(name)
            except CellError as error:
                raise Refused(f"the name {name} {error.wrong}", error.remedy) from error
            if name in there:
                raise Refused(
                    f"a build or an order {name} is in the data already",
                    "ask again with another name in the file: `fulfil promise --file`"
                    if self.quote.asked["named"]
                    else "name it otherwise: --as NAME",
                )

    def _refuse_unfit(self) -> None:
        """Raises Refused where the order has no place in the data as they are."""
        from fulfil_models.checking import check
        from fulfil_models.reading import Origins

        for row in check(self.dataset, Origins(), today()):
            if row.is_error:
                raise Refused(
                    f"{quote_name(self.quote.number)} has no place in the data as they are: "
                    f"{row.value} {row.wrong}",
                    f"ask again: `fulfil promise`; {row.remedy}",
                )

    def plan(self) -> Plan:
        """The plan that goes on with the order. Raises Refused where it would break a promise."""
        from fulfil_models.ready import ready
        from fulfil_models.taken import joined

        now = self.now
        held = taken_by_holds(self.others, now.believed, now.orders)
        piece = Hold(self.quote, self.offer).piece(
            now.believed, now.orders, held, self.renaming, self.names[0]
        )
        beside = dataclasses.replace(self.now, holds=self.others)
        if self.promised < self.offer.ships:
            made = reordered_plan(self.store, beside, self.request, piece, self.seconds)
            if made.ships > self.promised:
                raise Refused(
                    f"{self.promised} cannot be kept: re-ordering the queue brings it to "
                    f"{made.ships}, every promise kept",
                    f"promise {made.ships}, or search longer: --seconds",
                )
            plan: Plan = made.plan
            before = ready(self.offer.plan)
            self.reordered = told(self.now.room.problem, self.request, before, made)
        else:
            whole = joined(self.now.plan, piece)
            plan = go_on(
                self.store,
                f"plan {self.now.basis.plan}",
                whole,
                self.dataset,
                self.now.settings,
                self.others,
                self.now.premises,
            )
        self._refuse_broken(plan)
        return dataclasses.replace(plan, bound=max(plan.bound, self._bound()))

    def _bound(self) -> Fraction:
        """The proven bound of the plan before, where it holds for this one, too; else 0.

        Whoever takes the new order out of any plan that goes on has a plan as before, at no higher
        cost: so none is cheaper than the bound. Only what was held then must be held still, or
        the plans before had less than these to draw on.
        """
        before = self.store.plan_header(self.now.basis.plan)
        held_then = held_before(before.options)
        held_now = {h.key for h in self.others if h.quote.decided <= before.created}
        return before.bound if held_then <= held_now else Fraction(0)

    def _refuse_broken(self, plan: Plan) -> None:
        from fulfil_models.book_entries import is_promised

        builds = {row.build: row.late_minutes for row in self.now.plan.builds}
        worse = [
            row.build
            for row in plan.builds
            if row.promised is not None and row.late_minutes > builds.get(row.build, inf)
        ]
        lines, were = _late_days(plan), _late_days(self.now.plan)
        known = {(row.order, row.line): row for row in self.now.dataset.parts_orders}
        worse += [
            "/".join(key)
            for key, days in lines.items()
            if days > were.get(key, inf) and is_promised(known[key])
        ]
        if worse:
            raise Refused(
                f"{quote_name(self.quote.number)} cannot be taken without breaking the promise of "
                f"{', '.join(worse[:5])}",
                "run `fulfil plan`, accept the plan, and ask again",
            )
        for row in promises_of(self.request):
            comes = _comes(plan, row)
            if comes > row.day:
                raise Refused(
                    f"{row.day} cannot be kept any more: "
                    f"{'it' if len(self.names) == 1 else row.name} would "
                    f"{'arrive' if row.arrives else 'ship'} {comes}",
                    "ask again: `fulfil promise`"
                    if row.arrives
                    else f"promise that with --promised {comes}, or ask again",
                )

    def ships(self, plan: Plan) -> date:
        """When the last of the order ships."""
        return ships_of(plan, self.names)

    def _to_approve(self) -> bool:
        asked, problem = asked_again(self.quote.asked).request, self.now.room.problem
        return (self.reordered is not None and self.reordered.takes_alternates) or needs_approval(
            problem, asked, self.offer.request, self.offer.plan
        )

    def answer(self, quote: Quote, number: int, plan: Plan, course: Course) -> AcceptedQuote:
        from fulfil_models.compare import is_late

        retimed, promises = course.retiming, promises_of(self.request)
        now_late = sum(map(is_late, self.now.plan.builds))
        return AcceptedQuote(
            quote=quote,
            names=self.names,
            promised=last_promised(promises),
            promises=promises,
            plan=number,
            ships=self.ships(plan),
            to_approve=self._to_approve(),
            late_before=now_late if retimed is None else retimed.late_before,
            late_after=sum(map(is_late, plan.builds)),
            reordered=self.reordered,
            currency=self.now.settings.currency,
            course=course,
        )

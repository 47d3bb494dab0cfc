"""May something be decided on a quote: is what it needs still there, has nobody decided before?

A quote that is not good any more is asked again at once. Where it is only outdated, and the same
offer still ships on the day that was quoted, or sooner, at no higher cost, the decision goes on
with the new quote, which takes the place of the other for good: whoever names that one means the
new one from then on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Protocol

from fulfil.errors import Refused
from fulfil.usecases.basis import premises_of, standing_header
from fulfil.usecases.current import Current, current
from fulfil.usecases.held_quotes import Hold, keys_of, taken_by_holds
from fulfil.usecases.promise import Promises, asked_again
from fulfil.usecases.quote_documents import (
    Offer,
    offer_of,
    order_of,
    promised_texts,
    promises_of,
    quote_name,
    quote_number,
)

if TYPE_CHECKING:
    from fulfil_models.clashes import Clash

    from fulfil.store.desk import Desk
    from fulfil.store.results import DataChange, Quote
    from fulfil.store.session import Store
    from fulfil.usecases.promise import PromiseAnswer

MOST_TRIES = 20
"""times that a decision is looked at anew since others decided meanwhile"""
OUTDATED = "the data, or the day, are not those it was made from"
GONE = "its operations are not in the routings any more"


@dataclass(frozen=True, slots=True)
class Retiming:
    """A plan was re-timed before something was decided, since the data, or the day, were others.

    Attributes
    ----------
    retimed_from, plan: the plan before, and the one that goes on with it.
    late_before, late_after: builds that miss their promise in them.
    changes: what changed in the data; None where that is not known.
    """

    retimed_from: int
    plan: int
    late_before: int
    late_after: int
    changes: tuple[DataChange, ...] | None


@dataclass(frozen=True, slots=True)
class Renewal:
    """A quote that another took the place of, which is the same question asked again.

    Attributes
    ----------
    number: of the quote that was named.
    why: it was not good any more.
    quoted, ships: day on which the offer shipped, and ships now.
    """

    number: int
    why: str
    quoted: date
    ships: date


@dataclass(frozen=True, slots=True)
class Course:
    """What had to be done before a decision could be taken.

    Attributes
    ----------
    named: number of the quote that was named; another one may have taken its place.
    retiming, renewal: None where nothing of that kind was needed.
    """

    named: int
    retiming: Retiming | None = None
    renewal: Renewal | None = None


class Quotes(Protocol):
    """Where a quote can be looked up: the store, or a transaction of it."""

    def quote(self, number: int) -> Quote: ...


class Deciding:
    """A decision on an offer of a quote, tried until nobody else decides in between."""

    def __init__(
        self, store: Store, number: int, place: int | None, promised: date | None = None
    ) -> None:
        """`place`: the offer that is meant; else the one that is held, or the plain one.
        `promised`: the day that is to be promised, where that is another than the quoted one."""
        self._store = store
        self._promises = Promises(store)
        self._now: Current | None = None
        self._place = place
        self._promised = promised
        self._named = number
        self._quote: Quote | None = None
        self._told: Offer | None = None
        self._again: tuple[int, int] | None = None
        self._retiming: Retiming | None = None
        self._renewal: Renewal | None = None

    @property
    def course(self) -> Course:
        return Course(self._named, self._retiming, self._renewal)

    def look(self) -> Current:
        """What stands now."""
        before = self._now
        self._now = now = current(self._store, None, before)
        if now is not before and now.retimed_from is not None:
            self._retimed(now.retimed_from, now.basis.plan, now.changes)
        return now

    def _retimed(
        self, retimed_from: int, plan: int, changes: tuple[DataChange, ...] | None
    ) -> None:
        late_after = self._store.plan_header(plan).late
        first = self._retiming
        if first is None:
            late_before = self._store.plan_header(retimed_from).late
            self._retiming = Retiming(retimed_from, plan, late_before, late_after, changes)
            return
        both = None if first.changes is None or changes is None else first.changes + changes
        self._retiming = replace(first, plan=plan, late_after=late_after, changes=both)

    def taken_up(self, source: Quotes, holds: tuple[Hold, ...]) -> tuple[Quote, Offer, int]:
        """The quote to be decided on, the offer that is meant, and the place of that.

        Raises Refused where something was decided that cannot be undone so.
        """
        quote = followed(source, self._named)
        refuse_decided(quote, holds)
        if self._quote is not None and self._quote.number != quote.number:
            self._again = self._renewal = None  # somebody else asked again, and decided on that
        self._quote = quote
        if self._again is None:
            place = chosen(quote, holds, self._place_in(source, quote))
            self._told = offer_of(quote, place)
            return quote, self._told, place
        number, place = self._again
        again = source.quote(number)
        refuse_decided(again, holds)
        return again, offer_of(again, place), place

    def _place_in(self, source: Quotes, quote: Quote) -> int | None:
        """The place that was named, in a quote that took the place of that one."""
        if self._place is None or quote.number == self._named:
            return self._place
        told = offer_of(source.quote(self._named), self._place)
        for place in range(len(quote.answer["offers"])):
            if is_same(offer_of(quote, place), told):
                return place
        name = quote_name(quote.number)
        raise Refused(
            f"{quote_name(self._named)} was asked again as {name}, which has no such offer",
            f"see `fulfil holds`; `fulfil release {name}` lets it go",
        )

    def renew(self, why: str) -> None:
        """Asks the question of the quote again, since it is not good any more.

        Raises Refused, with the new date, where the offer is not in the answer as good as it was,
        and where others have taken what it needs: they were first.
        """
        quote, told = self._quote, self._told
        assert quote is not None
        assert told is not None
        try:
            found = self._promises.quote(asked_again(dict(quote.asked)))
        except Refused as error:
            raise self._no_more(quote, why, f"{error.wrong}; {error.remedy}") from error
        if found.retimed_from is not None:
            self._retimed(found.retimed_from, found.basis.plan, found.changes)
        again = self._store.quote(found.quote)
        offers = [offer_of(again, place) for place in range(len(again.answer["offers"]))]
        same = [place for place, offer in enumerate(offers) if is_same(offer, told)]
        only_outdated = why == OUTDATED or self._again is not None
        for place in same if only_outdated else ():
            if is_as_good(offers[place], told):
                self._again = again.number, place
                self._renewal = Renewal(quote.number, OUTDATED, told.ships, offers[place].ships)
                return
        raise self._no_more(quote, why, self._otherwise(quote, found, offers, same))

    def _otherwise(
        self, quote: Quote, found: PromiseAnswer, offers: list[Offer], same: list[int]
    ) -> str:
        """What can be had instead."""
        name = quote_name(found.quote)
        place = same[0] if same else 0
        if place:
            keeps = f"`fulfil hold {name} --offer {place}` keeps that"
            text = f"asked again, offer {place} ships {offers[place].ships}: {keeps}"
        else:
            text = f"asked again, it ships {found.ships}: `fulfil hold {name}` keeps that"
        assert self._told is not None
        sooner = self._promised is not None and self._promised < self._told.ships
        if sooner or quote.answer["reordered"] is not None:
            text += "; `fulfil promise ... --resequence` asks again how soon it is re-ordered"
        return text

    @staticmethod
    def _no_more(quote: Quote, why: str, remedy: str) -> Refused:
        return Refused(f"{quote_name(quote.number)} is not good any more: {why}", remedy)

    def is_open(self, desk: Desk) -> bool:
        """Whether nobody has decided on the quote that was named meanwhile."""
        before = self._quote
        assert before is not None
        there = desk.quote(before.number)
        return (there.state, there.decided) == (before.state, before.decided)

    def held_for(self, quote: Quote) -> str | None:
        """Whom what is decided on was held for before."""
        return quote.held_for or (self._quote.held_for if self._quote else None)

    def close(self, desk: Desk) -> None:
        """Writes down that what was decided on took the place of the quote that was named."""
        if self._again is not None and self._quote is not None:
            desk.renew(self._quote.number, name=quote_name(self._again[0]))


def followed(source: Quotes, number: int) -> Quote:
    """A quote by its number, or the one that took its place."""
    quote = source.quote(number)
    while quote.state.value == "renewed":
        quote = source.quote(quote_number(quote.name or ""))
    return quote


def chosen(quote: Quote, holds: tuple[Hold, ...], place: int | None) -> int:
    """The offer that is meant: the one named, else the one that is held, or the plain one."""
    if place is not None:
        return place
    return next((hold.key[1] for hold in holds if hold.quote.number == quote.number), 0)


def is_held(holds: tuple[Hold, ...], number: int, place: int) -> bool:
    """Whether that very offer is held, and so kept for it by everybody since."""
    return (number, place) in keys_of(holds)


def refuse_decided(quote: Quote, holds: tuple[Hold, ...]) -> None:
    """Raises Refused where something was decided on a quote that cannot be undone so. One that was
    let go may be taken up again."""
    name = quote_name(quote.number)
    if quote.state.value in ("accepted", "kept"):
        promised = ", ".join(promised_texts(promises_of(order_of(quote))))
        raise Refused(
            f"{name} was accepted already: it is {quote.name}, {promised}",
            "see `fulfil holds --all`",
        )
    if quote.state.value == "held" and all(hold.quote.number != quote.number for hold in holds):
        raise Refused(
            f"the hold of {name} ran out on {quote.held_until}", "ask again: `fulfil promise`"
        )


def stands(desk: Desk, now: Current) -> bool:
    """Whether the plan and the data are still those that were looked at."""
    header = standing_header(desk)
    return (
        header is not None and header.number == now.basis.plan and desk.data_hash() == now.data_hash
    )


def is_fresh(now: Current, quote: Quote) -> bool:
    """Whether a quote was made from what stands now: the same data and day, and a plan that takes
    the same otherwise."""
    premises = premises_of(now.store.plan_header(quote.plan).options)
    stands_on = quote.data_hash, quote.as_of, premises
    return stands_on == (now.data_hash, now.basis.as_of, now.premises)


def not_there(now: Current, others: list[Hold], new: Hold, *, held: bool) -> str | None:
    """Why what an offer needs is not there for it beside the plan and the other holds; None where
    it is. What is `held` was kept for it, though the data changed."""
    if not held and not is_fresh(now, new.quote):
        return OUTDATED
    if not new.is_of(now.dataset):
        return GONE
    found = clashes(now, others, new)
    return f"others have taken it: {found[0].text()}" if found else None


def clashes(now: Current, others: list[Hold], new: Hold) -> tuple[Clash, ...]:
    """What is taken twice if an offer is taken beside the plan and the other holds."""
    from fulfil_models.clashes import clashes_between

    held = taken_by_holds(others, now.believed, now.orders)
    added = new.taken(now.believed, now.orders, held)
    return clashes_between(now.believed, now.settings, now.plan_taken + held, added)


# ---- asked again


def is_same(offer: Offer, told: Offer) -> bool:
    """Whether the same is done for the same."""
    return (offer.lever, offer.what, offer.by, offer.request) == (
        told.lever,
        told.what,
        told.by,
        told.request,
    )


def is_as_good(offer: Offer, told: Offer) -> bool:
    """Whether an offer is all that was told: no later, no dearer, with nothing in the place of
    something else that was not there before."""
    from fulfil_models.promise import extra_cost

    in_time = told.arrives is None or (offer.arrives is not None and offer.arrives <= told.arrives)
    return (
        offer.ships <= told.ships
        and in_time
        and offer.cost <= told.cost
        and extra_cost(offer.plan) <= extra_cost(told.plan)
        and _stand_ins(offer) <= _stand_ins(told)
    )


def _stand_ins(offer: Offer) -> set[tuple[str, str]]:
    """What stands in for what."""
    pairs = {(row.part, row.used) for row in offer.plan.pegs}
    pairs |= {(row.part, row.used) for row in offer.plan.shipments}
    return {(part, used) for part, used in pairs if part != used}


def busy() -> Refused:
    return Refused("others decide all the time", "try again")

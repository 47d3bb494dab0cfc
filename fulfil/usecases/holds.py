"""Promises kept open and promises given: hold a quote, let it go, make it a firm order.

What is held or accepted must be there for it: that is looked at, and written down, in one
transaction in which nobody else writes. So two people can never get the same engine.
"""

from __future__ import annotations

import dataclasses
import time
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from math import inf
from typing import TYPE_CHECKING

from fulfil.clock import today
from fulfil.errors import Refused
from fulfil.usecases.basis import settings_of, standing_header
from fulfil.usecases.current import (
    HELD,
    Current,
    Hold,
    active,
    current,
    go_on,
    keys_of,
    save_retimed,
    taken_by_holds,
)
from fulfil.usecases.plans import HOLDS
from fulfil.usecases.promise import (
    Promises,
    asked_again,
    reordered_plan,
)
from fulfil.usecases.quote_documents import (
    NAME,
    Offer,
    named,
    offer_of,
    order_of,
    quote_name,
    with_request,
)

if TYPE_CHECKING:
    from fulfil_models.clashes import Clash
    from fulfil_models.plan import Plan
    from fulfil_models.room import Request
    from fulfil_models.tables import Dataset, PartsOrder

    from fulfil.store.desk import Desk
    from fulfil.store.results import Quote
    from fulfil.store.session import Store

MOST_TRIES = 20
"""times that a decision is looked at anew since others decided meanwhile"""
OUTDATED = "the data, or the day, are not those it was made from"
GONE = "its operations are not in the routings any more"
REORDER_SECONDS = 20.0


@dataclass(frozen=True, slots=True)
class HeldRow:
    """A quote that is, or was, held or accepted.

    Attributes
    ----------
    what: products or parts.
    broken: what is not there for it any more, since the data changed.
    """

    quote: Quote
    offer: Offer
    what: str
    active: bool
    broken: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class HoldsAnswer:
    rows: tuple[HeldRow, ...]
    on: date


@dataclass(frozen=True, slots=True)
class AcceptedQuote:
    """A promise that was given.

    Attributes
    ----------
    names: builds and orders that are in the data now.
    promised: ship date that was promised.
    plan: number of the plan that goes on with it.
    ships: of it, by that plan.
    late_before, late_after: builds that miss their promise, in the plan before and in that one.
    """

    quote: Quote
    names: tuple[str, ...]
    promised: date
    plan: int
    ships: date
    late_before: int
    late_after: int
    reordered: bool


# ---- hold


def hold(
    store: Store, number: int, days: int, customer: str | None = None, place: int | None = None
) -> HeldRow:
    """Keeps an offer of a quote open up to the end of the day so many days from today.

    Parameters
    ----------
    customer: whom it is held for; else the one it was held for before.
    place: the offer; else the one that is held, or the plain one.

    What is held already can be held longer as long as it is there, though the data changed.
    Raises Refused where the quote cannot be held any more. If others have taken what it needs, the
    question is asked again, and the answer is named.
    """
    until = today() + timedelta(days)
    for _ in range(MOST_TRIES):
        now = current(store)
        with store.deciding() as desk:
            quote = desk.quote(number)
            holds = active(desk.quotes(HELD), today())
            _refuse_decided(quote, holds, "held")
            chosen = _chosen(quote, holds, place)
            offer = offer_of(quote, chosen)
            new = Hold(quote, offer)
            stale = _stale(desk, now, quote, again=_is_held(holds, number, chosen))
            if stale is None and not new.is_of(now.dataset):
                stale = GONE
            if stale is None:
                others = [hold for hold in holds if hold.quote.number != number]
                clashes = _clashes(now, others, new)
                if not clashes:
                    whom = customer or quote.held_for
                    desk.hold(number, chosen=chosen, until=until, customer=whom)
                    return HeldRow(desk.quote(number), offer, _what(offer.request), active=True)
            elif stale == "":
                continue
        raise _ask_again(store, quote, stale or f"others have taken it: {clashes[0].text()}")
    raise _busy()


def _chosen(quote: Quote, holds: tuple[Hold, ...], place: int | None) -> int:
    """The offer that is meant: the one named, else the one that is held, or the plain one."""
    if place is not None:
        return place
    return next((hold.key[1] for hold in holds if hold.quote.number == quote.number), 0)


def _is_held(holds: tuple[Hold, ...], number: int, place: int) -> bool:
    """Whether that very offer is held, and so kept for it by everybody since."""
    return (number, place) in keys_of(holds)


def _refuse_decided(quote: Quote, holds: tuple[Hold, ...], what: str) -> None:
    """Raises Refused where something was decided on a quote that cannot be undone so."""
    name = quote_name(quote.number)
    if quote.state.value in ("accepted", "kept"):
        raise Refused(
            f"{name} was accepted already: it is {quote.name}, promised for {quote.promised}",
            "see `fulfil holds --all`",
        )
    if quote.state.value == "held" and all(hold.quote.number != quote.number for hold in holds):
        raise Refused(
            f"the hold of {name} ran out on {quote.held_until}", "ask again: `fulfil promise`"
        )
    if quote.state.value == "released" and what == "accepted":
        raise Refused(f"{name} was released", "ask again: `fulfil promise`")


def _stale(desk: Desk, now: Current, quote: Quote, *, again: bool) -> str | None:
    """Why a quote cannot be held: None if it can, empty if what stands must be looked at anew.

    `again`: it is held already.
    """
    header = standing_header(desk)
    assert header is not None
    if header.number != now.basis.plan or desk.data_hash() != now.data_hash:
        return ""
    return None if again or _is_fresh(now, quote) else OUTDATED


def _is_fresh(now: Current, quote: Quote) -> bool:
    return quote.data_hash == now.data_hash and quote.as_of == now.basis.as_of


def _clashes(now: Current, others: list[Hold], new: Hold) -> tuple[Clash, ...]:
    """What is taken twice if an offer is taken beside the plan and the other holds."""
    from fulfil_models.clashes import clashes_between

    base = now.plan_taken + taken_by_holds(others, now.dataset, now.basis.plan)
    added = new.taken(now.dataset, now.basis.plan)
    return clashes_between(now.dataset, now.settings, base, added)


def _ask_again(store: Store, quote: Quote, why: str) -> Refused:
    """The refusal of a quote that does not hold any more, with a new answer to its question."""
    name = quote_name(quote.number)
    try:
        found = Promises(store).quote(asked_again(dict(quote.asked)))
    except Refused as error:
        return Refused(f"{name} is not good any more: {why}", f"{error.wrong}; {error.remedy}")
    again = quote_name(found.quote)
    return Refused(
        f"{name} is not good any more: {why}",
        f"asked again, it ships {found.ships}: `fulfil hold {again}` keeps that",
    )


def _busy() -> Refused:
    return Refused("others decide all the time", "try again")


# ---- the list, and letting go


def holds(store: Store, *, every: bool = False) -> HoldsAnswer:
    """What is held, the first to run out first; with `every`, also what was."""
    day = today()
    quotes = store.quotes(None if every else HELD)
    there = active([quote for quote in quotes if quote.state.value == "held"], day)
    broken = _broken(store, there)
    rows = []
    for quote in quotes:
        offer = offer_of(quote, quote.chosen or 0)
        on = any(hold.quote.number == quote.number for hold in there)
        if on or every:
            row = HeldRow(quote, offer, _what(offer.request), on, broken.get(quote.number, ()))
            rows.append(row)
    rows.sort(key=lambda row: (not row.active, row.quote.held_until or day, row.quote.number))
    return HoldsAnswer(tuple(rows), day)


def _broken(store: Store, there: tuple[Hold, ...]) -> dict[int, tuple[str, ...]]:
    """What is not there any more for holds, as the data are now; the older ones come first."""
    from fulfil_models.clashes import clashes_between
    from fulfil_models.taken import NOTHING

    found: dict[int, tuple[str, ...]] = {}
    if not there:
        return found
    dataset = store.dataset()
    settings, base = settings_of(dataset, today()), NOTHING
    for hold in there:
        added = hold.taken(dataset, plan=0)
        if not hold.is_of(dataset):
            found[hold.quote.number] = (GONE,)
        elif clashes := clashes_between(dataset, settings, base, added):
            found[hold.quote.number] = tuple(clash.text() for clash in clashes)
        else:
            base += added
    return found


def release(store: Store, number: int) -> Quote:
    """Lets a hold go before it runs out, or an accepted order that no data set has had yet.

    Raises Refused for what is neither.
    """
    from fulfil.store.write import prepared

    while True:
        quote, data_hash = store.quote(number), store.data_hash()
        ready = None
        if quote.state.value == "accepted":
            ready = prepared(_without(store.dataset(), quote))
        with store.deciding() as desk:
            if desk.quote(number) != quote or desk.data_hash() != data_hash:
                continue
            _refuse_release(quote)
            if ready is not None:
                desk.replace_dataset(ready)
            desk.release(number)
            return desk.quote(number)


def _refuse_release(quote: Quote) -> None:
    name = quote_name(quote.number)
    if quote.state.value == "kept":
        raise Refused(
            f"{quote.name} was accepted from {name} and is in the data that were loaded since",
            "cancel it there, and load them anew",
        )
    if quote.state.value == "held" and (quote.held_until or today()) < today():
        raise Refused(f"the hold of {name} ran out on {quote.held_until}", "nothing is held by it")
    if quote.state.value not in ("held", "accepted"):
        raise Refused(f"{name} is not held", "see `fulfil holds`")


def _without(dataset: Dataset, quote: Quote) -> Dataset:
    """The data set without what an accepted quote became."""
    order = order_of(quote)
    builds = {row.build for row in order.builds}
    lines = {(row.order, row.line) for row in order.lines}
    return dataclasses.replace(
        dataset,
        builds=tuple(row for row in dataset.builds if row.build not in builds),
        build_options=tuple(row for row in dataset.build_options if row.build not in builds),
        progress=tuple(row for row in dataset.progress if row.build not in builds),
        parts_orders=tuple(
            row for row in dataset.parts_orders if (row.order, row.line) not in lines
        ),
    )


def _what(request: Request) -> str:
    from fulfil_models.cells import format_decimal

    names = [row.product for row in request.builds]
    names += [f"{format_decimal(row.quantity_milli, 3)} {row.part}" for row in request.lines]
    return ", ".join(names)


# ---- accept


def accept_quote(
    store: Store,
    number: int,
    *,
    promised: date | None = None,
    name: str | None = None,
    place: int | None = None,
    seconds: float = REORDER_SECONDS,
) -> AcceptedQuote:
    """Makes a quote a firm order with its promised date; the plan goes on with it.

    Parameters
    ----------
    promised: other than the date that was quoted. An earlier one is only taken if re-ordering the
        queue keeps it and every promise given before.
    name: of the build or the order; else that of the quote.
    place: the offer that is taken; else the one that is held, or the plain one.
    seconds: that re-ordering may take.

    Raises Refused where it cannot be kept; nothing is changed then.
    """
    from fulfil_models.taken import taken_by

    from fulfil.store.write import prepared

    for _ in range(MOST_TRIES):
        began = time.monotonic()
        now = current(store)
        quote = store.quote(number)
        _refuse_decided(quote, now.holds, "accepted")
        chosen = _chosen(quote, now.holds, place)
        taking = _Taking(store, now, quote, chosen, promised, name, seconds)
        if not taking.fits():
            raise _ask_again(store, quote, taking.why)
        plan = taking.plan()
        ready, taken = prepared(taking.dataset), taken_by(plan, taking.dataset)
        with store.deciding() as desk:
            if not _unchanged(desk, now, quote):
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
            )
            desk.accept(
                number, chosen=chosen, promised=taking.promised, name=", ".join(taking.names)
            )
            return taking.answer(desk.quote(number), made, plan)
    raise _busy()


def _unchanged(desk: Desk, now: Current, quote: Quote) -> bool:
    """Whether everything is still as it was looked at."""
    header = standing_header(desk)
    held = keys_of(active(desk.quotes(HELD), today()))
    return (
        header is not None
        and header.number == now.basis.plan
        and desk.data_hash() == now.data_hash
        and held == now.hold_keys
        and desk.quote(quote.number).state == quote.state
    )


def _is_due(line: PartsOrder) -> bool:
    return line.promised is not None or line.within_days is not None


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
        place: int,
        promised: date | None,
        name: str | None,
        seconds: float,
    ) -> None:
        self.store, self.now, self.quote = store, now, quote
        self.offer: Offer = offer_of(quote, place)
        self.held = _is_held(now.holds, quote.number, place)
        self.seconds = seconds
        self.others = tuple(h for h in now.holds if h.quote.number != quote.number)
        self.promised = promised or self.offer.ships
        self.reordered = self.promised < self.offer.ships
        if self.promised < now.basis.as_of:
            raise Refused(
                f"{self.promised} is before the planning date {now.basis.as_of}",
                "promise that day or a later one",
            )
        self.renaming = self._renaming(name)
        self.request = named(self.offer.request, self.renaming, self.promised, quote.held_for)
        self.names = tuple(
            dict.fromkeys(
                [row.build for row in self.request.builds]
                + [row.order for row in self.request.lines]
            )
        )
        self._refuse_names()
        self.dataset: Dataset = with_request(now.dataset, self.request)
        self._refuse_unfit()
        self.why = ""

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
                    "name it otherwise: --as NAME",
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

    def fits(self) -> bool:
        """Whether what the quote needs is still there for it."""
        if self.held:
            return True  # kept for it by everybody since
        if not _is_fresh(self.now, self.quote):
            self.why = OUTDATED
            return False
        clashes = _clashes(self.now, list(self.others), Hold(self.quote, self.offer))
        if clashes:
            self.why = f"others have taken it: {clashes[0].text()}"
        return not clashes

    def plan(self) -> Plan:
        """The plan that goes on with the order. Raises Refused where it would break a promise."""
        from fulfil_models.renaming import renamed
        from fulfil_models.taken import apart, joined

        piece = renamed(self.offer.plan, self.renaming)
        own = self.quote.plan != self.now.basis.plan
        piece = apart(piece, self.now.dataset, f"{self.names[0]}:", own, self.offer.orders)
        beside = dataclasses.replace(self.now, holds=self.others)
        if self.reordered:
            made = reordered_plan(self.store, beside, self.request, piece, self.seconds)
            if made.ships > self.promised:
                raise Refused(
                    f"{self.promised} cannot be kept: re-ordering the queue brings it to "
                    f"{made.ships}, every promise kept",
                    f"promise {made.ships}, or search longer: --seconds",
                )
            plan: Plan = made.plan
        else:
            whole = joined(self.now.plan, piece)
            plan = go_on(
                self.store,
                f"plan {self.now.basis.plan}",
                whole,
                self.dataset,
                self.now.settings,
                self.others,
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
        held_then = set(before.options.get(HOLDS, ()))
        held_now = {hold.quote.number for hold in self.others}
        return before.bound if held_then <= held_now else Fraction(0)

    def _refuse_broken(self, plan: Plan) -> None:
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
            if days > were.get(key, inf) and _is_due(known[key])
        ]
        if worse:
            raise Refused(
                f"{quote_name(self.quote.number)} cannot be taken without breaking the promise of "
                f"{', '.join(worse[:5])}",
                "run `fulfil plan`, accept the plan, and ask again",
            )
        ships = self.ships(plan)
        if ships > self.promised:
            raise Refused(
                f"{self.promised} cannot be kept any more: it would ship {ships}",
                f"promise that with --promised {ships}, or ask again",
            )

    def ships(self, plan: Plan) -> date:
        """When the last of the order ships."""
        days = [row.ships for row in plan.builds if row.build in self.names]
        days += [row.ships for row in plan.shipments if row.order in self.names]
        return max(days)

    def answer(self, quote: Quote, number: int, plan: Plan) -> AcceptedQuote:
        from fulfil_models.compare import is_late

        return AcceptedQuote(
            quote=quote,
            names=self.names,
            promised=self.promised,
            plan=number,
            ships=self.ships(plan),
            late_before=sum(map(is_late, self.now.plan.builds)),
            late_after=sum(map(is_late, plan.builds)),
            reordered=self.reordered,
        )

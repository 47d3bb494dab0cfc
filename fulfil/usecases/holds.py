"""Promises kept open: hold a quote, list what is held, let it go.

What is held must be there for it: that is looked at, and written down, in one
transaction in which nobody else writes. So two people can never get the same engine.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from fulfil.clock import today
from fulfil.errors import Refused
from fulfil.usecases.basis import settings_of, standing_header
from fulfil.usecases.current import HELD, Current, Hold, active, current, held_today, keys_today
from fulfil.usecases.deciding import (
    MOST_TRIES,
    OUTDATED,
    ask_again,
    busy,
    chosen,
    clashes,
    is_fresh,
    is_held,
    refuse_decided,
)
from fulfil.usecases.quote_documents import (
    Offer,
    offer_of,
    order_of,
    quote_name,
)

if TYPE_CHECKING:
    from fulfil_models.room import Request
    from fulfil_models.tables import Dataset

    from fulfil.store.desk import Desk
    from fulfil.store.results import Quote
    from fulfil.store.session import Store

GONE = "its operations are not in the routings any more"


@dataclass(frozen=True, slots=True)
class HeldRow:
    """A quote that is, or was, held or accepted.

    Attributes
    ----------
    what: products or parts.
    broken: what is not there for it any more, since the data changed.
    was_for: another for whom it was held until just now.
    """

    quote: Quote
    offer: Offer
    what: str
    active: bool
    broken: tuple[str, ...] = ()
    was_for: str | None = None


@dataclass(frozen=True, slots=True)
class HoldsAnswer:
    rows: tuple[HeldRow, ...]
    on: date


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
            holds = held_today(desk, now.holds)
            refuse_decided(quote, holds, "held")
            taken_up = chosen(quote, holds, place)
            offer = offer_of(quote, taken_up)
            new = Hold(quote, offer)
            stale = _stale(desk, now, quote, again=is_held(holds, number, taken_up))
            if stale is None and not new.is_of(now.dataset):
                stale = GONE
            if stale is None:
                others = [hold for hold in holds if hold.quote.number != number]
                found = clashes(now, others, new)
                if not found:
                    whom = customer or quote.held_for
                    before = (
                        quote.held_for if any(h.quote.number == number for h in holds) else None
                    )
                    was_for = None if before == whom else before
                    desk.hold(number, chosen=taken_up, until=until, customer=whom)
                    what = _what(offer.request)
                    return HeldRow(desk.quote(number), offer, what, active=True, was_for=was_for)
            elif stale == "":
                continue
        raise ask_again(store, quote, stale or f"others have taken it: {found[0].text()}")
    raise busy()


def _stale(desk: Desk, now: Current, quote: Quote, *, again: bool) -> str | None:
    """Why a quote cannot be held: None if it can, empty if what stands must be looked at anew.

    `again`: it is held already.
    """
    header = standing_header(desk)
    assert header is not None
    if header.number != now.basis.plan or desk.data_hash() != now.data_hash:
        return ""
    return None if again or is_fresh(now, quote) else OUTDATED


# ---- the list, and letting go


def holds(store: Store, *, every: bool = False) -> HoldsAnswer:
    """What is held, the first to run out first; with `every`, also what was."""
    day = today()
    quotes = store.quotes() if every else store.quotes(HELD, [key for key, _ in keys_today(store)])
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
        added = hold.taken(dataset, 0, base)
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

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
from fulfil.usecases.basis import settings_of
from fulfil.usecases.current import current
from fulfil.usecases.deciding import (
    GONE,
    MOST_TRIES,
    Course,
    Deciding,
    busy,
    followed,
    is_held,
    not_there,
    stands,
)
from fulfil.usecases.held_quotes import HELD, Hold, PlanOrders, active, held_today, keys_today
from fulfil.usecases.holds_now import HoldsNow, holds_now
from fulfil.usecases.quote_documents import (
    Offer,
    offer_of,
    order_of,
    quote_name,
)

if TYPE_CHECKING:
    from fulfil_models.room import Request
    from fulfil_models.tables import Dataset

    from fulfil.store.results import Quote
    from fulfil.store.session import Store


@dataclass(frozen=True, slots=True)
class HeldRow:
    """A quote that is, or was, held or accepted.

    Attributes
    ----------
    what: products or parts.
    broken: what is not there for it any more, since the data changed.
    ships_now: the day on which it would ship if it were accepted now; None where that cannot be
        told, and for what is not held.
    was_for: another for whom it was held until just now.
    course: what had to be done first where it is held just now.
    """

    quote: Quote
    offer: Offer
    what: str
    active: bool
    broken: tuple[str, ...] = ()
    ships_now: date | None = None
    was_for: str | None = None
    course: Course | None = None


@dataclass(frozen=True, slots=True)
class HoldsAnswer:
    """What is held on a day; `wrong`: why it cannot be told when some of it would ship now."""

    rows: tuple[HeldRow, ...]
    on: date
    wrong: str = ""


@dataclass(frozen=True, slots=True)
class Released:
    """A quote that was let go.

    Attributes
    ----------
    was_order: it was accepted, and its order is out of the data now.
    plan: number of the plan that goes on without the order; None where there is none.
    wrong: why no plan goes on without it.
    """

    quote: Quote
    was_order: bool = False
    plan: int | None = None
    wrong: str = ""


# ---- hold


def hold(
    store: Store, number: int, days: int, customer: str | None = None, place: int | None = None
) -> HeldRow:
    """Keeps an offer of a quote open up to the end of the day so many days from today.

    Parameters
    ----------
    customer: whom it is held for; else the one it was held for before.
    place: the offer; else the one that is held, or the plain one.

    What is held already can be held longer as long as it is there, though the data changed. A quote
    that is not good any more is asked again, and the new one is held where the same offer is as
    good; else Refused is raised, which names the new answer.
    """
    until = today() + timedelta(days)
    deciding = Deciding(store, number, place)
    for _ in range(MOST_TRIES):
        now = deciding.look()
        with store.deciding() as desk:
            holds = held_today(desk, now.holds)
            quote, offer, at = deciding.taken_up(desk, holds)
            if not stands(desk, now):
                continue
            new = Hold(quote, offer)
            others = [hold for hold in holds if hold.quote.number != quote.number]
            held = is_held(holds, quote.number, at)
            why = not_there(now, others, new, held=held)
            if why is None:
                before = deciding.held_for(quote)
                whom = customer or before
                desk.hold(quote.number, chosen=at, until=until, customer=whom)
                deciding.close(desk)
                return HeldRow(
                    desk.quote(quote.number),
                    offer,
                    _what(offer.request),
                    active=True,
                    was_for=before if held and before != whom else None,
                    course=deciding.course,
                )
        deciding.renew(why)
    raise busy()


# ---- the list, and letting go


def holds(store: Store, *, every: bool = False) -> HoldsAnswer:
    """What is held, the first to run out first; with `every`, also what was."""
    day = today()
    quotes = store.quotes() if every else store.quotes(HELD, [key for key, _ in keys_today(store)])
    there = active([quote for quote in quotes if quote.state.value == "held"], day)
    broken, now = _as_things_are(store, there, day)
    rows = []
    for quote in quotes:
        offer = offer_of(quote, quote.chosen or 0)
        on = any(hold.quote.number == quote.number for hold in there)
        if on or every:
            what, wrong = _what(offer.request), broken.get(quote.number, ())
            rows.append(HeldRow(quote, offer, what, on, wrong, now.ships.get(quote.number)))
    rows.sort(key=lambda row: (not row.active, row.quote.held_until or day, row.quote.number))
    return HoldsAnswer(tuple(rows), day, now.wrong)


def _as_things_are(
    store: Store, there: tuple[Hold, ...], day: date
) -> tuple[dict[int, tuple[str, ...]], HoldsNow]:
    """What is not there any more for holds, and when they would ship now."""
    if not there:
        return {}, HoldsNow()
    dataset = store.dataset()
    broken, now = _broken(dataset, there, day), holds_now(store, dataset, there, day)
    for number, wrong in now.refused.items():
        broken.setdefault(number, (wrong,))
    return broken, now


def _broken(dataset: Dataset, there: tuple[Hold, ...], day: date) -> dict[int, tuple[str, ...]]:
    """What is not there any more for holds, as the data are now; the older ones come first."""
    from fulfil_models.clashes import clashes_between
    from fulfil_models.taken import NOTHING

    found: dict[int, tuple[str, ...]] = {}
    settings, base = settings_of(dataset, day), NOTHING
    for hold in there:
        added = hold.taken(dataset, PlanOrders(0, NOTHING), base)
        if not hold.is_of(dataset):
            found[hold.quote.number] = (GONE,)
        elif clashes := clashes_between(dataset, settings, base, added):
            found[hold.quote.number] = tuple(clash.text() for clash in clashes)
        else:
            base += added
    return found


def release(store: Store, number: int) -> Released:
    """Lets a hold go before it runs out, or an accepted order that no data set has had yet.

    The plan goes on without such an order at once, as it does where data changed: in the sequence
    that it has. Raises Refused for what is neither.
    """
    quote = _let_go(store, number)
    if quote.name is None:
        return Released(quote)
    try:
        return Released(quote, was_order=True, plan=current(store).basis.plan)
    except Refused as error:
        return Released(quote, was_order=True, wrong=error.wrong)


def _let_go(store: Store, number: int) -> Quote:
    from fulfil.store.write import prepared

    while True:
        quote, data_hash = followed(store, number), store.data_hash()
        number = quote.number
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

"""May something be decided on a quote: is what it needs still there, has nobody decided before?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fulfil.errors import Refused
from fulfil.usecases.current import Current, Hold, keys_of, taken_by_holds
from fulfil.usecases.promise import Promises, asked_again
from fulfil.usecases.quote_documents import quote_name

if TYPE_CHECKING:
    from fulfil_models.clashes import Clash

    from fulfil.store.results import Quote
    from fulfil.store.session import Store

MOST_TRIES = 20
"""times that a decision is looked at anew since others decided meanwhile"""
OUTDATED = "the data, or the day, are not those it was made from"


def chosen(quote: Quote, holds: tuple[Hold, ...], place: int | None) -> int:
    """The offer that is meant: the one named, else the one that is held, or the plain one."""
    if place is not None:
        return place
    return next((hold.key[1] for hold in holds if hold.quote.number == quote.number), 0)


def is_held(holds: tuple[Hold, ...], number: int, place: int) -> bool:
    """Whether that very offer is held, and so kept for it by everybody since."""
    return (number, place) in keys_of(holds)


def refuse_decided(quote: Quote, holds: tuple[Hold, ...], what: str) -> None:
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


def is_fresh(now: Current, quote: Quote) -> bool:
    return quote.data_hash == now.data_hash and quote.as_of == now.basis.as_of


def clashes(now: Current, others: list[Hold], new: Hold) -> tuple[Clash, ...]:
    """What is taken twice if an offer is taken beside the plan and the other holds."""
    from fulfil_models.clashes import clashes_between

    held = taken_by_holds(others, now.believed, now.basis.plan)
    added = new.taken(now.believed, now.basis.plan, held)
    return clashes_between(now.believed, now.settings, now.plan_taken + held, added)


def ask_again(store: Store, quote: Quote, why: str) -> Refused:
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


def busy() -> Refused:
    return Refused("others decide all the time", "try again")

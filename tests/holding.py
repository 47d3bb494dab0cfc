"""What tests of holds look at: whether anything changed, what was told, what is taken twice."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from books import settings_of
from fulfil_models.audit import audit
from fulfil_models.clashes import clashes
from sales_shop import (
    AS_OF,
    dump,
)

from fulfil.store.session import Store
from fulfil.usecases.held_quotes import HELD, active, orders_of, taken_by_holds
from fulfil.usecases.promise import PromiseAnswer


@contextmanager
def nothing_changes(store: Store, *, but: tuple[str, ...] = ()) -> Iterator[None]:
    before = dump(store, but=but)
    yield
    assert dump(store, but=but) == before


def answer(found: PromiseAnswer) -> tuple[Any, ...]:
    """What a customer is told, but for the number of the quote."""
    return found.ships, found.builds, found.forward, found.shipments, found.from_points


def engines_of_holds(store: Store) -> list[str]:
    """The supplies that holds draw on, one for each unit."""
    held = active(store.quotes(HELD), AS_OF)
    return sorted(peg.supply for row in held for peg in row.offer.plan.pegs)


def broken(store: Store, number: int | None = None) -> list[str]:
    """Rules that a plan breaks, the newest if none is named, and what is taken twice between it and
    the holds."""
    from fulfil_models.taken import taken_by

    data, stored = store.dataset(), store.plan(number)
    settings, plan = settings_of(data), stored.plan
    held = active(store.quotes(HELD), AS_OF)
    found = [row.wrong for row in audit(data, settings, plan)]
    taken = taken_by(plan, data) + taken_by_holds(held, data, orders_of(plan, stored.header.number))
    return found + [row.text() for row in clashes(data, settings, taken)]

"""Stores quotes and what is decided on them.

Every function works within the connection's transaction. Whether a decision may be taken is for
the caller to know; here it is only written down.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from typing import Any

import sqlalchemy as sa

from fulfil.store.errors import StaleData, StoreError
from fulfil.store.plan_parts import number_of
from fulfil.store.quote_tables import QUOTES
from fulfil.store.results import Quote, QuoteState
from fulfil.store.statements import locked_data_hash


def save_quote(
    connection: sa.Connection,
    *,
    plan: int,
    data_hash: str,
    as_of: date,
    asked: Mapping[str, Any],
    answer: Mapping[str, Any],
) -> int:
    """Stores a quote and returns its number.

    Raises
    ------
    StaleData
        Where the stored data are not those of `data_hash` (any more).
    StoreError
        Where there is no such plan.
    """
    if locked_data_hash(connection) != data_hash:
        raise StaleData(
            "the data were changed while the quote was made; it was not stored",
            "ask for it again",
        )
    now = datetime.now(UTC)
    quote = {
        "created": now,
        "plan": number_of(connection, plan),
        "data_hash": data_hash,
        "as_of": as_of,
        "state": str(QuoteState.QUOTED),
        "decided": now,
        "asked": _json_text(asked),
        "answer": _json_text(answer),
    }
    (number,) = connection.execute(sa.insert(QUOTES), quote).inserted_primary_key or (None,)
    if not isinstance(number, int):
        raise RuntimeError("the database gave the quote no number")
    return number


def _json_text(document: Mapping[str, Any]) -> str:
    return json.dumps(dict(document), ensure_ascii=False, allow_nan=False)


def quote(connection: sa.Connection, number: int) -> Quote:
    """A quote by its number.

    Raises
    ------
    StoreError
        Where there is none.
    """
    for found in _quotes(connection, QUOTES.c.quote == number):
        return found
    raise _unknown(number)


def quotes(
    connection: sa.Connection,
    states: Iterable[str] | None = None,
    numbers: Iterable[int] | None = None,
) -> list[Quote]:
    """The quotes in any of these states, or all, newest first; of these numbers alone, where any
    are given.

    Raises ValueError for what is no state.
    """
    which: list[sa.ColumnElement[bool]] = []
    if states is not None:
        which.append(QUOTES.c.state.in_([str(QuoteState(state)) for state in states]))
    if numbers is not None:
        which.append(QUOTES.c.quote.in_(list(numbers)))
    return _quotes(connection, sa.and_(sa.true(), *which))


def held_keys(connection: sa.Connection, on: date) -> tuple[tuple[int, int], ...]:
    """What is held on a day: the numbers of the quotes and what was chosen of each, the oldest
    first. Far less to read than the quotes themselves."""
    found = connection.execute(
        sa.select(QUOTES.c.quote, QUOTES.c.chosen)
        .where(QUOTES.c.state == str(QuoteState.HELD), QUOTES.c.held_until >= on)
        .order_by(QUOTES.c.quote)
    )
    return tuple((row.quote, row.chosen or 0) for row in found)


def quote_numbers(connection: sa.Connection) -> list[int]:
    """The numbers of all quotes, newest first."""
    return list(connection.scalars(sa.select(QUOTES.c.quote).order_by(QUOTES.c.quote.desc())))


def _quotes(connection: sa.Connection, which: sa.ColumnElement[bool]) -> list[Quote]:
    found = connection.execute(sa.select(QUOTES).where(which).order_by(QUOTES.c.quote.desc()))
    return [
        Quote(
            number=row.quote,
            created=row.created,
            plan=row.plan,
            data_hash=row.data_hash,
            as_of=row.as_of,
            asked=json.loads(row.asked),
            answer=json.loads(row.answer),
            state=QuoteState(row.state),
            decided=row.decided,
            chosen=row.chosen,
            held_until=row.held_until,
            held_for=row.held_for,
            promised=row.promised,
            name=row.name,
        )
        for row in found
    ]


def hold(
    connection: sa.Connection, number: int, *, chosen: int, until: date, customer: str | None
) -> None:
    """Writes down that an offer of a quote is held for somebody, up to a day."""
    _decide(
        connection,
        number,
        QuoteState.HELD,
        chosen=chosen,
        held_until=until,
        held_for=customer,
        promised=None,
        name=None,
    )


def release(connection: sa.Connection, number: int) -> None:
    """Writes down that a quote is held no longer; what it was held for stays to be read."""
    _decide(connection, number, QuoteState.RELEASED)


def accept(
    connection: sa.Connection,
    number: int,
    *,
    chosen: int,
    promised: date,
    name: str | None,
    customer: str | None,
) -> None:
    """Writes down that an offer of a quote became an order: its name, the day promised, for whom
    it is."""
    _decide(
        connection,
        number,
        QuoteState.ACCEPTED,
        chosen=chosen,
        promised=promised,
        name=name,
        held_for=customer,
    )


def renew(connection: sa.Connection, number: int, *, name: str) -> None:
    """Writes down that another quote, of that name, took the place of one."""
    _decide(connection, number, QuoteState.RENEWED, name=name)


def keep(connection: sa.Connection, number: int) -> None:
    """Writes down that a load brought what was accepted."""
    _decide(connection, number, QuoteState.KEPT)


def _decide(connection: sa.Connection, number: int, state: QuoteState, **what: Any) -> None:
    values = {"state": str(state), "decided": datetime.now(UTC), **what}
    done = connection.execute(sa.update(QUOTES).where(QUOTES.c.quote == number).values(values))
    if done.rowcount != 1:
        raise _unknown(number)


def _unknown(number: int) -> StoreError:
    return StoreError(f"there is no quote Q{number}", "check its number")

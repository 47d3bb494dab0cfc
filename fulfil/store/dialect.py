"""What differs between databases: transactions, copies, and what their errors mean.

Beside the inserting of many rows (`statements`), nothing else in the store knows which database it
speaks to; what each does is in `sqlite` and `postgresql`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError, IntegrityError

from fulfil.store import postgresql, sqlite
from fulfil.store.address import Address, address_of
from fulfil.store.errors import StoreError

__all__ = ["Address", "address_of"]

_WRITES = "fulfil_writes"


def engine_for(address: Address, wait_seconds: float) -> sa.Engine:
    """An engine whose transactions are real.

    A writer is alone from its first statement on, and waits for that up to `wait_seconds`; a
    reader sees one state of the database. A transaction that does not say which it is reads.
    """
    make = sqlite.engine_for if address.is_sqlite else postgresql.engine_for
    engine = make(address, wait_seconds)

    def begin(connection: sa.Connection) -> None:
        writes = bool(connection.get_execution_options().get(_WRITES, False))
        if address.is_sqlite:
            sqlite.begin(connection, writes)
        else:
            postgresql.begin(connection, writes, wait_seconds)

    sa.event.listen(engine, "begin", begin)
    return engine


def writer(connection: sa.Connection) -> sa.Connection:
    """The connection, set to begin its next transactions as a writer."""
    return connection.execution_options(**{_WRITES: True})


def reader(connection: sa.Connection) -> sa.Connection:
    """The connection, set to see one state of the database through its next transaction."""
    return connection.execution_options(**{_WRITES: False})


@contextmanager
def without_foreign_keys(connection: sa.Connection) -> Iterator[None]:
    """No foreign keys for the transaction begun inside, which must be checked before it ends.

    A table that a migration rebuilds is dropped on the way; with foreign keys on, SQLite would
    take the rows that point to it along. PostgreSQL changes tables without that.
    """
    if connection.dialect.name != "sqlite":
        yield
        return
    with sqlite.without_foreign_keys(connection):
        yield


def broken_foreign_keys(connection: sa.Connection) -> list[str]:
    """Tables with rows that point to nothing."""
    if connection.dialect.name != "sqlite":
        return []  # checked with every statement
    return sqlite.broken_foreign_keys(connection)


def copy_of(address: Address, suffix: str) -> Path | None:
    """Copies a database in a file to a file beside it and returns that; None for other ones."""
    return sqlite.copy_of(address, suffix) if address.is_sqlite else None


DRIVER_ERRORS = (DBAPIError, sqlite3.Error)
"""what a driver raises: wrapped from statements, bare from the setting up of a connection"""


def explained(error: BaseException, address: Address, wait_seconds: float) -> StoreError:
    """What one of `DRIVER_ERRORS` means to the person at the keyboard."""
    cause = getattr(error, "orig", None) or error
    shown = address.shown
    of_kind = sqlite.explained if address.is_sqlite else postgresql.explained
    if known := of_kind(cause, shown, wait_seconds):
        return known
    # Only the first line: the rest repeats the statement and its values.
    said = (str(cause).splitlines() or ["no reason given"])[0]
    if isinstance(error, IntegrityError):
        return StoreError(
            f"the database {shown} refused rows that contradict each other: {said}",
            "nothing was changed; this is a fault of the program, please report it",
        )
    return StoreError(f"the database {shown} refused: {said}", "check that it is up and allowed")

"""PostgreSQL: who writes is alone, who reads sees one state, and what its errors mean.

Writers take one advisory lock as the first thing in their transaction, which is what BEGIN
IMMEDIATE is to SQLite: they wait in line before they have read anything, and so never work on
what has been overtaken and never have to begin anew. The lock goes with the transaction, however
that ends. Readers are not held up by it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

from fulfil.store.address import Address
from fulfil.store.errors import StoreError

WRITERS = int.from_bytes(b"fulfil")
"""number of the lock that writers take; each database has its own locks"""

MOST_SECONDS_TO_CONNECT = 10
SILENT_SECONDS = 60
"""after which the server undoes a writer that says nothing, as when a laptop falls asleep"""


def engine_for(address: Address, wait_seconds: float) -> sa.Engine:
    """An engine that asks, before a connection is used again, whether the server still knows it.

    A search may last an hour between reading and storing; connections that are not used so long
    are cut off by firewalls and restarts.
    """
    to_connect = max(2, math.ceil(min(wait_seconds, MOST_SECONDS_TO_CONNECT)))
    settings: dict[str, Any] = {
        "connect_timeout": to_connect,
        "fallback_application_name": "fulfil",
    }
    settings = {name: of for name, of in settings.items() if name not in address.url.query}
    # Statements prepared on the server do not get along with a pooler between it and us.
    settings |= {"client_encoding": "utf8", "prepare_threshold": None}
    try:
        return sa.create_engine(
            address.url,
            connect_args=settings,
            pool_size=1,
            pool_pre_ping=True,
            use_native_hstore=False,  # else every connection asks the server about that type
        )
    except ImportError as error:
        raise StoreError(
            f"the driver for PostgreSQL is not installed ({error.name or 'psycopg'})",
            "run: pip install 'fulfil[postgresql]', or use a database in a file",
        ) from error


def begin(connection: sa.Connection, writes: bool, wait_seconds: float) -> None:
    """Sets up the transaction that has just begun; a writer waits in line.

    A writer reads what is committed at each statement: a state kept from its first statement on
    would be of the time before the wait. Nobody else writes meanwhile, so it sees one state, too.
    """
    wait = f"SET LOCAL lock_timeout = {max(1, math.ceil(wait_seconds * 1000))}"  # 0: no limit
    if not writes:
        connection.exec_driver_sql(
            f"SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY; {wait}"
        )
        return
    connection.exec_driver_sql(
        f"SET TRANSACTION ISOLATION LEVEL READ COMMITTED; {wait}; "
        f"SET LOCAL idle_in_transaction_session_timeout = {int(SILENT_SECONDS * 1000)}; "
        f"SELECT pg_advisory_xact_lock({WRITERS})"
    )


def insert_rows(
    connection: sa.Connection,
    table: sa.Table,
    names: Sequence[str],
    rows: Iterable[Sequence[Any]],
) -> None:
    """Inserts rows as one stream: three times as fast as one statement for each."""
    raw: Any = connection.connection.dbapi_connection
    quoted = connection.dialect.identifier_preparer.quote
    columns = ", ".join(quoted(name) for name in names)
    driver: Any = connection.dialect.loaded_dbapi
    try:
        with (
            raw.cursor() as cursor,
            cursor.copy(f"COPY {quoted(table.name)} ({columns}) FROM STDIN") as stream,
        ):
            for row in rows:
                stream.write_row(row)
    except driver.Error as error:
        # as the errors of statements are
        raise DBAPIError.instance("COPY", None, error, driver.Error) from error


_AGAIN = "wait a moment, then run the command again"

_OF_STATE = {
    "3D000": ("the database {shown} does not exist", "create it, or correct its name"),
    "25006": (
        "the database {shown} cannot be written to: it is there for reading only",
        "use the server that takes changes, and a user who may make them",
    ),
    "42501": (
        "the database {shown} does not let this user do that: {said}",
        "let its owner run the command, or have the owner grant this user the right to read, to "
        "write, and, before the first use, to create tables",
    ),
    "3F000": (
        "the database {shown} has no place for tables: {said}",
        "create a schema for them and put it on the user's search_path",
    ),
    "25P03": (
        f"the server of {{shown}} heard nothing for {SILENT_SECONDS} seconds and undid the change",
        "run the command again",
    ),
    "57014": ("the server of {shown} was told to stop this: {said}", "run the command again"),
    "53100": ("the disk that holds {shown} is full", "free some space, then try again"),
    "53300": ("the server of {shown} has no connection left", _AGAIN),
    "40001": ("the database {shown} was changed by another program meanwhile", _AGAIN),
    "40P01": ("the database {shown} and another program waited for each other", _AGAIN),
    "22P05": (
        "the database {shown} cannot hold a character of the data: {said}",
        "create a database with the encoding UTF8, and use that",
    ),
}
"""by SQLSTATE: what is wrong, and what would mend it"""

_NOT_ALLOWED = ("authentication failed", "no password supplied", "no pg_hba.conf entry", "role ")
_NO_CONNECTION = (
    "connection failed:",
    "connection is bad:",
    "failed to resolve",
    "connection time",
)


def explained(cause: BaseException, shown: str, wait_seconds: float) -> StoreError | None:
    """What an error of the driver means; None where nothing special is known of it."""
    state = getattr(cause, "sqlstate", None)
    said = _said(cause)
    if state == "55P03":
        return StoreError(
            f"the database {shown} was in use by another program for {wait_seconds:g} seconds",
            "wait until that one has ended, then run the command again",
        )
    if state in _OF_STATE:
        wrong, remedy = _OF_STATE[state]
        return StoreError(wrong.format(shown=shown, said=said), remedy)
    if state is None and type(cause).__name__ in ("OperationalError", "ConnectionTimeout"):
        return _without_state(str(cause), said, shown)
    if state is not None and (state.startswith("08") or state in ("57P01", "57P02")):
        return _lost(shown)
    return None


def _without_state(text: str, said: str, shown: str) -> StoreError:
    """Errors that come before there is a connection, or after it broke, have no SQLSTATE.

    Those from before are known by their text; in a server that speaks another language than
    English they are still told, as the server says them.
    """
    if not any(begins in text.lower() for begins in _NO_CONNECTION):
        return _lost(shown)
    if "FATAL" in text and "database" in text and "does not exist" in text:
        wrong, remedy = _OF_STATE["3D000"]
        return StoreError(wrong.format(shown=shown), remedy)
    if "too many clients" in text or "connection slots" in text:
        wrong, remedy = _OF_STATE["53300"]
        return StoreError(wrong.format(shown=shown), remedy)
    not_allowed = "FATAL" in text and any(told in text for told in _NOT_ALLOWED)
    if not_allowed or "no password supplied" in text:
        return StoreError(
            f"the database {shown} refused the user or the password",
            "check both in the address; special characters in them are written as %40 for @, "
            "%2F for / and so on",
        )
    return StoreError(
        f"the database {shown} cannot be reached: {said}",
        "check host and port in the address, and that the server is up and lets you in",
    )


def _lost(shown: str) -> StoreError:
    return StoreError(
        f"the connection to the database {shown} was lost",
        "run the command again; what it had begun to change is there wholly or not at all",
    )


def _said(cause: BaseException) -> str:
    """The server's own words in one line; what follows repeats statements and their values."""
    line = (str(cause).splitlines() or ["no reason given"])[0]
    return line.rpartition("failed: ")[2].removeprefix("FATAL:").strip()

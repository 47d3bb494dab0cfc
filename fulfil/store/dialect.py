"""What differs between databases: addresses, transactions, and what their errors mean.

Nothing else in the store knows which database it speaks to.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote

import sqlalchemy as sa
from sqlalchemy.exc import ArgumentError, DBAPIError, IntegrityError

from fulfil.store.errors import StoreError

DEFAULT_URL = "sqlite:///fulfil.db"
_DRIVERS = {
    "sqlite": "sqlite",
    "sqlite+pysqlite": "sqlite",
    "postgresql": "postgresql",
    "postgresql+psycopg": "postgresql",
}


@dataclass(frozen=True, slots=True)
class Address:
    """Where a database is.

    Attributes
    ----------
    url: as the driver takes it; may hold a password, so it is never shown.
    shown: how messages call it; holds neither user nor password.
    path: of a database in a file, else None.
    """

    url: sa.URL
    shown: str
    path: Path | None

    @property
    def is_sqlite(self) -> bool:
        return self.url.get_backend_name() == "sqlite"


def address_of(url: str | None) -> Address:
    """The address that a URL, or the bare path of a file, stands for.

    Raises
    ------
    StoreError
        Where it can be read as neither, or names a database that is not supported.
    """
    text = DEFAULT_URL if url is None else url.strip()
    if not text:
        raise StoreError("the address of the database is empty", _ADDRESS_HINT)
    if "://" not in text:
        parsed = sa.URL.create("sqlite", database=text)
    else:
        try:
            parsed = sa.make_url(text)
        except (ArgumentError, ValueError):
            # The text is not repeated: it may hold a password.
            raise StoreError("the address of the database cannot be read", _ADDRESS_HINT) from None
    if parsed.drivername not in _DRIVERS:
        raise StoreError(
            f"databases of the kind {parsed.drivername!r} are not supported", _ADDRESS_HINT
        )
    if _DRIVERS[parsed.drivername] == "sqlite":
        return _file_address(parsed)
    shown = f"{parsed.database or ''} at {parsed.host or 'this machine'}".strip()
    return Address(parsed, shown, None)


_ADDRESS_HINT = "give the path of a file, or a URL such as sqlite:///fulfil.db"


def _file_address(url: sa.URL) -> Address:
    """SQLite: options such as `?mode=ro` only count in the file: form, so it is written out."""
    database = url.database or ":memory:"
    if database == ":memory:":
        return Address(url, "in memory", None)
    query = dict(url.query)
    query.pop("uri", None)
    if database.startswith("file:"):
        path = Path(unquote(database.removeprefix("file:").partition("?")[0]))
    else:
        path = Path(database)
    path = Path(os.path.abspath(path))
    if query:
        in_file_form = f"file:{quote(str(path))}"
        url = url.set(database=in_file_form, query={**query, "uri": "true"})
    else:
        url = url.set(database=str(path), query={})
    return Address(url, str(path), path)


def engine_for(address: Address, wait_seconds: float) -> sa.Engine:
    """An engine whose transactions are real: a writer has the database from its first statement.

    SQLite's driver starts transactions late and on its own account, and two of those that read
    before they write lose each other's changes. So the driver's own are switched off; a writer
    says BEGIN IMMEDIATE and waits in line up to `wait_seconds`, a reader says BEGIN.
    """
    if address.is_sqlite:
        _check_place(address)
        engine = sa.create_engine(address.url, connect_args={"timeout": wait_seconds})
        sa.event.listen(engine, "connect", lambda raw, _: _set_up(raw, wait_seconds))
        sa.event.listen(engine, "begin", _begin)
        return engine
    try:
        return sa.create_engine(address.url)
    except ImportError as error:
        raise StoreError(
            f"the driver for {address.url.get_backend_name()} is not installed ({error.name})",
            "install it, or use a database in a file: sqlite:///fulfil.db",
        ) from error


def _check_place(address: Address) -> None:
    path = address.path
    if path is None:
        return
    if os.path.isdir(path):
        raise StoreError(
            f"{path} is a folder, not a database", f"give a file, e.g. {path}/fulfil.db"
        )
    if not os.path.isdir(path.parent):
        raise StoreError(
            f"the folder {path.parent} does not exist or may not be entered",
            "create it, or give another path",
        )


def _set_up(raw: sqlite3.Connection, wait_seconds: float) -> None:
    raw.isolation_level = None  # the driver begins nothing by itself
    raw.execute("PRAGMA foreign_keys = ON")
    _use_write_ahead_log(raw, wait_seconds)
    if _journal_mode(raw) == "wal":
        raw.execute("PRAGMA synchronous = NORMAL")  # only safe with a write-ahead log


def _journal_mode(raw: sqlite3.Connection) -> str:
    return str(raw.execute("PRAGMA journal_mode").fetchone()[0])


def _use_write_ahead_log(raw: sqlite3.Connection, wait_seconds: float) -> None:
    """Readers and one writer at a time, once for all in the file's header.

    Changing the mode does not wait its turn as other statements do, so it is tried again until
    the time is up. Where it cannot be changed (read-only, a file system that cannot share
    memory) the database works in the mode it has.
    """
    deadline = time.monotonic() + wait_seconds
    while _journal_mode(raw) == "delete":
        try:
            raw.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if _primary(error) == sqlite3.SQLITE_READONLY:
                return
            if _primary(error) != sqlite3.SQLITE_BUSY or time.monotonic() > deadline:
                raise
            time.sleep(0.02)


def writer(connection: sa.Connection) -> sa.Connection:
    """The connection, set to begin its next transaction as a writer."""
    return connection.execution_options(**{_WRITES: True})


def reader(connection: sa.Connection) -> sa.Connection:
    """The connection, set to see one state of the database through its next transaction."""
    if connection.dialect.name == "postgresql":
        return connection.execution_options(isolation_level="REPEATABLE READ")
    return connection


_WRITES = "fulfil_writes"


def _begin(connection: sa.Connection) -> None:
    writes = connection.get_execution_options().get(_WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def without_foreign_keys(connection: sa.Connection) -> Iterator[None]:
    """No foreign keys for the transaction begun inside, which must be checked before it ends.

    A table that a migration rebuilds is dropped on the way; with foreign keys on, SQLite would
    take the rows that point to it along.
    """
    if connection.dialect.name != "sqlite":
        yield
        return
    raw: Any = connection.connection.dbapi_connection
    raw.execute("PRAGMA foreign_keys = OFF")  # does nothing inside a transaction
    try:
        yield
    finally:
        raw.execute("PRAGMA foreign_keys = ON")


def broken_foreign_keys(connection: sa.Connection) -> list[str]:
    """Tables with rows that point to nothing."""
    if connection.dialect.name != "sqlite":
        return []  # checked with every statement
    found = connection.exec_driver_sql("PRAGMA foreign_key_check")
    return sorted({str(row[0]) for row in found})


def copy_of(address: Address, suffix: str) -> Path | None:
    """Copies a database in a file to a file beside it and returns that; None for other ones.

    The copy holds the last committed state, also while somebody has a transaction open.
    """
    if address.path is None:
        return None
    target = address.path.with_name(address.path.name + suffix)
    unfinished = target.with_name(target.name + ".part")
    unfinished.unlink(missing_ok=True)
    try:
        with (
            closing(sqlite3.connect(address.path)) as old,
            closing(sqlite3.connect(unfinished)) as new,
        ):
            old.backup(new)
        os.replace(unfinished, target)
    except (sqlite3.Error, OSError) as error:
        raise StoreError(
            f"no copy of {address.shown} could be made at {target} ({error}); nothing was changed",
            "make room for it beside the database, then try again",
        ) from error
    return target


def _primary(error: BaseException) -> int | None:
    """SQLite's result code without the details in its upper bytes; None for other errors."""
    code = getattr(error, "sqlite_errorcode", None)
    return None if code is None else code & 0xFF


DRIVER_ERRORS = (DBAPIError, sqlite3.Error)
"""what a driver raises: wrapped from statements, bare from the setting up of a connection"""


def explained(error: BaseException, address: Address, wait_seconds: float) -> StoreError:
    """What one of `DRIVER_ERRORS` means to the person at the keyboard."""
    cause = getattr(error, "orig", None) or error
    code = _primary(cause)
    shown = address.shown
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return StoreError(
            f"the database {shown} was in use by another program for {wait_seconds:g} seconds",
            "wait until that one has ended, then run the command again",
        )
    if code == sqlite3.SQLITE_NOTADB:
        return StoreError(f"{shown} is not a database", "give another path, or move the file away")
    if code == sqlite3.SQLITE_CORRUPT:
        return StoreError(
            f"the database {shown} is damaged",
            "put a copy from a backup in its place, or move it away and load the data again",
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM):
        return StoreError(
            f"the database {shown} cannot be written to",
            "allow writing to the file and to its folder, or use a database elsewhere",
        )
    if code in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_AUTH):
        return StoreError(
            f"the database {shown} cannot be opened",
            "check that it exists and that its file and folder may be read and written",
        )
    if code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
        return StoreError(
            f"the disk that holds {shown} is full or failing", "free some space, then try again"
        )
    if isinstance(error, IntegrityError):
        return StoreError(
            f"the database {shown} refused rows that contradict each other: {cause}",
            "nothing was changed; this is a fault of the program, please report it",
        )
    # Only the first line: the rest repeats the statement and its values.
    said = (str(cause).splitlines() or ["no reason given"])[0]
    return StoreError(f"the database {shown} refused: {said}", "check that it is up and allowed")

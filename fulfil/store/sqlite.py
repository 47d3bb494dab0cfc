"""SQLite: how its transactions are made real, and what its errors mean."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from fulfil.store.address import Address
from fulfil.store.errors import StoreError


def engine_for(address: Address, wait_seconds: float) -> sa.Engine:
    """An engine whose connections begin nothing by themselves; `begin` does.

    SQLite's driver starts transactions late and on its own account, and two of those that read
    before they write lose each other's changes.
    """
    _check_place(address)
    engine = sa.create_engine(address.url, connect_args={"timeout": wait_seconds})
    sa.event.listen(engine, "connect", lambda raw, _: _set_up(raw, wait_seconds))
    return engine


def begin(connection: sa.Connection, writes: bool) -> None:
    """A writer has the database from here on, after it has waited in line; a reader does not."""
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


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


@contextmanager
def without_foreign_keys(connection: sa.Connection) -> Iterator[None]:
    """See `dialect.without_foreign_keys`."""
    raw: Any = connection.connection.dbapi_connection
    raw.execute("PRAGMA foreign_keys = OFF")  # does nothing inside a transaction
    try:
        yield
    finally:
        raw.execute("PRAGMA foreign_keys = ON")


def broken_foreign_keys(connection: sa.Connection) -> list[str]:
    """Tables with rows that point to nothing."""
    found = connection.exec_driver_sql("PRAGMA foreign_key_check")
    return sorted({str(row[0]) for row in found})


def copy_of(address: Address, suffix: str) -> Path | None:
    """Copies a database in a file to a file beside it and returns that; None for one in memory.

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


def explained(cause: BaseException, shown: str, wait_seconds: float) -> StoreError | None:
    """What an error of the driver means; None where nothing special is known of it."""
    code = _primary(cause)
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
    return None

"""Brings a database to the tables this version works with, by the program itself.

The newest revision is known here without Alembic, which is imported only when there is
something to do.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from fulfil.store.dialect import (
    Address,
    broken_foreign_keys,
    copy_of,
    without_foreign_keys,
    writer,
)
from fulfil.store.errors import StoreError

if TYPE_CHECKING:
    from alembic.config import Config

FOLDER = Path(__file__).with_name("migrations")
REVISIONS = ("0001", "0002", "0003")
"""every revision in `migrations/versions`, oldest first"""
VERSION_TABLE = "fulfil_revision"

_VERSION = sa.table(VERSION_TABLE, sa.column("version_num"))


def bring_up_to_date(engine: sa.Engine, address: Address) -> Path | None:
    """Creates the tables in an empty database and migrates an older one.

    Returns
    -------
    The copy of the older database, where one was made.

    Raises
    ------
    StoreError
        Where the database is of a newer version, or of another program.
    """
    with engine.connect() as connection:
        if _revision(connection, address) == REVISIONS[-1]:
            return None
        connection.rollback()
        with without_foreign_keys(connection), writer(connection).begin():
            # Asked again: another program may have done it while this one waited its turn.
            revision = _revision(connection, address)
            if revision == REVISIONS[-1]:
                return None
            return _migrate(connection, address, revision)


def _revision(connection: sa.Connection, address: Address) -> str | None:
    """The revision of the database; None for an empty one."""
    tables = sa.inspect(connection)
    if not tables.has_table(VERSION_TABLE):
        others = sorted(tables.get_table_names())
        if not others:
            return None
        raise StoreError(
            f"the database {address.shown} is in use for something else "
            f"(it has a table {others[0]!r})",
            "give fulfil a database of its own",
        )
    found = [str(number) for number in connection.scalars(sa.select(_VERSION.c.version_num))]
    if len(found) == 1 and found[0] in REVISIONS:
        return found[0]
    raise StoreError(
        f"the database {address.shown} was made by a newer version of fulfil "
        f"(its revision is {', '.join(found) or 'not given'}, the newest known is {REVISIONS[-1]})",
        "update fulfil, or use another database",
    )


def _migrate(connection: sa.Connection, address: Address, revision: str | None) -> Path | None:
    from alembic import command

    copy = None if revision is None else copy_of(address, f".before-{REVISIONS[-1]}")
    command.upgrade(config(connection), "head")
    broken = broken_foreign_keys(connection)
    if broken:
        raise StoreError(
            f"migrating {address.shown} would leave rows without their owners in "
            f"{', '.join(broken)}; nothing was changed",
            "go on with the version of fulfil that made it, and report this",
        )
    return copy


def config(connection: sa.Connection) -> Config:
    """Alembic's settings to work on this connection, in its transaction."""
    from alembic.config import Config

    settings = Config(stdout=sys.stderr)  # what it says is no answer
    # A per cent sign would be read as the start of a variable.
    settings.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    settings.attributes["connection"] = connection
    return settings

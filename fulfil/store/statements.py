"""Statements that both data sets and plans are stored with."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import sqlalchemy as sa

from fulfil.store import postgresql
from fulfil.store.tables import DATA_STATE


def locked_data_hash(connection: sa.Connection) -> str | None:
    """The hash of the stored data, which nobody else can change until the transaction ends."""
    return connection.scalar(sa.select(DATA_STATE.c.data_hash).with_for_update())


def insert_rows(
    connection: sa.Connection,
    table: sa.Table,
    names: Sequence[str],
    rows: Iterable[Sequence[Any]],
) -> None:
    """Inserts rows given as cells in the order of `names`, as they are to be stored."""
    if connection.dialect.name == "postgresql":
        postgresql.insert_rows(connection, table, names, rows)
        return
    told = [dict(zip(names, row, strict=True)) for row in rows]
    if told:
        connection.execute(sa.insert(table), told)

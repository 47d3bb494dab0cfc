"""Reads the stored data set, or the tables of it that a question needs."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Never, Self

import sqlalchemy as sa
from fulfil_models.columns import TABLES, Table
from fulfil_models.tables import Dataset

from fulfil.store.canonical import DECODE, Cells
from fulfil.store.errors import StoreError
from fulfil.store.tables import DATA_NOTES, DATA_STATE, data_tables


class NotRead(tuple[Any, ...]):
    """Stands for the rows of a table that a question did not ask for.

    Whatever looks into it gets a LookupError. Were it simply empty, a question that forgets a table
    would be answered wrongly: a calendar without shifts keeps the standard hours.
    """

    table: str

    def __new__(cls, table: str) -> Self:
        made = super().__new__(cls)
        made.table = table
        return made

    def _refuse(self, *_: object) -> Never:
        raise LookupError(f"the question did not ask the store for the table {self.table}")


for _look in ("iter", "reversed", "len", "bool", "getitem", "contains", "eq", "ne", "add", "radd"):
    setattr(NotRead, f"__{_look}__", NotRead._refuse)


def data_hash(connection: sa.Connection) -> str | None:
    """What the stored data are known by; None where none were ever loaded."""
    return connection.scalar(sa.select(DATA_STATE.c.data_hash))


def dataset(connection: sa.Connection, names: Iterable[str] | None = None) -> Dataset:
    """The stored data set, each table's rows by key.

    A table that is not in `names` cannot be looked into: see `NotRead`.

    Raises
    ------
    StoreError
        Where no data were ever loaded.
    KeyError
        For a name that is no table of a data set.
    """
    wanted = list(TABLES) if names is None else list(names)
    for name in wanted:
        if name not in TABLES:
            raise KeyError(name)
    if data_hash(connection) is None:
        raise StoreError("there are no data yet", "run: fulfil load FOLDER")
    tables: dict[str, tuple[Any, ...]] = {name: NotRead(name) for name in TABLES}
    tables |= {name: _rows(connection, TABLES[name]) for name in wanted}
    notes = connection.scalars(sa.select(DATA_NOTES.c.note).order_by(DATA_NOTES.c.row))
    return Dataset(**tables, notes=tuple(notes))


def stored_form(connection: sa.Connection) -> dict[str, list[Cells]]:
    """Every table's rows as they are stored; the canonical form of the stored data."""
    return {
        name: [tuple(row) for row in _stored(connection, table)] for name, table in TABLES.items()
    }


def _stored(connection: sa.Connection, table: Table[Any]) -> sa.CursorResult[Any]:
    """A table's cells in the order of its columns, row by row."""
    stored = data_tables()[table.name]
    columns = [stored.c[column.attribute] for column in table.columns]
    return connection.execute(sa.select(*columns).order_by(stored.c.row))


def _rows(connection: sa.Connection, table: Table[Any]) -> tuple[Any, ...]:
    attributes = [column.attribute for column in table.columns]
    found = _stored(connection, table).all()
    decoders = [
        (place, DECODE[column.kind])
        for place, column in enumerate(table.columns)
        if column.kind in DECODE
    ]
    if not decoders:
        return tuple([table.row(**dict(zip(attributes, row, strict=True))) for row in found])
    return tuple([_decoded(table.row, attributes, row, decoders) for row in found])


def _decoded(
    row_class: Callable[..., Any],
    attributes: list[str],
    row: sa.Row[Any],
    decoders: list[tuple[int, Callable[[Any], Any]]],
) -> Any:
    cells = list(row)
    for place, decode in decoders:
        cells[place] = decode(cells[place])
    return row_class(**dict(zip(attributes, cells, strict=True)))

"""The tables of the database: those of a data set, generated from the one description of columns,
and what is known about the data as a whole.

The tables of plans are in `plan_tables`, that of quotes in `quote_tables`, on the same metadata;
`everything` loads them all.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.types import TypeDecorator, TypeEngine

NAMING = {
    "pk": "pk_%(table_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
}
"""every constraint has a name, or a later migration could not change it"""

METADATA = sa.MetaData(naming_convention=NAMING)


class Utc(TypeDecorator[datetime]):
    """A moment in UTC. The zone is kept out of the database: not every one of them keeps it."""

    impl = sa.DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment to be stored as UTC has no time zone")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Any) -> datetime | None:
        return None if value is None else value.replace(tzinfo=UTC)


DATA_STATE = sa.Table(
    "data_state",
    METADATA,
    # One row, there from the start: what a writer locks to be alone with the data.
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("data_hash", sa.Text),
    sa.Column("loaded", Utc),
    sa.CheckConstraint("id = 1", name="one_row"),
)

DATA_NOTES = sa.Table(
    "data_notes",
    METADATA,
    sa.Column("row", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("note", sa.Text, nullable=False),
)


DATA_CHANGES = sa.Table(
    "data_changes",
    METADATA,
    sa.Column("change", sa.Integer, primary_key=True),
    sa.Column("created", Utc, nullable=False),
    sa.Column("hash_before", sa.Text, nullable=False),
    sa.Column("hash_after", sa.Text, nullable=False),
    sa.Column("what", sa.Text, nullable=False),
    sa.Index(None, "hash_before"),
    sqlite_autoincrement=True,
)
"""one row for each load that changed stored data"""


def data_tables() -> dict[str, sa.Table]:
    """The table of the database for each table of a data set, by name."""
    from fulfil_models.columns import TABLES
    from fulfil_models.tables import Dataset  # noqa: F401 -- fills TABLES

    if not _DATA_TABLES:
        _DATA_TABLES.update({name: _data_table(name) for name in TABLES})
    return _DATA_TABLES


_DATA_TABLES: dict[str, sa.Table] = {}


def _data_table(name: str) -> sa.Table:
    from fulfil_models.columns import TABLES

    table = TABLES[name]
    columns = [
        sa.Column(column.attribute, _type_of(column.kind), nullable=not _never_empty(column))
        for column in table.columns
    ]
    constraints = []
    if table.unique:
        constraints.append(sa.UniqueConstraint(*[column.attribute for column in table.key]))
    position = sa.Column("row", sa.Integer, primary_key=True, autoincrement=False)
    return sa.Table(name, METADATA, position, *columns, *constraints)


def _never_empty(column: Any) -> bool:
    return column.required or column.default is not None


def _type_of(kind: Any) -> TypeEngine[Any]:
    from fulfil_models import cells

    if kind.json_type in ("number", "integer"):
        return sa.BigInteger()
    types: dict[cells.Kind, TypeEngine[Any]] = {
        cells.DATE: sa.Date(),
        cells.DATETIME: sa.DateTime(),
        cells.YES_NO: sa.Boolean(),
        cells.TIME: sa.Integer(),
    }
    return types.get(kind, sa.Text())


def everything() -> sa.MetaData:
    """The metadata with every table of the database on it."""
    from fulfil.store import plan_tables, quote_tables  # noqa: F401 -- add theirs

    data_tables()
    return METADATA

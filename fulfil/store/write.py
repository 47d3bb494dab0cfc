"""Stores a data set: all of it or nothing, and nothing where it is stored already."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from fulfil_models.cells import format_decimal
from fulfil_models.columns import TABLES, Table
from fulfil_models.tables import Dataset

from fulfil.store import change_log, read
from fulfil.store.canonical import Cells, canonical_form, hash_of_form
from fulfil.store.changes import table_changes
from fulfil.store.errors import StoreError
from fulfil.store.results import LoadResult
from fulfil.store.statements import insert_rows, locked_data_hash
from fulfil.store.tables import DATA_NOTES, DATA_STATE, data_tables

LARGEST = 2**63 - 1
"""the largest integer a column holds"""


@dataclass(frozen=True, slots=True)
class Prepared:
    """A data set ready to be stored; made before the transaction, which others wait for."""

    form: dict[str, list[Cells]]
    data_hash: str
    notes: tuple[str, ...]


def prepared(dataset: Dataset) -> Prepared:
    """A data set in its canonical form, checked for what the tables cannot hold.

    Raises
    ------
    StoreError
        Where two rows share a key or a number is too large to be stored.
    """
    form = canonical_form(dataset)
    for name, rows in form.items():
        _check_keys(TABLES[name], rows)
        _check_sizes(TABLES[name], rows)
    return Prepared(form, hash_of_form(form), dataset.notes)


def replace_dataset(connection: sa.Connection, new: Prepared) -> LoadResult:
    """Puts a data set in the place of the stored one, within the connection's transaction.

    What was stored before is compared with it: tables that stay the same are not written, and the
    log says what is different.
    """
    counts = {name: len(rows) for name, rows in new.form.items()}
    hash_before = locked_data_hash(connection)
    if hash_before == new.data_hash:
        return LoadResult(False, new.data_hash, counts)
    before = read.stored_form(connection)
    for name, table in data_tables().items():
        if before[name] == new.form[name]:
            continue
        connection.execute(sa.delete(table))
        attributes = [column.attribute for column in TABLES[name].columns]
        insert_rows(connection, table, ["row", *attributes], _numbered(new.form[name]))
    connection.execute(sa.delete(DATA_NOTES))
    insert_rows(connection, DATA_NOTES, ["row", "note"], enumerate(new.notes, 1))
    state = {"data_hash": new.data_hash, "loaded": datetime.now(UTC)}
    connection.execute(sa.update(DATA_STATE).values(state))
    if hash_before is None:
        return LoadResult(True, new.data_hash, counts)
    changes = table_changes(before, new.form)
    change_log.save(connection, hash_before, new.data_hash, changes)
    return LoadResult(True, new.data_hash, counts, changes)


def _numbered(rows: list[Cells]) -> Iterable[Cells]:
    return ((number, *row) for number, row in enumerate(rows, 1))


def _check_keys(table: Table[Any], rows: list[Cells]) -> None:
    """Equal keys stand next to each other: the rows are sorted by them."""
    if not table.unique:
        return
    places = [place for place, column in enumerate(table.columns) if column.key]
    before: tuple[Any, ...] | None = None
    for row in rows:
        key = tuple([row[place] for place in places])
        if key == before:
            told = ", ".join(f"{table.columns[place].name} {row[place]}" for place in places)
            raise StoreError(f"{table.name} has two rows for {told}", "keep one of them")
        before = key


def _check_sizes(table: Table[Any], rows: list[Cells]) -> None:
    for column, values in zip(table.columns, zip(*rows, strict=True), strict=False):
        if column.kind.json_type not in ("number", "integer"):
            continue
        given = [value for value in values if value is not None]
        if given and (max(given) > LARGEST or min(given) < -LARGEST):
            culprit = max(given, key=abs)
            told = format_decimal(culprit, column.kind.places)
            most = format_decimal(LARGEST, column.kind.places)
            raise StoreError(
                f"{table.name} has the {column.name} {told}, which is too large to be stored",
                f"check the number; the largest possible is {most}",
            )

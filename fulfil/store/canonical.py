"""The one form in which rows are stored and compared: cells as plain values, rows in order.

Two data sets that hold the same rows have the same canonical form and so the same hash, in
whatever order the rows came.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable
from datetime import date, datetime
from operator import attrgetter
from typing import Any

from fulfil_models import cells
from fulfil_models.columns import TABLES, Column, Table
from fulfil_models.tables import Dataset

from fulfil.store.moments import moment_of, moment_text

Cells = tuple[Any, ...]
"""one row as it is stored: text, int, bool, date, datetime or None"""

_FORM = "data set, canonical form 1"
"""hashed with the data, so that another way of writing them can never look like the same data"""


def _weekdays_of(text: str) -> tuple[str, ...]:
    return tuple(text.split())


ENCODE: dict[cells.Kind, Callable[[Any], Any]] = {
    cells.MOMENT: moment_text,
    cells.WEEKDAY_LIST: " ".join,
}
"""kinds whose values are stored as something else; all others are stored as they are"""

DECODE: dict[cells.Kind, Callable[[Any], Any]] = {
    cells.MOMENT: moment_of,
    cells.WEEKDAY_LIST: _weekdays_of,
}


def canonical_rows(table: Table[Any], rows: Iterable[Any]) -> list[Cells]:
    """The rows of a table as stored cells, by key and then by all columns, empty cells first."""
    attributes = [column.attribute for column in table.columns]
    take = attrgetter(*attributes)
    encoders = [
        (place, ENCODE[column.kind])
        for place, column in enumerate(table.columns)
        if column.kind in ENCODE
    ]
    plain = [take(row) for row in rows]
    if encoders:
        plain = [_encoded(row, encoders) for row in plain]
    keys = [place for place, column in enumerate(table.columns) if column.key]

    def order(row: Cells) -> tuple[Any, ...]:
        key = tuple([row[place] for place in keys])
        # `None` compares with nothing, so every cell says first whether it is given.
        return key, tuple([(cell is not None, cell) for cell in row])

    plain.sort(key=order)
    return plain


def _encoded(row: Cells, encoders: list[tuple[int, Callable[[Any], Any]]]) -> Cells:
    encoded = list(row)
    for place, encode in encoders:
        encoded[place] = encode(encoded[place])
    return tuple(encoded)


def canonical_form(dataset: Dataset) -> dict[str, list[Cells]]:
    """Every table's rows as stored, in the order of the tables."""
    return {name: canonical_rows(table, dataset.rows(name)) for name, table in TABLES.items()}


def hash_of_form(form: dict[str, list[Cells]]) -> str:
    """SHA-256 over a canonical form, as hexadecimal text.

    Cells that hold their column's default and tables without rows are left out: a table or an
    optional column that a later version adds does not change what older data are known by.
    """
    digest = hashlib.sha256(_FORM.encode())
    for name, rows in form.items():
        if not rows:
            continue
        columns = [
            (place, column.attribute, _stored_default(column))
            for place, column in enumerate(TABLES[name].columns)
        ]
        told = [
            {
                attribute: row[place]
                for place, attribute, default in columns
                if row[place] != default
            }
            for row in rows
        ]
        text = json.dumps([name, told], default=_iso, separators=(",", ":"))
        digest.update(text.encode("ascii"))
    return digest.hexdigest()


def _iso(value: date | datetime) -> str:
    return value.isoformat()


def _stored_default(column: Column) -> Any:
    encode = ENCODE.get(column.kind)
    default = column.default_value
    return encode(default) if encode and default is not None else default


def data_hash(dataset: Dataset) -> str:
    """What a data set is known by: equal for equal rows in any order, as hexadecimal text."""
    return hash_of_form(canonical_form(dataset))

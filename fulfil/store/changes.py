"""Compares two data sets in canonical form, row by row."""

from __future__ import annotations

from collections import Counter, defaultdict, deque
from collections.abc import Mapping, Sequence
from operator import itemgetter
from typing import Any

from fulfil_models.columns import TABLES, Column, Table

from fulfil.store.canonical import DECODE, Cells
from fulfil.store.results import CellChange, RowChange, TableChange

Pair = tuple[Cells, Cells]
"""a row before and after"""

MOST_ROWS = 200
"""rows of a table that are told one by one"""
SURE_ROWS = 40
"""of each kind of change there are so many among them, however many there are of the others"""


def table_changes(
    before: Mapping[str, Sequence[Cells]], after: Mapping[str, Sequence[Cells]]
) -> tuple[TableChange, ...]:
    """The tables whose rows differ between two canonical forms, in the order of the tables.

    A row that is gone and one that is new count as one changed row if they share a key.
    """
    found = (
        _table_change(table, before[name], after[name])
        for name, table in TABLES.items()
        if before[name] != after[name]
    )
    return tuple(change for change in found if change.rows)


def _table_change(
    table: Table[Any], before: Sequence[Cells], after: Sequence[Cells]
) -> TableChange:
    changed, removed, added = _matched(table, _less(before, after), _less(after, before))
    first = _shares(len(changed), len(removed), len(added))
    rows = (
        *(
            RowChange("changed", _key(table, new), _cells(table, old, new))
            for old, new in changed[: first[0]]
        ),
        *(RowChange("removed", _key(table, row)) for row in removed[: first[1]]),
        *(RowChange("added", _key(table, row)) for row in added[: first[2]]),
    )
    return TableChange(table.name, len(added), len(removed), len(changed), rows)


def _less(rows: Sequence[Cells], others: Sequence[Cells]) -> list[Cells]:
    """The rows without those that the others have, too; of equal rows as many stay as are more."""
    left = Counter(others)
    more = []
    for row in rows:
        if left[row]:
            left[row] -= 1
        else:
            more.append(row)
    return more


def _matched(
    table: Table[Any], gone: list[Cells], come: list[Cells]
) -> tuple[list[Pair], list[Cells], list[Cells]]:
    """Rows that were changed, removed and added, each in the order of the canonical form."""
    key_of = itemgetter(*(place for place, column in enumerate(table.columns) if column.key))
    waiting: dict[Any, deque[Cells]] = defaultdict(deque)
    for row in gone:
        waiting[key_of(row)].append(row)
    changed, added = [], []
    for row in come:
        of_key = waiting.get(key_of(row))
        if of_key:
            changed.append((of_key.popleft(), row))
        else:
            added.append(row)
    removed = [row for of_key in waiting.values() for row in of_key]
    return changed, removed, added


def _shares(*counts: int) -> list[int]:
    """How many rows of each kind are told: the sure ones, then as many as there is room for."""
    shares = [min(count, SURE_ROWS) for count in counts]
    for place, count in enumerate(counts):
        shares[place] += min(count - shares[place], MOST_ROWS - sum(shares))
    return shares


def _key(table: Table[Any], row: Cells) -> tuple[str, ...]:
    cells = zip(table.columns, row, strict=True)
    return tuple(_text(column, cell) for column, cell in cells if column.key)


def _cells(table: Table[Any], before: Cells, after: Cells) -> tuple[CellChange, ...]:
    return tuple(
        CellChange(column.name, _text(column, old), _text(column, new))
        for column, old, new in zip(table.columns, before, after, strict=True)
        if old != new
    )


def _text(column: Column, cell: Any) -> str:
    """A stored cell as a file has it; empty where nothing is given."""
    decode = DECODE.get(column.kind)
    value = cell if decode is None else decode(cell)
    return "" if value is None else column.kind.format(value)

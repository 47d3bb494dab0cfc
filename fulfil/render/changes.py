"""What changed in the data, row by row, in few words, and what became of the plan for it."""

from __future__ import annotations

from collections.abc import Iterable

from fulfil.render import words
from fulfil.store.results import DataChange, RowChange, TableChange

MOST_ROWS = 4
"""rows told of a table; of more only how many they are"""


def change_texts(changes: Iterable[DataChange]) -> list[str]:
    """A text for each table whose rows changed, oldest change first."""
    return [_table(table) for change in changes for table in change.tables]


def retimed_note(retimed_from: int, plan: int, changes: tuple[DataChange, ...] | None) -> str:
    """That a plan was re-timed before anything was promised from it, and why."""
    texts = change_texts(changes or ())
    why = "the day is another" if changes == () else "the data changed"
    if changes is None:
        why = "the data changed, in a way that is not on record"
    told = f"plan {retimed_from} was re-timed as plan {plan}, since {why}"
    return f"{told}: {' | '.join(texts)}" if texts else told


def _table(table: TableChange) -> str:
    rows = [_row(row) for row in table.rows[:MOST_ROWS]]
    count = table.added + table.removed + table.changed
    more = f" and {words.count(count - len(rows), 'more row')}" if count > len(rows) else ""
    return f"{table.table}: {'; '.join(rows)}{more}"


def _row(row: RowChange) -> str:
    name = "/".join(row.key)
    if row.how != "changed":
        return f"{name} {row.how}"
    cells = ", ".join(
        f"{cell.column} {cell.before or 'empty'} to {cell.after or 'empty'}" for cell in row.cells
    )
    return f"{name} {cells}"

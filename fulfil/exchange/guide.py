"""The page that explains every column, made from the column descriptions."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fulfil_models.columns import TABLES, Column, Table

_HEAD = Path(__file__).with_name("guide_head.md")
_BOUNDS = (("least", "≥"), ("most", "≤"), ("above", ">"), ("below", "<"))


def data_guide() -> str:
    """How a data set is written, what the rules of a plan are, and every column."""
    return f"{_HEAD.read_text(encoding='utf-8').rstrip()}\n\n{column_guide()}"


def column_guide() -> str:
    """Every table and column, as a page of Markdown."""
    parts = [
        "# Tables and columns",
        "",
        "A table in bold must be there, if only with its heading; all others may be missing. A "
        "column in bold may not be empty. `key` marks the columns that no two rows of a table may "
        "share.",
        "",
    ]
    for table in TABLES.values():
        parts += _table(table)
    return "\n".join(parts).rstrip() + "\n"


def _table(table: Table[Any]) -> list[str]:
    title = f"**{table.name}**" if table.required else table.name
    lines = [f"## {title}", "", table.meaning]
    if not table.unique:
        lines[-1] += " Rows with the same key add up."
    lines += ["", "| column | written as | if empty | meaning |", "|---|---|---|---|"]
    lines += [_row(table, column) for column in table.columns]
    return [*lines, ""]


def _row(table: Table[Any], column: Column) -> str:
    name = f"**{column.name}**" if column.required else column.name
    if column.key and table.unique:
        name += " `key`"
    bounds = [f"{sign} {bound}" for which, sign in _BOUNDS if (bound := getattr(column, which))]
    written = ", ".join([column.kind.hint, *bounds])
    empty = "" if column.required else column.default or "not given"
    meaning = column.meaning
    if column.unit:
        meaning += f" ({column.unit})"
    if column.refers:
        meaning += f"; one of `{column.refers}`"
    return f"| {name} | {_cell(written)} | {_cell(empty)} | {_cell(meaning)} |"


def _cell(text: str) -> str:
    """Text for a cell of a Markdown table, where a vertical bar would end it."""
    return text.replace("|", "\\|")

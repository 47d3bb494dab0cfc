"""Aligned tables that read well without colour, in a given width."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

GAP = "  "
LEAST_FLEXIBLE = 14
ROWS = 40
"""rows of a long list that are shown unless all are asked for"""


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table.

    Attributes
    ----------
    heading: words, with a line break where they may stand on two lines.
    right: numbers and durations stand to the right.
    flexible: may be made narrower; its cells are then wrapped by words, never cut.
    """

    heading: str
    right: bool = False
    flexible: bool = False


def table(columns: Sequence[Column], rows: Iterable[Sequence[str]], width: int = 100) -> list[str]:
    """Lines of a table: headings, a rule, and the rows.

    Wider than `width` only where names that cannot be wrapped are. Columns with nothing in them and
    no heading are left out.
    """
    cells = [list(row) for row in rows]
    kept = [
        number
        for number, column in enumerate(columns)
        if column.heading or any(row[number] for row in cells) or number == 0
    ]
    columns = [columns[number] for number in kept]
    cells = [[row[number] for number in kept] for row in cells]
    widths = _widths(columns, cells, width)
    heads = [column.heading.split("\n") for column in columns]
    depth = max(len(head) for head in heads)
    lines = [
        _line(
            columns, widths, [head[i - depth] if i >= depth - len(head) else "" for head in heads]
        )
        for i in range(depth)
    ]
    lines.append(GAP.join("-" * size for size in widths))
    for row in cells:
        lines += _row(columns, widths, row)
    return lines


def _widths(columns: Sequence[Column], cells: list[list[str]], width: int) -> list[int]:
    natural = [
        max(
            [len(word) for word in column.heading.split("\n")] + [len(row[number]) for row in cells]
        )
        for number, column in enumerate(columns)
    ]
    over = sum(natural) + len(GAP) * (len(columns) - 1) - width
    while over > 0:
        # the widest flexible column gives way first
        choices = [
            number
            for number, column in enumerate(columns)
            if column.flexible and natural[number] > LEAST_FLEXIBLE
        ]
        if not choices:
            break
        number = max(choices, key=lambda choice: natural[choice])
        second = max(
            (natural[choice] for choice in choices if choice != number), default=LEAST_FLEXIBLE
        )
        cut = min(over, max(natural[number] - max(second, LEAST_FLEXIBLE), 1))
        natural[number] -= cut
        over -= cut
    return natural


def _row(columns: Sequence[Column], widths: list[int], row: list[str]) -> list[str]:
    wrapped = [
        textwrap.wrap(cell, size, break_on_hyphens=False) or [""]
        if column.flexible and len(cell) > size
        else [cell]
        for column, size, cell in zip(columns, widths, row, strict=True)
    ]
    depth = max(len(cell) for cell in wrapped)
    return [
        _line(columns, widths, [cell[i] if i < len(cell) else "" for cell in wrapped])
        for i in range(depth)
    ]


def _line(columns: Sequence[Column], widths: list[int], cells: Sequence[str]) -> str:
    return GAP.join(
        cell.rjust(size) if column.right else cell.ljust(size)
        for column, size, cell in zip(columns, widths, cells, strict=True)
    ).rstrip()


def paragraph(text: str, width: int, indent: str = "") -> list[str]:
    """Text wrapped by words, every line but the first indented."""
    return textwrap.wrap(
        text, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    ) or [""]


def left_out(total: int, shown: int, narrow: str = "") -> list[str]:
    """The last line of a list that was cut: how many rows are missing and how to see them.

    Parameters
    ----------
    narrow: options that narrow the list, in words.
    """
    if shown >= total:
        return []
    ways = "--all shows them"
    if narrow:
        ways += f"; {narrow} shows fewer"
    return [f"{total - shown} more of {total}: {ways}"]

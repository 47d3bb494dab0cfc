"""Aligned tables that read well without colour, in a given width."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

GAP, NARROW_GAP = "  ", " "
FOLD = "    "
"""stands before the rest of a row that does not fit on one line"""
LEAST_FLEXIBLE = 14
LONGEST_WORD = 24
"""characters; a flexible column stays as wide as its longest word, up to here"""
NARROWEST = 80
"""columns of the narrowest terminal that text is fitted to"""
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

    Where it is too wide, flexible columns are made narrower, then the gaps, then the last columns
    go on a line of their own below each row. Only a name that is longer than a line makes it wider
    than `width`. Columns with nothing in them and no heading are left out.
    """
    cells = [list(row) for row in rows]
    kept = [
        number
        for number, column in enumerate(columns)
        if column.heading or any(row[number] for row in cells) or number == 0
    ]
    columns = [columns[number] for number in kept]
    cells = [[row[number] for number in kept] for row in cells]
    strips = _strips(columns, cells, width)
    lines = [line for strip in strips for line in strip.headings()]
    lines.append(strips[0].rule())
    for number in range(len(cells)):
        lines += [line for strip in strips for line in strip.row(number)]
    return lines


class _Strip:
    """Neighbouring columns that share their lines."""

    def __init__(
        self,
        columns: Sequence[Column],
        cells: list[list[str]],
        width: int,
        *,
        gap: str = GAP,
        indent: str = "",
    ) -> None:
        self.columns = columns
        self.cells = cells
        self.gap = gap
        self.indent = indent
        self.widths = _widths(columns, cells, width - len(indent), gap)

    def headings(self) -> list[str]:
        heads = [column.heading.split("\n") for column in self.columns]
        if self.indent and len(heads) == 1:
            heads = [[" ".join(heads[0])]]  # alone on a line, it has room
        depth = max(len(head) for head in heads)
        lines = [
            self._line([head[i - depth] if i >= depth - len(head) else "" for head in heads])
            for i in range(depth)
        ]
        # what has no heading needs no line
        return [line for line in lines if line or not self.indent]

    def rule(self) -> str:
        return self.gap.join("-" * size for size in self.widths)

    def row(self, number: int) -> list[str]:
        wrapped = [
            textwrap.wrap(cell, size, break_on_hyphens=False) or [""]
            if column.flexible and len(cell) > size
            else [cell]
            for column, size, cell in zip(
                self.columns, self.widths, self.cells[number], strict=True
            )
        ]
        depth = max(len(cell) for cell in wrapped)
        lines = [
            self._line([cell[i] if i < len(cell) else "" for cell in wrapped]) for i in range(depth)
        ]
        # what a row has nothing of needs no line
        return [line for line in lines if line or not self.indent]

    def _line(self, cells: Sequence[str]) -> str:
        text = self.gap.join(
            cell.rjust(size) if column.right else cell.ljust(size)
            for column, size, cell in zip(self.columns, self.widths, cells, strict=True)
        )
        return f"{self.indent}{text}".rstrip()


def _strips(columns: Sequence[Column], cells: list[list[str]], width: int) -> list[_Strip]:
    """The columns side by side if they can be, else in strips one below the other."""
    least = _least_widths(columns, cells)
    for gap in (GAP, NARROW_GAP):
        if sum(least) + len(gap) * (len(columns) - 1) <= width:
            return [_Strip(columns, cells, width, gap=gap)]
    strips: list[_Strip] = []
    begin = 0
    while begin < len(columns):
        indent = FOLD if strips else ""
        end, used = begin + 1, len(indent) + least[begin]
        while end < len(columns) and used + len(GAP) + least[end] <= width:
            used += len(GAP) + least[end]
            end += 1
        part = [row[begin:end] for row in cells]
        strips.append(_Strip(columns[begin:end], part, width, indent=indent))
        begin = end
    return strips


def _natural_widths(columns: Sequence[Column], cells: list[list[str]]) -> list[int]:
    return [
        max(
            [len(word) for word in column.heading.split("\n")] + [len(row[number]) for row in cells]
        )
        for number, column in enumerate(columns)
    ]


def _least_widths(columns: Sequence[Column], cells: list[list[str]]) -> list[int]:
    """How narrow each column can be made without breaking a word of ordinary length."""
    least = _natural_widths(columns, cells)
    for number, column in enumerate(columns):
        if column.flexible:
            words = [word for row in cells for word in row[number].split()]
            longest = min(max(map(len, words), default=0), LONGEST_WORD)
            heading = max(map(len, column.heading.split("\n")))
            needed = max(longest, LEAST_FLEXIBLE, heading)
            least[number] = min(least[number], needed)
    return least


def _widths(columns: Sequence[Column], cells: list[list[str]], width: int, gap: str) -> list[int]:
    widths = _natural_widths(columns, cells)
    least = _least_widths(columns, cells)
    over = sum(widths) + len(gap) * (len(columns) - 1) - width
    while over > 0:
        # the widest flexible column gives way first
        choices = [number for number in range(len(columns)) if widths[number] > least[number]]
        if not choices:
            break
        number = max(choices, key=lambda choice: widths[choice])
        second = max((widths[choice] for choice in choices if choice != number), default=0)
        cut = min(over, max(widths[number] - max(second, least[number]), 1))
        widths[number] -= cut
        over -= cut
    return widths


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
    return paragraph(f"{total - shown} more of {total}: {ways}", NARROWEST, "  ")

"""Text that a spreadsheet would run as a formula, made harmless in CSV files and back.

A spreadsheet that opens a CSV file takes text that begins with `=`, `+`, `-` or `@` for a formula.
Such text gets an apostrophe in front. Text of that kind that has apostrophes in front of its own
gets one more, so that taking one away on reading always gives back what was written.
"""

from __future__ import annotations

import re

from fulfil_models.cells import Kind
from fulfil_models.columns import Column

_DANGEROUS = re.compile(r"'*[=+\-@\t\r]")
_PROTECTED = re.compile(r"'+[=+\-@\t\r]")


def is_free_text(column: Column) -> bool:
    """Whether a column may hold text that somebody typed, and so could begin with anything."""
    return _is_text(column.kind)


def _is_text(kind: Kind) -> bool:
    return kind.name in ("identifier", "text")


def protect(text: str) -> str:
    """Text as it is written to a CSV file."""
    return f"'{text}" if _DANGEROUS.match(text) else text


def unprotect(cell: str) -> str:
    """The text that a cell of a CSV file stands for."""
    text = cell.strip()
    return text[1:] if _PROTECTED.match(text) else cell

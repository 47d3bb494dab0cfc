"""How one cell of a column is read: empty or not, by its kind, within its bounds."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from fulfil_models import cells as k
from fulfil_models.cells import CellError
from fulfil_models.columns import Column

_BOUNDS: dict[str, tuple[Callable[[Any, Any], bool], str, str]] = {
    "least": (lambda value, bound: value >= bound, "is below {}", "write {} or more"),
    "most": (lambda value, bound: value <= bound, "is above {}", "write {} or less"),
    "above": (lambda value, bound: value > bound, "is not above {}", "write a number above {}"),
    "below": (lambda value, bound: value < bound, "is not below {}", "write a number below {}"),
}
"""for each bound of a column: what a value must satisfy, what is wrong if not, the remedy"""

_ANY: dict[k.Kind, Any] = {
    k.DATE: date(2000, 1, 1),
    k.DATETIME: datetime(2000, 1, 1),
    k.TIME: 0,
    k.WEEKDAY: "Mon",
    k.MONTH: "2000-01",
}
"""some value of each kind that must be given and is neither text nor number"""


def cell_parser(column: Column) -> Callable[[str], Any]:
    """The function that turns a trimmed cell of the column into its value.

    It raises CellError for a cell that cannot be read.
    """
    kind = column.kind
    default = column.default_value
    bounds = [
        (kind.parse(text), text, *_BOUNDS[name])
        for name in _BOUNDS
        if (text := getattr(column, name)) is not None
    ]

    def parse(text: str) -> Any:
        if not text:
            if column.required:
                raise CellError("is empty", f"write the {column.name}: {column.meaning}", "empty")
            return default
        value = kind.parse(text)
        for bound, shown, holds, wrong, remedy in bounds:
            if not holds(value, bound):
                raise CellError(wrong.format(shown), remedy.format(shown), "out-of-range")
        return value

    return parse


def code_of(column: Column, error: CellError) -> str:
    """Reason code of a cell that cannot be read."""
    if error.code:
        return error.code
    if column.kind.json_type in ("number", "integer"):
        return "bad-number"
    return f"bad-{column.kind.name.replace('_', '-')}"


def stand_in(column: Column, text: str) -> Any:
    """A value of the right type for a cell that could not be read.

    Identifiers keep their text, so that rows that name them still find them.
    """
    if column.kind in (k.IDENTIFIER, k.TEXT, k.TIMEZONE):
        return text
    if not column.required:
        return column.default_value
    if column.kind.json_type in ("number", "integer"):
        return 10**column.kind.places
    return _ANY[column.kind]

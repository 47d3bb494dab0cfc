"""Answers for other programs: JSON documents and CSV, with plain numbers and ISO dates.

The integers of the answers carry their unit in the name (`quantity_milli`); here, at the edge, they
become numbers under the plain name (`quantity`).
"""

from __future__ import annotations

import csv
import dataclasses
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from typing import Any

from fulfil_models.cells import format_datetime, format_decimal

SCALES = {"_milli": ("", 3), "_micro": ("", 6), "_ppm": ("", 6), "_g": ("_kg", 3)}
"""ending of an integer's name: what it becomes, and the decimal places of its unit"""


def number(value: int, places: int) -> int | float:
    """An integer number of 10^-places as a whole number where it is one, else as a decimal."""
    whole, rest = divmod(value, 10**places)
    return float(Decimal(format_decimal(value, places))) if rest else whole


def plain(value: Any) -> Any:
    """An answer as dictionaries, lists, text and numbers that JSON can carry."""
    if value is None or isinstance(value, (bool, int, float)):
        return value
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, str):
        return value
    if isinstance(value, Fraction):
        return value.numerator if value.denominator == 1 else float(value)
    if isinstance(value, datetime):
        return format_datetime(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): plain(entry) for key, entry in value.items()}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            name: entry
            for field in dataclasses.fields(value)
            for name, entry in [_named(field.name, getattr(value, field.name))]
        }
    if isinstance(value, Iterable):
        return [plain(entry) for entry in value]
    raise TypeError(f"{type(value).__name__} has no plain form")


def _named(name: str, value: Any) -> tuple[str, Any]:
    for ending, (becomes, places) in SCALES.items():
        if name.endswith(ending) and (value is None or isinstance(value, int)):
            shown = None if value is None else number(value, places)
            return name.removesuffix(ending) + becomes, shown
    return name, plain(value)


def json_text(document: Any, *, indent: int | None = 2) -> str:
    """A document as JSON text with a line end."""
    return json.dumps(document, indent=indent, ensure_ascii=False, allow_nan=False) + "\n"


def csv_text(headings: Sequence[str], records: Iterable[Mapping[str, Any]]) -> str:
    """Records as CSV with a heading row; lists become words with blanks between.

    Text that a spreadsheet would take for a formula gets an apostrophe in front; line breaks in
    text become blanks.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(headings)
    for record in records:
        writer.writerow([_cell(record.get(heading)) for heading in headings])
    return out.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return f"{Decimal(repr(value)):f}"
    text = " ".join(map(str, value)) if isinstance(value, (list, tuple)) else str(value)
    if text[:1] in ("=", "+", "-", "@", "\t", "\r"):
        text = f"'{text}"
    return text.replace("\r", " ").replace("\n", " ")

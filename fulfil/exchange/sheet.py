"""One list as a workbook of one sheet: numbers and dates as such, text that never is a formula."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

from fulfil.exchange.errors import ExchangeError
from fulfil.exchange.writing import replace

_MADE_ON = datetime(2000, 1, 1)
"""a fixed date, so that the same list always gives the same bytes"""
_NARROWEST, _WIDEST = 9, 60
"""characters"""


def write_sheet(
    path: Path, name: str, headings: Sequence[str], records: Iterable[Mapping[str, Any]]
) -> None:
    """Writes records to a file in the place of what is there.

    Parameters
    ----------
    name: of the sheet.
    records: by heading: text, numbers, dates, yes or no, lists of text, or None.

    Raises ExchangeError where the file cannot be a workbook.
    """
    if path.suffix.lower() != ".xlsx":
        raise ExchangeError(f"{path} is no name of a workbook", "name a file that ends in .xlsx")
    if path.parent != Path() and not path.parent.is_dir():
        raise ExchangeError(f"there is no folder {path.parent}", "make it, or name another")
    replace(path, sheet_bytes(name, headings, records))


def sheet_bytes(name: str, headings: Sequence[str], records: Iterable[Mapping[str, Any]]) -> bytes:
    """The same as bytes."""
    import xlsxwriter

    buffer = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    workbook = xlsxwriter.Workbook(buffer, options)
    workbook.set_properties({"created": _MADE_ON})
    bold = workbook.add_format({"bold": True, "bottom": 1})
    dated = workbook.add_format({"num_format": "yyyy-mm-dd"})
    sheet = workbook.add_worksheet(name)
    sheet.freeze_panes(1, 0)
    rows = list(records)
    for place, heading in enumerate(headings):
        sheet.write_string(0, place, heading, bold)
        widest = len(heading)
        for number, row in enumerate(rows, 1):
            value = row.get(heading)
            text = _text(value)
            if value is None or text == "":
                continue
            widest = max(widest, len(text))
            if isinstance(value, (int, float)) and not isinstance(value, bool):
                sheet.write_number(number, place, value)
            elif isinstance(value, date):
                sheet.write_datetime(
                    number, place, datetime(value.year, value.month, value.day), dated
                )
            else:
                sheet.write_string(number, place, text)
        sheet.set_column(place, place, min(max(widest + 1, _NARROWEST), _WIDEST))
    sheet.autofilter(0, 0, max(1, len(rows)), max(0, len(headings) - 1))
    workbook.close()
    return buffer.getvalue()


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (list, tuple)):
        return " ".join(map(str, value))
    return str(value)

"""A data set as a workbook: numbers and dates as such, text that never runs as a formula."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, time
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from fulfil_models import cells as k
from fulfil_models.columns import TABLES, Column
from fulfil_models.tables import Dataset

from fulfil.exchange.descriptor import description

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

_MADE_ON = datetime(2000, 1, 1)
"""a fixed date, so that the same data always give the same bytes"""
_NARROWEST, _WIDEST = 9, 40
"""characters"""
_LONGEST_TIP = 255


@dataclass(frozen=True, slots=True)
class _Formats:
    heading: Format
    date: Format
    moment: Format


def workbook_bytes(dataset: Dataset, names: Iterable[str]) -> bytes:
    """A workbook with one sheet for each of the tables named, in the order of the tables."""
    import xlsxwriter

    buffer = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    workbook = xlsxwriter.Workbook(buffer, options)
    workbook.set_properties({"created": _MADE_ON})
    formats = _Formats(
        heading=workbook.add_format({"bold": True, "bottom": 1}),
        date=workbook.add_format({"num_format": "yyyy-mm-dd"}),
        moment=workbook.add_format({"num_format": 'yyyy-mm-dd"T"hh:mm'}),
    )
    wanted = set(names)
    for name, table in TABLES.items():
        if name not in wanted:
            continue
        sheet = workbook.add_worksheet(name)
        sheet.freeze_panes(1, 0)
        rows = table.in_order(dataset.rows(name))
        for place, column in enumerate(table.columns):
            _write_column(sheet, place, column, rows, formats)
    workbook.close()
    return buffer.getvalue()


def _write_column(
    sheet: Worksheet, place: int, column: Column, rows: list[Any], formats: _Formats
) -> None:
    sheet.write_string(0, place, column.name, formats.heading)
    sheet.data_validation(
        0,
        place,
        0,
        place,
        {
            "validate": "any",
            "input_title": column.name,
            "input_message": _tip(column),
        },
    )
    write = _writer(column.kind)
    widest = len(column.name)
    for number, row in enumerate(rows, 1):
        value = getattr(row, column.attribute)
        if value is None:
            continue
        text = column.kind.format(value)
        if text:
            write(sheet, number, place, value, text, formats)
            widest = max(widest, len(text))
    sheet.set_column(place, place, min(max(widest + 1, _NARROWEST), _WIDEST))


def _tip(column: Column) -> str:
    """What a heading says of its column when it is selected."""
    needed = " Needed." if column.required else ""
    tip = f"{description(column)}. Written as: {column.kind.hint}.{needed}"
    return tip if len(tip) <= _LONGEST_TIP else tip[: _LONGEST_TIP - 3] + "..."


_Write = Callable[["Worksheet", int, int, Any, str, _Formats], object]


def _writer(kind: k.Kind) -> _Write:
    """How values of a kind are written. All but numbers and dates are text."""
    if kind.json_type in ("number", "integer"):
        return _number
    if kind is k.DATE:
        return lambda sheet, row, place, value, text, formats: sheet.write_datetime(
            row, place, value, formats.date
        )
    if kind in (k.DATETIME, k.MOMENT):
        return _moment
    return _text


def _text(sheet: Worksheet, row: int, place: int, value: Any, text: str, formats: _Formats) -> None:
    sheet.write_string(row, place, text)


def _number(
    sheet: Worksheet, row: int, place: int, value: int, text: str, formats: _Formats
) -> None:
    """A number if the nearest float is written back as the same digits, else text."""
    exact = Decimal(text)
    nearest = float(exact)
    # Spreadsheets keep 15 digits; what needs more would come back as another number.
    if Decimal(f"{nearest:.15g}") == exact:
        sheet.write_number(row, place, nearest)
    else:
        sheet.write_string(row, place, text)


def _moment(
    sheet: Worksheet, row: int, place: int, value: Any, text: str, formats: _Formats
) -> None:
    """A date or a date-time. Midnight cannot be told from the bare date, so it is text."""
    if isinstance(value, datetime):
        if value.time() == time(0):
            sheet.write_string(row, place, text)
        else:
            sheet.write_datetime(row, place, value, formats.moment)
    else:
        sheet.write_datetime(row, place, value, formats.date)

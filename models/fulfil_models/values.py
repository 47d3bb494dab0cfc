"""Values of a frame or a workbook as the text that a file would hold in their place."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from fulfil_models import cells as k
from fulfil_models.cells import format_datetime, format_time


def cell_text(value: Any, kind: k.Kind | None = None) -> str:
    """A value of a frame or a workbook cell as the text that a file would hold.

    Dates that carry midnight as a time are dates to a column of dates; a whole number that is
    held as a float is a whole number; any other float is written with all the digits that tell
    it from its neighbours.
    """
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    for base, write in _WRITERS:
        if isinstance(value, base):
            return write(value, kind)
    if hasattr(value, "item"):  # a scalar of numpy
        return cell_text(value.item(), kind)
    return "" if _is_missing(value) else str(value)


def _is_missing(value: Any) -> bool:
    """Whether a value is pandas' own sign for a missing one."""
    return type(value).__name__ in ("NAType", "NaTType")


def _bool_text(value: bool, kind: k.Kind | None) -> str:
    return k.YES_NO.format(value) if kind is k.YES_NO else str(value).lower()


def _float_text(value: float, kind: k.Kind | None) -> str:
    if value != value:
        return ""
    if value in (float("inf"), float("-inf")):
        return str(value)
    return _decimal_text(Decimal(repr(value)), kind)


def _decimal_text(value: Decimal, kind: k.Kind | None) -> str:
    if not value.is_finite():
        return "" if value.is_nan() else str(value)
    text = format(value, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _datetime_text(value: datetime, kind: k.Kind | None) -> str:
    if _is_missing(value):
        return ""
    if kind is k.DATE and value.time() == time(0):
        return value.date().isoformat()
    if value.second or value.microsecond or value.tzinfo:
        return value.isoformat()
    return format_datetime(value)


def _date_text(value: date, kind: k.Kind | None) -> str:
    return f"{value.isoformat()}T00:00" if kind is k.DATETIME else value.isoformat()


def _time_text(value: time, kind: k.Kind | None) -> str:
    if value.second or value.microsecond or value.tzinfo:
        return value.isoformat()
    return format_time(value.hour * 60 + value.minute)


def _timedelta_text(value: timedelta, kind: k.Kind | None) -> str:
    minutes, rest = divmod(value, timedelta(minutes=1))
    return str(value) if rest or minutes < 0 else format_time(minutes)


_WRITERS: tuple[tuple[type | tuple[type, ...], Callable[[Any, k.Kind | None], str]], ...] = (
    (bool, _bool_text),
    (int, lambda value, kind: str(value)),
    (float, _float_text),
    (Decimal, _decimal_text),
    (datetime, _datetime_text),
    (date, _date_text),
    (time, _time_text),
    (timedelta, _timedelta_text),
    ((tuple, list), lambda value, kind: " ".join(str(item) for item in value)),
)

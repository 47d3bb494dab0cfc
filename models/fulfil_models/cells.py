"""What may stand in one cell: the kinds of column, and text to exact value and back.

Inside the program a decimal is an integer with its unit in the attribute's name
(`quantity_milli` is thousandths of the part's unit); text is only met at the edge, here.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

MILLI = 1_000
PPM = 1_000_000
MICRO = 1_000_000
GRAM_MILLI_MICRO = 1000 * MILLI * MICRO
"""divides grams x thousandths of a unit x micro-currency per kg into currency"""

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


class CellError(ValueError):
    """A cell that cannot be read: what is wrong with it, and what would mend it.

    `code` is a short reason where it is another than that the text is not of the column's kind.
    """

    def __init__(self, wrong: str, remedy: str, code: str = "") -> None:
        super().__init__(wrong)
        self.wrong = wrong
        self.remedy = remedy
        self.code = code


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of column.

    `json_type` is the Table Schema type of the column, `hint` says in words how a cell is written.
    """

    name: str
    json_type: str
    hint: str
    parse: Callable[[str], Any]
    format: Callable[[Any], str]
    places: int = 0
    """decimal places kept, for kinds that are exact decimals"""
    order: Callable[[Any], Any] | None = None
    """what values are put in order by, where that is not the value itself"""


_DECIMAL = re.compile(r"-?([0-9]+)(?:\.([0-9]+))?")
_WITH_COMMA = re.compile(r"-?[0-9]{1,3}(,[0-9]{3})+(\.[0-9]+)?|-?[0-9]+,[0-9]+")
_WITH_EXPONENT = re.compile(r"[-+]?[0-9]+(\.[0-9]+)?[eE][-+]?[0-9]+")
_IDENTIFIER_MOST = 64
_TEXT_MOST = 32_000
"""characters; a workbook cell holds 32,767"""
_DIGITS = 12
"""most digits before decimals, so that 10^-6 of the largest number still fits 64 bits"""
_YEARS = range(1900, 2200)
_NOT_TEXT = re.compile("[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
"""what neither a workbook nor UTF-8 can carry"""


def parse_decimal(text: str, places: int, digits: int = _DIGITS) -> int:
    """Exact decimal text as an integer number of 10^-places.

    Raises
    ------
    CellError
        For anything but plain digits, at most `digits` before and `places` after a full stop.
    """
    match = _DECIMAL.fullmatch(text)
    if match is None:
        if _WITH_COMMA.fullmatch(text):
            raise CellError(
                "has a comma in it",
                "write a full stop before decimals and nothing between thousands, e.g. 1.5 or 1500",
            )
        if _WITH_EXPONENT.fullmatch(text):
            raise CellError("is in exponent form", "write all the digits, e.g. 1000 for 1e3")
        raise CellError("is not a number", "write digits, with a full stop before decimals")
    whole = match[1].lstrip("0")
    decimals = (match[2] or "").rstrip("0")
    if len(decimals) > places:
        raise CellError(
            f"has more than {places} decimal places" if places else "is not a whole number",
            f"round it to {places} decimal places" if places else "write a whole number",
        )
    if len(whole) > digits:
        raise CellError("is too large", f"check the number; the largest has {digits} digits")
    scaled = int((whole + decimals.ljust(places, "0")) or "0")
    return -scaled if text.startswith("-") else scaled


def format_decimal(value: int, places: int) -> str:
    """An integer number of 10^-places as the shortest exact decimal text."""
    if places == 0:
        return str(value)
    sign = "-" if value < 0 else ""
    whole, rest = divmod(abs(value), 10**places)
    digits = f"{rest:0{places}d}".rstrip("0")
    return f"{sign}{whole}.{digits}" if digits else f"{sign}{whole}"


def _parse_identifier(text: str) -> str:
    if len(text) > _IDENTIFIER_MOST:
        raise CellError(
            f"is {len(text)} characters long", f"use at most {_IDENTIFIER_MOST} characters"
        )
    if not text.isprintable():
        raise CellError(
            "has characters in it that cannot be seen",
            "remove line breaks, tabs and blanks other than the ordinary one",
        )
    return text


def _parse_text(text: str) -> str:
    if len(text) > _TEXT_MOST:
        raise CellError(f"is {len(text)} characters long", f"use at most {_TEXT_MOST} characters")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if _NOT_TEXT.search(text):
        raise CellError("has control characters in it", "remove all but line breaks and tabs")
    return text


def _parse_yes_no(text: str) -> bool:
    word = text.lower()
    if word in ("yes", "true", "1"):
        return True
    if word in ("no", "false", "0"):
        return False
    raise CellError("is neither yes nor no", "write yes or no")


def _plausible(day: date) -> None:
    """Refuse years that only a slip of the pen brings, and that calculations could overflow."""
    if day.year not in _YEARS:
        raise CellError(
            f"is not in the years {_YEARS.start} to {_YEARS.stop - 1}", "check the year"
        )


def parse_date(text: str) -> date:
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        raise CellError("is not a date", "write YYYY-MM-DD, e.g. 2026-03-02")
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise CellError("is no day of the calendar", "check the day and month") from None
    _plausible(day)
    return day


def parse_datetime(text: str) -> datetime:
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(:00)?", text):
        raise CellError("is not a date and time", "write YYYY-MM-DDTHH:MM, e.g. 2026-03-02T14:30")
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise CellError("is no moment of the calendar", "check the day, month and time") from None
    _plausible(moment)
    return moment


def _parse_moment(text: str) -> date | datetime:
    return parse_datetime(text) if "T" in text else parse_date(text)


def _format_moment(value: date | datetime) -> str:
    return format_datetime(value) if isinstance(value, datetime) else value.isoformat()


def day_of(moment: date | datetime) -> date:
    """The day of a day or of a moment."""
    return moment.date() if isinstance(moment, datetime) else moment


def format_datetime(value: datetime) -> str:
    return value.strftime("%Y-%m-%dT%H:%M")


def _parse_time(text: str) -> int:
    match = re.fullmatch(r"([0-9]{1,2}):([0-9]{2})", text)
    if not match:
        raise CellError("is not a time of day", "write HH:MM, e.g. 07:30")
    minutes = int(match[1]) * 60 + int(match[2])
    if int(match[2]) > 59 or minutes > 24 * 60:
        raise CellError("is no time of a day", "write a time from 00:00 to 24:00")
    return minutes


def format_time(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _parse_weekday(text: str) -> str:
    word = text[:3].capitalize()
    if word not in WEEKDAYS or len(text) != 3:
        raise CellError("is not a weekday", f"write one of {' '.join(WEEKDAYS)}")
    return word


def _parse_weekdays(text: str) -> tuple[str, ...]:
    days = {_parse_weekday(word) for word in text.replace(",", " ").split()}
    return tuple(sorted(days, key=WEEKDAYS.index))


def _parse_month(text: str) -> str:
    if not re.fullmatch(r"[0-9]{4}-(0[1-9]|1[0-2])", text):
        raise CellError("is not a month", "write YYYY-MM, e.g. 2026-03")
    return text


def _parse_timezone(text: str) -> str:
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9_+-]*(/[A-Za-z0-9_+-]+)*", text):
        raise CellError("is not a time zone", "write an IANA name, e.g. America/Boise")
    return text


def _decimal(name: str, places: int, digits: int, hint: str) -> Kind:
    return Kind(
        name,
        "number" if places else "integer",
        hint,
        lambda text: parse_decimal(text, places, digits),
        lambda value: format_decimal(value, places),
        places,
    )


IDENTIFIER = Kind("identifier", "string", "1 to 64 characters", _parse_identifier, str)
TEXT = Kind("text", "string", "any text", _parse_text, str)
QUANTITY = _decimal("quantity", 3, 9, "decimal, at most 3 places")
MONEY = _decimal("money", 6, 12, "decimal, at most 6 places")
SHARE = _decimal("share", 6, 9, "decimal, e.g. 0.05 for 5 %")
FACTOR = _decimal("factor", 6, 9, "decimal, at most 6 places")
MASS = _decimal("mass", 3, 9, "decimal, at most 3 places")
DEGREES = _decimal("degrees", 6, 3, "decimal degrees")
MINUTES = _decimal("minutes", 3, 9, "decimal, at most 3 places")
COUNT = _decimal("count", 0, 9, "whole number")
DAYS = _decimal("days", 0, 4, "whole number, at most 9999")
YES_NO = Kind(
    "yes_no", "boolean", "yes or no", _parse_yes_no, lambda value: "yes" if value else "no"
)
DATE = Kind("date", "date", "YYYY-MM-DD", parse_date, lambda value: value.isoformat())
DATETIME = Kind("datetime", "datetime", "YYYY-MM-DDTHH:MM, local", parse_datetime, format_datetime)
MOMENT = Kind(
    "moment",
    "string",
    "YYYY-MM-DD or YYYY-MM-DDTHH:MM, local",
    _parse_moment,
    _format_moment,
    order=_format_moment,
)
TIME = Kind("time", "string", "HH:MM", _parse_time, format_time)
WEEKDAY = Kind(
    "weekday",
    "string",
    "Mon, Tue, Wed, Thu, Fri, Sat or Sun",
    _parse_weekday,
    str,
    order=WEEKDAYS.index,
)
WEEKDAY_LIST = Kind(
    "weekdays", "string", "weekdays with blanks between, e.g. Tue Fri", _parse_weekdays, " ".join
)
MONTH = Kind("month", "yearmonth", "YYYY-MM", _parse_month, str)
TIMEZONE = Kind("timezone", "string", "IANA name, e.g. America/Boise", _parse_timezone, str)

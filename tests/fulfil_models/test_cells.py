"""Text to value and back, exactly; and what is refused says what would mend it."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any

import pytest
from fulfil_models import cells as k
from fulfil_models.cells import CellError, Kind, format_decimal, parse_decimal
from hypothesis import given
from hypothesis import strategies as st


@pytest.mark.parametrize(
    ("kind", "text", "value", "written"),
    [
        (k.QUANTITY, "2.5", 2_500, "2.5"),  # thousandths
        (k.QUANTITY, "-0.001", -1, "-0.001"),
        (k.QUANTITY, "007.500", 7_500, "7.5"),
        (k.QUANTITY, "999999999.999", 999_999_999_999, "999999999.999"),
        (k.QUANTITY, "1.0000", 1_000, "1"),  # zeros carry nothing
        (k.MONEY, "0.000001", 1, "0.000001"),  # millionths
        (k.MONEY, "123456789012.5", 123_456_789_012_500_000, "123456789012.5"),
        (k.SHARE, "0.05", 50_000, "0.05"),
        (k.MASS, "120", 120_000, "120"),  # grams
        (k.COUNT, "-0", 0, "0"),
        (k.DAYS, "9999", 9_999, "9999"),
        (k.YES_NO, "TRUE", True, "yes"),
        (k.YES_NO, "0", False, "no"),
        (k.DATE, "2028-02-29", date(2028, 2, 29), "2028-02-29"),
        (k.DATETIME, "2026-03-02T14:30:00", datetime(2026, 3, 2, 14, 30), "2026-03-02T14:30"),
        (k.MOMENT, "2026-03-02", date(2026, 3, 2), "2026-03-02"),
        (k.MOMENT, "2026-03-02T00:00", datetime(2026, 3, 2), "2026-03-02T00:00"),
        (k.TIME, "7:05", 425, "07:05"),  # 7 x 60 + 5
        (k.TIME, "24:00", 1_440, "24:00"),
        (k.WEEKDAY, "fri", "Fri", "Fri"),
        (k.WEEKDAY_LIST, "Fri, Tue", ("Tue", "Fri"), "Tue Fri"),
        (k.MONTH, "2026-12", "2026-12", "2026-12"),
        (k.TIMEZONE, "America/Port-au-Prince", "America/Port-au-Prince", "America/Port-au-Prince"),
        (k.IDENTIFIER, "é" * 64, "é" * 64, "é" * 64),
        (k.TEXT, "one\r\ntwo\rthree", "one\ntwo\nthree", "one\ntwo\nthree"),
    ],
)
def test_text_becomes_a_value_and_is_written_in_one_form(
    kind: Kind, text: str, value: Any, written: str
) -> None:
    parsed = kind.parse(text)
    assert parsed == value
    assert type(parsed) is type(value)
    assert kind.format(parsed) == written
    assert kind.parse(written) == value


@pytest.mark.parametrize(
    ("kind", "text", "words"),
    [
        (k.QUANTITY, "1,5", "comma"),
        (k.QUANTITY, "1,500.25", "comma"),
        (k.QUANTITY, "1e3", "exponent"),
        (k.QUANTITY, "1.0005", "3 decimal places"),
        # 31 decimals: no rounding on the way may hide the last of them
        (k.QUANTITY, "1.0000000000000000000000000000001", "3 decimal places"),
        (k.QUANTITY, "1000000000", "too large"),
        (k.QUANTITY, "9" * 5_000, "too large"),
        (k.MONEY, "1" + "0" * 12, "too large"),
        (k.QUANTITY, "٣", "not a number"),  # a digit, but none that is written here
        (k.QUANTITY, "+5", "not a number"),
        (k.QUANTITY, "5.", "not a number"),
        (k.QUANTITY, "nan", "not a number"),
        (k.COUNT, "2.5", "not a whole number"),
        (k.DAYS, "10000", "too large"),
        (k.YES_NO, "y", "neither"),
        (k.DATE, "2026-2-3", "not a date"),
        (k.DATE, "2026-02-30", "no day"),
        (k.DATE, "0226-02-03", "years 1900 to 2199"),
        (k.DATE, "2026-02-03T00:00", "not a date"),
        (k.DATETIME, "2026-02-03", "not a date and time"),
        (k.DATETIME, "2026-02-03T24:00", "no moment"),
        (k.DATETIME, "2026-02-03T14:30:15", "not a date and time"),
        (k.DATETIME, "2200-01-01T00:00", "years"),
        (k.TIME, "24:01", "no time"),
        (k.TIME, "12:60", "no time"),
        (k.TIME, "noon", "not a time"),
        (k.WEEKDAY, "Monday", "not a weekday"),
        (k.WEEKDAY_LIST, "Tue;Fri", "not a weekday"),
        (k.MONTH, "2026-00", "not a month"),
        (k.TIMEZONE, "Mountain time", "not a time zone"),
        (k.IDENTIFIER, "x" * 65, "65 characters"),
        (k.IDENTIFIER, "a\u00a0b", "cannot be seen"),
        (k.TEXT, "a\x00b", "control"),
        (k.TEXT, "a\ud800b", "control"),
        (k.TEXT, "x" * 32_001, "32001 characters"),
    ],
)
def test_what_is_refused_says_why(kind: Kind, text: str, words: str) -> None:
    with pytest.raises(CellError) as caught:
        kind.parse(text)
    assert words in caught.value.wrong
    assert caught.value.remedy


@given(st.integers(-(10**15) + 1, 10**15 - 1), st.integers(0, 6))
def test_no_unit_is_lost_between_numbers_and_text(value: int, places: int) -> None:
    text = format_decimal(value, places)
    assert Decimal(text) == Decimal(value).scaleb(-places)
    assert parse_decimal(text, places, digits=15) == value
    assert "." not in text or text[-1] not in "0."


@given(st.from_regex(r"\A-?[0-9]{1,9}(\.[0-9]{1,3})?\Z"))
def test_every_decimal_of_three_places_is_read_exactly(text: str) -> None:
    assert k.QUANTITY.parse(text) == Decimal(text) * 1000

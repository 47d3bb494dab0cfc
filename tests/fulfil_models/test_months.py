"""Calendar months: when they begin and end, and which ones follow."""

from __future__ import annotations

from datetime import date

import pytest
from fulfil_models.months import first_day, last_day, month_of, months_from, next_month


@pytest.mark.parametrize(
    ("month", "last"),
    [
        ("2026-01", 31),
        ("2026-02", 28),
        ("2028-02", 29),
        ("2026-04", 30),
        ("2026-12", 31),
    ],
)
def test_a_month_begins_and_ends(month: str, last: int) -> None:
    first, end = first_day(month), last_day(month)
    assert (first.day, end.day) == (1, last)
    assert month_of(first) == month_of(end) == month


def test_the_next_month_whatever_the_day() -> None:
    assert next_month(date(2026, 1, 31)) == date(2026, 2, 1)
    assert next_month(date(2026, 2, 1)) == date(2026, 3, 1)
    assert next_month(date(2026, 12, 31)) == date(2027, 1, 1)


def test_months_begin_with_the_day_itself() -> None:
    day = date(2026, 3, 30)
    assert months_from(day, last_day("2026-05")) == (day, date(2026, 4, 1), date(2026, 5, 1))
    assert months_from(day, date(2026, 4, 1)) == (day, date(2026, 4, 1))
    assert months_from(day, day) == (day,)
    assert months_from(day, date(2026, 3, 29)) == ()

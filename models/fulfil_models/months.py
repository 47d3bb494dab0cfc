"""Which calendar month is a day in, when does a month begin and end, and which ones follow?"""

from __future__ import annotations

from datetime import date, timedelta
from functools import cache

MOST_DAYS = 31


def month_of(day: date) -> str:
    """The month as it is written: `2026-03`."""
    return day.isoformat()[:7]


def first_day(month: str) -> date:
    return date.fromisoformat(f"{month}-01")


def last_day(month: str) -> date:
    return next_month(first_day(month)) - timedelta(1)


def next_month(day: date) -> date:
    """The first of the month after that of a day."""
    return (day.replace(day=1) + timedelta(MOST_DAYS)).replace(day=1)


@cache
def months_from(day: date, last: date) -> tuple[date, ...]:
    """The day itself, then the first of every later month up to `last`."""
    days = []
    while day <= last:
        days.append(day)
        day = next_month(day)
    return tuple(days)

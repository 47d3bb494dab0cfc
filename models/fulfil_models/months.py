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


def months_later(day: date, later: int) -> str:
    """The calendar month so many months after that of a day; before it, below 0."""
    year, month = divmod(day.year * 12 + day.month - 1 + later, 12)
    return f"{year:04}-{month + 1:02}"


def months_ahead(as_of: date, months: int) -> tuple[str, ...]:
    """So many calendar months, that of the planning date first.

    Raises ValueError for less than one.
    """
    if months < 1:
        raise ValueError(f"{months} months are none to look at: ask for 1 or more")
    return tuple(months_later(as_of, later) for later in range(months))


@cache
def months_from(day: date, last: date) -> tuple[date, ...]:
    """The day itself, then the first of every later month up to `last`."""
    days = []
    while day <= last:
        days.append(day)
        day = next_month(day)
    return tuple(days)

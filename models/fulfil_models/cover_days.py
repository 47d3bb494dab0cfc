"""How do needs and balances of a part run, day by day, and when do they fall below nothing?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fulfil_models.months import month_of
from fulfil_models.order_days import OpenDays

Ints = NDArray[np.int64]

KINDS = 3
"""of days on which open purchases come: as stated, and by which 50 and 90 of 100 do"""


@dataclass(frozen=True, slots=True)
class Period:
    """A month or week of the horizon, or what of it lies in the horizon; both days included."""

    name: str
    first: date
    until: date


@dataclass(frozen=True)
class Horizon:
    """The days that are looked at: from the planning date to the end of the last month.

    Attributes
    ----------
    month: number of the month of each day.
    worked: how many working days of its month are over at the end of each day. Of a month without
        any, its last day counts as one.
    working: how many there are in its month, from the first day on.
    """

    first: date
    months: tuple[str, ...]
    month: Ints
    worked: Ints
    working: Ints

    @property
    def count(self) -> int:
        return len(self.month)

    def day(self, number: int) -> date:
        return self.first + timedelta(number)

    def number(self, day: date) -> int:
        """Of a day before the first, that of the first; it may lie beyond the last."""
        return max((day - self.first).days, 0)

    @cached_property
    def by_month(self) -> tuple[Period, ...]:
        ends = np.flatnonzero(np.diff(self.month, append=-1))
        begins = [0, *(int(end) + 1 for end in ends[:-1])]
        return tuple(
            Period(name, self.day(begin), self.day(int(end)))
            for name, begin, end in zip(self.months, begins, ends, strict=True)
        )

    @cached_property
    def by_week(self) -> tuple[Period, ...]:
        """Weeks from Monday, each named by its first day."""
        last = self.day(self.count - 1)
        found = []
        begin = self.first
        while begin <= last:
            until = min(begin + timedelta(6 - begin.weekday()), last)
            found.append(Period(begin.isoformat(), begin, until))
            begin = until + timedelta(1)
        return tuple(found)


def horizon(first: date, months: Sequence[str], days: OpenDays, points: Iterable[str]) -> Horizon:
    """From a day to the end of the last month.

    Parameters
    ----------
    months: that of the day first, without gaps.
    points: a day counts as a working day when any of them is open.
    """
    places = tuple(points)
    month: list[int] = []
    worked: list[int] = []
    day, number = first, 0
    while number < len(months):
        count = 0
        while month_of(day) == months[number]:
            count += days.open_anywhere(places, day)
            month.append(number)
            worked.append(count)
            day += timedelta(1)
        if count == 0:
            worked[-1] = 1
        number += 1
    in_month = np.asarray(month, dtype=np.int64)
    so_far = np.asarray(worked, dtype=np.int64)
    ends = np.flatnonzero(np.diff(in_month, append=-1))
    return Horizon(first, tuple(months), in_month, so_far, so_far[ends][in_month])


@dataclass(frozen=True)
class Course:
    """One part over the horizon, in thousandths.

    Attributes
    ----------
    firm, forecast, needs: needed up to the end of each day; needs are both together.
    came: with a row for each kind of days: come up to the end of each day.
    """

    on_hand_milli: int
    firm: Ints
    forecast: Ints
    needs: Ints
    came: Ints

    @cached_property
    def left(self) -> Ints:
        """With a row for each kind of days: left at the end of each day; below 0 where it lacks."""
        left: Ints = self.on_hand_milli + self.came - self.needs
        return left

    @cached_property
    def runs_out(self) -> list[int | None]:
        """By kind of days: number of the first day at whose end something is missing."""
        return first(self.left < 0)

    @cached_property
    def runs_out_firm(self) -> list[int | None]:
        """The same by firm needs alone."""
        return first(self.on_hand_milli + self.came < self.firm)

    @cached_property
    def short_milli(self) -> list[int]:
        """By kind of days: the most that is missing at the end of any day; below 0 for none."""
        most: list[int] = (-self.left.min(axis=1)).tolist()
        return most

    def back(self, kind: int, number: int) -> int | None:
        """Number of the first day from one on at whose end nothing is missing."""
        (days,) = first(self.left[kind : kind + 1, number:] >= 0)
        return None if days is None else number + days

    def lasts(self, left_milli: int, number: int) -> int | None:
        """How many days after one what is left then lasts, if nothing more comes.

        Parameters
        ----------
        number: -1 for before the first day.
        """
        if left_milli < 0:
            return 0
        before = 0 if number < 0 else int(self.needs[number])
        fails = int(np.searchsorted(self.needs, before + left_milli, side="right"))
        return None if fails >= len(self.needs) else fails - number - 1


def course(
    span: Horizon,
    on_hand_milli: int,
    firm: Iterable[tuple[date, int]],
    forecast: Mapping[str, int],
    arrivals: Sequence[tuple[int, tuple[date, ...]]],
) -> Course:
    """What is needed and what comes, day by day.

    Forecast needs fall evenly over the working days of their month that are in the horizon.

    Parameters
    ----------
    firm: day and quantity; what was due before the first day counts on it.
    forecast: by month.
    arrivals: quantity, and the day it comes by each kind of days.
    """
    taken = np.zeros(span.count, dtype=np.int64)
    for day, milli in firm:
        number = span.number(day)
        if number < span.count:
            taken[number] += milli
    wanted, expected = np.cumsum(taken), _spread(span, forecast)
    came = _came(span, arrivals)
    return Course(on_hand_milli, wanted, expected, wanted + expected, came)


def _came(span: Horizon, arrivals: Sequence[tuple[int, tuple[date, ...]]]) -> Ints:
    came = np.zeros((KINDS, span.count), dtype=np.int64)
    for milli, on in arrivals:
        for kind, day in enumerate(on):
            number = span.number(day)
            if number < span.count:
                came[kind, number] += milli
    return np.cumsum(came, axis=1) if arrivals else came


def _spread(span: Horizon, forecast: Mapping[str, int]) -> Ints:
    if not forecast:
        return np.zeros(span.count, dtype=np.int64)
    totals = np.asarray([forecast.get(month, 0) for month in span.months], dtype=np.int64)
    before = np.cumsum(totals) - totals
    so_far: Ints = before[span.month] + totals[span.month] * span.worked // span.working
    return so_far


def first(found: NDArray[np.bool_]) -> list[int | None]:
    """Of each row, the number of the first day of which it is true."""
    numbers = found.argmax(axis=1).tolist()
    return [n if row[n] else None for n, row in zip(numbers, found, strict=True)]

"""When is a point open? The checker's own reading of shifts, public holidays and closures.

Working time is counted from the planning date on: a moment before it is position 0 (what was due
then is due at once). Only work that was started earlier is measured on the minutes before it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from fractions import Fraction

from fulfil_models.cells import WEEKDAYS
from fulfil_models.tables import Dataset

_MIDNIGHT = time.min
_USUAL = [(480, 720), (750, 990)]
"""08:00-12:00 and 12:30-16:30, Monday to Friday, for a calendar without shifts of its own"""


class Hours:
    """Open time of one calendar from the day `first` to the day `last`."""

    def __init__(
        self, dataset: Dataset, calendar: str, first: date, as_of: date, last: date
    ) -> None:
        week = _week(dataset, calendar)
        closed = _closed_days(dataset, calendar, first, last)
        self._opens: list[datetime] = []
        self._closes: list[datetime] = []
        self._worked: list[int] = []
        self._last_close: dict[date, datetime] = {}
        worked = 0
        for day in _days(first, last):
            if day in closed:
                continue
            midnight = datetime.combine(day, _MIDNIGHT)
            for opens, closes in week[day.weekday()]:
                self._opens.append(midnight + timedelta(minutes=opens))
                self._closes.append(midnight + timedelta(minutes=closes))
                self._worked.append(worked)
                worked += closes - opens
                self._last_close[day] = self._closes[-1]
        open_weekdays = [spans for spans in week if spans]
        minutes = sum(closes - opens for spans in open_weekdays for opens, closes in spans)
        self.standard_day = Fraction(minutes, len(open_weekdays))
        """working minutes of a standard day: those of the week over its open weekdays"""
        self._as_of = datetime.combine(as_of, _MIDNIGHT)
        self._origin = self.worked_before(self._as_of)

    def worked_before(self, moment: datetime) -> int:
        """Working minutes from the first day known up to a moment."""
        span = bisect_right(self._opens, moment) - 1
        if span < 0:
            return 0
        return self._worked[span] + _minutes(min(moment, self._closes[span]) - self._opens[span])

    def position(self, moment: datetime) -> int:
        """Working minutes from the planning date up to a moment; 0 for a moment before it."""
        return max(0, self.worked_before(moment) - self._origin)

    def before_as_of(self, moment: datetime) -> int:
        """Working minutes from a moment up to the planning date; 0 for a moment after it."""
        return max(0, self._origin - self.worked_before(moment))

    def may_start(self, moment: datetime) -> bool:
        """Whether there is open time right after the moment."""
        span = bisect_right(self._opens, moment) - 1
        return span >= 0 and moment < self._closes[span]

    def may_end(self, moment: datetime) -> bool:
        """Whether there is open time right before the moment."""
        span = bisect_left(self._opens, moment) - 1
        return span >= 0 and moment <= self._closes[span]

    def is_open_on(self, day: date) -> bool:
        return day in self._last_close

    def opening(self, day: date) -> datetime:
        """Opening of a day, or of the next working day; the end of time where none is known."""
        span = bisect_left(self._opens, datetime.combine(day, _MIDNIGHT))
        return self._opens[span] if span < len(self._opens) else datetime.max

    def due(self, promised: date | datetime | None, cutoff: int | None) -> int:
        """Position of the due moment: the cut-off of the promised date, or the promised moment.

        A moment in closed time has the position of the last open moment before it. What is not
        promised is due at once.
        """
        if promised is None:
            return 0
        if isinstance(promised, datetime):
            return self.position(promised)
        return self.position(self._cutoff_of(promised, cutoff))

    def ship_day(self, finish: datetime, cutoff: int | None) -> date:
        """Day on which a build ships that is finished at a moment, and not yet gone at `as_of`."""
        finish = max(finish, self._as_of)
        day = finish.date()
        yesterday = day - timedelta(1)
        if self._as_of < finish == self._last_close.get(yesterday):
            day = yesterday  # closing at 24:00 belongs to the day that ends, if that is not over
        if self.is_open_on(day) and finish <= self._cutoff_of(day, cutoff):
            return day
        return self.opening(day + timedelta(1)).date()

    def first_shipping_day(self, usable: datetime) -> date:
        """First open day by whose opening something is usable."""
        opening = self.opening(usable.date())
        if opening < usable:
            opening = self.opening(usable.date() + timedelta(1))
        return opening.date()

    def _cutoff_of(self, day: date, cutoff: int | None) -> datetime:
        midnight = datetime.combine(day, _MIDNIGHT)
        closes = self._last_close.get(day, midnight)
        return closes if cutoff is None else min(closes, midnight + timedelta(minutes=cutoff))


def carrier_days_after(day: date, days: int) -> date:
    """The day so many carrier days (Mon-Fri) after a day."""
    while days > 0:
        day += timedelta(1)
        days -= day.weekday() < 5
    return day


def _minutes(span: timedelta) -> int:
    return span.days * 1440 + span.seconds // 60


def _days(first: date, last: date) -> Iterable[date]:
    for number in range((last - first).days + 1):
        yield first + timedelta(number)


def _week(dataset: Dataset, calendar: str) -> list[list[tuple[int, int]]]:
    """Open spans of each weekday from Monday, in minutes after midnight."""
    rows = [row for row in dataset.shifts if row.calendar == calendar]
    if not rows:
        return [list(_USUAL) for _ in range(5)] + [[], []]
    return [
        sorted((row.opens, row.closes) for row in rows if row.weekday == weekday)
        for weekday in WEEKDAYS
    ]


def _closed_days(dataset: Dataset, calendar: str, first: date, last: date) -> set[date]:
    closed = {row.day for row in dataset.closures if row.calendar == calendar}
    for row in dataset.calendars:
        if row.calendar == calendar and row.holidays:
            closed |= _public_holidays(row.holidays, first, last)
    return closed


def _public_holidays(code: str, first: date, last: date) -> set[date]:
    """Public holidays, observed days included, as the `holidays` package lists them."""
    import holidays

    country, _, subdivision = code.partition("-")
    years = range(first.year, last.year + 2)  # an observed day may lie in the year before
    return set(holidays.country_holidays(country, subdiv=subdivision or None, years=years))

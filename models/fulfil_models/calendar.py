"""Working time: when is a point open, and what is the moment after so many working minutes?

An `Axis` numbers the working minutes of one calendar from the opening of the planning date on.
A position on it is an integer number of working minutes; closed time has no length, so the end of
one shift and the beginning of the next are the same position.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from fractions import Fraction

from fulfil_models.cells import WEEKDAYS
from fulfil_models.tables import Calendar, Closure, Shift

DAY = 1440
STANDARD = "standard"
STANDARD_HOURS = tuple(
    (day, opens, closes)
    for day in WEEKDAYS[:5]
    for opens, closes in ((8 * 60, 12 * 60), (12 * 60 + 30, 16 * 60 + 30))
)
"""Mon-Fri 08:00-12:00 and 12:30-16:30: the hours of a calendar that names none"""


def public_holidays(code: str, years: Iterable[int]) -> frozenset[date]:
    """Public holidays, observed days included, of an ISO 3166 country or subdivision.

    Source: the `holidays` package. Raises NotImplementedError for a code it does not know.
    """
    import holidays

    country, _, subdivision = code.partition("-")
    return frozenset(
        holidays.country_holidays(country, subdiv=subdivision or None, years=list(years))
    )


class BeyondAxis(Exception):
    """A working day was asked for after the last that is known.

    Attributes
    ----------
    wrong, remedy: what is the matter, and what would mend it, for the person who planned.
    """

    def __init__(self, day: date, last: date) -> None:
        super().__init__(day, last)
        self.wrong = f"something would go on after {day}, and working days are known to {last} only"
        self.remedy = "set a longer horizon_days, or mend what takes so long"


@dataclass(frozen=True, slots=True)
class Axis:
    """Working minutes of one calendar from `as_of` 00:00 on.

    `starts`, `ends` are wall minutes since `as_of` 00:00 of each open span, `before` the working
    minutes before it; `closing` the last wall minute of each open day.
    """

    zero: datetime
    starts: tuple[int, ...]
    ends: tuple[int, ...]
    before: tuple[int, ...]
    closing: dict[date, int]
    open_days: tuple[date, ...]
    standard_day: Fraction
    """the calendar's weekly minutes over its open weekdays"""

    @property
    def length(self) -> int:
        """Working minutes that the axis covers."""
        return self.before[-1] + self.ends[-1] - self.starts[-1]

    def _position_of_minute(self, minute: int) -> int:
        index = bisect_right(self.starts, minute) - 1
        if index < 0:
            return 0
        return self.before[index] + min(minute, self.ends[index]) - self.starts[index]

    def position(self, moment: datetime) -> int:
        """Working minutes before a moment; 0 for any moment before `as_of`."""
        return self._position_of_minute(int((moment - self.zero).total_seconds() // 60))

    def opening(self, day: date) -> int:
        """Position of the opening of a day, or of the next working day if it is closed."""
        return self._position_of_minute((day - self.zero.date()).days * DAY)

    def start_moment(self, position: int) -> datetime:
        """Wall time at which work that starts at a position starts."""
        index = max(bisect_right(self.before, position) - 1, 0)
        return self.zero + timedelta(minutes=self.starts[index] + position - self.before[index])

    def end_moment(self, position: int) -> datetime:
        """Wall time at which work that ends at a position ends."""
        index = max(bisect_left(self.before, position) - 1, 0)
        return self.zero + timedelta(minutes=self.starts[index] + position - self.before[index])

    def is_open(self, day: date) -> bool:
        return day in self.closing

    def next_open_day(self, day: date) -> date:
        """The day itself if open, else the first open day after it.

        Raises BeyondAxis where the axis ends before there is one.
        """
        index = bisect_left(self.open_days, day)
        if index == len(self.open_days):
            raise BeyondAxis(day, self.open_days[-1])
        return self.open_days[index]

    def due(self, promised: date | datetime | None, cutoff: int | None) -> int:
        """Position of the due moment (contract rule 7); 0 where nothing is promised.

        `cutoff` is in minutes after midnight, None for the closing time.
        """
        if promised is None:
            return 0
        if isinstance(promised, datetime):
            return self.position(promised)
        midnight = (promised - self.zero.date()).days * DAY
        if promised not in self.closing:
            return self._position_of_minute(midnight)
        closes = self.closing[promised]
        return self._position_of_minute(
            closes if cutoff is None else min(midnight + cutoff, closes)
        )

    def last_to_ship(self, day: date, cutoff: int | None) -> int:
        """Last position at which a build is finished that ships by a day; 0 where none does."""
        place = bisect_right(self.open_days, day) - 1
        return self.due(self.open_days[place], cutoff) if place >= 0 else 0

    def ship_day(self, finish: datetime, cutoff: int | None) -> date:
        """Day on which what is finished at a moment ships: that day up to the cut-off, else the
        next working day."""
        day = finish.date()
        minute = int((finish - self.zero).total_seconds() // 60)
        if self.closing.get(day - timedelta(1)) == minute:
            day -= timedelta(1)  # ended at 24:00 of the day before
        closes = self.closing.get(day)
        if closes is None:
            return self.next_open_day(day)
        limit = closes if cutoff is None else (day - self.zero.date()).days * DAY + cutoff
        return day if minute <= limit else self.next_open_day(day + timedelta(1))


def make_axis(
    name: str,
    as_of: date,
    days: int,
    calendars: Iterable[Calendar],
    shifts: Iterable[Shift],
    closures: Iterable[Closure],
) -> Axis:
    """Axis of the calendar `name` over `days` days from `as_of`.

    Raises ValueError where the calendar never opens in that time.
    """
    hours: dict[str, list[tuple[int, int]]] = {day: [] for day in WEEKDAYS}
    own = [(s.weekday, s.opens, s.closes) for s in shifts if s.calendar == name]
    for weekday, opens, closes in own or STANDARD_HOURS:
        hours[weekday].append((opens, closes))
    week = [sorted(hours[weekday]) for weekday in WEEKDAYS]
    shut = {closure.day for closure in closures if closure.calendar == name}
    code = next((c.holidays for c in calendars if c.calendar == name), None)
    if code:
        last = as_of + timedelta(days)
        shut |= public_holidays(code, range(as_of.year, last.year + 2))
    starts: list[int] = []
    ends: list[int] = []
    before: list[int] = []
    closing: dict[date, int] = {}
    worked = 0
    for number in range(days):
        day = as_of + timedelta(number)
        if day in shut:
            continue
        for opens, closes in week[day.weekday()]:
            starts.append(number * DAY + opens)
            ends.append(number * DAY + closes)
            before.append(worked)
            worked += closes - opens
            closing[day] = number * DAY + closes
    if not starts:
        raise ValueError(f"calendar {name} never opens in {days} days from {as_of}")
    weekly = sum(closes - opens for spans in hours.values() for opens, closes in spans)
    open_weekdays = sum(1 for spans in hours.values() if spans)
    return Axis(
        zero=datetime.combine(as_of, time.min),
        starts=tuple(starts),
        ends=tuple(ends),
        before=tuple(before),
        closing=closing,
        open_days=tuple(sorted(closing)),
        standard_day=Fraction(weekly, open_weekdays),
    )

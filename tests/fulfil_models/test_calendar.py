"""Working time and ship days (rules 1 and 7) worked out by hand; federal holidays as published."""

from __future__ import annotations

from datetime import date, datetime
from fractions import Fraction

import pytest
from fulfil_models.calendar import Axis, make_axis, public_holidays
from fulfil_models.cells import WEEKDAYS
from fulfil_models.tables import Calendar, Closure, Shift

MONDAY = date(2026, 3, 2)
THURSDAY = date(2026, 3, 5)
CLOSED = (Closure(calendar="standard", day=THURSDAY),)
NOON, HALF_PAST_TWELVE = 12 * 60, 12 * 60 + 30


def standard(as_of: date = MONDAY) -> Axis:
    """Mon-Fri 08:00-12:00 and 12:30-16:30: 480 minutes a day; Thursday 5 March closed."""
    return make_axis("standard", as_of, 30, (), (), CLOSED)


def at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute)


@pytest.mark.parametrize(
    ("moment", "position"),
    [
        (datetime(2026, 2, 27, 12, 0), 0),  # before as_of
        (at(2, 7), 0),  # before opening
        (at(2, 8), 0),
        (at(2, 9, 30), 90),
        (at(2, 12, 15), 240),  # in the break
        (at(2, 12, 30), 240),
        (at(2, 16, 30), 480),
        (at(2, 23), 480),
        (at(3, 8), 480),
        (at(5, 12), 3 * 480),  # closed Thursday: Mon, Tue, Wed
        (at(6, 8), 3 * 480),
        (at(7, 12), 4 * 480),  # Saturday
        (at(9, 8, 1), 4 * 480 + 1),
    ],
)
def test_position_of_a_moment(moment: datetime, position: int) -> None:
    assert standard().position(moment) == position


@pytest.mark.parametrize(
    ("position", "start", "end"),
    [
        (0, at(2, 8), at(2, 8)),
        (239, at(2, 11, 59), at(2, 11, 59)),
        (240, at(2, 12, 30), at(2, 12)),  # work starts after the break, ends before it
        (480, at(3, 8), at(2, 16, 30)),
        (3 * 480, at(6, 8), at(4, 16, 30)),  # over the closed Thursday
        (4 * 480, at(9, 8), at(6, 16, 30)),  # over the weekend
    ],
)
def test_moment_of_a_position(position: int, start: datetime, end: datetime) -> None:
    axis = standard()
    assert axis.start_moment(position) == start
    assert axis.end_moment(position) == end


def test_every_position_is_the_position_of_its_moments() -> None:
    axis = standard()
    for position in range(axis.length):
        assert axis.position(axis.start_moment(position)) == position
        assert axis.position(axis.end_moment(position)) == position


@pytest.mark.parametrize(("day", "opening"), [(4, 960), (5, 1440), (6, 1440), (8, 1920)])
def test_opening_of_a_day_or_of_the_next_working_day(day: int, opening: int) -> None:
    assert standard().opening(date(2026, 3, day)) == opening


@pytest.mark.parametrize(
    ("promised", "cutoff", "due"),
    [
        (None, None, 0),
        (date(2026, 2, 20), None, 0),  # long past: lateness counts from as_of on
        (date(2026, 3, 3), None, 960),  # closing time
        (date(2026, 3, 3), NOON, 720),  # Monday's 480 + 240
        (date(2026, 3, 3), 18 * 60, 960),  # a cut-off after closing
        (date(2026, 3, 5), None, 1440),  # closed then: Wednesday's last moment
        (date(2026, 3, 8), NOON, 1920),  # Sunday: Friday's last moment
        (at(3, 10), None, 600),  # 480 + 120
        (at(3, 12, 10), None, 720),  # in the break: its beginning
    ],
)
def test_due_moment(promised: date | datetime | None, cutoff: int | None, due: int) -> None:
    assert standard().due(promised, cutoff) == due


@pytest.mark.parametrize(
    ("finish", "cutoff", "ships"),
    [
        (at(3, 16, 30), None, 3),
        (at(3, 12), NOON, 3),
        (at(3, 12, 31), NOON, 4),
        (at(4, 16), HALF_PAST_TWELVE, 6),  # Thursday is closed
        (at(6, 16), NOON, 9),  # over the weekend
    ],
)
def test_ship_day(finish: datetime, cutoff: int | None, ships: int) -> None:
    assert standard().ship_day(finish, cutoff) == date(2026, 3, ships)


def round_the_clock() -> Axis:
    shifts = [Shift(calendar="all", weekday=day, opens=0, closes=1440) for day in WEEKDAYS]
    return make_axis("all", MONDAY, 10, (), shifts, ())


def test_what_ends_at_midnight_ships_on_the_day_that_ends() -> None:
    axis = round_the_clock()
    assert axis.end_moment(1440) == at(3, 0)
    assert axis.ship_day(at(3, 0), None) == MONDAY
    assert axis.ship_day(at(3, 0, 1), None) == date(2026, 3, 3)
    # midnight is past a cut-off of noon on the Monday
    assert axis.ship_day(at(3, 0), NOON) == date(2026, 3, 3)


def test_a_calendar_that_never_closes_counts_every_minute() -> None:
    axis = round_the_clock()
    assert axis.length == 10 * 1440
    assert axis.position(at(4, 6)) == 2 * 1440 + 360
    assert axis.standard_day == 1440


def test_a_standard_day_is_the_mean_open_weekday() -> None:
    # 480 Monday, 480 Tuesday, 240 Saturday: 1200 / 3 = 400; one Monday closed changes nothing
    hours = (("Mon", 960), ("Tue", 960), ("Sat", 720))
    shifts = [Shift(calendar="c", weekday=d, opens=480, closes=closes) for d, closes in hours]
    closures = (Closure(calendar="c", day=MONDAY),)
    assert make_axis("c", MONDAY, 30, (), shifts, closures).standard_day == Fraction(400)
    assert standard().standard_day == 480


def test_a_calendar_that_never_opens_is_refused() -> None:
    closures = [Closure(calendar="standard", day=date(2026, 3, day)) for day in range(2, 7)]
    with pytest.raises(ValueError, match="never opens"):
        make_axis("standard", MONDAY, 7, (), (), closures)


# observed federal holidays, 5 U.S.C. 6103: a Saturday's on the Friday before, a Sunday's (by
# executive order, from memory) on the Monday after
OBSERVED = {
    2026: "01-01 01-19 02-16 05-25 06-19 07-03 09-07 10-12 11-11 11-26 12-25",
    2027: "01-01 01-18 02-15 05-31 06-18 07-05 09-06 10-11 11-11 11-25 12-24 12-31",
}


@pytest.mark.parametrize("year", OBSERVED)
def test_federal_holidays_on_weekdays_are_those_observed(year: int) -> None:
    found = {d for d in public_holidays("US", [year, year + 1]) if d.year == year}
    weekdays = {d for d in found if d.weekday() < 5}
    assert weekdays == {date.fromisoformat(f"{year}-{day}") for day in OBSERVED[year].split()}


@pytest.mark.parametrize(("year", "days"), [(2026, 250), (2027, 249)])
def test_federal_holidays_close_the_calendar(year: int, days: int) -> None:
    """261 weekdays in both years, less 11 and 12 observed holidays. 1 January 2028, a Saturday, is
    observed in 2027."""
    calendars = (Calendar(calendar="us", holidays="US"),)
    axis = make_axis("us", date(year, 1, 1), 365, calendars, (), ())
    assert len(axis.open_days) == days
    assert axis.is_open(date(year, 12, 31)) is (year == 2026)


def test_an_unknown_country_is_refused() -> None:
    with pytest.raises(NotImplementedError):
        public_holidays("ZZ", [2026])

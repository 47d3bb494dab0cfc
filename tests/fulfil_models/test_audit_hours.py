"""The checker's own reading of working time."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from fractions import Fraction

import pytest
from fulfil_models.audit_hours import Hours, carrier_days_after
from fulfil_models.cells import WEEKDAYS
from fulfil_models.tables import Calendar, Closure, Dataset, Shift

AS_OF = date(2026, 3, 2)
"""a Monday"""


def hours(dataset: Dataset = Dataset(), calendar: str = "standard") -> Hours:  # noqa: B008
    return Hours(dataset, calendar, AS_OF - timedelta(60), AS_OF, AS_OF + timedelta(700))


def at(text: str) -> datetime:
    return datetime.fromisoformat(text)


EARLY = Dataset(
    calendars=(Calendar(calendar="early"),),
    shifts=(
        *(Shift(calendar="early", weekday=day, opens=420, closes=900) for day in WEEKDAYS[:3]),
        Shift(calendar="early", weekday="Sat", opens=480, closes=720),
    ),
)
ALWAYS = Dataset(
    shifts=tuple(Shift(calendar="always", weekday=day, opens=0, closes=1440) for day in WEEKDAYS),
)

# 5 U.S.C. 6103 with the observed dates of the federal calendar
OBSERVED = {
    2026: "01-01 01-19 02-16 05-25 06-19 07-03 09-07 10-12 11-11 11-26 12-25",
    2027: "01-01 01-18 02-15 05-31 06-18 07-05 09-06 10-11 11-11 11-25 12-24 12-31",
}
# Weekdays less those dates; published counts of federal business days
BUSINESS_DAYS = {2026: 250, 2027: 249}


@pytest.mark.parametrize("year", OBSERVED)
def test_public_holidays_close_the_observed_days(year: int) -> None:
    dataset = Dataset(calendars=(Calendar(calendar="us", holidays="US"),))
    first, last = date(year, 1, 1), date(year, 12, 31)
    open_time = Hours(dataset, "us", first, first, last)
    days = [first + timedelta(n) for n in range((last - first).days + 1)]
    weekdays = [day for day in days if day.weekday() < 5]
    closed = [day for day in weekdays if not open_time.is_open_on(day)]
    assert closed == [date.fromisoformat(f"{year}-{d}") for d in OBSERVED[year].split()]
    assert len(weekdays) - len(closed) == BUSINESS_DAYS[year]


def test_a_subdivision_adds_its_own_holidays() -> None:
    """California keeps Cesar Chavez Day on 03-31, which the country as a whole does not."""
    dataset = Dataset(calendars=(Calendar(calendar="ca", holidays="US-CA"),))
    assert not hours(dataset, "ca").is_open_on(date(2026, 3, 31))
    assert hours(Dataset(calendars=(Calendar(calendar="ca", holidays="US"),)), "ca").is_open_on(
        date(2026, 3, 31)
    )


def test_positions_count_working_minutes_from_the_planning_date() -> None:
    usual = hours()
    # Monday: 240 minutes to noon, lunch of 30, 240 to 16:30
    assert usual.position(at("2026-03-02T08:00")) == 0
    assert usual.position(at("2026-03-02T09:30")) == 90
    assert usual.position(at("2026-03-02T12:15")) == 240
    assert usual.position(at("2026-03-02T16:30")) == 480
    assert usual.position(at("2026-03-03T08:00")) == 480
    # Friday 480 x 4 + 480; the weekend adds nothing
    assert usual.position(at("2026-03-08T10:00")) == 2400
    assert usual.position(at("2026-02-20T10:00")) == 0
    # Friday 15:30-16:30
    assert usual.before_as_of(at("2026-02-27T15:30")) == 60
    assert usual.before_as_of(at("2026-03-02T15:30")) == 0


def test_a_closure_takes_the_day_out() -> None:
    dataset = Dataset(closures=(Closure(calendar="standard", day=date(2026, 3, 3)),))
    assert hours(dataset).position(at("2026-03-04T09:00")) == 480 + 60
    assert hours(dataset).opening(date(2026, 3, 3)) == at("2026-03-04T08:00")


def test_work_starts_before_closing_and_ends_after_opening() -> None:
    usual = hours()
    assert usual.may_start(at("2026-03-02T08:00"))
    assert not usual.may_start(at("2026-03-02T12:00"))
    assert usual.may_end(at("2026-03-02T12:00"))
    assert not usual.may_end(at("2026-03-02T12:30"))
    assert not usual.may_end(at("2026-03-02T12:10"))


def test_a_standard_day_is_the_week_over_its_open_weekdays() -> None:
    assert hours().standard_day == 480
    # 3 x 480 + 240 = 1680 minutes over 4 days
    assert hours(EARLY, "early").standard_day == Fraction(1680, 4)
    assert hours(ALWAYS, "always").standard_day == 1440


@pytest.mark.parametrize(
    ("promised", "cutoff", "due"),
    [
        (None, None, 0),
        (date(2026, 3, 2), None, 480),
        (date(2026, 3, 2), 14 * 60, 330),  # 240 + 90
        (date(2026, 3, 2), 18 * 60, 480),  # never after closing
        (date(2026, 3, 2), 7 * 60, 0),  # before opening: the evening before
        (date(2026, 3, 7), 14 * 60, 2400),  # Saturday: Friday's closing
        (date(2026, 2, 20), None, 0),  # past: at once
        (at("2026-03-02T12:10"), 14 * 60, 240),
        (at("2026-03-03T08:30"), None, 510),
    ],
)
def test_due_moments(promised: date | datetime | None, cutoff: int | None, due: int) -> None:
    assert hours().due(promised, cutoff) == due


@pytest.mark.parametrize(
    ("finish", "cutoff", "ships"),
    [
        ("2026-03-02T16:30", None, "2026-03-02"),
        ("2026-03-02T14:00", 14 * 60, "2026-03-02"),
        ("2026-03-02T14:01", 14 * 60, "2026-03-03"),
        ("2026-03-06T16:30", 14 * 60, "2026-03-09"),
        ("2026-02-26T10:00", None, "2026-03-02"),  # done before, still here
    ],
)
def test_ship_days(finish: str, cutoff: int | None, ships: str) -> None:
    assert hours().ship_day(at(finish), cutoff) == date.fromisoformat(ships)


def test_closing_at_midnight_belongs_to_the_day_that_ends() -> None:
    always = hours(ALWAYS, "always")
    assert always.ship_day(at("2026-03-04T00:00"), None) == date(2026, 3, 3)
    assert always.ship_day(at("2026-03-04T00:01"), None) == date(2026, 3, 4)
    assert always.ship_day(at("2026-03-04T00:00"), 14 * 60) == date(2026, 3, 4)
    assert always.may_end(at("2026-03-04T00:00"))
    assert always.may_start(at("2026-03-04T00:00"))


@pytest.mark.parametrize("finish", ["2026-02-27T09:00", "2026-03-01T23:59", "2026-03-02T00:00"])
def test_nothing_ships_before_the_planning_date(finish: str) -> None:
    """Where a point never closes, midnight is the closing of a day that is over."""
    assert hours(ALWAYS, "always").ship_day(at(finish), None) == AS_OF
    assert hours(ALWAYS, "always").ship_day(at(finish), 14 * 60) == AS_OF


def test_what_is_usable_by_opening_ships_that_day() -> None:
    usual = hours()
    assert usual.first_shipping_day(at("2026-03-02T08:00")) == date(2026, 3, 2)
    assert usual.first_shipping_day(at("2026-03-02T08:01")) == date(2026, 3, 3)
    assert usual.first_shipping_day(at("2026-03-06T09:00")) == date(2026, 3, 9)
    assert usual.first_shipping_day(at("2026-03-07T00:00")) == date(2026, 3, 9)


@pytest.mark.parametrize(
    ("day", "days", "arrives"),
    [
        ("2026-03-02", 0, "2026-03-02"),
        ("2026-03-06", 1, "2026-03-09"),  # Friday and a carrier day
        ("2026-03-07", 1, "2026-03-09"),  # Saturday too
        ("2026-03-07", 5, "2026-03-13"),
        ("2026-03-02", 12, "2026-03-18"),  # two weeks and two days
    ],
)
def test_carriers_travel_monday_to_friday(day: str, days: int, arrives: str) -> None:
    assert carrier_days_after(date.fromisoformat(day), days) == date.fromisoformat(arrives)

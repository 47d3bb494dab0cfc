"""The last day to order, and what an order of today brings."""

from __future__ import annotations

import dataclasses
from datetime import date, timedelta

import pytest
import small_shop
from fulfil_models.offers import offers
from fulfil_models.order_days import OpenDays, OrderDays
from fulfil_models.settings import Settings
from fulfil_models.tables import Closure, Dataset, Lane, Source

SETTINGS = Settings(as_of=small_shop.AS_OF)  # Monday 2026-03-02
DATA, PLAN = small_shop.dataset(), small_shop.plan()
TO_RNO = Source(part="ENG-A", supplier="S1", point="RNO", lead_days=10)
FRIDAY, SUNDAY = date(2026, 3, 6), date(2026, 3, 8)


def ways(data: Dataset) -> OrderDays:
    return OrderDays(data, "ENG-A", OpenDays(data, small_shop.AS_OF))


def test_what_comes_on_a_closed_day_is_usable_on_the_next_open_one() -> None:
    days = OpenDays(DATA, small_shop.AS_OF)
    assert days.until("BOI", SUNDAY) == FRIDAY
    assert days.onward("BOI", SUNDAY) == date(2026, 3, 9)
    shut = dataclasses.replace(DATA, closures=(Closure(calendar="standard", day=FRIDAY),))
    assert OpenDays(shut, small_shop.AS_OF).until("BOI", SUNDAY) == date(2026, 3, 5)


def test_days_before_the_planning_date_count_too() -> None:
    # Sunday 2025-11-30 to Friday 2025-11-28
    assert OpenDays(DATA, small_shop.AS_OF).until("BOI", date(2025, 11, 30)) == date(2025, 11, 28)


def test_a_lane_every_day_leaves_when_its_origin_is_open() -> None:
    days = OpenDays(DATA, small_shop.AS_OF)
    assert days.departure(Lane(origin="RNO", destination="BOI", days=1), SUNDAY) == FRIDAY
    tuesdays = Lane(origin="RNO", destination="BOI", days=1, weekdays=("Tue",))
    assert days.departure(tuesdays, SUNDAY) == date(2026, 3, 3)


@pytest.mark.parametrize(
    ("wanted", "last"),
    [
        (date(2026, 3, 4), date(2026, 2, 14)),  # leaves 02-24, arrives 02-26; 10 days before it
        (date(2026, 3, 5), date(2026, 2, 21)),  # leaves 03-03
        (date(2026, 3, 11), date(2026, 2, 21)),  # 03-10 is too late: still 03-03
        (date(2026, 3, 12), date(2026, 2, 28)),  # leaves 03-10
    ],
)
def test_a_lane_with_departure_days(wanted: date, last: date) -> None:
    assert ways(dataclasses.replace(DATA, sources=(TO_RNO,))).last("BOI", wanted) == last


def test_the_last_day_is_the_last_by_trying_every_day() -> None:
    # forwards, day by day: order, arrive at RNO, wait for the next Tuesday, two days to BOI
    way = ways(dataclasses.replace(DATA, sources=(TO_RNO,)))

    def there(ordered: date) -> date:
        leaves = way.days.onward("RNO", ordered + timedelta(10))
        while leaves.weekday() != 1:
            leaves += timedelta(1)
        return way.days.onward("BOI", leaves + timedelta(2))

    for later in range(30):
        wanted = way.days.onward("BOI", small_shop.AS_OF + timedelta(later))
        last = way.last("BOI", wanted)
        assert last is not None
        assert there(last) <= wanted < there(last + timedelta(1))


def test_the_better_of_two_ways_counts() -> None:
    # straight to BOI in 21 days: for 03-12 by 02-19; over RNO by 02-28
    assert ways(DATA).last("BOI", date(2026, 3, 12)) == date(2026, 2, 19)
    both = dataclasses.replace(DATA, sources=(*DATA.sources, TO_RNO))
    assert ways(both).last("BOI", date(2026, 3, 12)) == date(2026, 2, 28)
    assert ways(both).shortest("BOI") == 12
    assert ways(both).last("BOI", date(2026, 3, 12), hurried=True) is None


def test_nobody_delivers() -> None:
    nobody = dataclasses.replace(DATA, sources=())
    assert ways(nobody).last("BOI", FRIDAY) is None
    assert ways(nobody).shortest("BOI") is None


def test_an_order_of_today() -> None:
    hurried = dataclasses.replace(
        DATA.sources[0], lead_days=20, expedite_days=7, expedite_cost_micro=80_000_000
    )
    data = dataclasses.replace(DATA, sources=(hurried,))
    (offer,) = offers(data, SETTINGS, ways(data), "ENG-A", PLAN.supplies)
    assert offer.usable_on == date(2026, 3, 23)  # arrives on Sunday the 22nd
    assert offer.expedited_on == date(2026, 3, 16)  # on Sunday the 15th
    assert offer.expedite_cost_micro == 80_000_000
    # of 2 a month one comes with P1 and one with the new order of the plan
    assert (offer.monthly_cap_milli, offer.month_left_milli) == (2000, 0)
    (alone,) = offers(data, SETTINGS, ways(data), "ENG-A", ())
    assert alone.month_left_milli == 1000


def test_the_cap_of_another_month_is_whole() -> None:
    source = dataclasses.replace(DATA.sources[0], lead_days=35)  # 2026-04-06
    data = dataclasses.replace(DATA, sources=(source,))
    (offer,) = offers(data, SETTINGS, ways(data), "ENG-A", PLAN.supplies)
    assert (offer.usable_on, offer.month_left_milli) == (date(2026, 4, 6), 2000)

"""The last day to order, and what an order of today brings."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Iterator
from datetime import date, timedelta
from itertools import permutations
from random import Random

import pytest
import small_shop
from fulfil_models.offers import offers
from fulfil_models.order_days import OpenDays, OrderDays
from fulfil_models.settings import Settings
from fulfil_models.tables import Closure, Dataset, Lane, Point, Source

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


def test_a_source_of_which_nothing_can_be_ordered_is_no_way() -> None:
    # to BOI in 21 days: for Thursday 12 March by 19 February. In 3 days no order comes, since it
    # would be of five at least, of which two a month are let go; with a cap of five it does
    slow = Source(part="ENG-A", supplier="S1", point="BOI", lead_days=21)
    fast = dataclasses.replace(
        slow, supplier="S2", lead_days=3, minimum_milli=5000, monthly_cap_milli=2000
    )
    wanted = date(2026, 3, 12)

    def told(*sources: Source) -> tuple[date | None, int | None, list[str]]:
        data = dataclasses.replace(DATA, sources=sources)
        way = ways(data)
        rows = offers(data, SETTINGS, way, "ENG-A", ())
        return way.last("BOI", wanted), way.shortest("BOI"), [row.supplier for row in rows]

    assert told(slow, fast) == (date(2026, 2, 19), 21, ["S1"])
    assert told(fast) == (None, None, [])
    fits = dataclasses.replace(fast, monthly_cap_milli=5000)
    assert told(slow, fits) == (date(2026, 3, 9), 3, ["S2", "S1"])


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


def test_an_order_of_the_first_day_on_which_orders_may_be_placed() -> None:
    # 8 days later than today
    later = dataclasses.replace(SETTINGS, orders_from=SETTINGS.as_of + timedelta(8))
    source = dataclasses.replace(DATA.sources[0], lead_days=20, expedite_days=7)
    data = dataclasses.replace(DATA, sources=(source,))
    (offer,) = offers(data, later, ways(data), "ENG-A", ())
    assert offer.usable_on == date(2026, 3, 30)  # Monday; today it were Sunday the 22nd
    assert offer.expedited_on == date(2026, 3, 23)


def test_the_cap_of_another_month_is_whole() -> None:
    source = dataclasses.replace(DATA.sources[0], lead_days=35)  # 2026-04-06
    data = dataclasses.replace(DATA, sources=(source,))
    (offer,) = offers(data, SETTINGS, ways(data), "ENG-A", PLAN.supplies)
    assert (offer.usable_on, offer.month_left_milli) == (date(2026, 4, 6), 2000)


# ---- many points with lanes from each to each


def web(seed: int, points: int) -> Dataset:
    """Lanes between all points but a few, and sources at two of them."""
    random = Random(seed)
    names = [f"P{i}" for i in range(points)]
    lanes = (
        Lane(
            origin=a,
            destination=b,
            days=random.randint(0, 5),
            weekdays=random.choice(((), ("Tue",), ("Mon", "Thu"), ("Sat",))),
        )
        for a, b in permutations(names, 2)
        if random.random() < 0.8
    )
    sources = (
        Source(
            part="ENG-A",
            supplier="S1",
            point=name,
            lead_days=random.randint(0, 40),
            expedite_days=random.choice((None, 5)),
        )
        for name in names[1:3]
    )
    return Dataset(
        points=tuple(Point(point=name) for name in names),
        lanes=tuple(lanes),
        sources=tuple(sources),
    )


def by_every_way(way: OrderDays, data: Dataset, wanted: date, hurried: bool) -> Iterator[date]:
    """When an order for P0 is to be placed by each way of up to four lanes that never comes back
    to a point."""
    into = {(row.destination, row.origin): row for row in data.lanes}
    names = [row.point for row in data.points if row.point != "P0"]
    for legs in range(5):
        for calls in permutations(names, legs):
            place, by = "P0", wanted
            for before in calls:
                lane = into.get((place, before))
                if lane is None:
                    break
                leaves = way.days.until(place, by) - timedelta(lane.days)
                place, by = before, way.days.departure(lane, leaves)
            else:
                for row in way.sources.get(place, ()):
                    if row.expedite_days or not hurried:
                        lead = row.lead_days - (row.expedite_days or 0) * hurried
                        yield way.days.until(place, by) - timedelta(max(0, lead))


@pytest.mark.parametrize("seed", range(12))
def test_no_way_is_forgotten(seed: int) -> None:
    data = web(seed, 5)
    way = ways(data)
    for later in (0, 11, 25):
        wanted = small_shop.AS_OF + timedelta(later)
        for hurried in (False, True):
            last = max(by_every_way(way, data, wanted, hurried), default=None)
            assert way.last("P0", wanted, hurried=hurried) == last
    plain = Dataset(
        points=data.points,
        lanes=tuple(dataclasses.replace(row, weekdays=()) for row in data.lanes),
        sources=data.sources,
    )
    # where every day counts as open, the shortest lead is how long before it is to be ordered
    far = small_shop.AS_OF + timedelta(4000)
    last = max(by_every_way(ways(plain), plain, far, hurried=False))
    assert ways(plain).shortest("P0") == (far - last).days


def test_many_points_take_no_time() -> None:
    """Of 12 points each has 9,031 ways of up to four lanes into it; lists of parts ask often."""
    data = web(1, 12)
    way = ways(data)
    way.last("P0", FRIDAY)  # makes the calendars
    began = time.process_time()
    for later in range(100):
        way.last("P0", FRIDAY + timedelta(later))
        way.shortest("P0")
    assert time.process_time() - began < 2

"""From which points a line of a parts order could ship."""

from __future__ import annotations

import dataclasses
from datetime import date

import small_shop
from fulfil_models.order_lines import order_lines
from fulfil_models.sending import sending_points
from fulfil_models.settings import Settings
from fulfil_models.tables import Delivery

SETTINGS = Settings(as_of=small_shop.AS_OF)
DATA, PLAN = small_shop.dataset(), small_shop.plan()


def test_what_each_point_has_to_spare() -> None:
    first, second = order_lines(DATA, PLAN)
    rows = sending_points(DATA, SETTINGS, PLAN, first)
    assert [(row.point, row.free_milli, row.others_milli, row.spare_milli) for row in rows] == [
        ("RNO", 3000, 0, 3000),
        ("BOI", 2000, 0, 2000),
    ]
    # to the other order nothing is left: O1 takes 2 and 3
    rows = sending_points(DATA, SETTINGS, PLAN, second)
    assert [(row.point, row.others_milli, row.spare_milli) for row in rows] == [
        ("BOI", 2000, 0),
        ("RNO", 3000, 0),
    ]


def test_when_it_would_arrive_and_at_what_cost() -> None:
    first, second = order_lines(DATA, PLAN)
    reno, boise = sending_points(DATA, SETTINGS, PLAN, first)
    assert (reno.carrier_days, reno.arrives_on) == (1, date(2026, 3, 3))
    assert (boise.carrier_days, boise.arrives_on) == (2, date(2026, 3, 4))
    # 5 lamps of 1 kg: 8 + 5 x 1 from RNO, 12 + 5 x 1 from BOI
    assert (reno.cost_micro, boise.cost_micro) == (13_000_000, 17_000_000)
    # ten are on order to BOI, taken to come on 03-09
    assert (boise.next_milli, boise.next_on) == (10_000, date(2026, 3, 9))
    assert (reno.next_milli, reno.next_on) == (None, None)
    # nothing is delivered from RNO to US-ID
    other = next(r for r in sending_points(DATA, SETTINGS, PLAN, second) if r.point == "RNO")
    assert (other.carrier_days, other.arrives_on, other.cost_micro) == (None, None, None)


def test_carrier_days_pass_over_the_weekend() -> None:
    friday = Settings(as_of=date(2026, 3, 6))
    first, _ = order_lines(DATA, PLAN)
    reno, boise = sending_points(DATA, friday, PLAN, first)
    assert (reno.arrives_on, boise.arrives_on) == (date(2026, 3, 9), date(2026, 3, 10))


def test_the_longest_match_of_the_destination_wins() -> None:
    near = Delivery(point="BOI", destination="US-N", days=9)
    first, _ = order_lines(DATA, PLAN)
    data = dataclasses.replace(DATA, deliveries=(near, *DATA.deliveries))
    boise = next(r for r in sending_points(data, SETTINGS, PLAN, first) if r.point == "BOI")
    assert boise.carrier_days == 2


def test_points_with_nothing_of_it_are_left_out() -> None:
    data = dataclasses.replace(
        DATA, stock=tuple(row for row in DATA.stock if row.point != "RNO"), purchases=()
    )
    first, _ = order_lines(DATA, PLAN)
    assert [row.point for row in sending_points(data, SETTINGS, PLAN, first)] == ["BOI"]

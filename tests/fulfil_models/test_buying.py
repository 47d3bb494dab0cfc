"""When what is bought is ordered, what it costs, when it is expedited: by hand on a tiny shop."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from buying_cases import SETTINGS, SLOW, UNIT, bought, days_of, on, only, took
from fulfil_models.cells import MICRO
from fulfil_models.order_days import order_on
from oracle_plan import best_plan
from tiny_shop import (
    AS_OF,
    build,
    hurried,
    march,
    shop,
    source,
)

# ---- the day to place an order


def test_an_order_is_placed_so_early_that_90_of_100_come_in_time() -> None:
    # 25 - 14 = 11, stated to come on 11 + 10 = 21
    line = only(bought(shop(sources=(source(10),), receipts=SLOW, builds=on(25))))
    assert days_of(line) == (march(11), march(21), march(25), 0)
    assert (line.quantity_milli, line.firm_milli, line.needed_on) == (UNIT, UNIT, march(25))
    assert [(row.who, row.late_days) for row in line.served] == [("B1", 0)]


def test_without_a_record_what_is_stated_stands() -> None:
    line = only(bought(shop(sources=(source(10),), builds=on(25))))
    assert days_of(line) == (march(15), march(25), march(25), 0)


def test_what_cannot_be_placed_so_early_is_placed_at_once() -> None:
    # 13 - 14 is before the 2nd; stated to come on the 12th, by the record on the 16th
    found = bought(shop(sources=(source(10),), receipts=SLOW, builds=on(13)))
    assert days_of(only(found)) == (march(2), march(12), march(16), 3)
    assert found.short == ()


def test_no_order_is_placed_before_orders_may_be() -> None:
    """Orders from the 9th on. Wanted on the 25th, in 10 days: the 15th is late enough; wanted on
    the 16th the order stands on the 9th, comes on the 19th, three days late."""
    later = replace(SETTINGS, orders_from=march(9))
    line = only(bought(shop(sources=(source(10),), builds=on(25)), settings=later))
    assert days_of(line) == (march(15), march(25), march(25), 0)
    # the plan that waits does not start before the 19th, so that is what it orders for
    data = shop(sources=(source(10),), builds=on(16))
    line = only(bought(data, settings=later))
    assert days_of(line) == (march(9), march(19), march(19), 0)
    # beside a plan that could order today it is late
    line = only(bought(data, plan=best_plan(data, SETTINGS)[0], settings=later))
    assert days_of(line) == (march(9), march(19), march(19), 3)


def test_what_the_plan_expedites_sooner_than_it_may_be_ordered_is_ordered_anew() -> None:
    """10 days, or 4 expedited: the plan has it on the 6th for a build of that day. If orders wait
    for the 9th, it comes on the 13th, expedited: 7 days sooner than the 19th are worth 50."""
    data = shop(sources=(hurried(10, 6, 50),), builds=on(6))
    plan = best_plan(data, SETTINGS)[0]
    line = only(bought(data, plan=plan))
    assert (line.place_on, line.due_on, line.expedited) == (march(2), march(6), True)
    line = only(bought(data, plan=plan, settings=replace(SETTINGS, orders_from=march(9))))
    assert (line.place_on, line.due_on, line.expedited) == (march(9), march(13), True)


@pytest.mark.parametrize("price", [None, 0, 10 * MICRO])
@pytest.mark.parametrize("share", [0, SETTINGS.holding_share_ppm])
def test_nothing_is_ordered_early_for_costing_nothing_to_keep(
    price: int | None, share: int
) -> None:
    """Wanted on 15 December, in 10 days: to be placed on the 5th, though nothing that the order
    costs tells the months apart."""
    day = date(2026, 12, 15)
    data = shop(sources=(source(10, price_micro=price),), builds=(build("B1", day, earliest=day),))
    terms = replace(SETTINGS, holding_share_ppm=share)
    line = only(bought(data, settings=terms))
    assert (line.place_on, line.due_on) == (date(2026, 12, 5), day)


# ---- what it costs, and on which day somebody orders it


def test_without_a_price_the_cost_of_the_part_stands_beside() -> None:
    terms = source(10, minimum_milli=3 * UNIT)
    data = shop(sources=(terms,), builds=on(25))
    parts = tuple(
        replace(row, cost_micro=7 * MICRO if row.part == "ENGINE" else None) for row in data.parts
    )
    found = bought(replace(data, parts=parts))
    line = only(found)
    assert (line.price_micro, line.cost_micro, line.estimate_micro) == (None, None, 21 * MICRO)
    assert found.buying_micro == line.estimate_micro
    priced = replace(terms, price_micro=9 * MICRO)
    line = only(bought(replace(data, parts=parts, sources=(priced,))))
    assert (line.cost_micro, line.estimate_micro) == (27 * MICRO, None)
    line = only(bought(data))
    assert (line.cost_micro, line.estimate_micro) == (None, None)


@pytest.mark.parametrize(
    ("place_on", "first", "ordered"),
    [
        (6, 2, 6),  # a Friday
        (7, 2, 6),
        (8, 6, 6),
        (7, 7, 7),  # that Friday is past
        (8, 7, 8),
        (9, 2, 9),
    ],
)
def test_of_a_weekend_it_is_ordered_on_the_friday_before(
    place_on: int, first: int, ordered: int
) -> None:
    assert order_on(march(place_on), march(first)) == march(ordered)


# ---- expediting


@pytest.mark.parametrize(("cost", "hurried"), [(5999, True), (6000, False)])
def test_expediting_pays_where_it_saves_more_lateness(cost: int, hurried: bool) -> None:
    # half come after 20 days, on the 22nd, 10 after the 12th: 6 days sooner save 6 x 1000
    terms = source(10, expedite_days=6, expedite_cost_micro=cost * MICRO)
    data = shop(sources=(terms,), receipts=took(20, 20, 20, 20, 20), builds=on(12))
    line = only(bought(data))
    assert line.expedited == hurried
    assert line.due_on == (march(6) if hurried else march(12))
    assert line.saves_micro == (6000 * MICRO if hurried else 0)
    assert line.expedite_cost_micro == (cost * MICRO if hurried else 0)


def test_what_the_plan_expedites_is_bought_so() -> None:
    # 5 days late at 1000 a day, or expedited for 100
    terms = source(10, expedite_days=7, expedite_cost_micro=100 * MICRO)
    data = shop(sources=(terms,), builds=on(5))
    line = only(bought(data))
    assert (line.expedited, line.place_on, line.due_on) == (True, AS_OF, march(5))

"""What is said of orders to place: on which day, at what cost, and whether it is too late."""

from __future__ import annotations

import dataclasses
from datetime import date

import pytest
import small_shop
from fulfil_models.new_orders import NewOrder, new_orders
from fulfil_models.settings import Settings
from fulfil_models.shortages import Shortage, shortage

from fulfil.render.part_state import state
from fulfil.render.purchasing import purchases_page
from fulfil.usecases.basis import Basis
from fulfil.usecases.purchasing import PurchasesAnswer

DATA, PLAN = small_shop.dataset(), small_shop.plan()
(ORDER,) = new_orders(DATA, PLAN)

SATURDAY, FRIDAY = date(2026, 3, 7), date(2026, 3, 6)


def on(day: date) -> NewOrder:
    """The order of the small shop, to be placed on another day."""
    return dataclasses.replace(ORDER, place_on=day, latest_on=day)


def text(as_of: date, *orders: NewOrder) -> str:
    answer = PurchasesAnswer(Basis(1, as_of, False), "USD", len(orders), None, False, orders)
    return " ".join(line.strip() for line in purchases_page(answer, every=True).lines(100))


BEFORE = "place it on the Friday before"
NEXT = "on the next working day, after which it comes as many days later"


@pytest.mark.parametrize(
    ("as_of", "days", "expected"),
    [
        # planned on Monday 2 March: Friday the 6th is still to come
        (date(2026, 3, 2), [SATURDAY], f"{BEFORE}$"),
        (FRIDAY, [SATURDAY], f"{BEFORE}$"),
        # planned on the Saturday itself, or on the Sunday: that Friday is past
        (SATURDAY, [SATURDAY], f"place it {NEXT}$"),
        (date(2026, 3, 8), [date(2026, 3, 8)], f"place it {NEXT}$"),
        # the one of the next weekend has its Friday before it
        (SATURDAY, [SATURDAY, date(2026, 3, 15)], f"{BEFORE}, or if that is past {NEXT}$"),
    ],
)
def test_an_order_for_a_weekend_is_placed_on_a_day_that_is_still_to_come(
    as_of: date, days: list[date], expected: str
) -> None:
    told = text(as_of, *map(on, days)) + "$"
    assert "to place on a Saturday or Sunday, marked *" in told
    assert told.endswith(expected)


def test_what_falls_on_a_weekend_is_placed_on_the_friday() -> None:
    assert ": 1 to place today, 1 until 2026-03-12;" in text(FRIDAY, on(SATURDAY))
    assert ": 0 to place today, 1 until 2026-03-11;" in text(date(2026, 3, 5), on(SATURDAY))
    # a week from Saturday the 28th ends on Friday the 6th; a past Friday is no day to order
    assert ": 0 to place today, 1 until 2026-03-06;" in text(date(2026, 2, 28), on(SATURDAY))
    assert ": 0 to place today, 1 until 2026-03-13;" in text(SATURDAY, on(date(2026, 3, 8)))


def test_nothing_is_said_of_weekends_where_there_is_none() -> None:
    assert "Saturday" not in text(FRIDAY, on(FRIDAY))


def test_an_amount_is_told_where_something_has_a_price() -> None:
    bare = dataclasses.replace(ORDER, price_micro=None, cost_micro=None)
    hurried = dataclasses.replace(bare, expedited=True, expedite_cost_micro=75_000_000)
    assert text(FRIDAY, ORDER).startswith("the plan counts on 1 new order, USD 1,500.00: ")
    assert text(FRIDAY, ORDER, bare).startswith(
        "the plan counts on 2 new orders, USD 1,500.00 without 1 that have no price: "
    )
    assert text(FRIDAY, bare, bare).startswith("the plan counts on 2 new orders, without a price: ")
    assert text(FRIDAY, hurried).startswith(
        "the plan counts on 1 new order, USD 75.00 without 1 that have no price: "
    )


def last_day(row: Shortage) -> str:
    """What is said of the last day to order."""
    told = " ".join(line.strip() for line in state(row, 100))
    return told[told.index("last day") :]


def test_a_last_day_before_the_customer_ordered_is_said_to_be_that() -> None:
    # B3 waits: 21 days of lead time before 4 March are 11 February, 19 days before 2 March
    engine = shortage(DATA, Settings(as_of=small_shop.AS_OF), PLAN, "ENG-A")
    assert (engine.order_for, engine.order_by) == ("B3", date(2026, 2, 11))
    for since in (date(2026, 2, 2), date(2026, 2, 11), None):
        row = dataclasses.replace(engine, order_for_since=since)
        assert last_day(row) == (
            "last day      to order in time was 2026-02-11, 19 days ago (B3, lead time 21 days)"
        )
    row = dataclasses.replace(engine, order_for_since=date(2026, 2, 12))
    assert last_day(row) == (
        "last day      to order in time was 2026-02-11, 19 days ago and before B3 was ordered "
        "(lead time 21 days)"
    )

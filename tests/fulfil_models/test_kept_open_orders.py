"""On which orders a promise kept open counts, beside another plan: each rule alone.

The shop of `tiny_shop`: engines come from S, so many days after they are ordered.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from beside_books import QUOTED, quoted
from fulfil_models.cells import MILLI
from fulfil_models.kept_open import apart, held, orders_now, placed_together
from fulfil_models.plan import SupplyKind
from fulfil_models.tables import Dataset, Purchase
from fulfil_models.taken import ORDERED, TOGETHER, Taken, purchase_key
from tiny_shop import AS_OF, SETTINGS, hurried, march, purchase, shop, source

TERMS = source(10, 4, minimum_milli=2 * MILLI, multiple_milli=2 * MILLI)
DATA = shop(sources=(TERMS,))


def order(name: str, due: date, units: int = 2, **more: Any) -> Purchase:
    """An order that a plan counts on."""
    return purchase(name, due, units, line=ORDERED, ordered=AS_OF, **more)


def plan(*orders: Purchase, drawn: int = 0) -> Taken:
    """What a plan orders; of each order it draws so many units."""
    lots = {purchase_key(row.order, row.line): drawn * MILLI for row in orders}
    return Taken(lots, orders)


FIRST = order("first", march(12))
"""the order of the plan beside which the quote was made; one engine of it is held"""
PIECE = quoted(DATA, plan(FIRST, drawn=1))


def now(other: Taken, others: dict[Any, int] | None = None) -> dict[str, str]:
    """By the order that the quote was put beside: the one of another plan that it draws on."""
    found = orders_now(PIECE, DATA, (FIRST,), other, others or {})
    return {old: row.order for old, row in found.items()}


def test_the_quote_counts_on_the_order_of_its_plan() -> None:
    (row,) = PIECE.supplies
    assert (row.kind, row.order, row.line) == (SupplyKind.PURCHASE, "first", ORDERED)


# ---- beside another plan


def test_the_same_order_before_another() -> None:
    assert now(plan(order("later", march(12)), FIRST)) == {"first": "first"}


def test_of_others_the_latest_that_is_in_time() -> None:
    rows = order("soon", march(10)), order("just", march(12)), order("late", march(13))
    assert now(plan(*rows)) == {"first": "just"}
    assert now(plan(rows[2])) == {}


def test_only_what_is_of_the_part_and_comes_to_the_point() -> None:
    rows = order("other", march(12), part="ENGINE2"), order("there", march(12), point="B")
    assert now(plan(*rows)) == {}


def test_only_what_the_plan_and_other_holds_leave() -> None:
    # of two engines the plan has one, so there is one left, and none if somebody else holds it
    other = plan(order("other", march(12)), drawn=1)
    assert now(other) == {"first": "other"}
    assert now(plan(order("other", march(12)), drawn=2)) == {}
    assert now(other, {purchase_key("other", ORDERED): MILLI}) == {}


def test_what_a_hold_draws_on_an_order_of_another_plan_is_all_that_it_takes_of_it() -> None:
    other = order("other", march(12))
    taken = held(PIECE, DATA, "Q7:", own=True, orders=(FIRST,), now={"first": other})
    assert taken.orders == ()
    assert taken.lots_milli == {purchase_key("other", ORDERED): MILLI}


def test_without_such_an_order_it_has_one_of_its_own() -> None:
    (row,) = apart(PIECE, DATA, "Q7:", own=True, orders=(FIRST,)).supplies
    assert (row.kind, row.quantity_milli) == (SupplyKind.NEW_PURCHASE, MILLI)
    assert (row.place_on, row.arrives_on, row.expedited) == (AS_OF, march(12), False)


# ---- with a plan that is to come


def together(
    row: Purchase = FIRST, data: Dataset = DATA, *others: Purchase, hurried: bool = False
) -> bool:
    found = placed_together({"first": row}, data, SETTINGS, others, hurried=hurried)
    assert set(found) <= {"first"}
    assert all(found[name] == replace(row, line=TOGETHER) for name in found)
    return bool(found)


def test_an_order_that_can_be_placed_as_it_is() -> None:
    assert together()


@pytest.mark.parametrize(
    "row",
    [
        replace(FIRST, ordered=date(2026, 3, 1)),  # a day ago
        order("first", march(11)),  # a day less than the lead time
        order("first", march(12), units=3),  # no multiple of two
        order("first", march(12), units=6),  # above the cap
        order("first", march(12), supplier="OTHER"),  # not a source
    ],
)
def test_an_order_that_cannot(row: Purchase) -> None:
    assert not together(row)


def test_an_order_below_the_minimum_cannot() -> None:
    assert not together(data=shop(sources=(replace(TERMS, minimum_milli=4 * MILLI),)))


def test_what_else_comes_in_the_month_counts_in_the_cap() -> None:
    # four a month: two on order leave room for these two, three do not, nor do two of a hold and
    # one on order; what comes in April is no matter
    assert together(data=replace(DATA, purchases=(purchase("P1", march(20), 2),)))
    assert not together(data=replace(DATA, purchases=(purchase("P1", march(20), 3),)))
    one = replace(DATA, purchases=(purchase("P1", march(20), 1),))
    assert not together(FIRST, one, order("Q1:own", march(30)))
    assert together(FIRST, one, order("Q1:own", date(2026, 4, 1)))


def test_an_order_that_two_holds_count_on_is_placed_once() -> None:
    full = replace(DATA, purchases=(purchase("P1", march(20), 2),))
    assert together(FIRST, full, replace(FIRST, line=TOGETHER))


def test_of_two_orders_the_cap_takes_the_first() -> None:
    rows = {name: order(name, march(12), units=4) for name in ("first", "second")}
    assert set(placed_together(rows, DATA, SETTINGS, (), hurried=False)) == {"first"}


def test_an_expedited_order_only_for_a_plan_that_is_gone_on_with() -> None:
    data = shop(sources=(hurried(10, 4, 100),))
    row = order("first", march(8))
    assert not together(row, data)
    assert together(row, data, hurried=True)
    assert not together(order("first", march(7)), data, hurried=True)


def test_what_is_placed_together_is_there_for_others_beyond_what_is_held() -> None:
    now = {"first": replace(FIRST, line=TOGETHER)}
    taken = held(PIECE, DATA, "Q7:", own=True, orders=(FIRST,), now=now)
    assert taken.orders == (now["first"],)
    assert taken.lots_milli == {purchase_key("first", TOGETHER): MILLI}
    both = taken + held(PIECE, DATA, "Q8:", own=True, orders=(FIRST,), now=now)
    assert both.orders == taken.orders
    assert both.lots_milli == {purchase_key("first", TOGETHER): 2 * MILLI}


def test_the_plan_to_come_orders_for_both() -> None:
    # two engines of an order by twos: the hold has one, the machine of the plan the other
    now = {"first": replace(FIRST, line=TOGETHER)}
    taken = held(PIECE, DATA, "Q7:", own=True, orders=(FIRST,), now=now)
    made = quoted(DATA, taken, replace(QUOTED, build="B1"))
    (row,) = made.supplies
    assert (row.kind, row.quantity_milli) == (SupplyKind.NEW_PURCHASE, 2 * MILLI)
    assert (row.place_on, row.arrives_on, row.expedited) == (AS_OF, march(12), False)

"""What a promise kept open has taken: by hand on the tiny shop."""

from __future__ import annotations

from dataclasses import replace

import pytest
from beside_books import (
    beside_an_order,
    both,
    broken,
    hold,
    listed,
    monday,
    quoted,
    searched,
)
from fulfil_models.cells import MILLI
from fulfil_models.kept_open import apart, held
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.taken import (
    NOTHING,
    ORDERED,
    joined,
    purchase_key,
    stock_key,
    taken_by,
)
from tiny_shop import (
    SETTINGS,
    build,
    lane,
    march,
    purchase,
    shop,
    source,
    stock,
)


def test_all_that_a_hold_takes_is_said_to_be_its_own() -> None:
    data = shop(stock=(stock(1),))
    taken = hold(data)
    assert taken.lots_milli == {stock_key("A", "ENGINE"): MILLI}
    assert [(row.who, row.starts, row.stations) for row in taken.busy] == [("Q7", monday(8), 1)]
    assert {row.who for row in taken.holdings} == {"Q7"}
    assert taken.drawers == {stock_key("A", "ENGINE"): ("Q7",)}
    named = held(quoted(data), data, "Q7:", own=True, who="hold 7")
    assert {row.who for row in (*named.busy, *named.holdings)} == {"hold 7"}


def test_of_an_order_of_its_own_nothing_is_left_to_others() -> None:
    # the least order is three engines, here on 03-12; the machine takes one
    data = shop(sources=(source(10, minimum_milli=3 * MILLI),))
    for own in (True, False):
        taken = held(quoted(data), data, "Q7:", own)
        (row,) = taken.orders
        assert row.order.startswith("Q7:")
        assert (row.line, row.due, row.quantity_milli) == (ORDERED, march(12), 3 * MILLI)
        assert taken.lots_milli == {purchase_key(row.order, ORDERED): 3 * MILLI}


def test_beside_its_plan_a_hold_goes_on_drawing_on_the_orders_of_the_plan() -> None:
    data, plan, piece = beside_an_order()
    (bought,) = plan.supplies
    taken = held(piece, data, "Q7:", own=False)
    assert taken.orders == ()
    assert taken.lots_milli == {purchase_key(bought.supply, ORDERED): MILLI}
    whole = joined(plan, apart(piece, data, "Q7:", own=False))
    assert broken(both(data), whole, SETTINGS) == []
    assert [(s.kind, s.quantity_milli) for s in whole.supplies] == [
        (SupplyKind.NEW_PURCHASE, 2 * MILLI)
    ]


def test_beside_another_plan_a_hold_brings_orders_of_its_own() -> None:
    data, plan, piece = beside_an_order()
    orders = taken_by(plan, data).orders
    taken = held(piece, data, "Q7:", True, orders)
    (row,) = taken.orders
    assert row.order.startswith("Q7:")
    # for just one engine, on the day on which the old order was to come
    assert (row.supplier, row.part, row.point, row.quantity_milli) == ("S", "ENGINE", "A", MILLI)
    assert (row.ordered, row.due) == (march(2), march(12))
    assert taken.lots_milli == {purchase_key(row.order, ORDERED): MILLI}
    assert taken.drawers == {purchase_key(row.order, ORDERED): ("Q7",)}
    with pytest.raises(LookupError, match="give the new orders of the plan"):
        held(piece, data, "Q7:", own=True)


def test_an_expedited_order_stays_one() -> None:
    data = shop(
        builds=(build("B1", march(9)),),
        sources=(source(21, expedite_days=14, expedite_cost_micro=1, minimum_milli=2 * MILLI),),
    )
    plan = searched(data, SETTINGS)
    (bought,) = plan.supplies
    assert (bought.expedited, bought.arrives_on) == (True, march(9))
    piece = quoted(replace(data, sources=()), taken_by(plan, data))
    alone = apart(piece, data, "Q7:", True, taken_by(plan, data).orders)
    assert [(s.kind, s.expedited, s.arrives_on) for s in alone.supplies] == [
        (SupplyKind.NEW_PURCHASE, True, march(9))
    ]


def test_a_purchase_line_that_happens_to_be_called_so_is_no_order_of_a_plan() -> None:
    data = shop(
        builds=(build("B1", march(9)),),
        purchases=(purchase("P", march(9), units=2, line=ORDERED),),
    )
    plan = listed(data, SETTINGS)
    assert plan is not None
    piece = quoted(data, taken_by(plan, data))
    taken = held(piece, data, "Q7:", own=True)
    assert (taken.orders, taken.lots_milli) == ((), {purchase_key("P", ORDERED): MILLI})
    assert broken(both(data), joined(plan, piece), SETTINGS) == []


def test_two_holds_share_no_order() -> None:
    data = shop(sources=(source(10, cap=2),))
    piece = quoted(data)
    both_taken = sum((held(piece, data, f"Q{n}:", own=True) for n in (1, 2)), NOTHING)
    assert len({row.order for row in both_taken.orders}) == 2
    assert len(both_taken.lots_milli) == 2


def test_what_is_moved_from_an_order_keeps_to_it() -> None:
    """Engines come to B and are moved on to A: two holds do so on the same days."""
    data = shop(sources=(source(10, cap=2, point="B"),), lanes=(lane("B", "A", 1, move=50),))
    pieces = [apart(quoted(data, asked=build(n, None)), data, f"{n}:", True) for n in ("Q1", "Q2")]
    later = {row.job: row for row in pieces[1].operations}
    assert later["Q2"].start == pieces[0].operations[0].start  # they know nothing of each other
    moved = joined(pieces[0], pieces[1])
    by_name = {supply.supply: supply for supply in moved.supplies}
    for name in ("Q1", "Q2"):
        (peg,) = [peg for peg in moved.pegs if peg.job == name]
        transfer = by_name[peg.supply]
        assert transfer.kind is SupplyKind.TRANSFER
        assert transfer.quantity_milli == MILLI
        assert str(transfer.from_supply).startswith(f"{name}:")
    taken = held(quoted(data), data, "Q7:", own=True)
    assert list(taken.drawers.values()) == [("Q7",)]


def called(plan: Plan, name: str) -> Plan:
    """A plan of one supply, under another name."""
    (supply,) = plan.supplies
    return replace(
        plan,
        supplies=(replace(supply, supply=name),),
        pegs=tuple(replace(peg, supply=name) for peg in plan.pegs),
    )


def test_plans_are_joined_by_what_supplies_are_not_by_their_names() -> None:
    shelf = shop(stock=(stock(2),))
    first = quoted(shelf, asked=build("Q1", None))
    second = called(quoted(shelf, asked=build("Q2", None)), "another")
    (supply,) = joined(first, second).supplies
    assert (supply.supply, supply.quantity_milli) == (first.supplies[0].supply, 2 * MILLI)
    assert {peg.supply for peg in joined(first, second).pegs} == {supply.supply}
    bought = quoted(shop(purchases=(purchase("P", march(9)),)), asked=build("Q2", None))
    whole = joined(first, called(bought, supply.supply))
    assert [(s.supply, s.kind, s.quantity_milli) for s in whole.supplies] == [
        (supply.supply, SupplyKind.STOCK, MILLI),
        (f"{supply.supply}'", SupplyKind.PURCHASE, MILLI),
    ]
    assert {peg.job: peg.supply for peg in whole.pegs} == {
        "Q1": supply.supply,
        "Q2": f"{supply.supply}'",
    }

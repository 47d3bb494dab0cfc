"""New orders, moves, parts orders: the lists that purchasing and shipping work by."""

from __future__ import annotations

import dataclasses
from datetime import date, datetime

import small_shop
from fulfil_models.moves import moves
from fulfil_models.new_orders import new_orders, price_at
from fulfil_models.order_lines import order_lines
from fulfil_models.plan import Stranded, SupplyKind

DATA, PLAN = small_shop.dataset(), small_shop.plan()


def test_new_orders() -> None:
    (order,) = new_orders(DATA, PLAN)
    assert (order.place_on, order.supplier, order.part, order.arrives_on) == (
        date(2026, 3, 2),
        "S1",
        "ENG-A",
        date(2026, 3, 23),
    )
    assert order.cost_micro == 1_500_000_000  # 1 x 1500
    assert [use.who for use in order.for_whom] == ["B5"]


def test_an_expedited_order_costs_more() -> None:
    source = dataclasses.replace(DATA.sources[0], expedite_days=5, expedite_cost_micro=80_000_000)
    supplies = tuple(
        dataclasses.replace(row, expedited=True, quantity_milli=2000)
        if row.kind is SupplyKind.NEW_PURCHASE
        else row
        for row in PLAN.supplies
    )
    (order,) = new_orders(
        dataclasses.replace(DATA, sources=(source,)), dataclasses.replace(PLAN, supplies=supplies)
    )
    assert order.cost_micro == 3_000_000_000  # 2 x 1500
    assert order.expedite_cost_micro == 160_000_000  # 2 x 80


def test_how_much_of_an_order_is_used_and_how_long_it_can_wait() -> None:
    # 4 have to be ordered at once; B5 takes one, on Thursday 03-26 instead of Monday 03-23
    source = dataclasses.replace(DATA.sources[0], minimum_milli=4000, monthly_cap_milli=None)
    supplies = tuple(
        dataclasses.replace(row, quantity_milli=4000)
        if row.kind is SupplyKind.NEW_PURCHASE
        else row
        for row in PLAN.supplies
    )
    operations = tuple(
        dataclasses.replace(row, start=small_shop.march(26), end=small_shop.march(26, "12:00"))
        if (row.job, row.operation) == ("B5", 10)
        else row
        for row in PLAN.operations
    )
    plan = dataclasses.replace(PLAN, supplies=supplies, operations=operations)
    (order,) = new_orders(dataclasses.replace(DATA, sources=(source,)), plan)
    assert (order.quantity_milli, order.drawn_milli, order.minimum_milli) == (4000, 1000, 4000)
    assert (order.multiple_milli, order.monthly_cap_milli) == (None, None)
    assert (order.needed_on, order.latest_on) == (date(2026, 3, 26), date(2026, 3, 5))  # 21 days


def test_a_rationed_order_is_not_put_off_into_another_month() -> None:
    operations = tuple(
        dataclasses.replace(row, start=datetime(2026, 4, 9, 8), end=datetime(2026, 4, 9, 12))
        if (row.job, row.operation) == ("B5", 10)
        else row
        for row in PLAN.operations
    )
    (order,) = new_orders(DATA, dataclasses.replace(PLAN, operations=operations))
    assert order.needed_on == date(2026, 4, 9)
    assert order.latest_on == date(2026, 3, 10)  # arrives on 03-31, the last day of its month


def test_price_breaks() -> None:
    (source,), breaks = DATA.sources, list(DATA.price_breaks)
    assert price_at(4999, source, breaks) == 1_500_000_000
    assert price_at(5000, source, breaks) == 1_400_000_000
    assert price_at(5000, None, []) is None


def test_moves() -> None:
    (move,) = moves(DATA, PLAN)
    assert (move.leaves_on, move.origin, move.destination, move.arrives_on) == (
        date(2026, 3, 3),
        "RNO",
        "BOI",
        date(2026, 3, 5),
    )
    assert (move.weight_g, move.source, move.caution) == (
        40_000,
        SupplyKind.STOCK,
        "ship dry: ask the carrier",
    )
    assert [(use.who, use.at) for use in move.for_whom] == [("B3", small_shop.march(5))]
    assert move.needed_on == date(2026, 3, 5)


def test_parts_orders() -> None:
    split, late = order_lines(DATA, PLAN)
    assert [(p.point, p.quantity_milli, p.weight_g, p.source) for p in split.parcels] == [
        ("BOI", 2000, 2000, SupplyKind.STOCK),
        ("RNO", 3000, 3000, SupplyKind.STOCK),
    ]
    assert (split.late_days, split.ships, split.arrives) == (
        0,
        date(2026, 3, 2),
        date(2026, 3, 4),
    )
    assert (late.late_days, late.parcels[0].source) == (10, SupplyKind.PURCHASE)


def test_the_day_by_which_a_line_has_to_be_there() -> None:
    # ordered on Friday 02-20: Mon 23, Tue 24, Wed 25 February are three carrier days
    within = dataclasses.replace(DATA.parts_orders[1], promised=None, within_days=3, split=False)
    data = dataclasses.replace(DATA, parts_orders=(DATA.parts_orders[0], within))
    split, late = order_lines(data, PLAN)
    assert (late.arrive_by, late.split) == (date(2026, 2, 25), False)
    assert (split.arrive_by, split.split) == (None, True)  # bound by the day it ships


def test_each_parcel_says_what_it_is_taken_from() -> None:
    split, late = order_lines(DATA, PLAN)
    assert [[origin.first_point for origin in p.origins] for p in split.parcels] == [
        ["BOI"],
        ["RNO"],
    ]
    assert [(o.order, o.line) for p in late.parcels for o in p.origins] == [("P2", "1")]
    assert [parcel.late_days for parcel in (*split.parcels, *late.parcels)] == [0, 0, 10]


def test_a_line_that_can_never_be_filled_is_shown() -> None:
    plan = dataclasses.replace(
        PLAN,
        shipments=tuple(row for row in PLAN.shipments if row.order != "O2"),
        stranded=(Stranded("parts_order", "O2/1", ("LAMP",)),),
    )
    _, never = order_lines(DATA, plan)
    assert (never.order, never.parcels, never.lacks, never.ships) == ("O2", (), ("LAMP",), None)


def test_lists_survive_data_that_changed_after_the_plan() -> None:
    data = dataclasses.replace(DATA, parts=(), sources=(), price_breaks=(), parts_orders=())
    assert new_orders(data, PLAN)[0].cost_micro is None
    assert moves(data, PLAN)[0].weight_g is None
    assert [row.quantity_milli for row in order_lines(data, PLAN)] == [5000, 4000]

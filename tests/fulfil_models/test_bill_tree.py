"""Indented bills downwards and upwards."""

from __future__ import annotations

import dataclasses
from datetime import date

import small_shop
from fulfil_models.bill_tree import explode_build, explode_part
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import BillLine, Dataset
from fulfil_models.where_used import where_used


def problem(data: Dataset | None = None) -> Problem:
    return Problem(data or small_shop.dataset(), Settings(as_of=small_shop.AS_OF))


def test_the_bill_of_a_part() -> None:
    tree = explode_part(problem(), "TOWER", 2000)
    assert [
        (row.level, row.part, row.quantity_milli, row.operation, row.how) for row in tree.lines
    ] == [
        (1, "ENG-A", 2000, 10, "buy"),
        (1, "PUMP", 2000, 10, "buy"),
        (1, "KIT", 2000, 20, "phantom"),
        (2, "BOLT", 18_000, None, "buy"),  # 2 x 8 / 0.9 = 17.78, rounded up
        (1, "MAST", 2000, 20, "make"),
        (2, "BOLT", 8000, 10, "buy"),
    ]
    engine = tree.lines[0]
    assert [(place.point, place.free_milli) for place in engine.stock] == [
        ("BOI", 1000),  # 2 of which 1 is held
        ("RNO", 1000),
    ]
    assert engine.free_milli == 2000


def test_the_bill_of_a_build_has_its_options_and_rules() -> None:
    shop = problem()
    builds = {row.build: row for row in shop.dataset.builds}
    first = explode_build(shop, builds["B1"])
    pump = next(row for row in first.lines if row.part == "PUMP")
    assert (pump.quantity_milli, pump.why) == (2000, "option")  # 1 on the bill and 1 more
    assert first.rules == ()
    second = explode_build(shop, builds["B2"])
    valve = next(row for row in second.lines if row.part == "VALVE")
    assert (valve.quantity_milli, valve.why, valve.level) == (1000, "rule", 1)
    assert [(rule.region, rule.note) for rule in second.rules] == [("US-CA", "backflow protection")]


def test_effective_dates_are_those_of_the_order() -> None:
    data = small_shop.dataset()
    old = dataclasses.replace(data.bills[1], ends=date(2026, 2, 1))  # the pump, until then
    new = BillLine(
        parent="TOWER",
        component="LAMP",
        quantity_milli=1000,
        operation=10,
        starts=date(2026, 2, 2),
    )
    shop = problem(dataclasses.replace(data, bills=(data.bills[0], old, *data.bills[2:], new)))
    ordered = next(row for row in shop.dataset.builds if row.build == "B3")  # on 2026-02-02
    names = [row.part for row in explode_build(shop, ordered).lines]
    assert "LAMP" in names
    assert "PUMP" not in names
    earlier = dataclasses.replace(ordered, ordered=date(2026, 2, 1))
    names = [row.part for row in explode_build(shop, earlier).lines]
    assert "LAMP" not in names
    assert "PUMP" in names


def test_where_a_part_goes() -> None:
    found = where_used(problem(), "BOLT")
    assert [(row.level, row.part, row.each_milli, row.in_one_milli) for row in found.parents] == [
        (1, "KIT", 8000, 8889),  # 8 / 0.9
        (2, "TOWER", 1000, 8889),
        (1, "MAST", 4000, 4000),
        (2, "TOWER", 1000, 4000),
    ]
    assert [row.top for row in found.parents] == [False, True, False, True]
    # each of five towers takes 9 in its kit and 4 in its mast
    assert [(row.build, row.quantity_milli) for row in found.builds] == [
        (name, 13_000) for name in ("B1", "B2", "B3", "B4", "B5")
    ]
    assert found.total_milli == 65_000


def test_a_part_that_only_a_region_rule_adds() -> None:
    found = where_used(problem(), "VALVE")
    assert found.parents == ()
    assert [(row.build, row.quantity_milli) for row in found.builds] == [("B2", 1000)]


def test_an_alternate_says_for_what() -> None:
    found = where_used(problem(), "ENG-B")
    assert [(row.part, row.approved) for row in found.stands_in_for] == [("ENG-A", True)]
    assert found.builds == ()


def test_builds_that_are_not_firm_do_not_count() -> None:
    assert [row.build for row in where_used(problem(), "ENG-A").builds] == [
        "B1",
        "B2",
        "B3",
        "B4",
        "B5",
    ]


def test_parts_orders_are_among_the_places_a_part_goes() -> None:
    found = where_used(problem(), "LAMP")
    assert [(row.order, row.destination, row.quantity_milli) for row in found.orders] == [
        ("O1", "US-NV", 5000),
        ("O2", "US-ID", 4000),
    ]
    assert found.ordered_milli == 9000
    assert where_used(problem(), "BOLT").orders == ()


def test_what_may_replace_a_part() -> None:
    assert [(row.part, row.approved) for row in where_used(problem(), "ENG-A").replaced_by] == [
        ("ENG-B", True)
    ]
    assert where_used(problem(), "ENG-B").replaced_by == ()

"""Firm needs of parts: where the plan of the small shop draws them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import small_shop
from expected_sets import AS_OF, ahead, problem_of
from fulfil_models.available_flows import unplanned_needs
from fulfil_models.cells import MILLI
from fulfil_models.demand_ahead import DemandAhead, FirmNeed, demand_ahead
from fulfil_models.plan_index import PlanIndex


def firm(found: DemandAhead, name: str) -> list[tuple[str, int, str]]:
    return [(f"{need.day:%m-%d}", need.milli // MILLI, need.who) for need in found.firm[name]]


def test_firm_needs_stand_where_the_plan_draws_them() -> None:
    found = ahead(small_shop.dataset(), 3, small_shop.plan())
    assert firm(found, "ENG-A") == [
        ("03-02", 1, "B1"),
        ("03-05", 1, "B3"),
        ("03-16", 1, "B4"),
        ("03-23", 1, "B5"),
    ]
    # B2 takes the alternate, B1 has an option, the destination of B2 a rule
    assert firm(found, "ENG-B") == [("03-02", 1, "B2")]
    assert firm(found, "PUMP")[0] == ("03-02", 2, "B1")
    assert firm(found, "VALVE") == [("03-02", 1, "B2")]
    # bolts of a mast, when it is welded, and of the kit, which is there at the test
    assert firm(found, "BOLT")[:2] == [("03-02", 13, "B1"), ("03-02", 13, "B2")]
    assert {need.point for need in found.firm["MAST"]} == {"BOI"}
    assert found.firm["LAMP"] == (
        FirmNeed(date(2026, 3, 2), 2000, "parts_order", "O1/1", "BOI"),
        FirmNeed(date(2026, 3, 2), 3000, "parts_order", "O1/1", "RNO"),
        FirmNeed(date(2026, 3, 9), 4000, "parts_order", "O2/1", "BOI"),
    )
    # B6 is in no plan: its part that nobody has, on the day it is due
    (ghost,) = found.firm["GHOST"]
    (b6,) = (row for row in small_shop.dataset().builds if row.build == "B6")
    assert (ghost.who, ghost.point, ghost.day) == ("B6", "BOI", b6.promised or AS_OF)


def test_without_a_plan_all_is_due_on_its_day_by_the_whole_bill() -> None:
    found = ahead(small_shop.dataset())
    problem = problem_of(small_shop.dataset())
    for name in problem.parts:
        wanted = unplanned_needs(problem, None, name, None)
        assert sorted((need.day, need.who, need.milli) for need in found.firm.get(name, ())) == (
            sorted((row.due, row.who, row.quantity_milli) for row in wanted)
        )
    assert {need.point for need in found.firm["LAMP"]} == {None}


def test_what_was_left_out_of_planning_is_firm_and_uses_the_forecast_up() -> None:
    data = small_shop.dataset()
    problem = problem_of(
        data, left_out_builds=frozenset({"B6"}), left_out_lines=frozenset({("O1", "1")})
    )
    assert demand_ahead(problem, None, 2) == ahead(data, 2)


def test_a_build_that_was_cancelled_since_needs_nothing() -> None:
    data = small_shop.dataset()
    builds = tuple(row for row in data.builds if row.build != "B1")
    lines = tuple(row for row in data.parts_orders if row.order != "O1")
    found = ahead(replace(data, builds=builds, parts_orders=lines), 1, small_shop.plan())
    names = {need.who for needs in found.firm.values() for need in needs}
    assert "B1" not in names
    assert "O1/1" not in names
    assert {"B2", "O2/1"} <= names


def test_an_index_made_before_is_taken() -> None:
    problem, plan = problem_of(small_shop.dataset()), small_shop.plan()
    assert demand_ahead(problem, plan, 2, index=PlanIndex(plan)) == demand_ahead(problem, plan, 2)

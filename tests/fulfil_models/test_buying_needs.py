"""What has to be bought: what nothing that is there or comes serves, and safety stock; by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import pytest
from buying_cases import SETTINGS, UNIT, bought, days_of, expected, on, only
from fulfil_models.buying_needs import unmatched, wanted
from fulfil_models.demand_ahead import demand_ahead
from fulfil_models.left_over import Lot
from fulfil_models.problem import Problem
from fulfil_models.tables import (
    BillLine,
    Dataset,
    Demand,
    Lane,
    Part,
    Point,
    Progress,
)
from oracle_plan import best_plan
from tiny_shop import (
    AS_OF,
    delivery,
    lane,
    march,
    order,
    purchase,
    shop,
    source,
    stock,
)

# ---- netting


def test_what_the_plan_fills_is_not_bought() -> None:
    data = shop(sources=(source(10),), stock=(stock(1),), builds=on(25))
    assert bought(data).lines == ()


def test_held_stock_is_none() -> None:
    data = shop(sources=(source(10),), stock=(stock(1, held=1),), builds=on(25))
    assert only(bought(data)).quantity_milli == UNIT


def test_what_was_ordered_after_the_plan_is_not_bought_again() -> None:
    data = shop(sources=(source(10),), builds=on(25))
    plan, _ = best_plan(data, SETTINGS)
    ordered = replace(data, purchases=(purchase("P1", march(25)),))
    assert bought(ordered, plan=plan).lines == ()
    too_late = replace(data, purchases=(purchase("P1", march(26)),))
    assert only(bought(too_late, plan=plan)).due_on == march(25)


def test_expected_needs_are_net_of_what_is_left_in_their_turn() -> None:
    # 2 in March and April each; 1 is on the shelf, 2 come in time for April, the last in May
    data = shop(
        sources=(source(5),),
        stock=(stock(1),),
        purchases=(purchase("P1", march(31), 2), purchase("P2", date(2026, 5, 1))),
    )
    problem = Problem(data, SETTINGS)
    plan, _ = best_plan(data, SETTINGS)
    found = wanted(problem, plan, expected(2, 2), {})
    (rows,) = found.wants.values()
    assert [(row.who, row.milli) for row in rows] == [("2026-03", UNIT)]


def test_a_lot_serves_those_that_come_after_it() -> None:
    lots = [Lot("A", march(1), 2), Lot("A", march(5), 3)]
    # the 4th takes 2 of the first lot, the 6th the second, and 1 is missing; nothing for the 10th
    needs = [(march(6), 4), (march(4), 2), (march(10), 1)]
    assert unmatched(needs, lots) == [1, 0, 1]


def test_a_lot_serves_only_those_it_can_come_to() -> None:
    lots = [Lot("A", march(1), 2), Lot("B", march(1), 5)]
    needs = [(march(2), 4), (march(3), 3), (march(4), 9)]
    # the first takes both of A, and 2 are missing; the second 3 of B; the last what is left of it
    assert unmatched(needs, lots, [frozenset("A"), frozenset("B"), None]) == [2, 0, 7]


@pytest.mark.parametrize(
    ("lanes", "bought_units"),
    [
        ((), 5),
        ((lane("B", "A", 2),), 0),
        ((lane("A", "B", 2),), 5),
        ((lane("B", "C", 2), lane("C", "A", 2)), 0),
        ((lane("B", "C", 2),), 5),
    ],
)
def test_what_is_left_where_no_lane_leads_to_the_need_is_not_counted(
    lanes: tuple[Lane, ...], bought_units: int
) -> None:
    """25 engines at B, 5 expected for machines, which are built at A."""
    data = shop(
        points=(*shop().points, Point(point="C")),
        sources=(source(5),),
        stock=(stock(25, "B"),),
        lanes=lanes,
        demand=(Demand(part="MACHINE", month="2026-03", quantity_milli=5 * UNIT),),
    )
    plan, _ = best_plan(data, SETTINGS)
    found = bought(data, demand_ahead(Problem(data, SETTINGS), plan, 1), plan=plan)
    assert sum(line.quantity_milli for line in found.lines) == bought_units * UNIT


def test_a_build_in_no_plan_is_not_served_from_where_no_lane_leads() -> None:
    data = shop(sources=(source(5),), stock=(stock(1, "B"),), builds=on(20))
    plan, _ = best_plan(replace(data, builds=()), SETTINGS)
    demand = demand_ahead(Problem(data, SETTINGS), plan, 1)
    assert only(bought(data, demand, plan=plan)).firm_milli == UNIT
    linked = replace(data, lanes=(lane("B", "A", 2),))
    assert bought(linked, demand, plan=plan).lines == ()
    # a parts order in no plan may ship from any point
    spare = replace(data, builds=(), parts_orders=(order("O", 1, march(20)),))
    demand = demand_ahead(Problem(spare, SETTINGS), plan, 1)
    assert bought(spare, demand, plan=plan).lines == ()


def test_what_is_expected_is_served_where_it_is_taken_though_bought_for_another_point() -> None:
    """Engines are bought for B and moved to A, where machines are built: no lane leads back. What
    is expected as a spare part is served from B, if B delivers."""
    machines = Demand(part="MACHINE", month="2026-03", quantity_milli=2 * UNIT)
    data = shop(
        sources=(source(5, point="B"),),
        stock=(stock(2),),
        lanes=(lane("B", "A", 2),),
        demand=(machines,),
    )
    plan, _ = best_plan(data, SETTINGS)

    def units(data: Dataset) -> int:
        found = bought(data, demand_ahead(Problem(data, SETTINGS), plan, 1), plan=plan)
        return sum(line.quantity_milli for line in found.lines) // UNIT

    assert units(data) == 0
    # bought for A, and on the shelf at B, from where no lane leads
    spare = replace(
        data,
        sources=(source(5),),
        stock=(stock(2, "B"),),
        lanes=(),
        demand=(replace(machines, part="ENGINE"),),
    )
    assert units(spare) == 2
    assert units(replace(spare, deliveries=(delivery("B", 1, 1),))) == 0


# ---- the data are newer than the plan


def test_what_the_plan_draws_on_that_is_gone_is_bought() -> None:
    """Three on the shelf, taken on the 20th and 23rd. Of one of them it is the later that lacks."""
    data = shop(sources=(source(5),), stock=(stock(3),), builds=(*on(20), *on(23, "B2")))
    plan, _ = best_plan(data, SETTINGS)
    assert bought(data, plan=plan).lines == ()

    def served(data: Dataset) -> list[tuple[str, date]]:
        lines = bought(data, plan=plan).lines
        return [(row.who, row.day) for line in lines for row in line.served]

    both = [("B1", march(20)), ("B2", march(23))]
    assert served(replace(data, stock=())) == both
    assert served(replace(data, stock=(stock(1),))) == both[1:]
    assert served(replace(data, stock=(stock(3, held=3),))) == both
    assert served(replace(data, stock=(stock(2),))) == []
    # what is gone is made good by what comes in time, and by what is at a point with a lane
    assert served(replace(data, stock=(), purchases=(purchase("P", march(22), 5),))) == both[:1]
    elsewhere = replace(data, stock=(stock(2, "B"),))
    assert served(elsewhere) == both
    assert served(replace(elsewhere, lanes=(lane("B", "A", 2),))) == []
    # who is gone as well needs nothing, and what he would have drawn is there for others
    assert served(replace(data, stock=(stock(1),), builds=on(23, "B2"))) == []


def test_a_purchase_that_is_gone_is_bought_again_unless_it_came() -> None:
    data = shop(sources=(source(5),), purchases=(purchase("P", march(18)),), builds=on(20))
    plan, _ = best_plan(data, SETTINGS)
    assert only(bought(replace(data, purchases=()), plan=plan)).firm_milli == UNIT
    came = replace(data, purchases=(), stock=(stock(1),))
    assert bought(came, plan=plan).lines == ()


def test_what_was_issued_since_the_plan_is_not_bought_again() -> None:
    """The engine of B1 is gone from the shelf, into B1, which was begun."""
    data = shop(sources=(source(5),), stock=(stock(1),), builds=on(20))
    plan, _ = best_plan(data, SETTINGS)
    begun = Progress(build="B1", operation=10, started=datetime(2026, 3, 20, 8))
    issued = replace(data, stock=(), progress=(begun,))
    assert bought(issued, plan=plan).lines == ()
    assert demand_ahead(Problem(issued, SETTINGS), plan, 1).firm == {}


def test_of_a_made_part_that_is_gone_what_it_is_made_of_is_bought() -> None:
    """Each machine takes a frame from the shelf, a frame two tubes and an engine. Of two frames
    one is left, and three tubes: 2 x 1 - 3 are missing, none, and an engine."""
    frames = (
        BillLine(parent="MACHINE", component="FRAME", quantity_milli=UNIT),
        BillLine(parent="FRAME", component="TUBE", quantity_milli=2 * UNIT),
        BillLine(parent="FRAME", component="ENGINE", quantity_milli=UNIT),
    )
    data = shop(
        parts=(*shop().parts, Part(part="FRAME", make=True), Part(part="TUBE")),
        bills=frames,
        sources=(source(5), source(5, part="TUBE")),
        stock=(stock(2, part="FRAME"), stock(3, part="TUBE")),
        builds=(*on(20), *on(23, "B2")),
    )
    plan, _ = best_plan(data, SETTINGS)
    left = replace(data, stock=(stock(1, part="FRAME"), stock(3, part="TUBE")))
    line = only(bought(left, plan=plan))
    assert (line.part, line.quantity_milli, [row.who for row in line.served]) == (
        *("ENGINE", UNIT),
        ["B2"],
    )
    found = bought(replace(data, stock=()), plan=plan)
    assert {line.part: line.quantity_milli for line in found.lines} == {
        "ENGINE": 2 * UNIT,
        "TUBE": 4 * UNIT,
    }


@pytest.mark.parametrize(("frames", "engines_bought"), [(10, 0), (6, 0), (5, 1), (1, 5), (0, 5)])
def test_made_parts_that_the_plan_leaves_serve_what_is_expected(
    frames: int, engines_bought: int
) -> None:
    """A machine takes a frame, a frame an engine. B1 takes one frame, or an engine that is there
    for it; five machines are expected."""
    data = shop(
        parts=(*shop().parts, Part(part="FRAME", make=True)),
        bills=(
            BillLine(parent="MACHINE", component="FRAME", quantity_milli=UNIT),
            BillLine(parent="FRAME", component="ENGINE", quantity_milli=UNIT),
        ),
        sources=(source(5),),
        stock=(stock(frames, part="FRAME"), stock(int(not frames))),
        demand=(Demand(part="MACHINE", month="2026-04", quantity_milli=5 * UNIT),),
        builds=on(20),
    )
    plan, _ = best_plan(data, SETTINGS)
    found = bought(data, demand_ahead(Problem(data, SETTINGS), plan, 2), plan=plan)
    assert sum(line.quantity_milli for line in found.lines) == engines_bought * UNIT


def test_less_than_half_a_step_is_not_bought_yet() -> None:
    # 0.4, 0.8, 1.2: half of the first is expected by April, half of the second never
    data = shop(sources=(source(1),))
    found = bought(data, expected(0.4, 0.4, 0.4))
    line = only(found)
    assert (line.quantity_milli, [row.who for row in line.served]) == (UNIT, ["2026-04"])


def test_what_is_made_is_not_bought() -> None:
    data = shop(sources=(source(1), source(1, part="MACHINE")))
    assert bought(data, expected(3, part="MACHINE")).lines == ()


# ---- safety stock


def test_safety_stock_by_hand() -> None:
    # 3 a month, each order 1: deviation 1.732 a month; 30 / 30.4375 = 0.9856 months: 1.7196;
    # x 1.6449 = 2.83, so 3. Nothing can come before 1 April: 3 + 3 + 3 at once.
    data = shop(sources=(source(30),))
    found = bought(data, expected(3, 3), service=0.95)
    assert found.safety_milli == {"ENGINE": 3 * UNIT}
    line = only(found)
    assert days_of(line) == (AS_OF, date(2026, 4, 1), date(2026, 4, 1), 30)
    assert (line.forecast_milli, line.safety_milli, line.more_milli) == (6 * UNIT, 3 * UNIT, 0)


def test_what_is_hardly_ever_ordered_needs_no_safety_stock() -> None:
    # 0.04 a month in one month of lead time: none is ordered in 96 of 100
    data = shop(sources=(source(30),))
    assert bought(data, expected(0.04), service=0.95).safety_milli == {}


@pytest.mark.parametrize("service", [0.0, 1.0, -0.1, 2.0])
def test_a_service_that_cannot_be(service: float) -> None:
    with pytest.raises(ValueError, match="above 0 and below 1"):
        bought(shop(), service=service)

"""Parts that are moved along a lane to the point that ships them for a parts order (rules 5, 10).

Engines weigh 40 kg. The lane from B to A leaves on Tuesdays and takes two days: what leaves on
2026-03-03 is usable on Thursday 03-05 and ships that day. A departure costs 50, a kilogram 1.
"""

from __future__ import annotations

from datetime import date
from fractions import Fraction

from fulfil_models.audit import audit
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.planning import Effort, Workbench, finished, search_plan
from fulfil_models.tables import Dataset
from tiny_shop import (
    SETTINGS,
    build,
    delivery,
    lane,
    march,
    order,
    problem_of,
    purchase,
    shop,
    stock,
)

TUESDAYS = lane("B", "A", 2, move=50, kg=1, weekdays=("Tue",))
MOVED = 50 + 40
PARCEL = 10
FROM_A, FROM_B = delivery("A", PARCEL), delivery("B", PARCEL)


def planned(data: Dataset) -> Plan:
    bench = Workbench(problem_of(data))
    outcome = search_plan(bench, Effort(seconds=0.3))
    assert not outcome.decisions.unshipped
    plan = finished(bench, outcome)
    assert audit(data, SETTINGS, plan) == ()
    assert plan.bound <= plan.objective.total
    return plan


def shipped(plan: Plan) -> list[tuple[str, int, date]]:
    return [(row.point, row.quantity_milli // 1000, row.ships) for row in plan.shipments]


def test_the_point_that_delivers_gets_it_from_the_one_that_has_it() -> None:
    data = shop(
        stock=(stock(1, "B"),),
        lanes=(TUESDAYS,),
        parts_orders=(order("O1", 1, march(5)),),
        deliveries=(FROM_A,),
    )
    plan = planned(data)
    assert shipped(plan) == [("A", 1, march(5))]
    (moved,) = [row for row in plan.supplies if row.kind is SupplyKind.TRANSFER]
    assert (moved.leaves_on, moved.arrives_on) == (march(3), march(5))
    assert plan.shipments[0].supply == moved.supply
    assert plan.objective.total == MOVED + PARCEL


def test_a_line_that_may_not_be_split_is_gathered_at_one_point() -> None:
    data = shop(
        stock=(stock(1, "A"), stock(1, "B")),
        lanes=(TUESDAYS,),
        parts_orders=(order("O1", 2, march(5), split=False),),
        deliveries=(FROM_A, FROM_B),
    )
    plan = planned(data)
    # the one at A ships on the planning date, as everything does on the first day it can
    assert shipped(plan) == [("A", 1, march(2)), ("A", 1, march(5))]
    assert plan.objective.total == MOVED + 2 * PARCEL


def test_it_is_moved_only_where_that_is_cheaper_than_waiting() -> None:
    # A gets one on Friday 03-06, a day after the promise: weight 0.05 of 1000 a day is 50 < 90
    late = order("O1", 1, march(5), weight_ppm=50_000)
    data = shop(
        stock=(stock(1, "B"),),
        purchases=(purchase("P1", march(6)),),
        lanes=(TUESDAYS,),
        parts_orders=(late,),
        deliveries=(FROM_A,),
    )
    plan = planned(data)
    assert shipped(plan) == [("A", 1, march(6))]
    assert plan.objective.total == Fraction(50) + PARCEL


def test_an_order_and_a_build_share_a_departure() -> None:
    data = shop(
        stock=(stock(2, "B"),),
        lanes=(TUESDAYS,),
        builds=(build("B1", march(31)),),
        parts_orders=(order("O1", 1, march(5)),),
        deliveries=(FROM_A,),
    )
    plan = planned(data)
    assert plan.objective.total == 50 + 2 * 40 + PARCEL
    assert {row.leaves_on for row in plan.supplies if row.kind is SupplyKind.TRANSFER} == {march(3)}


def test_two_lanes_end_to_end() -> None:
    # B to C on any working day, a day; C to A on Wednesdays, a day: usable on Thursday 03-05
    data = shop(
        points=(*shop().points, type(shop().points[0])(point="C")),
        stock=(stock(1, "B"),),
        lanes=(lane("B", "C", 1, move=5), lane("C", "A", 1, move=7, weekdays=("Wed",))),
        parts_orders=(order("O1", 1, march(5)),),
        deliveries=(FROM_A,),
    )
    plan = planned(data)
    assert shipped(plan) == [("A", 1, march(5))]
    assert plan.objective.total == 5 + 7 + PARCEL

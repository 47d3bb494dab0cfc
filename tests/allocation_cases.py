"""For each rule of the allocation model: a shop whose best sharing-out is worked out by hand, and
what it would cost in the model without that rule."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest
from fulfil_models.allocation import RULES, Allocation, Builder
from fulfil_models.allocation_flows import (
    a_lane_that_is_used_is_paid,
    points_share_a_cap,
    units_balance_at_a_node,
)
from fulfil_models.allocation_lines import (
    a_delivery_that_is_used_is_paid,
    a_line_is_as_late_as_its_last_piece,
    a_whole_line_ships_only_from_a_chosen_point,
    one_kind_fills_a_line,
    one_point_ships_a_whole_line,
    pieces_make_up_a_line,
)
from fulfil_models.allocation_needs import (
    a_build_waits_for_a_unit,
    a_build_waits_for_the_last_of_several_units,
    draws_make_up_a_need,
    one_way_fills_a_need,
)
from fulfil_models.allocation_rows import Rule
from fulfil_models.book import Need
from fulfil_models.plan import Status
from fulfil_models.solving import LinearAnswer, solve_linear
from fulfil_models.tables import BillLine, Dataset, Part
from tiny_shop import (
    book_of,
    build,
    delivery,
    engines,
    hurried,
    lane,
    march,
    order,
    purchase,
    shop,
    source,
    stand_in,
    stock,
)

MONDAY, WEDNESDAY, FRIDAY = march(2), march(4), march(6)
TWO_BUILDS = (build("B1", MONDAY), build("B2", MONDAY))
ONE_NOW_ONE_ON_WEDNESDAY: dict[str, Any] = {
    "stock": (stock(1),),
    "purchases": (purchase("P1", WEDNESDAY),),
}


def solved(
    data: Dataset,
    without: Rule | None = None,
    price: Callable[[Need, int], float] | None = None,
    bases: dict[int, float] | None = None,
) -> tuple[Allocation, LinearAnswer]:
    rules = tuple(rule for rule in RULES if rule is not without)
    allocation = Builder(book_of(data), price, rules).build(bases)
    return allocation, solve_linear(allocation.model, gap=0.0, seconds=20)


def least(data: Dataset, without: Rule | None = None) -> float:
    """Least cost of a book in the model, in the currency."""
    _, answer = solved(data, without)
    assert answer.status is Status.OPTIMAL
    assert answer.bound == pytest.approx(answer.objective, abs=1e-6)
    return answer.objective


@dataclass(frozen=True)
class Case:
    """A shop, its least cost, and what it would be without a rule."""

    rule: Rule
    what: str
    data: Dataset
    cost: float
    without: float


CASES = (
    # One build has the engine on the shelf, the other waits for Wednesday's: 2 days x 1000.
    Case(
        units_balance_at_a_node,
        "one engine does not serve two builds",
        shop(builds=TWO_BUILDS, **ONE_NOW_ONE_ON_WEDNESDAY),
        2000,
        0,
    ),
    # Engines of a month: two, from 23 March on, or from the 12th on for 100 each. Two of three
    # builds due on the 12th have them expedited; the third waits for 1 April, 14 working days later
    # (the 13th, 5 days, 5 days, 30, 31, 1): 2 x 100 + 14 x 1000. Out of nothing: 3 x 100.
    Case(
        units_balance_at_a_node,
        "what is expedited is the month's own",
        shop(
            builds=tuple(build(name, march(12)) for name in ("B1", "B2", "B3")),
            sources=(hurried(21, 11, 100, cap=2),),
        ),
        14_200,
        0,
    ),
    # The only engine at B moves to one build in time, 40 kg at 0.50; the other waits from Wednesday
    # to Monday the 9th, three working days.
    Case(
        units_balance_at_a_node,
        "what is moved is gone from where it was",
        shop(
            builds=(build("B1", WEDNESDAY), build("B2", WEDNESDAY)),
            stock=(stock(1, "B"),),
            purchases=(purchase("P1", march(9)),),
            lanes=(lane("B", "A", 2, kg=0.5),),
        ),
        3020,
        0,
    ),
    # S lets one engine a month go, to A or B: one build has it on 23 March, the other on 1 April,
    # six working days after the 24th. Without the rule one comes to each point on the 23rd; B's is
    # carried to A in a day, 40 kg at 0.50.
    Case(
        points_share_a_cap,
        "a month's engine comes to one of the points",
        shop(
            builds=(build("B1", march(24)), build("B2", march(24))),
            sources=(source(21, cap=1), source(21, cap=1, point="B")),
            lanes=(lane("B", "A", 1, kg=0.5),),
        ),
        6000,
        20,
    ),
    # One engine a month, in 40 days or, for 100, in 9: one in March, expedited, for a build due on
    # the 16th. April's, put forward from the 11th to the 1st, makes the other 12 working days late
    # (17 to 20, 23 to 27, 30, 31, 1): 100 + 100 + 12 x 1000. Without the rule the second comes in
    # March as well, expedited at B and carried to A: 100 + 100 + 20.
    Case(
        points_share_a_cap,
        "what is expedited at one point is gone for the other",
        shop(
            builds=(build("B1", march(16)), build("B2", march(16))),
            sources=(
                hurried(40, 31, 100, cap=1),
                replace(hurried(40, 31, 100, cap=1), point="B"),
            ),
            lanes=(lane("B", "A", 1, kg=0.5),),
        ),
        12_200,
        220,
    ),
    # The alternate costs 300, waiting for Wednesday 2000. Without the rule nothing fills the need.
    Case(
        one_way_fills_a_need,
        "an alternate at 300 spares two days",
        shop(
            builds=TWO_BUILDS,
            alternates=(stand_in(300),),
            stock=(stock(1), stock(1, part="ENGINE2")),
            purchases=(purchase("P1", WEDNESDAY),),
        ),
        300,
        0,
    ),
    # Three frames on the shelf would do, there is one: the other build makes its own and waits for
    # a pump until Wednesday: 2000.
    Case(
        one_way_fills_a_need,
        "a job is done or the shelf is drawn on",
        shop(
            parts=(
                Part(part="MACHINE", make=True),
                Part(part="FRAME", make=True),
                Part(part="PUMP"),
            ),
            bills=(
                BillLine(parent="MACHINE", component="FRAME", quantity_milli=1000),
                BillLine(parent="FRAME", component="PUMP", quantity_milli=1000),
            ),
            builds=TWO_BUILDS,
            stock=(stock(1, part="FRAME"),),
            purchases=(purchase("P1", WEDNESDAY, part="PUMP"),),
        ),
        2000,
        0,
    ),
    # As the first case; without the rule nobody draws anything.
    Case(
        draws_make_up_a_need,
        "a need is filled",
        shop(builds=TWO_BUILDS, **ONE_NOW_ONE_ON_WEDNESDAY),
        2000,
        0,
    ),
    # Two of ENGINE2 stand in for one ENGINE at 100 each: 200, where one would cost 100.
    Case(
        draws_make_up_a_need,
        "an alternate by its ratio",
        shop(
            builds=TWO_BUILDS,
            alternates=(stand_in(100, ratio=2),),
            stock=(stock(1), stock(2, part="ENGINE2")),
            purchases=(purchase("P1", FRIDAY),),
        ),
        200,
        0,  # both take the part itself, and what is picked is not drawn
    ),
    # The lighter build (weight 0.5) waits from Monday to Wednesday: 2 x 0.5 x 1000.
    Case(
        a_build_waits_for_a_unit,
        "the one whose days count less waits",
        shop(
            builds=(build("B1", MONDAY), build("B2", MONDAY, weight_ppm=500_000)),
            **ONE_NOW_ONE_ON_WEDNESDAY,
        ),
        1000,
        0,
    ),
    # Two engines, one there and one on Wednesday: both are needed, so 2 days, not the mean of 1.
    Case(
        a_build_waits_for_the_last_of_several_units,
        "a machine of two engines",
        shop(bills=(engines(2),), builds=(build("B1", MONDAY),), **ONE_NOW_ONE_ON_WEDNESDAY),
        2000,
        0,
    ),
    # Three engines, on Monday, Wednesday and Friday: 4 days. The mean would be 2.
    Case(
        a_build_waits_for_the_last_of_several_units,
        "a machine of three engines",
        shop(
            bills=(engines(3),),
            builds=(build("B1", MONDAY),),
            stock=(stock(1),),
            purchases=(purchase("P1", WEDNESDAY), purchase("P2", FRIDAY)),
        ),
        4000,
        0,
    ),
    # Two engines move together from B: one departure at 150, and 2 x 40 kg at 0.50.
    Case(
        a_lane_that_is_used_is_paid,
        "a departure is shared",
        shop(
            builds=(build("B1", FRIDAY), build("B2", FRIDAY)),
            stock=(stock(2, "B"),),
            lanes=(lane("B", "A", 2, move=150, kg=0.5),),
        ),
        190,
        40,
    ),
    # A whole line takes two of the part (the second on Wednesday, 2 days x 1000) or two of the
    # alternate (50 each); one of each would cost 50 but is not allowed.
    Case(
        one_kind_fills_a_line,
        "a line is filled with one kind",
        shop(
            parts_orders=(order("O1", 2, MONDAY),),
            deliveries=(delivery("A"),),
            alternates=(stand_in(50),),
            stock=(stock(1), stock(2, part="ENGINE2")),
            purchases=(purchase("P1", WEDNESDAY),),
        ),
        100,
        0,
    ),
    # An engine on Wednesday for Monday: 2 calendar days. By weight: 40 kg at 3.
    Case(
        pieces_make_up_a_line,
        "a line is filled",
        shop(
            parts_orders=(order("O1", 1, MONDAY),),
            deliveries=(delivery("A", kg=3),),
            purchases=(purchase("P1", WEDNESDAY),),
        ),
        2120,
        0,
    ),
    # One engine ships on Monday, the other on Wednesday: the line is 2 days late, not 1.
    Case(
        a_line_is_as_late_as_its_last_piece,
        "the worst piece counts",
        shop(
            parts_orders=(order("O1", 2, MONDAY),),
            deliveries=(delivery("A"),),
            **ONE_NOW_ONE_ON_WEDNESDAY,
        ),
        2000,
        0,
    ),
    *(
        # One engine at A, one at B: the line may not be split, so it waits at A for Wednesday.
        Case(
            rule,
            "a line that may not be split",
            shop(
                parts_orders=(order("O1", 2, MONDAY, split=False),),
                deliveries=(delivery("A"), delivery("B")),
                stock=(stock(1), stock(1, "B")),
                purchases=(purchase("P1", WEDNESDAY),),
            ),
            2000,
            0,
        )
        for rule in (a_whole_line_ships_only_from_a_chosen_point, one_point_ships_a_whole_line)
    ),
    # One engine ships from each point: both deliveries are paid, 12 + 8.
    Case(
        a_delivery_that_is_used_is_paid,
        "a split line pays at both points",
        shop(
            parts_orders=(order("O1", 2, MONDAY),),
            deliveries=(delivery("A", 12), delivery("B", 8)),
            stock=(stock(1), stock(1, "B")),
        ),
        20,
        0,
    ),
    # Two lines of one order share a delivery from A, another order pays its own: 12 + 12.
    Case(
        a_delivery_that_is_used_is_paid,
        "lines of one order share a delivery",
        shop(
            parts_orders=(
                order("O1", 1, MONDAY, "1", split=False),
                order("O1", 1, MONDAY, "2"),
                order("O2", 1, MONDAY),
            ),
            deliveries=(delivery("A", 12),),
            stock=(stock(3),),
        ),
        24,
        0,
    ),
)

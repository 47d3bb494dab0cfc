"""A plan goes on after a change of the data: who keeps what, where the others go, what is told.

One machine a day on the tiny shop, so a build is named by its day: Monday is 2 March.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import pytest
from fulfil_models.cells import MILLI, PPM
from fulfil_models.plan import Plan, Status, SupplyKind
from fulfil_models.planning import Workbench, solution_of
from fulfil_models.problem import Problem
from fulfil_models.repair import aligned, repaired
from fulfil_models.tables import (
    Dataset,
    Downtime,
    Part,
    RoutingStep,
)
from going_on import days, first_supply, gone_on, slots
from tiny_shop import (
    AS_OF,
    SETTINGS,
    build,
    delivery,
    lane,
    march,
    order,
    planned,
    purchase,
    shop,
    source,
    stand_in,
    stock,
)


def drawn(plan: Plan) -> dict[str, str]:
    """The supply of the engine of each build, in the tiny shop."""
    return {peg.job: peg.supply for peg in plan.pegs}


THREE = shop(
    builds=(build("B1", march(2)), build("B2", march(3)), build("B3", march(4))),
    stock=(stock(1),),
    purchases=(purchase("P1", march(3)), purchase("P2", march(4))),
)
"""B1 has the engine that is there, B2 and B3 one that comes on the day on which they are due"""
IN_TIME = {"B1": 2, "B2": 3, "B3": 4}


@pytest.fixture(scope="module")
def three() -> Plan:
    plan = planned(THREE)
    assert days(plan) == IN_TIME
    return plan


def slipped(data: Dataset, name: str, due: date) -> Dataset:
    rows = (replace(row, due=due) if row.order == name else row for row in data.purchases)
    return replace(data, purchases=tuple(rows))


def test_the_build_whose_purchase_slips_waits_and_nobody_else_moves(three: Plan) -> None:
    # B2 is due on Tuesday and made on Monday: late Wednesday, Thursday, Friday, Monday
    after = gone_on(slipped(THREE, "P1", march(9)), three)
    assert days(after.plan) == IN_TIME | {"B2": 9}
    assert after.plan.objective.total == 4 * 1000
    assert (after.plan.status, after.plan.bound) == (Status.FEASIBLE, 0)
    late = next(row for row in after.plan.builds if row.build == "B2")
    assert late.blockers[0].what == "ENGINE"


def test_who_starts_first_does_not_take_the_units_of_another(three: Plan) -> None:
    # The same plan with the engines of B1 and B2 the other way round, P1 being there on Monday.
    data = slipped(THREE, "P1", march(2))
    stocked, bought = drawn(three)["B1"], drawn(three)["B2"]
    other = {"B1": bought, "B2": stocked}
    monday = datetime(2026, 3, 2, 8)
    swapped = replace(
        three,
        pegs=tuple(replace(p, supply=other.get(p.job, p.supply)) for p in three.pegs),
        supplies=tuple(
            replace(s, usable=monday) if s.supply == bought else s for s in three.supplies
        ),
    )
    # B1 loses the engine of P1; that on the shelf is for B2, though B1 starts sooner
    after = gone_on(slipped(data, "P1", march(9)), swapped)
    assert days(after.plan) == IN_TIME | {"B1": 9}
    assert drawn(after.plan)["B2"] == stocked


def test_the_last_to_start_goes_without_where_less_is_counted() -> None:
    data = shop(
        builds=(build("B1", march(2)), build("B2", march(3))),
        stock=(stock(2),),
        sources=(source(7),),
    )
    plan = planned(data)
    assert days(plan) == {"B1": 2, "B2": 3}
    after = gone_on(replace(data, stock=(stock(1),)), plan).plan
    assert days(after) == {"B1": 2, "B2": 9}  # an engine ordered today comes on 9 March
    assert first_supply(after, drawn(after)["B2"]).kind is SupplyKind.NEW_PURCHASE


def test_what_has_come_in_serves_the_build_it_was_for(three: Plan) -> None:
    received = replace(THREE, stock=(stock(2),), purchases=THREE.purchases[1:])
    after = gone_on(received, three).plan
    assert days(after) == IN_TIME
    assert first_supply(after, drawn(after)["B2"]).kind is SupplyKind.STOCK


def test_a_day_that_becomes_free_is_left_free(three: Plan) -> None:
    after = gone_on(replace(THREE, builds=THREE.builds[1:]), three).plan
    assert days(after) == {"B2": 3, "B3": 4}


def test_what_is_new_comes_after_everybody_else(three: Plan) -> None:
    # B9 is due first and has a choice of engines, but no day before Thursday is free.
    more = replace(
        THREE, builds=(*THREE.builds, build("B9", march(2), weight_ppm=9 * PPM)), stock=(stock(2),)
    )
    after = gone_on(more, three).plan
    assert days(after) == IN_TIME | {"B9": 5}


def test_those_that_lose_their_slots_follow_in_the_order_they_had(three: Plan) -> None:
    # CELL is out on Monday and Tuesday: B3 stays on Wednesday, B1 and B2 take the next days.
    out = Downtime(
        work_centre="CELL",
        starts=datetime(2026, 3, 2, 8),
        ends=datetime(2026, 3, 3, 17),
        stations=1,
    )
    after = gone_on(replace(THREE, downtime=(out,)), three).plan
    assert days(after) == {"B3": 4, "B1": 5, "B2": 6}


def test_nothing_is_put_forward_when_a_purchase_comes_sooner(three: Plan) -> None:
    late = gone_on(slipped(THREE, "P1", march(9)), three).plan
    after = gone_on(THREE, late).plan
    assert days(after) == IN_TIME | {"B2": 9}


def test_a_build_that_must_move_keeps_its_alternate_and_its_move() -> None:
    # Engines: one is moved from B for 50, where it is on Tuesday; ENGINE2 stands in for 100 more.
    data = shop(
        builds=(build("B1", march(2)), build("B2", march(3))),
        alternates=(stand_in(100),),
        lanes=(lane("B", "A", days=1, move=50),),
        stock=(stock(1, point="B"), stock(1, part="ENGINE2")),
    )
    plan = planned(data)
    used = {"B1": "ENGINE2", "B2": "ENGINE"}
    assert {peg.job: peg.used for peg in plan.pegs} == used
    out = Downtime(
        work_centre="CELL",
        starts=datetime(2026, 3, 2, 8),
        ends=datetime(2026, 3, 3, 17),
        stations=1,
    )
    after = gone_on(replace(data, downtime=(out,)), plan).plan
    assert days(after) == {"B1": 4, "B2": 5}
    assert {peg.job: peg.used for peg in after.pegs} == used
    assert after.objective.transfers == 50
    assert after.objective.alternates == 100


def test_a_build_that_waits_longer_for_its_way_takes_a_cheaper_one(three: Plan) -> None:
    # P1 slips to 30 March, 19 working days late; ENGINE2 stands in at once for 100.
    data = slipped(THREE, "P1", march(30))
    data = replace(data, alternates=(stand_in(100),), stock=(stock(1), stock(1, part="ENGINE2")))
    after = gone_on(data, three).plan
    assert days(after) == IN_TIME
    assert after.objective.total == 100


def test_what_has_no_supply_any_more_is_told() -> None:
    data = shop(
        builds=(build("B1", march(2)), build("B2", march(3))),
        parts_orders=(order("O1", 1, march(2)),),
        deliveries=(delivery("A"),),
        stock=(stock(3),),
    )
    plan = planned(data)
    assert days(plan) == {"B1": 2, "B2": 3}
    after = gone_on(replace(data, stock=(stock(1),)), plan)
    # the order ships on 2 March, at midnight so to speak; then there is none for the builds
    assert (after.unplaced, after.unshipped) == (("B1", "B2"), ())
    assert after.plan.builds == ()
    assert len(after.plan.shipments) == 1
    first = gone_on(replace(data, parts_orders=()), plan).plan
    after = gone_on(replace(data, stock=(stock(2),)), first)
    assert (after.unplaced, after.unshipped) == ((), (("O1", "1"),))


def test_a_line_ships_from_where_and_when_it_did_until_it_cannot() -> None:
    # From B, where the engines are free, for 10; what is at A is for B1.
    data = shop(
        builds=(build("B1", march(2)),),
        parts_orders=(order("O1", 1, march(4)),),
        deliveries=(delivery("A", cost=20), delivery("B", cost=10)),
        stock=(stock(1), stock(1, point="B")),
        purchases=(purchase("P1", march(6)),),
    )
    plan = planned(data)
    assert [(s.point, s.ships) for s in plan.shipments] == [("B", AS_OF)]
    cheaper = replace(data, deliveries=(delivery("A", cost=5), delivery("B", cost=10)))
    assert gone_on(cheaper, plan).plan.shipments == plan.shipments
    # without the engine at B it waits for P1 at A: two days late and 20 for the delivery
    after = gone_on(replace(data, stock=(stock(1),)), plan).plan
    assert [(s.point, s.ships, s.late_days) for s in after.shipments] == [("A", march(6), 2)]
    assert days(after) == {"B1": 2}
    assert after.objective.total == 2 * 1000 + 20


def test_a_start_between_two_cells_is_kept() -> None:
    # SMALL takes half an hour on Monday at 8:00, so B1 starts at 8:30. Without SMALL everything of
    # the book is a multiple of a day, and 8:30 would fall between two cells.
    base = shop()
    data = shop(
        parts=(*base.parts, Part(part="SMALL", make=True)),
        routings=(
            *base.routings,
            RoutingStep(part="SMALL", operation=10, work_centre="CELL", minutes_milli=30 * MILLI),
        ),
        builds=(
            build("B0", march(2), product="SMALL", weight_ppm=90 * PPM),
            build("B1", march(2)),
        ),
        stock=(stock(1),),
    )
    plan = planned(data)
    half_past_eight = datetime(2026, 3, 2, 8, 30)
    assert slots(plan)["B1", 10][0] == half_past_eight
    rest = replace(data, builds=data.builds[1:])
    assert slots(gone_on(rest, plan).plan) == {("B1", 10): slots(plan)["B1", 10]}
    compiled = Workbench(Problem(rest, SETTINGS)).compiled
    assert compiled.cell == 480
    assert aligned(compiled, plan).cell == 30
    assert aligned(Workbench(Problem(data, SETTINGS)).compiled, plan).cell == 30
    # where cells are left as they are, the next one is taken, never one before the planned start
    placed = solution_of(repaired(compiled, plan)).placed[0]
    assert placed is not None
    assert placed.starts[0][1] == [1]

"""Planning beside what holds have taken, by hand.

On the tiny shop a machine is a whole day's work on the only station, from Monday 03-02 on, and
each working day past its due date costs 1000.
"""

from __future__ import annotations

import pickle
from dataclasses import replace
from datetime import date, datetime
from threading import Event
from typing import Any

import pytest
from beside_books import (
    bench_for,
    beside_an_order,
    both,
    broken,
    hold,
    monday,
    quoted,
    searched,
    starts,
)
from fulfil_models.audit import audit
from fulfil_models.book import Book
from fulfil_models.book_entries import Centre
from fulfil_models.cells import MILLI
from fulfil_models.kept_open import apart, held
from fulfil_models.plan import BlockerKind, Status, SupplyKind
from fulfil_models.planning import (
    Effort,
    Workbench,
    finished,
    first_plan,
    search_plan,
    solution_of,
)
from fulfil_models.prices import priced_bound
from fulfil_models.problem import Problem
from fulfil_models.sketch import take_up
from fulfil_models.supply import Supplies
from fulfil_models.tables import (
    BillLine,
    Downtime,
    Part,
    RoutingStep,
    WorkCentre,
)
from fulfil_models.taken import (
    NOTHING,
    Taken,
    joined,
    purchase_key,
    taken_by,
    with_orders,
)
from tiny_shop import (
    DAY,
    SETTINGS,
    build,
    delivery,
    march,
    order,
    purchase,
    shop,
    source,
    stock,
)


def test_the_engine_on_the_shelf_is_gone() -> None:
    data = shop(
        builds=(build("B1", march(3)),), stock=(stock(1),), purchases=(purchase("P", march(9)),)
    )
    taken = hold(data)
    plan = searched(data, SETTINGS, taken)
    # due on Tuesday 03-03, done on Monday 03-09: four working days late
    assert (plan.objective.total, plan.bound, plan.status) == (4000, 4000, Status.OPTIMAL)
    assert audit(data, SETTINGS, plan) == ()
    assert broken(both(data), joined(plan, quoted(data)), SETTINGS) == []
    blocker = plan.builds[0].blockers[0]
    assert (blocker.kind, blocker.ahead) == (BlockerKind.PART, ("Q7",))


def test_the_station_is_gone() -> None:
    data = shop(builds=(build("B1", march(2)),), stock=(stock(2),))
    taken = hold(data)
    plan = searched(data, SETTINGS, taken)
    assert (plan.objective.total, plan.bound, plan.status) == (1000, 1000, Status.OPTIMAL)
    assert starts(plan) == {"B1": datetime(2026, 3, 3, 8)}
    assert audit(data, SETTINGS, plan) == ()
    blocker = plan.builds[0].blockers[0]
    assert (blocker.kind, blocker.what, blocker.ahead) == (
        BlockerKind.WORK_CENTRE,
        "CELL",
        ("Q7",),
    )


def test_what_a_supplier_lets_go_in_a_month_is_gone() -> None:
    data = shop(builds=(build("B1", march(31)),), sources=(source(10, cap=1),))
    taken = hold(data)
    plan = searched(data, SETTINGS, taken)
    # the hold has the engine of March; that of 1 April makes the build one day late
    assert (plan.objective.total, plan.bound, plan.status) == (1000, 1000, Status.OPTIMAL)
    assert [row.arrives_on for row in plan.supplies] == [date(2026, 4, 1)]
    assert audit(data, SETTINGS, plan) == ()
    assert broken(both(data), joined(plan, apart(quoted(data), data, "Q7:", True)), SETTINGS) == []


def test_nobody_draws_on_what_an_order_of_a_hold_brings_over() -> None:
    data = shop(builds=(build("B1", march(13)),), sources=(source(10, minimum_milli=2 * MILLI),))
    taken = hold(data)
    plan = searched(data, SETTINGS, taken)
    assert plan.objective.total == 0
    assert [(row.kind, row.quantity_milli) for row in plan.supplies] == [
        (SupplyKind.NEW_PURCHASE, 2 * MILLI)
    ]
    assert audit(data, SETTINGS, plan) == ()


def test_what_a_hold_draws_on_an_order_of_the_old_plan_counts_within_the_cap() -> None:
    data, plan, piece = beside_an_order()
    taken = held(piece, data, "Q7:", True, taken_by(plan, data).orders)
    # of two in March the hold has one, and the least order is two: April's come on the 1st, 14
    # working days after 12 March
    after = searched(data, SETTINGS, taken)
    assert (after.objective.total, after.bound) == (14_000, 14_000)
    assert audit(data, SETTINGS, after) == ()


def test_a_parts_order_leaves_a_hold_its_engine() -> None:
    data = shop(
        stock=(stock(1),),
        purchases=(purchase("P", march(9)),),
        deliveries=(delivery("A"),),
        parts_orders=(order("O", 1, march(2)),),
    )
    plan = searched(data, SETTINGS, hold(data))
    # ships on 03-09 in place of 03-02: seven calendar days late
    assert (plan.objective.total, plan.bound, plan.status) == (7000, 7000, Status.OPTIMAL)
    assert audit(data, SETTINGS, plan) == ()


def test_what_there_is_not_enough_of_beside_a_hold_is_left_unplaced() -> None:
    """The one engine there will ever be is held: the build is told of, not left out in silence."""
    data = shop(
        builds=(build("B1", march(2)),),
        stock=(stock(1),),
        deliveries=(delivery("A"),),
        parts_orders=(order("O", 1, march(2)),),
    )
    bench = bench_for(data, SETTINGS, hold(data))
    outcome = search_plan(bench, Effort(seconds=0.2))
    assert [task.build.build for task in outcome.decisions.unplaced] == ["B1"]
    assert [line.row.order for line in outcome.decisions.unshipped] == ["O"]


def test_what_is_taken_goes_to_other_processes() -> None:
    data = shop(builds=(build("B1", march(2)),), stock=(stock(2),))
    problem = bench_for(data, SETTINGS, hold(data)).problem
    assert pickle.loads(pickle.dumps(problem)).taken == problem.taken


# ---- stations that are out and held at once


def centre(stations: int, down: Any, held: Any) -> Centre:
    return Centre("CELL", "A", stations, tuple(down), tuple(held))


@pytest.mark.parametrize(
    ("stations", "down", "held", "gone"),
    [
        (1, [], [], ()),
        # one after the other is one stretch
        (1, [], [(0, 60, 1, "Q1"), (60, 90, 1, "Q2")], ((0, 90, 1),)),
        (1, [(30, 120, 1)], [(0, 60, 1, "Q1")], ((0, 30, 1), (30, 60, 1), (60, 120, 1))),
        (2, [(30, 120, 1)], [(0, 60, 1, "Q1")], ((0, 30, 1), (30, 60, 2), (60, 120, 1))),
        (2, [(0, 60, 5)], [], ((0, 60, 2),)),
        (2, [(0, 60, 1), (90, 120, 2)], [], ((0, 60, 1), (90, 120, 2))),
    ],
)
def test_no_more_stations_are_gone_than_there_are(
    stations: int, down: Any, held: Any, gone: tuple[tuple[int, int, int], ...]
) -> None:
    assert centre(stations, down, held).gone == gone


def test_a_hold_whose_station_goes_out_leaves_a_plan_that_can_be_proven() -> None:
    row = Downtime(work_centre="CELL", starts=monday(8), ends=datetime(2026, 3, 3, 12), stations=1)
    data = shop(builds=(build("B1", march(2)), build("B2", march(3))), stock=(stock(3),))
    taken = hold(data)
    out = replace(data, downtime=(row,))
    plan = searched(out, SETTINGS, taken)
    # half of Tuesday is left: B1 is done at noon on Wednesday, B2 a day later: 1.5 days each
    assert (plan.objective.total, plan.bound, plan.status) == (3000, 3000, Status.OPTIMAL)
    assert audit(out, SETTINGS, plan) == ()


def test_stations_that_are_held_make_the_bound_of_prices_higher() -> None:
    """Six builds are due on the first day, when two holds have the one station for two days."""
    builds = tuple(build(f"B{n}", march(2)) for n in range(1, 7))
    data = shop(builds=builds, stock=(stock(8),))
    first = hold(data)
    second = held(quoted(data, first), data, "Q8:", own=True)
    taken = first + second
    bench = bench_for(data, SETTINGS, taken)
    outcome = search_plan(bench, Effort(seconds=0.2))
    plan = finished(bench, outcome)
    assert plan.objective.total == 1000 * (2 + 3 + 4 + 5 + 6 + 7)

    start = first_plan(bench).sketch
    assert start is not None
    solution = solution_of(take_up(bench.compiled, start))

    def priced() -> float:
        return priced_bound(bench.compiled, solution, 5.0, Event())[0]

    beside = priced()
    for row in bench.book.centres:
        row.gone = ()
    assert priced() + 1000 < beside <= plan.objective.total


# ---- the freeze


def test_a_frozen_slot_that_a_hold_has_is_let_go() -> None:
    """The plan before has B1 on Monday, and so has the hold, which was made without knowing."""
    settings = replace(SETTINGS, freeze_days=3)
    data = shop(builds=(build("B1", march(2)),), stock=(stock(2),))
    before = searched(data, SETTINGS)
    assert starts(before) == {"B1": monday(8)}
    taken = hold(data)
    slots = {(row.job, row.operation): row.start for row in before.operations}
    problem = Problem(with_orders(data, taken), settings, previous_starts=slots, taken=taken)
    assert Book(problem).tasks[0].root.operations[0].pinned == 0
    bench = Workbench(problem)
    plan = finished(bench, search_plan(bench, Effort(seconds=0.2)))
    assert starts(plan) == {"B1": datetime(2026, 3, 3, 8)}
    whole = joined(plan, quoted(data))
    found = audit(both(data), settings, whole, before)
    assert [row for row in found if row.rule not in ("objective", "bound")] == []


# ---- a cap that several points share


def test_a_month_goes_to_the_point_whose_shelf_is_held() -> None:
    """The build at A has an engine on the shelf, so what the supplier lets go in March is for the
    one at B, which is due later; if the shelf is held, it is for the one at A."""
    data = shop(
        parts=(
            Part(part="MACHINE", make=True),
            Part(part="MACHINE B", make=True),
            Part(part="ENGINE"),
        ),
        bills=tuple(
            BillLine(parent=part, component="ENGINE", quantity_milli=MILLI)
            for part in ("MACHINE", "MACHINE B")
        ),
        work_centres=(
            WorkCentre(work_centre="CELL", point="A"),
            WorkCentre(work_centre="CELL B", point="B"),
        ),
        routings=tuple(
            RoutingStep(part=part, operation=10, work_centre=where, minutes_milli=DAY * MILLI)
            for part, where in (("MACHINE", "CELL"), ("MACHINE B", "CELL B"))
        ),
        builds=(
            build("B1", march(16)),
            build("B2", march(17), point="B", product="MACHINE B"),
        ),
        stock=(stock(1),),
        sources=(source(10, 1), source(10, 1, point="B")),
    )

    def of_march(taken: Taken) -> dict[str, int]:
        problem = Problem(with_orders(data, taken), SETTINGS, taken=taken)
        shares = Supplies(problem).shared["ENGINE", "S"].shares
        return {point: milli for (month, point), milli in shares.items() if month == "2026-03"}

    assert of_march(NOTHING) == {"B": MILLI}
    assert of_march(hold(data)) == {"A": MILLI}
    # an open purchase covers as the shelf does; one that is held does not, and fills March besides
    came = replace(data, stock=(), purchases=(purchase("P", date(2026, 4, 2)),))
    key = purchase_key("P", "1")
    for taken, point in ((NOTHING, "B"), (Taken({key: MILLI}), "A")):
        problem = Problem(came, SETTINGS, taken=taken)
        shares = Supplies(problem).shared["ENGINE", "S"].shares
        assert shares["2026-03", point] == MILLI

"""Planning beside what holds have taken: by hand, against trying everything, and as a law.

By hand on the tiny shop: a machine is a whole day's work on the only station, from Monday 03-02 on,
and each working day past its due date costs 1000.
"""

from __future__ import annotations

import pickle
from dataclasses import replace
from datetime import date, datetime
from threading import Event
from typing import Any

import pytest
from beside_books import (
    QUOTED,
    bench_for,
    broken,
    listed,
    only,
    quoted,
    reduced,
    searched,
    split_book,
    without,
)
from books import Shape, settings_of
from fulfil_models.audit import audit
from fulfil_models.book import Book
from fulfil_models.book_entries import Centre
from fulfil_models.cells import MILLI
from fulfil_models.kept_open import apart, held
from fulfil_models.plan import BlockerKind, Plan, Status, SupplyKind
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
    Build,
    Dataset,
    Downtime,
    Part,
    Purchase,
    RoutingStep,
    WorkCentre,
)
from fulfil_models.taken import (
    NOTHING,
    ORDERED,
    Taken,
    joined,
    purchase_key,
    stock_key,
    taken_by,
    with_orders,
)
from oracle import Unsupported, optimum
from tiny_shop import (
    DAY,
    SETTINGS,
    build,
    delivery,
    lane,
    march,
    order,
    purchase,
    shop,
    source,
    stock,
)


def hold(data: Dataset, asked: Build = QUOTED) -> Taken:
    """What a hold for one machine, made when there was no plan, takes."""
    return held(quoted(data, asked=asked), data, "Q7:", own=True)


def both(data: Dataset, asked: Build = QUOTED) -> Dataset:
    """The data set with the held machine as a firm build."""
    return replace(data, builds=(*data.builds, asked))


def starts(plan: Plan) -> dict[str, datetime]:
    return {row.job: row.start for row in plan.operations}


def monday(hour: int) -> datetime:
    return datetime(2026, 3, 2, hour)


# ---- what a hold has taken, by hand


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


def beside_an_order() -> tuple[Dataset, Plan, Plan]:
    """A plan whose order brings one engine over (the least are two), and a machine that takes it.

    Nothing else comes in March, for no more than two may.
    """
    data = shop(
        builds=(build("B1", march(12)),), sources=(source(10, cap=2, minimum_milli=2 * MILLI),)
    )
    plan = listed(data, SETTINGS)
    assert plan is not None
    return data, plan, quoted(data, taken_by(plan, data))


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


# ---- a plan beside a hold, by hand


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


# ---- laws, on random books


SHAPES = (
    Shape(builds=3, points=1),
    Shape(builds=3),
    Shape(builds=3, alternates=False),
    Shape(builds=3, points=1, alternates=False, purchases=False),
)
CUT = "purchase/"
"""begins the names, after the prefix, of orders that stand for a part of one of the old plan"""


def with_hold(seed: int) -> tuple[Dataset, Dataset, Taken, Plan] | None:
    """A random book, the same without one build or its parts orders, what a hold for that takes
    which was made beside a plan that is gone, and its piece."""
    found = split_book(seed, SHAPES[seed % len(SHAPES)], asked=1)
    if found is None:
        return None
    data, (asked,) = found
    settings = settings_of(data)
    rest, alone = without(data, (asked,)), only(data, (asked,))
    if seed % 3 == 2:
        rest = replace(data, parts_orders=())
        alone = replace(only(data, ()), parts_orders=data.parts_orders)
    before = listed(rest, settings)
    if before is None:
        return None
    old = taken_by(before, data)
    piece = listed(alone, settings, old)
    if piece is None:
        return None
    taken = held(piece, data, "Q7:", True, old.orders)
    return data, rest, taken, apart(piece, data, "Q7:", True, old.orders)


@pytest.mark.parametrize("seed", range(40))
def test_a_plan_beside_a_hold_is_one_and_both_together_are(seed: int) -> None:
    found = with_hold(seed)
    if found is None:
        pytest.skip("a list schedule leaves something out")
    data, rest, taken, piece = found
    settings = settings_of(data)
    plan = searched(rest, settings, taken, seconds=0.1)
    assert audit(rest, settings, plan) == ()
    assert not any(str(s.order or s.supply).startswith("Q7:") for s in plan.supplies)
    whole = joined(plan, piece)
    wrong = [
        row
        for row in broken(data, whole)
        # part of an old order may be less than the least order, and no multiple
        if row.rule != "new purchases" or f"Q7:{CUT}" not in row.subject
    ]
    assert wrong == []


@pytest.mark.parametrize("seed", range(1000, 1030))
def test_bound_and_plan_beside_a_hold_against_trying_everything(seed: int) -> None:
    found = with_hold(seed)
    if found is None:
        pytest.skip("a list schedule leaves something out")
    data, rest, taken, _ = found
    settings = settings_of(data)
    left = reduced(rest, taken)
    plan = searched(rest, settings, taken, seconds=0.2)
    assert broken(left, plan) == []
    try:
        least = optimum(left, settings)
    except Unsupported:
        pytest.skip("a book that is not tried exhaustively")
    assert plan.bound <= least <= plan.objective.total
    if plan.status is Status.OPTIMAL:
        assert plan.objective.total == least


def test_holds_of_random_books_take_all_kinds_of_things() -> None:
    """So that the laws above are not kept by holds that take nothing of interest."""
    kinds = set()
    cut = 0
    for seed in range(40):
        found = with_hold(seed)
        if found is not None:
            _, _, taken, piece = found
            kinds |= {supply.kind for supply in piece.supplies}
            cut += any(supply.supply.startswith(f"Q7:{CUT}") for supply in piece.supplies)
            assert all(row.who == "Q7" for row in (*taken.busy, *taken.holdings))
    assert kinds == set(SupplyKind)
    assert cut >= 2


def test_orders_stand_among_the_purchases_and_nothing_else_changes() -> None:
    data = shop(sources=(source(10),))
    taken = hold(data)
    assert with_orders(data, taken) == replace(data, purchases=taken.orders)
    assert with_orders(data, NOTHING) == data
    (row,) = taken.orders
    assert isinstance(row, Purchase)
    assert not row.confirmed

"""A plan goes on after a change of the data: who keeps what, where the others go, what is told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from books import Shape, books, random_book, settings_of
from fulfil_models.audit import audit
from fulfil_models.cells import MILLI, PPM
from fulfil_models.plan import Plan, Status, Supply, SupplyKind
from fulfil_models.planning import Effort, Workbench, finished, search_plan, solution_of
from fulfil_models.problem import Problem
from fulfil_models.repair import Retimed, aligned, repaired, retimed_plan
from fulfil_models.settings import Settings
from fulfil_models.stranded import left_out, stranded
from fulfil_models.tables import (
    Dataset,
    Downtime,
    Part,
    Progress,
    RoutingStep,
)
from hypothesis import assume, given
from hypothesis import settings as effort
from hypothesis import strategies as st
from tiny_shop import (
    AS_OF,
    SETTINGS,
    build,
    delivery,
    engines,
    lane,
    march,
    order,
    purchase,
    shop,
    source,
    stand_in,
    stock,
)

from fulfil.store import open_store
from fulfil.usecases.basis import settings_of as stored_settings

Slots = dict[tuple[str, int], tuple[datetime, datetime]]


def planned(data: Dataset, settings: Settings = SETTINGS) -> Plan:
    bench = Workbench(Problem(data, settings))
    return finished(bench, search_plan(bench, Effort(seconds=0.1)))


def gone_on(
    data: Dataset, plan: Plan, settings: Settings = SETTINGS, frozen: Plan | None = None
) -> Retimed:
    rows = () if frozen is None else frozen.operations
    starts = {(row.job, row.operation): row.start for row in rows}
    made = retimed_plan(Workbench(Problem(data, settings, previous_starts=starts)), plan)
    if not made.unplaced and not made.unshipped:
        assert audit(data, settings, made.plan, frozen) == ()
    return made


def slots(plan: Plan) -> Slots:
    return {(row.job, row.operation): (row.start, row.end) for row in plan.operations}


def days(plan: Plan) -> dict[str, int]:
    """The day of March on which each build of the tiny shop is made."""
    assert {row.start.month for row in plan.operations} == {3}
    return {row.job: row.start.day for row in plan.operations}


def drawn(plan: Plan) -> dict[str, str]:
    """The supply of the engine of each build, in the tiny shop."""
    return {peg.job: peg.supply for peg in plan.pegs}


def first_supply(plan: Plan, name: str) -> Supply:
    """A supply, or the one that is moved as it."""
    supplies = {row.supply: row for row in plan.supplies}
    while (before := supplies[name].from_supply) is not None:
        name = before
    return supplies[name]


def drawing(plan: Plan, is_meant: Callable[[Supply], bool]) -> set[str]:
    """Builds, and parts orders, that draw on a supply."""
    builds = {job.job: job.build for job in plan.jobs}
    found = {builds[p.job] for p in plan.pegs if is_meant(first_supply(plan, p.supply))}
    shipped = {s.order for s in plan.shipments if is_meant(first_supply(plan, s.supply))}
    return found | shipped


def kept_slots(data: Dataset, plan: Plan, names: set[str]) -> dict[tuple[str, int], int]:
    """Positions at which operations start, but for those of some builds.

    The closing of a day and the next opening are one position, and work of no length may be done
    at either.
    """
    builds = {job.job: job.build for job in plan.jobs}
    axes = Problem(data, SETTINGS).axes
    points = {row.build: row.point for row in data.builds}
    return {
        (row.job, row.operation): axes[points[builds[row.job]]].position(row.start)
        for row in plan.operations
        if builds[row.job] not in names
    }


def late_days(plan: Plan, names: set[str]) -> dict[tuple[str, str], int]:
    """Late days of the lines of all orders but some; a line may always ship sooner, with others
    for whom the same purchase is to come sooner."""
    days: dict[tuple[str, str], int] = {}
    for row in plan.shipments:
        if row.order not in names:
            key = (row.order, row.line)
            days[key] = max(days.get(key, 0), row.late_days)
    return days


def assert_kept(data: Dataset, plan: Plan, after: Plan, names: set[str]) -> None:
    """All but some builds and orders are where they were."""
    assert kept_slots(data, after, names) == kept_slots(data, plan, names)
    before, now = late_days(plan, names), late_days(after, names)
    assert now.keys() == before.keys()
    assert all(now[key] <= before[key] for key in now)


# ---- by hand. One machine a day, so a build is named by its day: Monday is 2 March.

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


# ---- work that has been done: two operations of two hours on one station, all on Monday

TWICE = replace(
    shop(bills=()),
    routings=tuple(
        RoutingStep(part="MACHINE", operation=n, work_centre="CELL", minutes_milli=120 * MILLI)
        for n in (10, 20)
    ),
    builds=(build("B1", march(2)), build("B2", march(2))),
)


def at(day: int, time: str) -> datetime:
    return datetime.fromisoformat(f"2026-03-{day:02}T{time}")


def frozen_plan(data: Dataset, starts: dict[tuple[str, int], datetime]) -> Plan:
    """The plan with these slots, though there may be a better one."""
    settings = replace(SETTINGS, freeze_days=9)
    bench = Workbench(Problem(data, settings, previous_starts=starts))
    plan = finished(bench, search_plan(bench, Effort(seconds=0.1)))
    assert {key: start for key, (start, _) in slots(plan).items()} == starts
    return plan


@pytest.fixture(scope="module")
def twice() -> Plan:
    """B1 in the morning, B2 after noon."""
    morning = {("B1", 10): at(2, "08:00"), ("B1", 20): at(2, "10:00")}
    noon = {("B2", 10): at(2, "12:30"), ("B2", 20): at(2, "14:30")}
    return frozen_plan(TWICE, morning | noon)


def test_what_is_finished_is_gone_and_the_rest_keeps_its_slots(twice: Plan) -> None:
    friday = datetime(2026, 2, 27, 8)
    done = Progress(build="B1", operation=10, started=friday, finished=friday + timedelta(hours=2))
    after = gone_on(replace(TWICE, progress=(done,)), twice).plan
    rest = slots(twice)
    del rest["B1", 10]
    assert slots(after) == rest


def test_work_that_runs_late_pushes_what_was_to_follow(twice: Plan) -> None:
    # On Tuesday B1's first operation is done, its second was started on Monday at 16:00 and has
    # 90 minutes left. B2 was to start on Monday and did not: it follows.
    progress = (
        Progress(build="B1", operation=10, started=at(2, "08:00"), finished=at(2, "16:00")),
        Progress(build="B1", operation=20, started=at(2, "16:00")),
    )
    tuesday = replace(SETTINGS, as_of=march(3))
    after = gone_on(replace(TWICE, progress=progress), twice, tuesday).plan
    assert slots(after) == {
        ("B1", 20): (at(2, "16:00"), at(3, "09:30")),
        ("B2", 10): (at(3, "09:30"), at(3, "11:30")),
        ("B2", 20): (at(3, "11:30"), at(3, "14:00")),
    }


def test_frozen_slots_are_kept_though_something_started_unplanned(twice: Plan) -> None:
    # B3, which the plan does not know, was started on Monday at 8:00 and goes on at 10:00. B1 was
    # to start at 8:00 and goes to Tuesday, no slot before being free: B2 is frozen and stays.
    started = Progress(build="B3", operation=10, started=at(2, "08:00"))
    data = replace(TWICE, builds=(*TWICE.builds, build("B3", march(2))), progress=(started,))
    settings = replace(SETTINGS, freeze_days=1)
    after = slots(gone_on(data, twice, settings, frozen=twice).plan)
    assert {key: start for key, (start, _) in after.items()} == {
        ("B3", 10): at(2, "08:00"),
        ("B3", 20): at(2, "10:00"),
        ("B2", 10): at(2, "12:30"),
        ("B2", 20): at(2, "14:30"),
        ("B1", 10): at(3, "08:00"),
        ("B1", 20): at(3, "10:00"),
    }


def test_what_is_made_for_a_build_keeps_its_slot_with_other_units() -> None:
    # The frame is made on Monday of the engine of P1, for a build of Wednesday. P1 has come in and
    # lies on the shelf: the frame could be made as late as on Tuesday, and stays.
    base = shop()
    data = shop(
        parts=(*base.parts, Part(part="FRAME", make=True)),
        bills=(
            replace(engines(1), component="FRAME"),
            replace(engines(1), parent="FRAME"),
        ),
        routings=(*base.routings, replace(base.routings[0], part="FRAME")),
        builds=(build("B1", march(4)), build("B2", march(10))),
        purchases=(purchase("P1", march(2)), purchase("P2", march(9))),
    )
    plan = frozen_plan(
        data,
        {
            ("B1/10/FRAME", 10): at(2, "08:00"),
            ("B1", 10): at(4, "08:00"),
            ("B2/10/FRAME", 10): at(9, "08:00"),
            ("B2", 10): at(10, "08:00"),
        },
    )
    received = replace(data, purchases=data.purchases[1:], stock=(stock(1),))
    after = gone_on(received, plan).plan
    assert slots(after) == slots(plan)


# ---- on random tiny books


@effort(max_examples=30, deadline=None)
@given(books())
def test_a_plan_of_unchanged_data_goes_on_as_it_is(book: Dataset) -> None:
    settings = settings_of(book)
    plan = planned(book, settings)
    after = gone_on(book, plan, settings)
    assert (after.unplaced, after.unshipped) == ((), ())
    assert slots(after.plan) == slots(plan)
    assert dates(after.plan) == dates(plan)
    assert after.plan.objective == plan.objective


def dates(plan: Plan) -> list[tuple[str, datetime, date, int]]:
    return [(row.build, row.finish, row.ships, row.late_minutes) for row in plan.builds]


@effort(max_examples=20, deadline=None)
@given(books(purchases=True, caps=False), st.sampled_from((1, 4, 30)))
def test_only_who_draws_on_a_slipped_purchase_moves(book: Dataset, days: int) -> None:
    settings, (first, *others) = settings_of(book), book.purchases
    plan = planned(book, settings)
    late = replace(first, due=first.due + timedelta(days))
    after = gone_on(replace(book, purchases=(late, *others)), plan, settings)
    assert (after.unplaced, after.unshipped) == ((), ())
    hit = drawing(plan, lambda supply: supply.order == first.order)
    assert_kept(book, plan, after.plan, hit)
    assert_none_is_sooner(book, plan, after.plan)


@effort(max_examples=20, deadline=None)
@given(books(caps=False), st.integers(0, 9))
def test_only_who_draws_on_a_shelf_moves_when_less_is_counted(book: Dataset, pick: int) -> None:
    settings = settings_of(book)
    rows = [row for row in book.stock if row.part != "BOLT"]
    assume(rows)
    row = rows[pick % len(rows)]
    left = row.quantity_milli - MILLI
    fewer = replace(row, quantity_milli=left, held_milli=min(row.held_milli, left))
    stock = tuple(fewer if other is row else other for other in book.stock)
    plan = planned(book, settings)
    after = gone_on(replace(book, stock=stock), plan, settings)
    assert (after.unplaced, after.unshipped) == ((), ())
    shelf = (SupplyKind.STOCK, row.point, row.part)
    hit = drawing(plan, lambda supply: (supply.kind, supply.point, supply.part) == shelf)
    assert_kept(book, plan, after.plan, hit)
    assert_none_is_sooner(book, plan, after.plan)


@effort(max_examples=20, deadline=None)
@given(books(caps=False, builds=3), st.integers(1, 2))
def test_who_goes_or_comes_moves_nobody(book: Dataset, pick: int) -> None:
    # no frame on the shelf: with a build less it may do for all, and then none is made
    bare = tuple(row for row in book.stock if row.part != "FRAME")
    book, one = replace(book, stock=bare), book.builds[pick]
    settings = settings_of(book)
    plan = planned(book, settings)
    gone = gone_on(
        replace(book, builds=tuple(row for row in book.builds if row is not one)), plan, settings
    )
    assert_kept(book, plan, gone.plan, {one.build})
    more = replace(book, builds=(*book.builds, replace(one, build="NEW")))
    come = gone_on(more, plan, settings)
    assert (come.unplaced, come.unshipped) == ((), ())
    assert_kept(more, plan, come.plan, {"NEW"})
    assert {row.build for row in come.plan.builds} == {row.build for row in more.builds}


@effort(max_examples=20, deadline=None)
@given(books(), st.integers(0, 9), st.booleans(), st.sampled_from((0, 2, 9)))
def test_what_was_done_and_another_day_give_a_valid_plan(
    book: Dataset, pick: int, is_finished: bool, freeze_days: int
) -> None:
    settings = settings_of(book)
    plan = planned(book, settings)
    first = min(row.operation for row in book.routings if row.part == "MACHINE")
    began = datetime(2026, 2, 27, 9)
    done = Progress(
        build=book.builds[pick % len(book.builds)].build,
        operation=first,
        started=began,
        finished=began + timedelta(hours=1) if is_finished else None,
    )
    later = replace(settings, as_of=settings.as_of + timedelta(1), freeze_days=freeze_days)
    after = gone_on(replace(book, progress=(done,)), plan, later, frozen=plan)
    assert (after.unplaced, after.unshipped) == ((), ())  # and it was audited


def assert_none_is_sooner(book: Dataset, plan: Plan, after: Plan) -> None:
    """No build starts an operation before its slot in the plan."""
    before, now = kept_slots(book, plan, set()), kept_slots(book, after, set())
    own = [key for key in now if key[0] in {row.build for row in plan.builds}]
    assert own
    assert all(now[key] >= before[key] for key in own)


def test_changes_of_random_books_do_move_builds() -> None:
    """So that the properties above are not those of books in which nothing ever changes."""
    moved = 0
    for seed in range(8):
        book = random_book(seed, Shape(caps=False))
        plan = planned(book, settings_of(book))
        bare = replace(book, stock=tuple(row for row in book.stock if row.part == "BOLT"))
        moved += slots(gone_on(bare, plan, settings_of(book)).plan) != slots(plan)
    assert moved >= 3


# ---- the demo


@pytest.fixture(scope="module")
def demo(demo_db: Path) -> tuple[Dataset, Settings, Plan]:
    with open_store(str(demo_db)) as store:
        data, plan = store.dataset(), store.plan().plan
    return data, stored_settings(data, plan.as_of), plan


def demo_bench(data: Dataset, settings: Settings) -> Workbench:
    out = left_out(data, settings)
    return Workbench(Problem(data, settings, out.builds, out.lines, {}, stranded(data, settings)))


def test_the_demo_goes_on_as_it_is(demo: tuple[Dataset, Settings, Plan]) -> None:
    data, settings, plan = demo
    after = retimed_plan(demo_bench(data, settings), plan, notes=("so it is",)).plan
    assert slots(after) == slots(plan)
    assert dates(after) == dates(plan)
    assert after.objective == plan.objective
    assert after.notes == ("so it is",)


@pytest.mark.parametrize("part", ["ENG-014D", "CYL-MAST"])
def test_the_demo_with_a_short_part_a_month_late(
    demo: tuple[Dataset, Settings, Plan], part: str
) -> None:
    data, settings, plan = demo
    late = [replace(row, due=row.due + timedelta(30)) for row in data.purchases if row.part == part]
    others = [row for row in data.purchases if row.part != part]
    data = replace(data, purchases=(*late, *others))
    after = retimed_plan(demo_bench(data, settings), plan)
    assert (after.unplaced, after.unshipped) == ((), ())
    assert audit(data, settings, after.plan) == ()
    hit = drawing(plan, lambda supply: supply.part == part)
    assert 0 < len(hit) < len(plan.builds) / 2
    assert slots(after.plan) != slots(plan)
    assert_kept(data, plan, after.plan, hit)

"""What the order book says of a problem: needs with their ways, work left, weights, outlets."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from fractions import Fraction

import pytest
from fulfil_models.book import Need, Task, WayKind
from fulfil_models.book_entries import order_late_days
from fulfil_models.cells import MILLI
from fulfil_models.potential import alternate_quantity, makeable_at, potential_draws
from fulfil_models.tables import BillLine, Dataset, Part, RoutingStep, WorkCentre
from tiny_shop import (
    DAY,
    book_of,
    build,
    delivery,
    engines,
    hurried,
    lane,
    march,
    order,
    problem_of,
    purchase,
    shop,
    stand_in,
    stock,
)

B1, B2 = build("B1", march(6)), build("B2", march(6))


def needs_of(task: Task) -> dict[str, Need]:
    return {need.part: need for job in task.jobs() for need in job.needs()}


def engine_of(data: Dataset) -> Need:
    return needs_of(book_of(data).tasks[0])["ENGINE"]


# ---- weights and due moments


def test_a_build_costs_by_its_weight_and_the_standard_day() -> None:
    """1000 a day of 480 minutes at weight 3; without a date, a thousandth of a day's cost."""
    heavy = build("B1", march(6), weight_ppm=3_000_000)
    tasks = book_of(shop(builds=(heavy, build("B2", None)))).tasks
    assert [task.rate for task in tasks] == [Fraction(3000, 480), Fraction(1, 480)]
    # Friday's closing is the end of the fifth day; without a promise the planning date
    assert [task.due for task in tasks] == [5 * DAY, 0]


# ---- ways


def test_ways_of_a_need_stand_in_order_of_cost_then_kind() -> None:
    """Own bin and expedited for nothing so far, alternate 300, moved 150 + 40 kg x 0.50."""
    data = shop(
        builds=(B1, B2),
        stock=(stock(1), stock(1, "B"), stock(1, part="ENGINE2")),
        lanes=(lane("B", "A", 2, move=150, kg=0.5),),
        sources=(hurried(10, 7, 100),),
        alternates=(stand_in(300),),
    )
    ways = [(way.kind, way.used, way.cost, way.move_cost) for way in engine_of(data).ways]
    assert ways == [
        (WayKind.OWN, "ENGINE", 0.0, 0.0),
        (WayKind.EXPEDITE, "ENGINE", 0.0, 0.0),
        (WayKind.MOVE, "ENGINE", 20.0, 150.0),
        (WayKind.OWN, "ENGINE2", 300.0, 0.0),
    ]


def test_an_alternate_that_is_not_approved_is_no_way() -> None:
    data = shop(
        builds=(B1, B2),
        stock=(stock(1), stock(1, part="ENGINE2")),
        alternates=(replace(stand_in(300), approved=False),),
    )
    assert [way.used for way in engine_of(data).ways] == ["ENGINE"]


@pytest.mark.parametrize(("units", "plentiful"), [(1, False), (2, True)])
def test_stock_for_all_that_could_be_drawn_is_no_question(units: int, plentiful: bool) -> None:
    need = engine_of(shop(builds=(B1, B2), stock=(stock(units),)))
    assert need.plentiful is plentiful


def test_what_comes_later_is_never_plentiful() -> None:
    need = engine_of(shop(builds=(B1,), purchases=(purchase("P1", march(3), 100),)))
    assert not need.plentiful


def test_parts_orders_count_among_what_could_be_drawn() -> None:
    """Two builds at one engine, and three for customers: five; of the alternate, by ratio, ten."""
    data = shop(
        builds=(B1, B2), parts_orders=(order("O1", 3, march(6)),), alternates=(stand_in(0, 2),)
    )
    most = potential_draws(problem_of(data))
    assert most["ENGINE"] == 5 * MILLI
    assert most["ENGINE2"] == 10 * MILLI


def test_what_goes_into_a_made_part_counts_as_well() -> None:
    most = potential_draws(problem_of(framed(builds=(B1, B2))))
    assert most["FRAME"] == 2 * MILLI
    assert most["PUMP"] == 6 * MILLI  # three in each


# ---- made parts, and the work left


def framed(**tables: object) -> Dataset:
    """A machine takes a FRAME at its second operation (60 minutes), made of three PUMPs at the
    second of its own two operations (90 and 30 minutes)."""
    work = (("MACHINE", 10, 240), ("MACHINE", 20, 60), ("FRAME", 1, 90), ("FRAME", 2, 30))
    made: dict[str, object] = {
        "parts": (
            Part(part="MACHINE", make=True),
            Part(part="FRAME", make=True),
            Part(part="PUMP"),
        ),
        "bills": (
            BillLine(parent="MACHINE", component="FRAME", quantity_milli=MILLI, operation=20),
            BillLine(parent="FRAME", component="PUMP", quantity_milli=3 * MILLI, operation=2),
        ),
        "routings": tuple(
            RoutingStep(
                part=part, operation=number, work_centre="CELL", minutes_milli=minutes * MILLI
            )
            for part, number, minutes in work
        ),
    }
    return shop(**(made | tables))  # type: ignore[arg-type]


def test_the_work_left_from_a_need_to_the_end_of_the_build() -> None:
    """From the frame: 60 minutes. From the pumps: 30 of the frame, then those 60."""
    needs = needs_of(book_of(framed(builds=(B1,), stock=(stock(1, part="PUMP"),))).tasks[0])
    assert {part: need.tail for part, need in needs.items()} == {"FRAME": 60, "PUMP": 90}


def test_a_job_is_named_after_the_need_that_it_fills() -> None:
    book = book_of(framed(builds=(B1,)))
    jobs = list(book.tasks[0].jobs())
    assert [job.name for job in jobs] == ["B1", "B1/20/FRAME"]
    assert [len(job.operations) for job in jobs] == [2, 2]


def test_a_part_is_made_only_where_all_its_work_centres_stand() -> None:
    at_b = (
        WorkCentre(work_centre="CELL", point="A"),
        WorkCentre(work_centre="WELD", point="B"),
    )
    steps = framed().routings
    split = framed(
        work_centres=at_b,
        routings=(
            *steps,
            RoutingStep(part="FRAME", operation=3, work_centre="WELD", minutes_milli=MILLI),
        ),
    )
    assert makeable_at(problem_of(framed()), "FRAME", "A")
    assert not makeable_at(problem_of(framed()), "FRAME", "B")
    assert not makeable_at(problem_of(split), "FRAME", "A")
    assert not makeable_at(problem_of(framed()), "PUMP", "A")


def test_an_alternate_is_issued_in_whole_steps() -> None:
    """1.5 units by a ratio of 1, in steps of 1: 2; and 2 x 100 of extra cost."""
    row = stand_in(100)
    quantity, extra = alternate_quantity(problem_of(shop()), row, 1500)
    assert (quantity, extra) == (2000, 200)


# ---- parts orders


def test_a_line_may_ship_from_every_bin_that_delivers_to_it() -> None:
    """The part and the alternate at A, the part at B; nothing from where nothing is delivered."""
    tables = {
        "parts_orders": (order("O1", 1, march(6)),),
        "alternates": (stand_in(50),),
        "stock": (stock(1), stock(1, "B"), stock(1, part="ENGINE2")),
    }
    both = book_of(shop(deliveries=(delivery("A"), delivery("B")), **tables))
    (line,) = both.lines
    found = [(o.used, o.bin.point, o.extra_cost) for o in line.outlets]
    assert found == [("ENGINE", "A", 0.0), ("ENGINE", "B", 0.0), ("ENGINE2", "A", 50.0)]
    (line,) = book_of(shop(deliveries=(delivery("A"),), **tables)).lines
    assert {outlet.bin.point for outlet in line.outlets} == {"A"}


@pytest.mark.parametrize(
    ("promised", "within_days", "ships", "arrives", "expected"),
    [
        (march(6), None, march(6), march(9), 0),  # by ship date
        (march(6), None, march(9), march(10), 3),  # calendar days over a weekend
        # ordered on Friday 27 February: the third carrier day is Wednesday 4 March
        (None, 3, march(3), march(4), 0),
        (None, 3, march(6), march(9), 5),
        (march(6), 3, march(6), march(9), 0),  # the promise counts, not the days
        (None, None, march(5), march(6), 3),  # from the planning date
    ],
)
def test_late_days_of_a_line(
    promised: date | None,
    within_days: int | None,
    ships: date,
    arrives: date,
    expected: int,
) -> None:
    row = order("O1", 1, promised, within_days=within_days)
    assert order_late_days(row, ships, arrives, march(2)) == expected


def test_engines_of_a_machine_are_one_need() -> None:
    """Lines of one component at one operation add up: 2 + 1."""
    need = engine_of(shop(bills=(engines(2), engines(1)), builds=(B1,), stock=(stock(1),)))
    assert need.quantity_milli == 3000

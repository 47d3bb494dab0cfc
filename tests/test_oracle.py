"""The oracle itself: held against optima worked out by hand, and against the checker of plans."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from fractions import Fraction
from random import Random
from typing import Any

import pytest
from books import Shape, books, random_book, settings_of
from fulfil_models.audit import audit
from fulfil_models.cells import MICRO, MILLI, PPM
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    Alternate,
    BillLine,
    Build,
    Dataset,
    Delivery,
    Downtime,
    Lane,
    Part,
    PartsOrder,
    Point,
    Progress,
    Purchase,
    RoutingStep,
    Source,
    Stock,
    WorkCentre,
)
from hypothesis import given
from hypothesis import settings as effort
from hypothesis import strategies as st
from oracle import Unsupported, optimum
from oracle_plan import best_plan

# Monday; Mon-Fri 08:00-12:00 and 12:30-16:30, so 480 minutes a day, 1000 a late day
AS_OF = date(2026, 3, 2)
SETTINGS = Settings(as_of=AS_OF)
OPENING = datetime(2026, 3, 2, 8, 0)
ORDERED = date(2026, 2, 2)


def build(name: str, promised: date | datetime | None, **more: Any) -> Build:
    return Build(build=name, product="M", point="A", ordered=ORDERED, promised=promised, **more)


def step(part: str, operation: int, centre: str, minutes: int) -> RoutingStep:
    return RoutingStep(
        part=part, operation=operation, work_centre=centre, minutes_milli=minutes * MILLI
    )


def engines(*builds: Build, **tables: Any) -> Dataset:
    """Machines of one hour at two stations, each with one engine."""
    return Dataset(
        points=(Point(point="A"), Point(point="B")),
        parts=(Part(part="M", make=True), Part(part="E", weight_g=50_000), Part(part="E2")),
        bills=(BillLine(parent="M", component="E", quantity_milli=MILLI),),
        work_centres=(WorkCentre(work_centre="W", point="A", stations=2),),
        routings=(step("M", 10, "W", 60),),
        builds=builds,
        **tables,
    )


def stock(point: str, part: str, units: int) -> Stock:
    return Stock(point=point, part=part, quantity_milli=units * MILLI)


THURSDAY = Purchase(
    order="P",
    line="1",
    part="E",
    supplier="S",
    point="A",
    quantity_milli=MILLI,
    ordered=ORDERED,
    due=date(2026, 3, 5),
)


def test_two_builds_on_one_station_go_shortest_first() -> None:
    """480 and 120 minutes, both due at once. Short first: late 120 + 600 = 720 minutes, 1.5 days;
    long first: 480 + 600 = 1080."""
    book = Dataset(
        points=(Point(point="A"),),
        parts=(Part(part="M", make=True), Part(part="N", make=True)),
        work_centres=(WorkCentre(work_centre="W", point="A"),),
        routings=(step("M", 10, "W", 480), step("N", 10, "W", 120)),
        builds=(build("B1", OPENING), replace(build("B2", OPENING), product="N")),
    )
    assert optimum(book, SETTINGS) == 1500
    # With three times the weight the long one goes first: 3 x 480 + 600 = 2040 minutes, 4.25 days;
    # else 120 + 3 x 600 = 1920, 4 days. So it still waits.
    heavy = replace(book, builds=(build("B1", OPENING, weight_ppm=3 * PPM), book.builds[1]))
    assert optimum(heavy, SETTINGS) == 4000
    # At weight 5: 5 x 480 + 600 = 3000, 6.25 days; else 120 + 5 x 600 = 3120.
    heavier = replace(book, builds=(build("B1", OPENING, weight_ppm=5 * PPM), book.builds[1]))
    assert optimum(heavier, SETTINGS) == 6250


def test_downtime_is_waited_for_or_filled() -> None:
    """The station is out from 09:00 to 12:00 (minutes 60-240). The 60-minute build fits before it,
    the one of 120 runs 240-360: late 60 + 360 = 420 minutes."""
    book = Dataset(
        points=(Point(point="A"),),
        parts=(Part(part="M", make=True), Part(part="N", make=True)),
        work_centres=(WorkCentre(work_centre="W", point="A"),),
        downtime=(
            Downtime(
                work_centre="W",
                starts=datetime(2026, 3, 2, 9),
                ends=datetime(2026, 3, 2, 12),
                stations=1,
            ),
        ),
        routings=(step("M", 10, "W", 120), step("N", 10, "W", 60)),
        builds=(build("B1", OPENING), replace(build("B2", OPENING), product="N")),
    )
    assert optimum(book, SETTINGS) == 1000 * Fraction(420, 480)


@pytest.mark.parametrize(
    ("extra", "cost"),
    [
        # The alternate is there at once, so both builds end on Monday.
        (700, 700),
        # Thursday's engine is usable at minute 3 x 480 = 1440; the build ends at 1500, was due at
        # 480: 1020 minutes late, 1000 x 1020 / 480 = 2125. Dearer alternates are left alone.
        (3000, 2125),
    ],
)
def test_the_second_engine_is_the_alternate_or_the_purchase(extra: int, cost: int) -> None:
    book = engines(
        build("B1", AS_OF),
        build("B2", AS_OF),
        stock=(stock("A", "E", 1), stock("A", "E2", 1)),
        purchases=(THURSDAY,),
        alternates=(
            Alternate(part="E", alternate="E2", extra_cost_micro=extra * MICRO, approved=True),
        ),
    )
    assert optimum(book, SETTINGS) == cost
    forbidden = replace(book, alternates=(replace(book.alternates[0], approved=False),))
    assert optimum(forbidden, SETTINGS) == 2125


def test_two_engines_share_a_departure() -> None:
    """Two engines of 50 kg leave B on Tuesday: 150 + 2 x 50 x 4 = 550. They are usable on Thursday
    morning, and the builds are promised for Thursday."""
    lane = Lane(
        origin="B",
        destination="A",
        days=2,
        weekdays=("Tue",),
        cost_per_move_micro=150 * MICRO,
        cost_per_kg_micro=4 * MICRO,
    )
    thursday = date(2026, 3, 5)
    book = engines(
        build("B1", thursday), build("B2", thursday), stock=(stock("B", "E", 2),), lanes=(lane,)
    )
    assert optimum(book, SETTINGS) == 550
    # On Wednesday they would be 60 minutes late each, had the lane one day: it has two, and
    # promised for Wednesday each ends at 1500, due at 1440: 2 x 60 / 480 x 1000 = 250 more.
    wednesday = date(2026, 3, 4)
    sooner = replace(book, builds=(build("B1", wednesday), build("B2", wednesday)))
    assert optimum(sooner, SETTINGS) == 800


def test_waiting_for_the_next_departure_saves_a_move() -> None:
    """One engine is at B now, one comes there on Wednesday 03-04; departures are on Tuesday and
    Thursday. Both leaving on Thursday costs one move less, and the promise of 03-31 can wait."""
    lane = Lane(
        origin="B",
        destination="A",
        days=1,
        weekdays=("Tue", "Thu"),
        cost_per_move_micro=150 * MICRO,
    )
    far = date(2026, 3, 31)
    book = engines(
        build("B1", far),
        build("B2", far),
        stock=(stock("B", "E", 1),),
        purchases=(replace(THURSDAY, point="B", due=date(2026, 3, 4)),),
        lanes=(lane,),
    )
    assert optimum(book, SETTINGS) == 150
    # Due on Wednesday (minute 1440): Tuesday's engine is there on Wednesday morning, in time. The
    # other comes on Friday, minute 1920, and ends at 1980: 540 late, 1125. Alone it would be two
    # moves, 300; together both are late, 2250 + 150.
    wednesday = date(2026, 3, 4)
    sooner = replace(book, builds=(build("B1", wednesday), build("B2", wednesday)))
    assert optimum(sooner, SETTINGS) == 1125 + 300


SOURCE = Source(
    part="E", supplier="S", point="A", lead_days=10, monthly_cap_milli=MILLI, minimum_milli=MILLI
)


def test_a_monthly_cap_puts_the_second_engine_into_april() -> None:
    """The first comes on Thursday 03-12. The second on Wednesday 04-01, after 22 working days: the
    build ends at 22 x 480 + 60, due at 22 x 480: 60 minutes late, 125."""
    book = engines(
        build("B1", date(2026, 3, 12)), build("B2", date(2026, 3, 31)), sources=(SOURCE,)
    )
    assert optimum(book, SETTINGS) == 125
    uncapped = replace(book, sources=(replace(SOURCE, monthly_cap_milli=None),))
    assert optimum(uncapped, SETTINGS) == 0
    # An open purchase in March takes the room: 04-01 and 05-01 are left, but brings its engine.
    bought = replace(book, purchases=(replace(THURSDAY, due=date(2026, 3, 12)),))
    assert optimum(bought, SETTINGS) == 125


def test_expediting_is_paid_for_the_whole_order() -> None:
    """One engine, promised for Monday 03-09: hurried it comes on Saturday 03-07, usable on Monday,
    in time. The least order is two, 2 x 900 = 1800. Unhurried it comes on Thursday 03-12, minute
    8 x 480 = 3840, ends at 3900, due at 6 x 480 = 2880: 1020 late, 2125."""
    source = replace(
        SOURCE,
        monthly_cap_milli=None,
        minimum_milli=2 * MILLI,
        expedite_days=5,
        expedite_cost_micro=900 * MICRO,
    )
    book = engines(build("B1", date(2026, 3, 9)), sources=(source,))
    assert optimum(book, SETTINGS) == 1800
    dearer = replace(source, expedite_cost_micro=1100 * MICRO)
    assert optimum(replace(book, sources=(dearer,)), SETTINGS) == 2125


def test_the_heavier_build_gets_the_frame_on_the_shelf() -> None:
    """A frame takes 480 minutes, a machine 120. With the frame from the shelf one ends at 120;
    the other's at 480 + 120 = 600, due at 480: 120 minutes late, 250. Both make a frame each: the
    second ends at 960 + 120."""
    book = Dataset(
        points=(Point(point="A"),),
        parts=(Part(part="M", make=True), Part(part="F", make=True)),
        bills=(BillLine(parent="M", component="F", quantity_milli=MILLI),),
        work_centres=(
            WorkCentre(work_centre="W", point="A"),
            WorkCentre(work_centre="V", point="A"),
        ),
        routings=(step("M", 10, "W", 120), step("F", 10, "V", 480)),
        stock=(stock("A", "F", 1),),
        builds=(build("B1", AS_OF, weight_ppm=3 * PPM), build("B2", AS_OF)),
    )
    assert optimum(book, SETTINGS) == 250
    # Neither from the shelf: one ends at 600 (weight 3: 3 x 120), the other at 1080 (600 late):
    # 960 minutes, 2000.
    assert optimum(replace(book, stock=()), SETTINGS) == 2000


def test_an_order_and_a_build_want_the_same_engine() -> None:
    """The line's engine ships on Monday in time, or on Thursday three days late: 3 x 0.3 x 1000 =
    900. The build is in time on Thursday, or, promised for Monday, 1020 minutes late: 2125. The
    delivery costs 40."""
    book = engines(
        build("B1", date(2026, 3, 5)),
        stock=(stock("A", "E", 1),),
        purchases=(THURSDAY,),
        deliveries=(Delivery(point="A", destination="US", days=2, cost_micro=40 * MICRO),),
        parts_orders=(
            PartsOrder(
                order="O",
                line="1",
                part="E",
                quantity_milli=MILLI,
                ordered=ORDERED,
                destination="US-NV",
                promised=AS_OF,
                weight_ppm=300_000,
            ),
        ),
    )
    assert optimum(book, SETTINGS) == 40
    pressing = replace(book, builds=(build("B1", AS_OF),))
    assert optimum(pressing, SETTINGS) == 940


def test_what_it_does_not_try_it_refuses() -> None:
    book = engines(build("B1", AS_OF), stock=(stock("A", "E", 1),))
    with pytest.raises(Unsupported):
        optimum(
            replace(book, progress=(Progress(build="B1", operation=10, started=OPENING),)), SETTINGS
        )
    with pytest.raises(Unsupported):
        optimum(book, replace(SETTINGS, freeze_days=1))
    with pytest.raises(ValueError, match="no plan"):
        optimum(replace(book, stock=()), SETTINGS)


@effort(max_examples=60, deadline=None)
@given(books())
def test_its_plans_pass_the_checker_at_the_cost_it_counts(book: Dataset) -> None:
    settings = settings_of(book)
    plan, cost = best_plan(book, settings)
    assert audit(book, settings, plan) == ()
    assert plan.objective.total == cost


@effort(max_examples=25, deadline=None)
@given(books(parts_orders=False), st.integers(0, 2**32 - 1))
def test_neither_the_order_of_rows_nor_more_stock_makes_it_worse(book: Dataset, seed: int) -> None:
    settings = settings_of(book)
    cost = optimum(book, settings)
    rng = Random(seed)
    mixed = replace(
        book,
        builds=tuple(rng.sample(book.builds, len(book.builds))),
        stock=tuple(rng.sample(book.stock, len(book.stock))),
        routings=tuple(rng.sample(book.routings, len(book.routings))),
        parts=tuple(rng.sample(book.parts, len(book.parts))),
    )
    assert optimum(mixed, settings) == cost
    kept = [row for row in book.stock if (row.point, row.part) != ("A", "ENGINE")]
    there = sum(r.quantity_milli for r in book.stock if (r.point, r.part) == ("A", "ENGINE"))
    more = replace(
        book,
        stock=(*kept, Stock(point="A", part="ENGINE", quantity_milli=there + MILLI)),
    )
    assert optimum(more, settings) <= cost


def test_books_are_made_by_their_seed() -> None:
    assert random_book(7, Shape()) == random_book(7, Shape())
    assert random_book(7, Shape()) != random_book(8, Shape())
    features = random_book(7, Shape(points=3))
    assert len(features.builds) == 3
    assert features.parts_orders
    assert features.downtime

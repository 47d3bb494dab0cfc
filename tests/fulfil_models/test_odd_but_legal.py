"""Data that nobody would write down first, and that are as good as any: what is planned for them
is true to them, and the checker reads them as the planner does.

The shop is that of `tiny_shop`: a machine takes a day (480 minutes) at CELL and one engine.
Monday 2026-03-02 is the planning date; 6 March is a Friday.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from fractions import Fraction
from itertools import permutations
from typing import Any

import pytest
from books import Shape, random_book, settings_of
from fulfil_models.audit import audit
from fulfil_models.audit_bills import Bills
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.checking import check
from fulfil_models.explosion import job_needs
from fulfil_models.findings import Severity
from fulfil_models.order_lines import order_lines
from fulfil_models.plan import Plan, PlannedBuild, SupplyKind
from fulfil_models.planning import Effort, plan
from fulfil_models.problem import Problem
from fulfil_models.reading import Origins
from fulfil_models.settings import Settings
from fulfil_models.stranded import left_out, line_key, stranded
from fulfil_models.tables import (
    BillLine,
    BuildOption,
    Dataset,
    Delivery,
    Part,
    Point,
    RegionRule,
    RoutingStep,
)
from hypothesis import given
from hypothesis import settings as effort
from hypothesis import strategies as st
from odd_books import odd_books, renamed
from tiny_shop import (
    AS_OF,
    SETTINGS,
    build,
    delivery,
    lane,
    march,
    order,
    problem_of,
    purchase,
    shop,
    source,
    stock,
)

LITTLE = Effort(seconds=0.4)


def planned(data: Dataset, settings: Settings = SETTINGS, **more: Any) -> Plan:
    """The plan of a data set that loads, after the checker found nothing wrong with it."""
    errors = [f.text() for f in check(data, Origins(), AS_OF) if f.severity is Severity.ERROR]
    assert errors == []
    made = plan(Problem(data, settings, **more), LITTLE)
    assert [fault.text() for fault in audit(data, settings, made)] == []
    return made


def step(operation: int, minutes_milli: int, part: str = "MACHINE") -> RoutingStep:
    return RoutingStep(
        part=part, operation=operation, work_centre="CELL", minutes_milli=minutes_milli
    )


# ---- work of no length


DAY_AND_NOTHING = (step(10, 480 * MILLI), step(20, 0))


@pytest.mark.parametrize("minutes_milli", [0, 900])
def test_work_of_no_length_after_a_full_day_is_done_that_evening(minutes_milli: int) -> None:
    """900 thousandths of a minute are no whole minute either."""
    made = planned(
        shop(
            builds=(build("B1", march(6)), build("B2", march(5))),
            routings=(step(10, 480 * MILLI), step(20, minutes_milli)),
            stock=(stock(2),),
        )
    )
    assert made.objective.total == 0
    # B1 takes the whole of Friday, B2 the whole of Thursday or a day before it
    first, second = made.builds
    assert (first.finish, first.ships, first.late_days) == (
        datetime(2026, 3, 6, 16, 30),
        march(6),
        0,
    )
    assert second.ships <= march(5)
    assert [row.late_minutes for row in made.builds] == [0, 0]


def test_it_waits_for_the_morning_where_its_part_comes_with_it() -> None:
    """The engine comes on Monday 9 March at 8:00. Friday's closing is the same working minute: no
    minute is late, and yet the machine cannot leave before Monday."""
    made = planned(
        shop(
            builds=(build("B1", march(6)),),
            routings=DAY_AND_NOTHING,
            bills=(
                BillLine(parent="MACHINE", component="ENGINE", quantity_milli=MILLI, operation=20),
            ),
            purchases=(purchase("P1", march(9)),),
        )
    )
    assert made.operations[-1].start == made.builds[0].finish == datetime(2026, 3, 9, 8)
    assert (made.builds[0].late_minutes, made.builds[0].ships) == (0, march(9))


def test_a_new_order_for_it_comes_on_the_day_it_is_done() -> None:
    """Lead time 2 days: ordered to be there on Friday the 6th, not on Monday the 9th."""
    made = planned(
        shop(
            builds=(build("B1", march(6)),),
            routings=DAY_AND_NOTHING,
            bills=(
                BillLine(parent="MACHINE", component="ENGINE", quantity_milli=MILLI, operation=20),
            ),
            sources=(source(2),),
        )
    )
    (bought,) = made.supplies
    assert bought.arrives_on is not None
    assert bought.arrives_on <= march(6)
    assert made.builds[0].ships == march(6)


def test_it_is_not_done_before_its_build_may_begin() -> None:
    """Nothing but work of no length, not before Monday the 9th: that is not Friday evening."""
    made = planned(
        shop(
            builds=(build("B1", march(20), earliest=march(9)), build("B2", march(6))),
            routings=(step(10, 0),),
            stock=(stock(2),),
        )
    )
    assert all(o.start >= datetime(2026, 3, 9, 8) for o in made.operations if o.job == "B1")
    assert made.builds[1].ships <= march(6)


def test_a_job_of_no_length_is_done_before_what_needs_it() -> None:
    """FRAME, a kit in it and the machine's last step all take no time, after a full Friday."""
    made = planned(
        shop(
            builds=(build("B1", march(6)),),
            parts=(
                Part(part="MACHINE", make=True),
                Part(part="FRAME", make=True),
                Part(part="KIT", make=True),
                Part(part="ENGINE"),
                Part(part="ENGINE2"),
            ),
            routings=(*DAY_AND_NOTHING, step(10, 0, "FRAME")),
            bills=(
                BillLine(parent="MACHINE", component="FRAME", quantity_milli=MILLI, operation=20),
                BillLine(parent="MACHINE", component="KIT", quantity_milli=MILLI, operation=20),
                BillLine(parent="FRAME", component="KIT", quantity_milli=MILLI),
                BillLine(parent="KIT", component="ENGINE", quantity_milli=MILLI),
            ),
            stock=(stock(1),),
            purchases=(purchase("P1", march(6)),),
        )
    )
    assert made.builds[0].ships == march(6)
    assert {s.usable for s in made.supplies if s.kind is SupplyKind.JOB} <= {
        datetime(2026, 3, 6, 16, 30),
        datetime(2026, 3, 6, 8),
    }


@pytest.mark.parametrize("slot", [datetime(2026, 3, 6, 16, 30), datetime(2026, 3, 9, 8)])
def test_a_frozen_slot_of_no_length_is_kept_to_the_minute(slot: datetime) -> None:
    """Friday's closing and Monday's opening are one working minute, yet not one moment."""
    settings = replace(SETTINGS, freeze_days=14)
    made = planned(
        shop(builds=(build("B1", march(20)),), routings=DAY_AND_NOTHING, stock=(stock(1),)),
        settings,
        previous_starts={("B1", 10): datetime(2026, 3, 6, 8), ("B1", 20): slot},
    )
    assert [row.start for row in made.operations] == [datetime(2026, 3, 6, 8), slot]


# ---- options and what the bill has


TWO_STEPS = (step(10, 60 * MILLI), step(20, 60 * MILLI), step(30, 60 * MILLI))


def option(units: int, operation: int | None = None, component: str = "ENGINE2") -> BuildOption:
    return BuildOption(
        build="B1", component=component, quantity_milli=units * MILLI, operation=operation
    )


def needs_of(data: Dataset) -> dict[tuple[int | None, str], int]:
    """Needs of B1 as the planner reads them; the checker must read the same."""
    row = data.builds[0]
    read = job_needs(problem_of(data), row.product, MILLI, build=row)
    needs = {(need.operation, need.component): need.quantity_milli for need in read}
    assert Bills(data).build_needs(row) == needs
    return needs


@pytest.mark.parametrize("rows", [*permutations((option(1, 20), option(2), option(4, 30)))])
def test_an_option_takes_its_operation_from_the_bill_whatever_options_there_are(
    rows: tuple[BuildOption, ...],
) -> None:
    """ENGINE2 is not on the bill: without an operation it is needed at the first, 10."""
    data = shop(
        builds=(build("B1", march(6)),),
        routings=TWO_STEPS,
        stock=(stock(1), stock(9, part="ENGINE2")),
        build_options=rows,
    )
    assert needs_of(data) == {
        (10, "ENGINE"): 1000,
        (10, "ENGINE2"): 2000,
        (20, "ENGINE2"): 1000,
        (30, "ENGINE2"): 4000,
    }
    planned(data)


def test_what_an_option_calls_for_at_an_operation_a_region_rule_adds_to() -> None:
    data = shop(
        builds=(build("B1", march(6), destination="US-CA"),),
        parts=(
            Part(part="MACHINE", make=True, family="F"),
            Part(part="ENGINE"),
            Part(part="ENGINE2"),
        ),
        routings=TWO_STEPS,
        stock=(stock(2), stock(9, part="ENGINE2")),
        build_options=(option(1, 30), option(1, 20)),
        region_rules=tuple(
            RegionRule(region="US-CA", family="F", component=part, quantity_milli=MILLI, note="n")
            for part in ("ENGINE", "ENGINE2")
        ),
    )
    # the engine at its bill line's operation, the other at the first operation of an option
    assert needs_of(data) == {(10, "ENGINE"): 2000, (20, "ENGINE2"): 2000, (30, "ENGINE2"): 1000}
    planned(data)


@pytest.mark.parametrize(
    ("away", "left"),
    [
        (-1, 2000),  # 1 / (1 - 0.1) = 1.11, in whole engines 2
        (-2, 0),
        (1, 4000),  # 2 + 1.11 = 3.11
    ],
)
def test_options_take_away_from_one_bill_line_after_the_other(away: int, left: int) -> None:
    data = shop(
        builds=(build("B1", march(6)),),
        bills=tuple(
            BillLine(parent="MACHINE", component="ENGINE", quantity_milli=MILLI, scrap_ppm=scrap)
            for scrap in (0, 100_000)
        ),
        stock=(stock(5),),
        build_options=(option(away, component="ENGINE"),),
    )
    assert needs_of(data) == ({(10, "ENGINE"): left} if left else {})
    assert sum(peg.quantity_milli for peg in planned(data).pegs) == left


# ---- one order to several places


def to_nevada_and_california(nevada: int, california: int) -> Dataset:
    return shop(
        stock=(stock(5),),
        deliveries=tuple(
            Delivery(point="A", destination=place, days=1, cost_micro=cost * MICRO)
            for place, cost in (("US-NV", nevada), ("US-CA", california))
        ),
        parts_orders=(
            order("S1", 1, march(3)),
            order("S1", 1, march(3), line="2", destination="US-CA"),
            order("S1", 1, march(3), line="3", destination="US-CA"),
        ),
    )


@pytest.mark.parametrize(
    ("nevada", "california", "paid"),
    [(10, 30, 40), (30, 10, 40), (10, 0, 10), (20, 20, 20)],
)
def test_an_order_pays_each_delivery_of_another_cost_once(
    nevada: int, california: int, paid: int
) -> None:
    """All three lines ship on Monday from A; those to California go together."""
    made = planned(to_nevada_and_california(nevada, california))
    assert made.objective.deliveries == made.objective.total == paid
    assert made.bound == Fraction(paid)


# ---- names that hold what stands between names


def test_a_build_may_bear_the_name_that_a_job_would_have() -> None:
    made = planned(
        shop(
            builds=(build("B1", march(6)), build("B1/10/ENGINE", march(6))),
            parts=(
                Part(part="MACHINE", make=True),
                Part(part="ENGINE", make=True),
                Part(part="ENGINE2"),
            ),
            routings=(step(10, 60 * MILLI), step(10, 60 * MILLI, "ENGINE")),
        )
    )
    assert {job.job for job in made.jobs if job.for_job is None} == {"B1", "B1/10/ENGINE"}
    assert {job.job for job in made.jobs if job.for_job} == {
        "B1/10/ENGINE'",
        "B1/10/ENGINE/10/ENGINE",
    }


def test_a_purchase_may_look_like_a_line_of_another() -> None:
    made = planned(
        shop(
            builds=(build("B1", march(6)), build("B2", march(6))),
            purchases=(purchase("P", march(4), line="1/2"), purchase("P/1", march(4), line="2")),
        )
    )
    lots = {(s.supply, s.order, s.line) for s in made.supplies}
    assert lots == {
        ("purchase/P/1/2", "P", "1/2"),
        ("purchase/P/1/2'", "P/1", "2"),
    } or lots == {("purchase/P/1/2", "P/1", "2"), ("purchase/P/1/2'", "P", "1/2")}


def test_a_shelf_may_look_like_one_of_another_part_at_another_point() -> None:
    bill = tuple(
        BillLine(parent="MACHINE", component=part, quantity_milli=MILLI) for part in ("C", "B/C")
    )
    made = planned(
        shop(
            points=(Point(point="A"), Point(point="A/B")),
            lanes=(lane("A/B", "A", 1),),
            parts=(Part(part="MACHINE", make=True), Part(part="C"), Part(part="B/C")),
            bills=bill,
            builds=(build("B1", march(6)), build("B2", march(9))),
            stock=(stock(3, "A/B", "C"), stock(2, "A", "B/C")),
            purchases=(purchase("X", march(20), part="B/C", units=5),),
        )
    )
    shelves = {(s.point, s.part): s.quantity_milli for s in made.supplies if s.supply[:2] == "st"}
    assert shelves == {("A/B", "C"): 2000, ("A", "B/C"): 2000}


def test_a_purchase_may_look_like_a_job() -> None:
    """The job for the engine of build `purchase` has the name that line ENGINE of order 10 has."""
    made = planned(
        shop(
            builds=(build("purchase", march(4)), build("B2", march(4))),
            parts=(
                Part(part="MACHINE", make=True),
                Part(part="ENGINE", make=True),
                Part(part="ENGINE2"),
            ),
            routings=(step(10, 60 * MILLI), step(10, 480 * MILLI, "ENGINE")),
            purchases=(purchase("10", march(3), line="ENGINE"),),
        )
    )
    assert len({s.supply for s in made.supplies}) == len(made.supplies) == 2


def test_a_stranded_line_is_not_taken_for_another() -> None:
    """No engine can ever come for line 1/2 of order P; line 2 of P/1 has its ENGINE2."""
    data = shop(
        stock=(stock(1, part="ENGINE2"),),
        deliveries=(delivery("A"),),
        parts_orders=(
            order("P", 1, march(6), line="1/2"),
            order("P/1", 1, march(6), line="2", part="ENGINE2"),
        ),
    )
    made = planned(
        data, left_out_lines=left_out(data, SETTINGS).lines, stranded=stranded(data, SETTINGS)
    )
    assert [(row.key, row.parts) for row in made.stranded] == [("P/1~12", ("ENGINE",))]
    assert [(row.order, row.line) for row in made.shipments] == [("P/1", "2")]
    lacks = {(row.order, row.line): row.lacks for row in order_lines(data, made)}
    assert lacks == {("P", "1/2"): ("ENGINE",), ("P/1", "2"): ()}


@given(*[st.text("AB/~1", min_size=1, max_size=4)] * 4)
def test_no_two_lines_have_one_key(order: str, line: str, other: str, its_line: str) -> None:
    same = (order, line) == (other, its_line)
    assert (line_key(order, line) == line_key(other, its_line)) is same


# ---- all of it together


def has_to_miss_the_evening(made: Plan, row: PlannedBuild, earliest: date | None) -> bool:
    """Whether something that must come first comes only with the opening at which it is done."""
    comes = [peg.usable for peg in made.pegs if peg.job == row.build]
    return row.finish in comes or earliest == row.finish.date()


@effort(max_examples=40, deadline=None)
@given(odd_books())
def test_the_checker_finds_nothing_in_plans_of_odd_books(data: Dataset) -> None:
    made = planned(data, settings_of(data))
    open_at_a = Problem(data, settings_of(data)).axes["A"]
    earliest = {row.build: row.earliest for row in data.builds}
    for row in made.builds:
        promised = row.promised
        if row.late_minutes or promised is None or isinstance(promised, datetime):
            continue
        # promised for a closed day it is due at the closing before, which the cut-off may precede
        fair = promised >= AS_OF and open_at_a.is_open(promised)
        if fair and not has_to_miss_the_evening(made, row, earliest[row.build]):
            assert row.ships <= promised


def test_odd_books_are_as_odd_as_they_should_be() -> None:
    """So that the property above is not true of nothing."""
    data = renamed(random_book(3, Shape(points=3)))
    assert {row.point for row in data.points} == {"A", "A/B", "A/B/C"}
    assert "B/ENGINE" in {row.part for row in data.parts}
    assert "B1/10/B/KIT" in {row.build for row in data.builds}

"""What brings a promise forward, by hand and as a law: dates and costs computed anew, all plans.

By hand on the tiny shop: a machine is a whole day's work on the only station, from Monday 03-02 on;
B1 of the plan takes Monday and the engine on the shelf, and another engine comes in three weeks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from fractions import Fraction
from typing import Any

import pytest
from beside_books import broken
from books import Shape
from fulfil_models.cells import MILLI, PPM
from fulfil_models.forward import Forward, Lever, brought_forward, from_each_point, ready
from fulfil_models.plan import Plan
from fulfil_models.promise import Question, extra_cost
from fulfil_models.room import Request
from fulfil_models.tables import (
    Alternate,
    BillLine,
    BuildOption,
    Dataset,
    Part,
    RegionRule,
    RoutingStep,
    TakeRate,
    WorkCentre,
)
from fulfil_models.taken import joined
from questions import (
    QUOTED,
    Asked,
    Beside,
    ask_builds,
    ask_lines,
    asked_line,
    random_beside,
    with_request,
    wrong,
)
from tiny_shop import (
    DAY,
    build,
    delivery,
    engines,
    hurried,
    lane,
    march,
    purchase,
    shop,
    source,
    stand_in,
    stock,
)

B1 = build("B1", march(2))


def forward(asked: Asked) -> list[Forward]:
    """What brings it forward; every one of them is a plan, together with the one that stands."""
    found = brought_forward(asked.room, asked.question, asked.plan)
    for row in found:
        assert wrong(asked, row.request, row.plan) == []
        assert row.days_sooner > 0
    return found


def told(asked: Asked) -> list[tuple[Lever, str, date, Fraction]]:
    return [(row.lever, row.by, row.ships, row.cost) for row in forward(asked)]


# ---- an alternate, expediting, a transfer


def test_what_would_bring_it_forward_and_at_what_cost() -> None:
    data = shop(
        builds=(B1,),
        stock=(stock(1), stock(1, "B"), stock(1, part="ENGINE2")),
        sources=(hurried(21, 14, 900),),
        alternates=(stand_in(100),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    asked = ask_builds(data)
    # a new engine takes 21 days: 03-23; in 7 days, by 03-09, it costs 900 more; the one at B comes
    # on 03-04; the alternate is on the shelf for 100, and Monday is taken
    assert (asked.ships, extra_cost(asked.plan)) == (march(23), 0)
    assert told(asked) == [
        (Lever.ALTERNATE, "ENGINE2", march(3), 100),
        (Lever.TRANSFER, "B", march(4), 50),
        (Lever.EXPEDITE, "S", march(9), 900),
    ]
    found = forward(asked)
    assert [row.days_sooner for row in found] == [20, 19, 14]
    assert {row.what for row in found} == {"ENGINE"}
    assert {row.arrives for row in found} == {None}
    assert {row.request for row in found} == {asked.question.request}


def test_an_order_for_another_point_may_be_moved_on() -> None:
    data = shop(
        builds=(B1,),
        stock=(stock(1),),
        sources=(source(21), source(8, point="B")),
        lanes=(lane("B", "A", 2, move=50),),
    )
    # it is at B on Tuesday 03-10, and here on 03-12
    assert told(ask_builds(data)) == [(Lever.TRANSFER, "B", march(12), 50)]


def test_what_is_moved_over_two_lanes_is_told_from_where_it_lies() -> None:
    data = shop(
        points=(*shop().points, replace(shop().points[0], point="C")),
        builds=(B1,),
        stock=(stock(1), stock(1, "C")),
        sources=(source(21),),
        lanes=(lane("C", "B", 1, move=10), lane("B", "A", 1, move=20)),
    )
    # at B on Tuesday, here on Wednesday
    assert told(ask_builds(data)) == [(Lever.TRANSFER, "C", march(4), 30)]


def test_nothing_is_told_that_brings_nothing() -> None:
    data = shop(
        builds=(B1,),
        stock=(stock(1),),
        purchases=(purchase("P", march(9)),),
        # each of them is here on 03-09 at the soonest
        sources=(hurried(21, 14, 900),),
        lanes=(lane("B", "A", 7),),
        alternates=(stand_in(100),),
    )
    more = (
        stock(1, "B"),
        stock(1, part="ENGINE2", held=1),
    )
    asked = ask_builds(replace(data, stock=(stock(1), *more)))
    assert asked.ships == march(9)
    assert told(asked) == []


def test_an_alternate_that_is_not_there_is_not_told_for_what_something_else_brings() -> None:
    data = shop(
        builds=(B1,),
        stock=(stock(1), stock(1, "B")),
        sources=(source(21),),
        alternates=(stand_in(100),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    assert told(ask_builds(data)) == [(Lever.TRANSFER, "B", march(4), 50)]


def test_work_alone_is_not_brought_forward() -> None:
    data = shop(
        builds=(B1,),
        stock=(stock(2), stock(1, "B"), stock(1, part="ENGINE2")),
        alternates=(stand_in(0),),
        lanes=(lane("B", "A", 1),),
    )
    asked = ask_builds(data)
    assert asked.ships == march(3)
    assert told(asked) == []


def test_a_machine_of_two_engines_takes_one_from_here_and_one_from_there() -> None:
    data = shop(
        bills=(engines(2),),
        stock=(stock(1), stock(1, "B")),
        sources=(hurried(21, 14, 900),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    # one is moved, or one expedited; to do both brings no more
    assert told(ask_builds(data)) == [
        (Lever.TRANSFER, "B", march(4), 50),
        (Lever.EXPEDITE, "S", march(9), 900),
    ]


# ---- together


def lamps(**tables: Any) -> Dataset:
    """A machine takes a lamp besides; of lamps as of engines none is left."""
    base = shop(
        parts=(*shop().parts, Part(part="LAMP")),
        bills=(engines(1), BillLine(parent="MACHINE", component="LAMP", quantity_milli=MILLI)),
        builds=(B1,),
    )
    return replace(base, **tables)


def test_two_parts_that_only_together_bring_it_forward() -> None:
    data = lamps(
        stock=(stock(1), stock(1, part="LAMP"), stock(1, "B", part="LAMP")),
        sources=(hurried(21, 14, 900), replace(source(21), part="LAMP")),
        lanes=(lane("B", "A", 2, move=50),),
    )
    asked = ask_builds(data)
    # engine and lamp come on 03-23; the engine by 03-09 if expedited, the lamp of B on 03-04
    assert asked.ships == march(23)
    (row,) = forward(asked)
    assert (row.lever, row.what, row.ships, row.cost) == (Lever.TOGETHER, "", march(9), 950)
    assert row.by == "ENGINE expedited from S, LAMP moved from B"
    assert row.days_sooner == 14


def test_together_is_told_only_if_it_brings_more_than_the_best_alone() -> None:
    data = lamps(
        stock=(stock(1), stock(2, part="LAMP"), stock(1, "B"), stock(1, "B", part="LAMP")),
        sources=(source(21), replace(source(21), part="LAMP")),
        lanes=(lane("B", "A", 2, move=50),),
    )
    # of lamps one is left here: only the engine of B is waited for
    assert told(ask_builds(data)) == [(Lever.TRANSFER, "B", march(4), 50)]


def test_one_thing_done_twice_is_no_together() -> None:
    """Two machines get an engine each from B, on the departure of one day and of another."""
    data = shop(
        stock=(stock(1, "B"),),
        purchases=(purchase("P", march(5), point="B"),),
        sources=(source(21),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    asked = ask_builds(data, QUOTED, build("R", None))
    # 03-23 and 03-24; moved on Monday and on Thursday they are here on 03-04 and, over the
    # week-end, 03-09
    assert [row.ships for row in asked.plan.builds] == [march(23), march(24)]
    assert told(asked) == [(Lever.TRANSFER, "B", march(9), 100)]


def test_all_ways_at_once_are_not_told_where_one_does_as_well() -> None:
    """Two engines are short: B has both, and one could come from C for less."""
    data = shop(
        points=(*shop().points, replace(shop().points[0], point="C")),
        bills=(engines(2),),
        stock=(stock(2, "B"), stock(1, "C")),
        sources=(source(21),),
        lanes=(lane("B", "A", 2, move=50), lane("C", "A", 2, move=10)),
    )
    assert told(ask_builds(data)) == [(Lever.TRANSFER, "B", march(4), 50)]
    one_each = replace(data, stock=(stock(1, "B"), stock(1, "C")))
    (row,) = forward(ask_builds(one_each))
    assert (row.lever, row.by, row.ships, row.cost) == (
        Lever.TOGETHER,
        "ENGINE moved from C, ENGINE moved from B",
        march(4),
        60,
    )


def test_what_stands_in_for_two_parts_is_told_for_both_together() -> None:
    data = lamps(
        builds=(),
        stock=(stock(2, part="ENGINE2"),),
        sources=(source(21), replace(source(21), part="LAMP")),
        alternates=(stand_in(100), replace(stand_in(10), part="LAMP")),
    )
    (row,) = forward(ask_builds(data))
    assert (row.lever, row.ships, row.cost) == (Lever.TOGETHER, march(2), 110)
    assert row.by == "ENGINE2 in place of ENGINE, ENGINE2 in place of LAMP"


def test_what_is_done_for_two_machines_is_told_once() -> None:
    data = lamps(
        builds=(),
        stock=(stock(1, "B"),),
        purchases=(purchase("P", march(5), point="B"),),
        sources=(source(21), replace(hurried(21, 20, 900), part="LAMP")),
        lanes=(lane("B", "A", 2, move=50),),
    )
    asked = ask_builds(data, QUOTED, build("R", None))
    (row,) = forward(asked)
    assert (row.lever, row.ships) == (Lever.TOGETHER, march(9))
    assert row.by == "ENGINE moved from B, LAMP expedited from S"
    # engines leave B on two days, lamps come with one order
    assert row.cost == 2 * 50 + 2 * 900


# ---- several machines


def test_the_machine_that_ships_last_is_brought_forward() -> None:
    data = shop(
        stock=(stock(1), stock(1, "B")),
        sources=(source(21),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    asked = ask_builds(data, QUOTED, build("R", None))
    assert [row.ships for row in asked.plan.builds] == [march(2), march(23)]
    (row,) = forward(asked)
    assert (row.lever, row.ships, row.days_sooner) == (Lever.TRANSFER, march(4), 19)
    assert [built.ships for built in row.plan.builds] == [march(2), march(4)]


def test_where_one_alternate_is_there_the_others_keep_the_part_itself() -> None:
    data = shop(
        stock=(stock(1), stock(1, part="ENGINE2")),
        sources=(source(21),),
        alternates=(stand_in(100),),
    )
    asked = ask_builds(data, QUOTED, build("R", None))
    assert told(asked) == [(Lever.ALTERNATE, "ENGINE2", march(3), 100)]
    (row,) = forward(asked)
    assert sorted(peg.used for peg in row.plan.pegs) == ["ENGINE", "ENGINE2"]


# ---- another option of the family


def family(**tables: Any) -> Dataset:
    """Engines of a family, of which ENGINE9 is an option of machines like these."""
    base = shop(
        parts=(
            Part(part="MACHINE", make=True, family="PUMPS"),
            Part(part="OTHER", make=True, family="PUMPS"),
            Part(part="CRANE", make=True, family="CRANES"),
            *(Part(part=name, family="ENGINES") for name in ("ENGINE", "ENGINE2", "ENGINE9")),
            Part(part="SEAT", family="SEATS"),
            Part(part="LAMP"),
        ),
        builds=(B1,),
        stock=(stock(1), stock(1, part="ENGINE9")),
        sources=(source(21),),
        take_rates=(TakeRate(product="OTHER", component="ENGINE9", rate_ppm=PPM // 2),),
    )
    return replace(base, **tables)


ENGINE9 = [(Lever.OPTION, "ENGINE9", march(3), 0)]


def test_another_option_of_the_family_that_is_on_the_shelf() -> None:
    asked = ask_builds(family())
    assert asked.ships == march(23)
    assert told(asked) == ENGINE9
    (row,) = forward(asked)
    assert (row.what, row.days_sooner) == ("ENGINE", 20)
    assert set(row.request.options) == {option("ENGINE", -1), option("ENGINE9", 1)}
    assert [(peg.part, peg.used) for peg in row.plan.pegs] == [("ENGINE9", "ENGINE9")]


def option(part: str, units: float, operation: int | None = 10, of: str = "Q") -> BuildOption:
    milli = round(units * MILLI)
    return BuildOption(build=of, component=part, quantity_milli=milli, operation=operation)


def offered_by_a_bill(data: Dataset) -> Dataset:
    line = BillLine(parent="OTHER", component="ENGINE9", quantity_milli=MILLI)
    return replace(data, bills=(*data.bills, line))


def offered_by_a_build(data: Dataset) -> Dataset:
    """One that went out long ago had it."""
    other = build("OLD", march(1), product="OTHER", status="done")
    rows = (option("ENGINE9", 1, None, of="OLD"),)
    return replace(data, builds=(*data.builds, other), build_options=rows)


def test_an_option_is_what_machines_of_the_family_have_had() -> None:
    nothing = family(take_rates=())
    assert told(ask_builds(nothing)) == []
    assert told(ask_builds(offered_by_a_bill(nothing))) == ENGINE9
    assert told(ask_builds(offered_by_a_build(nothing))) == ENGINE9
    of_cranes = (TakeRate(product="CRANE", component="ENGINE9", rate_ppm=PPM),)
    assert told(ask_builds(family(take_rates=of_cranes))) == []


def test_an_option_that_is_not_on_the_shelf_is_not_offered() -> None:
    assert told(ask_builds(family(stock=(stock(1),)))) == []
    elsewhere = (stock(1), stock(1, "B", part="ENGINE9"))
    assert told(ask_builds(family(stock=elsewhere, lanes=(lane("B", "A", 1),)))) == []
    coming = (purchase("P", march(3), part="ENGINE9"),)
    assert told(ask_builds(family(stock=(stock(1),), purchases=coming))) == []
    held = (stock(1), stock(1, part="ENGINE9", held=1))
    assert told(ask_builds(family(stock=held, purchases=coming))) == []


def test_an_option_that_the_plan_has_taken_is_not_offered() -> None:
    """The next one is there before the next engine, but it is not on the shelf."""
    taken = family(
        builds=(B1, build("B2", march(3))),
        build_options=swapped("B2"),
        purchases=(purchase("P", march(9), part="ENGINE9"),),
    )
    assert told(ask_builds(taken)) == []
    two = replace(taken, stock=(stock(1), stock(2, part="ENGINE9")))
    # Tuesday is B2's
    assert told(ask_builds(two)) == [(Lever.OPTION, "ENGINE9", march(4), 0)]


def swapped(name: str) -> tuple[BuildOption, ...]:
    return option("ENGINE", -1, of=name), option("ENGINE9", 1, of=name)


def test_an_option_of_another_family_is_not_offered() -> None:
    rows = tuple(
        replace(row, family="TRACKS") if row.part == "ENGINE9" else row for row in family().parts
    )
    assert told(ask_builds(family(parts=rows))) == []
    # of no family at all, nothing is like anything
    bare = tuple(
        replace(row, family=None) if row.part.startswith("ENGINE") else row for row in rows
    )
    assert told(ask_builds(family(parts=bare))) == []


def test_its_own_alternate_is_no_option() -> None:
    rates = (TakeRate(product="MACHINE", component="ENGINE2", rate_ppm=PPM // 2),)
    data = family(
        stock=(stock(1), stock(1, part="ENGINE2")), take_rates=rates, alternates=(stand_in(100),)
    )
    assert told(ask_builds(data)) == [(Lever.ALTERNATE, "ENGINE2", march(3), 100)]


def test_what_the_machine_has_already_is_no_option() -> None:
    """It has an ENGINE9 beside its engine, and there would be one more."""
    data = family(stock=(stock(1), stock(2, part="ENGINE9")))
    asked = ask_builds(data, options=(option("ENGINE9", 1),))
    assert asked.ships == march(23)
    assert told(asked) == []


def test_what_a_rule_of_the_region_asks_for_is_not_exchanged() -> None:
    rule = RegionRule(
        region="US-CA", family="PUMPS", component="ENGINE", quantity_milli=MILLI, note="clean air"
    )
    data = family(region_rules=(rule,), bills=(seats(),), stock=(stock(1, part="ENGINE9"), *SEAT))
    there = replace(QUOTED, destination="US-CA-94000")
    asked = ask_builds(replace(data, builds=()), there)
    assert asked.ships == march(23)
    assert told(asked) == []
    # where the rule does not hold, or is for other machines, an engine may be exchanged
    chosen = (option("ENGINE", 1, None),)
    for other, destination in ((rule, "US-NV"), (replace(rule, family="CRANES"), "US-CA")):
        free = replace(data, builds=(), region_rules=(other,))
        asked = ask_builds(free, replace(QUOTED, destination=destination), options=chosen)
        assert [row.by for row in forward(asked)] == ["ENGINE9"]


def seats() -> BillLine:
    return BillLine(parent="MACHINE", component="SEAT", quantity_milli=MILLI)


SEAT = (stock(9, part="SEAT"),)


def test_the_exchange_is_at_the_operation_and_other_options_stay() -> None:
    """An hour's work, then seven with two engines; the machine has a lamp and one engine more."""
    data = family(
        routings=tuple(
            RoutingStep(part="MACHINE", operation=n, work_centre="CELL", minutes_milli=m * MILLI)
            for n, m in ((10, 60), (20, 420))
        ),
        bills=(replace(engines(1), operation=20),),
        builds=(),
        stock=(stock(2, part="ENGINE9"), stock(1, part="LAMP")),
    )
    mine = (option("LAMP", 1, None), option("ENGINE", 1, None))
    asked = ask_builds(data, options=mine)
    assert asked.ships == march(23)
    (row,) = forward(asked)
    assert (row.lever, row.by, row.ships) == (Lever.OPTION, "ENGINE9", march(2))
    assert set(row.request.options) == {
        *mine,
        option("ENGINE", -2, 20),
        option("ENGINE9", 2, 20),
    }
    pegs = {(peg.part, peg.operation): peg.quantity_milli for peg in row.plan.pegs}
    assert pegs == {("LAMP", 10): MILLI, ("ENGINE9", 20): 2 * MILLI}


def test_options_of_other_machines_stay() -> None:
    data = family(stock=(stock(1), stock(1, part="ENGINE9"), stock(1, part="LAMP")), builds=())
    lamp = option("LAMP", 1, None)
    asked = ask_builds(data, QUOTED, build("R", None), options=(lamp,))
    (row,) = forward(asked)
    assert row.request.options[0] == lamp
    assert {o for o in row.request.options if o.build == "R"} == {
        option("ENGINE", -1, of="R"),
        option("ENGINE9", 1, of="R"),
    }


def test_scrap_of_the_line_stays_with_it_and_steps_are_those_of_the_option() -> None:
    """Of the engine half is lost: two are drawn for one. The option comes in pairs."""
    rows = tuple(
        replace(row, step_milli=2 * MILLI) if row.part == "ENGINE9" else row
        for row in family().parts
    )
    line = replace(engines(1), scrap_ppm=PPM // 2)
    data = family(parts=rows, bills=(line,), builds=())
    assert told(ask_builds(replace(data, stock=(stock(1), stock(1, part="ENGINE9"))))) == []
    asked = ask_builds(replace(data, stock=(stock(1), stock(2, part="ENGINE9"))))
    assert asked.ships == march(23)
    (row,) = forward(asked)
    assert [(peg.used, peg.quantity_milli) for peg in row.plan.pegs] == [("ENGINE9", 2 * MILLI)]


def test_one_that_is_there_does_where_of_the_other_two_are_drawn_for_one() -> None:
    data = family(bills=(replace(engines(1), scrap_ppm=PPM // 2),), builds=())
    (row,) = forward(ask_builds(data))
    assert [(peg.used, peg.quantity_milli) for peg in row.plan.pegs] == [("ENGINE9", MILLI)]


def test_half_an_engine_is_rounded_up_to_a_whole_one() -> None:
    half = replace(engines(1), quantity_milli=MILLI // 2)
    (row,) = forward(ask_builds(family(bills=(half,), builds=(), stock=ENGINE9_ALONE)))
    assert set(row.request.options) == {option("ENGINE", -0.5), option("ENGINE9", 0.5)}
    assert [(peg.used, peg.quantity_milli) for peg in row.plan.pegs] == [("ENGINE9", MILLI)]


ENGINE9_ALONE = (stock(1, part="ENGINE9"),)


def test_an_option_of_a_part_deep_within_is_no_option_of_the_machine() -> None:
    data = family(
        parts=(*family().parts, Part(part="FRAME", make=True)),
        bills=(
            BillLine(parent="MACHINE", component="FRAME", quantity_milli=MILLI),
            BillLine(parent="FRAME", component="ENGINE", quantity_milli=MILLI),
        ),
        stock=ENGINE9_ALONE,
        builds=(),
    )
    asked = ask_builds(data)
    assert asked.ships == march(23)
    assert told(asked) == []


# ---- another product


def twin(**tables: Any) -> Dataset:
    """TWIN is made at B, where an engine is there; it is approved in the place of MACHINE."""
    base = shop(
        parts=(*shop().parts, Part(part="TWIN", make=True)),
        bills=(engines(1), BillLine(parent="TWIN", component="ENGINE", quantity_milli=MILLI)),
        work_centres=(
            WorkCentre(work_centre="CELL", point="A"),
            WorkCentre(work_centre="CELL B", point="B"),
        ),
        routings=(
            work("MACHINE", 10, "CELL"),
            work("TWIN", 5, "CELL B"),
        ),
        alternates=(in_place("TWIN"),),
        builds=(B1,),
        stock=(stock(1), stock(1, "B")),
        sources=(source(21),),
    )
    return replace(base, **tables)


def work(part: str, operation: int, centre: str) -> RoutingStep:
    return RoutingStep(
        part=part, operation=operation, work_centre=centre, minutes_milli=DAY * MILLI
    )


def in_place(product: str, *, approved: bool = True) -> Alternate:
    return Alternate(part="MACHINE", alternate=product, approved=approved)


def test_a_product_that_another_point_assembles() -> None:
    asked = ask_builds(twin())
    assert asked.ships == march(23)
    assert told(asked) == [(Lever.POINT, "TWIN", march(2), 0)]
    (row,) = forward(asked)
    assert row.what == "MACHINE"
    (other,) = row.request.builds
    assert (other.build, other.product, other.point) == ("Q", "TWIN", "B")


def test_a_product_that_is_not_approved_or_stands_at_two_points_is_not_offered() -> None:
    assert told(ask_builds(twin(alternates=(in_place("TWIN", approved=False),)))) == []
    both = (*twin().routings, work("TWIN", 10, "CELL"))
    assert told(ask_builds(twin(routings=both))) == []


def test_a_product_of_the_same_point_is_an_alternate() -> None:
    """TWIN takes the other engine, which is there."""
    data = twin(
        routings=(work("MACHINE", 10, "CELL"), work("TWIN", 5, "CELL")),
        bills=(engines(1), BillLine(parent="TWIN", component="ENGINE2", quantity_milli=MILLI)),
        stock=(stock(1), stock(1, part="ENGINE2")),
    )
    assert told(ask_builds(data)) == [(Lever.ALTERNATE, "TWIN", march(3), 0)]


def lit(units: int) -> Dataset:
    """The same, with lamps at B, and at A in three weeks."""
    return twin(
        parts=(*twin().parts, Part(part="LAMP")),
        stock=(*twin().stock, stock(units, "B", part="LAMP")),
        purchases=(purchase("P", march(23), units=units, part="LAMP"),),
    )


def test_options_go_with_the_product_to_operations_that_it_has() -> None:
    asked = ask_builds(lit(1), options=(option("LAMP", 1, 10),))
    (row,) = forward(asked)
    assert (row.lever, row.ships) == (Lever.POINT, march(2))
    assert row.request.options == (option("LAMP", 1, None),)
    assert {(peg.operation, peg.part) for peg in row.plan.pegs} == {(5, "ENGINE"), (5, "LAMP")}


def test_options_of_what_is_one_operation_then_are_one() -> None:
    asked = ask_builds(lit(2), options=(option("LAMP", 1, 10), option("LAMP", 1, None)))
    (row,) = forward(asked)
    assert row.request.options == (option("LAMP", 2, None),)


# ---- spare parts: to arrive as soon as can be, from one point


def arrivals(asked: Asked) -> list[tuple[Lever, str, date | None, Fraction]]:
    return [(row.lever, row.by, row.arrives, row.cost) for row in forward(asked)]


def spares(**tables: Any) -> Dataset:
    """One engine at A, of which another comes in three weeks; A and B deliver in a day for 10."""
    base = shop(
        stock=(stock(1),), sources=(source(21),), deliveries=(delivery("A", 10), delivery("B", 10))
    )
    return replace(base, **tables)


def test_a_line_is_brought_forward_by_an_alternate_expediting_or_a_transfer() -> None:
    data = spares(
        builds=(B1,),
        stock=(stock(1), stock(1, "B"), stock(1, part="ENGINE2")),
        sources=(hurried(21, 14, 900),),
        alternates=(stand_in(100),),
        lanes=(lane("B", "A", 2, move=50),),
        deliveries=(delivery("A", 10),),
    )
    asked = ask_lines(data, asked_line(1))
    # new on 03-23, there on 03-24; of B on 03-04 and 03-05; expedited on 03-09 and 03-10
    assert asked.plan.shipments[0].arrives == march(24)
    assert arrivals(asked) == [
        (Lever.ALTERNATE, "ENGINE2", march(3), 100),
        (Lever.TRANSFER, "B", march(5), 50),
        (Lever.EXPEDITE, "S", march(10), 900),
    ]
    assert [row.ships for row in forward(asked)] == [march(2), march(4), march(9)]
    assert [row.days_sooner for row in forward(asked)] == [21, 19, 14]


def test_a_split_brings_a_line_forward() -> None:
    asked = ask_lines(spares(stock=(stock(1), stock(1, "B"))), asked_line(2))
    # the second of A comes on 03-23
    assert {row.point for row in asked.plan.shipments} == {"A"}
    assert ready(asked.plan) == march(24)
    # one of each point is there on Tuesday; a second delivery costs 10
    assert arrivals(asked) == [(Lever.SPLIT, "", march(3), 10)]
    (row,) = forward(asked)
    assert (row.what, [line.split for line in row.request.lines]) == ("ENGINE", [True])


def test_a_line_that_may_be_split_already_is_not_told_to_be() -> None:
    asked = ask_lines(spares(stock=(stock(1), stock(1, "B"))), asked_line(2, split=True))
    assert {row.arrives for row in asked.plan.shipments} == {march(3)}
    assert arrivals(asked) == []


def test_from_where_it_arrives_first_counts_not_from_where_it_ships_first() -> None:
    """Of A and B both an engine is there; that of B is two days on its way, that of A ten."""
    data = spares(
        stock=(stock(1), stock(1, "B")),
        deliveries=(delivery("A", 10, days=10), delivery("B", 30, days=2)),
    )
    asked = ask_lines(data, asked_line(1))
    assert [(row.point, row.arrives) for row in asked.plan.shipments] == [("B", march(4))]
    found = from_each_point(asked.question)
    # ten carrier days from Monday 03-02 are two weeks
    assert [(row.point, row.ships, row.arrives, row.cost) for row in found] == [
        ("B", march(2), march(4), 30),
        ("A", march(2), march(16), 10),
    ]


def test_a_transfer_to_where_it_is_sooner_delivered_from() -> None:
    """B ships on Monday, ten days on the way; moved to A it leaves there on Wednesday."""
    data = spares(
        stock=(stock(1, "B"),),
        lanes=(lane("B", "A", 2, move=50),),
        deliveries=(delivery("A", 10), delivery("B", 10, days=10)),
    )
    asked = ask_lines(data, asked_line(1))
    assert [row.arrives for row in asked.plan.shipments] == [march(16)]
    assert arrivals(asked) == [(Lever.TRANSFER, "B", march(5), 50)]
    (row,) = forward(asked)
    # it ships two days later, and arrives eleven days sooner
    assert (row.ships, row.days_sooner) == (march(4), 11)


def test_two_parts_of_an_order_that_only_together_arrive_sooner() -> None:
    data = lamps(
        builds=(),
        stock=(stock(1, "B"), stock(1, "B", part="LAMP")),
        sources=(source(21), replace(source(21), part="LAMP")),
        lanes=(lane("B", "A", 2, move=50),),
        deliveries=(delivery("A", 10),),
    )
    asked = ask_lines(data, asked_line(1), asked_line(1, "2", part="LAMP"))
    (row,) = forward(asked)
    assert (row.lever, row.arrives, row.cost) == (Lever.TOGETHER, march(5), 50)
    assert row.by == "ENGINE moved from B, LAMP moved from B"


def test_from_each_point_that_can_send_all_of_it() -> None:
    data = spares(
        stock=(stock(2), stock(1, "B"), stock(1, "B", part="ENGINE2")),
        sources=(source(21), source(10, point="B")),
        alternates=(stand_in(0),),
        lanes=(lane("A", "B", 1),),
    )
    one = ask_lines(data, asked_line(1))
    assert [(row.point, row.arrives, row.cost) for row in from_each_point(one.question)] == [
        ("A", march(3), 10),
        ("B", march(3), 10),
    ]
    two = ask_lines(data, asked_line(2))
    # the second of B comes on 03-12; nothing is moved or taken in its place
    assert [(row.point, row.arrives) for row in from_each_point(two.question)] == [
        ("A", march(3)),
        ("B", march(13)),
    ]
    # nor where nothing else could be done
    there = replace(data, sources=(), deliveries=(delivery("B", 10),), stock=(stock(2),))
    asked = ask_lines(there, asked_line(2))
    assert {row.point for row in asked.plan.shipments} == {"B"}
    assert from_each_point(asked.question) == []
    # what B can never send is not told of it
    few = replace(data, sources=(source(21),))
    assert [row.point for row in from_each_point(ask_lines(few, asked_line(2)).question)] == ["A"]


def test_each_point_sends_all_lines_of_an_order() -> None:
    data = spares(
        parts=(*shop().parts, Part(part="LAMP", weight_g=2000)),
        stock=(stock(1), stock(1, "B"), stock(1, part="LAMP")),
        purchases=(purchase("P", march(9), point="B", part="LAMP"),),
        deliveries=(delivery("A", 10, kg=1), delivery("B", 10, kg=2)),
    )
    asked = ask_lines(data, asked_line(1), asked_line(1, "2", part="LAMP"))
    # an engine of 40 kg and a lamp of 2 kg; of B in two deliveries
    assert [(r.point, r.ships, r.arrives, r.cost) for r in from_each_point(asked.question)] == [
        ("A", march(2), march(3), 10 + 42),
        ("B", march(9), march(10), 20 + 2 * 42),
    ]


def test_what_brings_a_line_forward_leaves_the_question_as_it_was() -> None:
    data = spares(stock=(stock(1), stock(1, "B")), lanes=(lane("B", "A", 2, move=50),))
    asked = ask_lines(data, asked_line(2))
    found, points = forward(asked), from_each_point(asked.question)
    solution = asked.question.earliest()
    assert solution is not None
    assert asked.question.plan(solution) == asked.plan
    assert (forward(asked), from_each_point(asked.question)) == (found, points)


# ---- laws, on random books


SHAPES = (Shape(points=3), Shape(points=2), Shape(points=2, made=False), Shape(points=1))


def with_motors(data: Dataset) -> Dataset:
    """A book in which engines and pumps may be exchanged for motors, of which two are at A."""
    families = {"MACHINE": "MACHINES", "ENGINE": "BOUGHT", "PUMP": "BOUGHT"}
    parts = tuple(replace(row, family=families.get(row.part)) for row in data.parts)
    return replace(
        data,
        parts=(*parts, Part(part="MOTOR", family="BOUGHT")),
        stock=(*data.stock, stock(2, part="MOTOR")),
        take_rates=(TakeRate(product="MACHINE", component="MOTOR", rate_ppm=PPM // 2),),
    )


def random_questions(seed: int) -> Iterator[tuple[Beside, Question, Plan]]:
    """A machine, and two pumps, asked for beside the plan of a random book; plainly answered."""
    found = random_beside(seed, SHAPES[seed % len(SHAPES)])
    if found is None:
        return
    found = replace(found, rest=with_motors(found.rest))
    line = replace(asked_line(2, part="PUMP"), ordered=found.settings.as_of)
    lines = Request(lines=(line,))
    for request in (found.request, lines) if found.rest.deliveries else (found.request,):
        question = Question(found.room(), request)
        solution = question.earliest()
        assert solution is not None
        yield found, question, question.plan(solution)


@pytest.mark.parametrize("seed", range(3000, 3040))
def test_whatever_brings_it_forward_is_a_plan_beside_the_one_that_stands(seed: int) -> None:
    for found, question, plain in random_questions(seed):
        for row in brought_forward(found.room(), question, plain):
            data = with_request(found.rest, row.request)
            assert broken(data, joined(found.before, row.plan), found.settings) == []
            assert row.days_sooner == (ready(plain) - ready(row.plan)).days > 0
            assert (row.arrives or row.ships) == ready(row.plan)
            assert row.cost == extra_cost(row.plan) - extra_cost(plain)


def test_that_law_meets_every_lever_that_its_books_have() -> None:
    met = {
        row.lever
        for seed in range(3000, 3040)
        for found, question, plain in random_questions(seed)
        for row in brought_forward(found.room(), question, plain)
    }
    assert met == set(Lever) - {Lever.POINT}

"""Another option, or another product, in the place of one that is waited for: by hand.

On the tiny shop: a machine is a whole day's work on the only station, from Monday 03-02 on; B1 of
the plan takes Monday and the engine on the shelf, and another engine comes in three weeks.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from fulfil_models.cells import MICRO, MILLI, PPM
from fulfil_models.forward import Lever
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
from questions import (
    QUOTED,
    ask_builds,
    forward,
    option,
    told,
)
from tiny_shop import (
    DAY,
    build,
    engines,
    lane,
    march,
    purchase,
    shop,
    source,
    stand_in,
    stock,
)

B1 = build("B1", march(2))


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


def in_place(product: str, *, approved: bool = True, extra_cost: int = 0) -> Alternate:
    return Alternate(
        part="MACHINE",
        alternate=product,
        approved=approved,
        extra_cost_micro=extra_cost * MICRO,
    )


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


def test_a_product_costs_what_its_row_says() -> None:
    dearer = twin(alternates=(in_place("TWIN", extra_cost=500),))
    assert told(ask_builds(dearer)) == [(Lever.POINT, "TWIN", march(2), 500)]


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

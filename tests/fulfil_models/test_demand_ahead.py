"""Needs of parts: firm ones where the plan draws them, forecast ones apart, through all levels."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from fractions import Fraction
from itertools import product as every
from math import prod
from random import Random
from typing import Any

import pytest
import small_shop
from books import random_book, settings_of, shapes
from cases import CASES, TOTALS
from fulfil_models import planning
from fulfil_models.available_flows import unplanned_needs
from fulfil_models.bill_tree import explode_build
from fulfil_models.cells import MILLI, PPM
from fulfil_models.demand_ahead import DemandAhead, FirmNeed, ForecastNeed, demand_ahead
from fulfil_models.months import first_day, months_ahead
from fulfil_models.plan import Plan
from fulfil_models.plan_index import PlanIndex
from fulfil_models.planning import Effort
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    BillLine,
    Build,
    BuildOption,
    Dataset,
    Delivered,
    Demand,
    Part,
    Purchase,
    RoutingStep,
    Stock,
    TakeRate,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from fulfil.exchange.loading import load_rows

AS_OF = date(2026, 3, 2)
MARCH, APRIL, MAY = "2026-03", "2026-04", "2026-05"


def problem_of(data: Dataset, **more: Any) -> Problem:
    return Problem(data, Settings(as_of=AS_OF), **more)


def ahead(data: Dataset, months: int = 1, plan: Plan | None = None) -> DemandAhead:
    return demand_ahead(problem_of(data), plan, months)


def part(name: str, *, make: bool = False, step: int = MILLI) -> Part:
    return Part(part=name, make=make, step_milli=step)


def line(parent: str, component: str, units: float, scrap: float = 0, **more: Any) -> BillLine:
    return BillLine(
        parent=parent,
        component=component,
        quantity_milli=round(units * MILLI),
        scrap_ppm=round(scrap * PPM),
        **more,
    )


def forecast(name: str, month: str, units: float) -> Demand:
    return Demand(part=name, month=month, quantity_milli=round(units * MILLI))


def rate(product: str, component: str, share: float) -> TakeRate:
    return TakeRate(product=product, component=component, rate_ppm=round(share * PPM))


def forecast_of(found: DemandAhead, month: str = MARCH) -> dict[str, int]:
    """By part, however it was made."""
    totals: Counter[str] = Counter()
    for name, needs in found.forecast.items():
        for need in needs:
            if need.month == month:
                totals[name] += need.milli
    return dict(totals)


SET = Dataset(
    parts=(
        part("SET", make=True),
        part("FRAME", make=True),
        part("KIT", make=True),
        part("ENGINE"),
        part("TUBE", step=500),
        part("SCREW"),
    ),
    bills=(
        line("SET", "ENGINE", 1),
        line("SET", "FRAME", 2),
        line("SET", "KIT", 1),
        line("FRAME", "TUBE", 1.2),
        line("FRAME", "SCREW", 4, scrap=0.1),
        line("KIT", "SCREW", 6),
    ),
    routings=tuple(
        RoutingStep(part=name, operation=10, work_centre="CELL", minutes_milli=MILLI)
        for name in ("SET", "FRAME")
    ),
)
"""a set of an engine, two frames and a kit of screws"""


# ---- published


@pytest.mark.parametrize("folder", TOTALS)
def test_total_requirements_of_one_expected_top_are_those_published(folder: str) -> None:
    """gozinto: Vazsonyi 1958 (source from memory), totals recomputed; the others: textbooks."""
    dataset, findings = load_rows(CASES / folder, AS_OF)
    assert dataset is not None, [finding.text() for finding in findings]
    found = forecast_of(ahead(replace(dataset, builds=(), demand=(forecast("TOP", MARCH, 1),))))
    assert found.pop("TOP") == MILLI
    assert found == {name: units * MILLI for name, units in TOTALS[folder].items()}


def test_gozinto_of_three_products_expected_at_once() -> None:
    """A 100, B 200, C 50 (source from memory); totals recomputed by a linear solve."""
    bill = "BA BC BF AD AE CG CH EII EJJJJJ EKK GJJJ GKK"
    rows = bill.split()
    data = Dataset(
        parts=tuple(part(name, make=name in "ABCEG") for name in "ABCDEFGHIJK"),
        bills=tuple(line(row[0], row[1], len(row) - 1) for row in rows),
        demand=(forecast("A", MARCH, 100), forecast("B", MARCH, 200), forecast("C", MARCH, 50)),
    )
    found = forecast_of(ahead(data))
    assert found == {name: units * MILLI for name, units in TOTALS["gozinto"].items()}


# ---- by hand


def test_two_levels_with_scrap_steps_and_a_kit() -> None:
    # a set: two frames in one job: 2.4 of tube, in steps 2.5; 8 / 0.9 = 8.9 screws, so 9;
    # with the kit's 6 they are 15
    data = replace(SET, demand=(forecast("SET", MARCH, 4), forecast("SET", APRIL, 0.3)))
    found = ahead(data, 2)
    each = {"SET": 1, "FRAME": 2, "KIT": 1, "ENGINE": 1, "TUBE": 2.5, "SCREW": 15}
    assert forecast_of(found) == {name: 4 * units * MILLI for name, units in each.items()}
    assert forecast_of(found, APRIL) == {name: units * 300 for name, units in each.items()}
    assert found.firm == {}
    assert found.months == (MARCH, APRIL)


def test_a_spare_part_that_is_bought_is_just_itself_and_one_that_is_made_its_bill() -> None:
    data = replace(SET, demand=(forecast("ENGINE", MARCH, 2), forecast("FRAME", MARCH, 1)))
    # one frame: 1.2 of tube, in steps 1.5; 4 / 0.9 = 4.4, so 5
    assert forecast_of(ahead(data)) == {
        "ENGINE": 2000,
        "FRAME": 1000,
        "TUBE": 1500,
        "SCREW": 5000,
    }


def test_bills_are_those_of_the_first_of_the_month() -> None:
    def engine(name: str, **when: date) -> BillLine:
        return line("SET", name, 1, **when)

    data = Dataset(
        parts=(part("SET", make=True), part("OLD"), part("NEW")),
        bills=(engine("OLD", ends=date(2026, 4, 1)), engine("NEW", starts=date(2026, 4, 2))),
        demand=tuple(forecast("SET", month, 1) for month in (MARCH, APRIL, MAY)),
    )
    found = ahead(data, 3)
    assert [need.month for need in found.forecast["OLD"]] == [MARCH, APRIL]
    assert found.forecast["NEW"] == (ForecastNeed(MAY, 1000, "given"),)


def test_take_rates_come_on_top_of_the_bill() -> None:
    data = replace(
        SET,
        parts=(*SET.parts, part("LAMP"), part("BEACON")),
        demand=(forecast("SET", MARCH, 3),),
        take_rates=(
            # two lamps of one family may add up to more than one a set
            rate("SET", "LAMP", 0.8),
            rate("SET", "BEACON", 0.7),
            rate("SET", "ENGINE", 0.25),
            rate("SET", "FRAME", 0.5),
            rate("SET", "KIT", 0),
        ),
    )
    found = forecast_of(ahead(data))
    assert (found["LAMP"], found["BEACON"]) == (2400, 2100)
    assert found["ENGINE"] == 3750
    assert (found["SET"], found["KIT"]) == (3000, 3000)
    # three frames take 3.6 of tube, in steps 4: 1.5 more; 12 / 0.9 = 13.3, so 14 screws: 5 more
    assert found["FRAME"] == 3 * 2500
    assert found["TUBE"] == 3 * (2500 + 750)
    assert found["SCREW"] == 3 * (15_000 + 2500)


def test_a_rate_counts_for_the_product_itself_not_for_what_it_goes_into() -> None:
    data = replace(SET, demand=(forecast("SET", MARCH, 1),), take_rates=(rate("KIT", "TUBE", 1),))
    assert forecast_of(ahead(data))["TUBE"] == 2500


def test_what_is_expected_is_never_lost_in_rounding() -> None:
    # a thousandth of a set, then a millionth of a lamp: of each a thousandth is left
    data = replace(SET, demand=(forecast("SET", MARCH, 0.001),), take_rates=())
    assert forecast_of(ahead(data))["ENGINE"] == 1
    share = replace(
        SET,
        parts=(*SET.parts, part("LAMP")),
        demand=(forecast("SET", MARCH, 1),),
        take_rates=(TakeRate(product="SET", component="LAMP", rate_ppm=1),),
    )
    assert forecast_of(ahead(share))["LAMP"] == 1


def test_large_quantities_are_exact() -> None:
    """9,999,999 machines of 9,999,999 screws each, all but a thousandth: beyond 64 bits in
    millionths of thousandths of thousandths."""
    data = Dataset(
        parts=(part("M", make=True), part("S", step=1)),
        bills=(line("M", "S", 9_999_998.999),),
        demand=(Demand(part="M", month=MARCH, quantity_milli=9_999_999 * MILLI),),
    )
    (need,) = ahead(data).forecast["S"]
    assert need.milli == 9_999_999 * 9_999_998_999


def test_how_a_forecast_was_made_is_told_apart() -> None:
    """An engine of a set given, of another kind from the past, and now and then as a spare."""

    def orders(name: str, months: range) -> tuple[Delivered, ...]:
        return tuple(
            Delivered(
                order=f"{name}{month}",
                product=name,
                ordered=date(2025, month, 3),
                shipped=date(2026, 2, 20),
            )
            for month in months
        )

    data = replace(
        SET,
        parts=(*SET.parts, part("SET2", make=True)),
        bills=(*SET.bills, line("SET2", "ENGINE", 1)),
        demand=(forecast("SET", MARCH, 2),),
        delivered=(*orders("SET2", range(3, 13)), *orders("ENGINE", range(3, 4))),
    )
    found = ahead(data)
    # 10 / 12 of a set; one in the first of twelve months: 1 / 1 x 0.95
    assert found.forecast["ENGINE"] == (
        ForecastNeed(MARCH, 2000, "given"),
        ForecastNeed(MARCH, 834, "past orders"),
    )
    assert found.products["ENGINE"][0].given_milli == 950
    assert "ENGINE, SET2" in found.notes[1]


def test_what_is_built_but_not_made_needs_its_bill_and_not_itself() -> None:
    """A product whose row says that it is bought is taken apart all the same."""
    data = Dataset(
        parts=(part("SET"), part("ENGINE")),
        bills=(line("SET", "ENGINE", 1),),
        builds=(Build(build="Q", product="SET", point="A", ordered=AS_OF, status="quoted"),),
        demand=(forecast("SET", MARCH, 2),),
    )
    assert forecast_of(ahead(data)) == {"ENGINE": 2000}


def test_notes_say_what_was_taken_for_granted() -> None:
    assert ahead(SET).notes == ()
    found = ahead(replace(SET, demand=(forecast("SET", MARCH, 2),)), 2)
    assert ["use up" in found.notes[0], "ends in 2026-03" in found.notes[1]] == [True, True]
    assert len(ahead(replace(SET, demand=(forecast("SET", MARCH, 2),)), 1).notes) == 1


@pytest.mark.parametrize(("day", "said"), [(21, False), (22, True), (31, True)])
def test_late_in_a_month_what_is_left_of_its_forecast_is_told(day: int, said: bool) -> None:
    """The last third of March begins on the 22nd: 21 of 31 days are over, more than two thirds."""
    data = replace(SET, demand=(forecast("SET", MARCH, 2), forecast("SET", APRIL, 2)))
    found = demand_ahead(Problem(data, Settings(as_of=date(2026, 3, day))), None, 2)
    texts = [note for note in found.notes if "nearly over" in note]
    assert bool(texts) == said
    assert all("of SET; if fewer will come, lower it in `demand`" in text for text in texts)
    # nothing is left of it, or nothing is given for March
    for demand in ((forecast("SET", MARCH, 0), forecast("SET", APRIL, 2)), data.demand[1:]):
        other = replace(data, demand=demand)
        found = demand_ahead(Problem(other, Settings(as_of=date(2026, 3, day))), None, 2)
        assert not any("nearly over" in note for note in found.notes)


def test_no_months_at_all() -> None:
    with pytest.raises(ValueError, match="1 or more"):
        ahead(SET, 0)


# ---- made parts that are there


def on_shelf(name: str, units: int, held: int = 0) -> Stock:
    return Stock(point="A", part=name, quantity_milli=units * MILLI, held_milli=held * MILLI)


def of(found: DemandAhead, name: str) -> dict[str, int]:
    return {need.month: need.milli for need in found.forecast.get(name, ())}


def test_what_is_made_is_not_expected_to_be_made_where_it_is_there() -> None:
    """Sets: 1 in March, 3 in April, so 2 and 6 frames. Of seven, 2 serve March and 5 April: of the
    frames of April a sixth is to be made. Two frames take 2.5 of tube and 9 screws, the kits 6
    screws each: in April 3 x 2.5 / 6 and 3 x (9 / 6 + 6)."""
    data = replace(SET, demand=(forecast("SET", MARCH, 1), forecast("SET", APRIL, 3)))
    found = ahead(replace(data, stock=(on_shelf("FRAME", 7),)), 2)
    assert of(found, "TUBE") == {APRIL: 1250}
    assert of(found, "SCREW") == {MARCH: 6000, APRIL: 22_500}
    # of all else, and of the frames themselves, nothing is taken off
    assert of(found, "FRAME") == {MARCH: 2000, APRIL: 6000}
    assert of(found, "ENGINE") == {MARCH: 1000, APRIL: 3000}
    assert "what is there of FRAME, " in found.notes[-1]
    assert of(ahead(replace(data, stock=(on_shelf("FRAME", 8),)), 2), "TUBE") == {}
    assert ahead(replace(data, stock=(on_shelf("FRAME", 8, held=8),)), 2) == ahead(data, 2)
    # a set that is expected is built, whatever sets are there; what is bought counts elsewhere
    others = replace(data, stock=(on_shelf("SET", 9), on_shelf("TUBE", 9)))
    others = replace(
        others, builds=(Build(build="Q", product="SET", point="A", ordered=AS_OF, status="quoted"),)
    )
    assert ahead(others, 2).forecast == ahead(data, 2).forecast


def test_frames_on_order_serve_from_their_month_on() -> None:
    # 2 frames a month, 4 come in April: none is to be made in April and May
    data = replace(
        SET,
        demand=tuple(forecast("SET", month, 1) for month in (MARCH, APRIL, MAY)),
        purchases=(
            Purchase(
                order="P",
                line="1",
                part="FRAME",
                supplier="S",
                point="A",
                quantity_milli=4 * MILLI,
                ordered=AS_OF,
                due=date(2026, 4, 20),
            ),
        ),
    )
    assert of(ahead(data, 3), "TUBE") == {MARCH: 2500}


def test_level_by_level_what_is_there_above_needs_nothing_below() -> None:
    """A base takes two plates, a plate three screws; eight bases, of which 3 are there; so 10
    plates, of which 4 are there, so 18 screws, and two for each base, and one spare plate."""
    data = Dataset(
        parts=(
            *(part(name, make=True) for name in ("TOP", "BASE", "PLATE")),
            part("SCREW"),
        ),
        bills=(line("TOP", "BASE", 1), line("BASE", "PLATE", 2), line("PLATE", "SCREW", 3)),
        demand=(forecast("TOP", MARCH, 8),),
        stock=(on_shelf("BASE", 3), on_shelf("PLATE", 4)),
    )
    found = ahead(data)
    assert forecast_of(found) == {"TOP": 8000, "BASE": 8000, "PLATE": 10_000, "SCREW": 18_000}
    # a plate that is expected as a spare part is served from the shelf, too
    spare = replace(data, demand=(forecast("PLATE", MARCH, 5),))
    assert forecast_of(ahead(spare)) == {"PLATE": 5000, "SCREW": 3000}
    # half the tops have one more base: 12 - 3 are 9, 18 - 4 are 14 plates
    more = replace(data, take_rates=(rate("TOP", "BASE", 0.5),))
    assert forecast_of(ahead(more))["SCREW"] == 42_000


def test_who_is_firm_takes_made_parts_before_what_is_expected() -> None:
    """Two frames for B1, in no plan; then 1 of the 3 is left for the two of the set expected."""
    build = Build(build="B1", product="SET", point="A", ordered=AS_OF, promised=date(2026, 4, 1))
    data = replace(
        SET,
        demand=(forecast("SET", MARCH, 1),),
        builds=(build,),
        stock=(on_shelf("FRAME", 3),),
    )
    assert of(ahead(data), "TUBE") == {MARCH: 1250}
    assert of(ahead(replace(data, builds=())), "TUBE") == {}


@given(st.integers(0, 10**6), st.integers(0, 9))
@settings(max_examples=40)
def test_more_made_parts_on_the_shelf_never_raise_a_need(seed: int, units: int) -> None:
    """Nor does what is there of a part change what is needed of it. With plenty of all that is
    made, only what tops take themselves is needed."""
    data = replace(tiny(seed), builds=())
    made = [row.part for row in data.parts if row.make and row.part != "TOP"]

    def with_stock(each: int) -> DemandAhead:
        return ahead(replace(data, stock=tuple(on_shelf(name, each) for name in made)), 4)

    few, more, plenty = with_stock(units), with_stock(units + 1), with_stock(10**6)
    before = amounts(few)
    assert all(milli <= before[key] for key, milli in amounts(more).items())
    assert amounts(with_stock(0)) == amounts(ahead(data, 4))
    cut = replace(data, bills=tuple(row for row in data.bills if row.parent == "TOP"))
    assert amounts(plenty) == amounts(ahead(cut, 4))


# ---- firm needs of the small shop


def firm(found: DemandAhead, name: str) -> list[tuple[str, int, str]]:
    return [(f"{need.day:%m-%d}", need.milli // MILLI, need.who) for need in found.firm[name]]


def test_firm_needs_stand_where_the_plan_draws_them() -> None:
    found = ahead(small_shop.dataset(), 3, small_shop.plan())
    assert firm(found, "ENG-A") == [
        ("03-02", 1, "B1"),
        ("03-05", 1, "B3"),
        ("03-16", 1, "B4"),
        ("03-23", 1, "B5"),
    ]
    # B2 takes the alternate, B1 has an option, the destination of B2 a rule
    assert firm(found, "ENG-B") == [("03-02", 1, "B2")]
    assert firm(found, "PUMP")[0] == ("03-02", 2, "B1")
    assert firm(found, "VALVE") == [("03-02", 1, "B2")]
    # bolts of a mast, when it is welded, and of the kit, which is there at the test
    assert firm(found, "BOLT")[:2] == [("03-02", 13, "B1"), ("03-02", 13, "B2")]
    assert {need.point for need in found.firm["MAST"]} == {"BOI"}
    assert found.firm["LAMP"] == (
        FirmNeed(date(2026, 3, 2), 2000, "parts_order", "O1/1", "BOI"),
        FirmNeed(date(2026, 3, 2), 3000, "parts_order", "O1/1", "RNO"),
        FirmNeed(date(2026, 3, 9), 4000, "parts_order", "O2/1", "BOI"),
    )
    # B6 is in no plan: its part that nobody has, on the day it is due
    (ghost,) = found.firm["GHOST"]
    (b6,) = (row for row in small_shop.dataset().builds if row.build == "B6")
    assert (ghost.who, ghost.point, ghost.day) == ("B6", "BOI", b6.promised or AS_OF)


def test_without_a_plan_all_is_due_on_its_day_by_the_whole_bill() -> None:
    found = ahead(small_shop.dataset())
    problem = problem_of(small_shop.dataset())
    for name in problem.parts:
        wanted = unplanned_needs(problem, None, name, None)
        assert sorted((need.day, need.who, need.milli) for need in found.firm.get(name, ())) == (
            sorted((row.due, row.who, row.quantity_milli) for row in wanted)
        )
    assert {need.point for need in found.firm["LAMP"]} == {None}


def test_what_was_left_out_of_planning_is_firm_and_uses_the_forecast_up() -> None:
    data = small_shop.dataset()
    problem = problem_of(
        data, left_out_builds=frozenset({"B6"}), left_out_lines=frozenset({("O1", "1")})
    )
    assert demand_ahead(problem, None, 2) == ahead(data, 2)


def test_a_build_that_was_cancelled_since_needs_nothing() -> None:
    data = small_shop.dataset()
    builds = tuple(row for row in data.builds if row.build != "B1")
    lines = tuple(row for row in data.parts_orders if row.order != "O1")
    found = ahead(replace(data, builds=builds, parts_orders=lines), 1, small_shop.plan())
    names = {need.who for needs in found.firm.values() for need in needs}
    assert "B1" not in names
    assert "O1/1" not in names
    assert {"B2", "O2/1"} <= names


def test_an_index_made_before_is_taken() -> None:
    problem, plan = problem_of(small_shop.dataset()), small_shop.plan()
    assert demand_ahead(problem, plan, 2, index=PlanIndex(plan)) == demand_ahead(problem, plan, 2)


# ---- against a count of its own, on tiny bills


NAMES = ("TOP", "P1", "P2", "P3", "P4", "P5")


def tiny(seed: int) -> Dataset:
    """Six parts of which the earlier may go into none of the later; bills that change."""
    rng = Random(seed)

    def maybe_day() -> date | None:
        return date(2026, rng.randint(2, 6), rng.choice((1, 2, 15))) if rng.random() < 0.2 else None

    parts = tuple(
        part(name, make=name == "TOP" or rng.random() < 0.5, step=rng.choice((1000, 500, 2000)))
        for name in NAMES
    )
    bills = tuple(
        line(
            parent,
            NAMES[rng.randint(place + 1, 5)],
            rng.choice((0.5, 1, 1, 1.3, 2)),
            scrap=rng.choice((0, 0, 0.1, 0.25)),
            operation=rng.choice((None, 10, 20)) if parent == "TOP" else None,
            starts=maybe_day(),
            ends=maybe_day(),
        )
        for place, parent in enumerate(NAMES[:-1])
        for _ in range(rng.randint(0, 3))
    )
    months = months_ahead(AS_OF, 4)
    return Dataset(
        parts=parts,
        bills=bills,
        routings=tuple(
            RoutingStep(part="TOP", operation=number, work_centre="CELL", minutes_milli=MILLI)
            for number in (10, 20)
        ),
        demand=tuple(
            Demand(part=name, month=month, quantity_milli=rng.choice((0, 333, 1000, 2500)))
            for name in ("TOP", rng.choice(NAMES[1:]))
            for month in months
            if rng.random() < 0.8
        ),
        take_rates=tuple(
            TakeRate(product="TOP", component=name, rate_ppm=rng.choice((125_000, 600_000, PPM)))
            for name in rng.sample(NAMES[1:], 2)
        ),
        builds=tuple(
            Build(
                build=f"B{number}",
                product="TOP",
                point="A",
                ordered=date(2026, rng.randint(1, 3), 1),
                promised=first_day(rng.choice(months)) if rng.random() < 0.8 else None,
            )
            for number in range(rng.randint(0, 3))
        ),
        build_options=(BuildOption(build="B0", component="P5", quantity_milli=MILLI),),
    )


def rounded_up(milli: Fraction) -> int:
    return -(-milli.numerator // milli.denominator)


def taken_apart(data: Dataset, name: str, units: Fraction, day: date) -> Counter[str]:
    """Level by level, each job by itself, straight from the rows."""
    rows = {row.part: row for row in data.parts}
    steps = [row.operation for row in data.routings if row.part == name]
    first = min(steps, default=None)
    wanted: Counter[tuple[int | None, str]] = Counter()
    sums: dict[tuple[int | None, str], Fraction] = {}
    for row in data.bills:
        late, over = row.starts is not None and day < row.starts, row.ends and day > row.ends
        if row.parent == name and not late and not over:
            key = first if row.operation is None else row.operation, row.component
            kept = 1 - Fraction(row.scrap_ppm, PPM)
            sums[key] = sums.get(key, Fraction(0)) + units * row.quantity_milli / kept
            wanted[key] = 1
    totals: Counter[str] = Counter()
    for (_, component), milli in sums.items():
        step = rows[component].step_milli
        milli_up = -(-milli.numerator // (milli.denominator * step)) * step
        totals[component] += milli_up
        if rows[component].make:
            totals.update(taken_apart(data, component, Fraction(milli_up, MILLI), day))
    return totals


@given(st.integers(0, 10**6))
@settings(max_examples=60)
def test_forecasts_are_taken_apart_like_builds(seed: int) -> None:
    data = replace(tiny(seed), take_rates=(), builds=(), build_options=())
    found = ahead(data, 4)
    for month in months_ahead(AS_OF, 4):
        wanted: dict[str, Fraction] = {}
        for row in data.demand:
            if row.month == month:
                units = Fraction(row.quantity_milli, MILLI)
                made = {part.part: part.make for part in data.parts}[row.part]
                each = taken_apart(data, row.part, Fraction(1), first_day(month)) if made else {}
                for name, milli in (Counter(each) + Counter({row.part: MILLI})).items():
                    wanted[name] = wanted.get(name, Fraction(0)) + units * milli
        assert forecast_of(found, month) == {
            name: -(-milli.numerator // milli.denominator)
            for name, milli in wanted.items()
            if milli
        }


@given(st.integers(0, 10**6))
@settings(max_examples=40)
def test_shares_are_the_average_of_builds_with_and_without(seed: int) -> None:
    """Every choice of options as a build of its own, weighted with how likely it is."""
    data = replace(tiny(seed), demand=(forecast("TOP", MARCH, 1),), builds=(), build_options=())
    average: dict[str, Fraction] = {"TOP": Fraction(MILLI)}
    build = Build(build="B", product="TOP", point="A", ordered=first_day(MARCH))
    for taken in every((True, False), repeat=len(data.take_rates)):
        chosen = [row for row, take in zip(data.take_rates, taken, strict=True) if take]
        likely = prod(
            Fraction(row.rate_ppm, PPM) if take else 1 - Fraction(row.rate_ppm, PPM)
            for row, take in zip(data.take_rates, taken, strict=True)
        )
        options = tuple(
            BuildOption(build="B", component=row.component, quantity_milli=MILLI) for row in chosen
        )
        problem = problem_of(replace(data, builds=(build,), build_options=options))
        for row in explode_build(problem, build).lines:
            before = average.get(row.part, Fraction(0))
            average[row.part] = before + likely * row.quantity_milli
    assert forecast_of(ahead(data)) == {
        name: rounded_up(milli) for name, milli in average.items() if milli
    }


# ---- laws


def amounts(found: DemandAhead) -> Mapping[tuple[str, str, str], int]:
    return {
        (name, need.month, need.how): need.milli
        for name, needs in found.forecast.items()
        for need in needs
    }


@given(st.integers(0, 10**6))
@settings(max_examples=40)
def test_firm_needs_do_not_change_with_the_forecast(seed: int) -> None:
    data = tiny(seed)
    bare = replace(data, demand=(), take_rates=())
    assert ahead(data, 4).firm == ahead(bare, 1).firm
    problem = problem_of(data)
    found = ahead(data, 4)
    for name in NAMES:
        wanted = unplanned_needs(problem, None, name, None)
        assert sorted((need.day, need.who, need.milli) for need in found.firm.get(name, ())) == (
            sorted((row.due, row.who, row.quantity_milli) for row in wanted)
        )


@given(st.integers(0, 10**6), st.integers(0, 10**6), st.integers(1, 5000))
@settings(max_examples=60)
def test_more_forecast_never_lowers_a_need(seed: int, which: int, more_milli: int) -> None:
    data = tiny(seed)
    before = amounts(ahead(data, 4))
    if data.demand:
        at = which % len(data.demand)
        row = replace(data.demand[at], quantity_milli=data.demand[at].quantity_milli + more_milli)
        demand = (*data.demand[:at], row, *data.demand[at + 1 :])
        after = amounts(ahead(replace(data, demand=demand), 4))
        assert all(after.get(key, 0) >= milli > 0 for key, milli in before.items())


@given(st.integers(0, 10**6))
@settings(max_examples=40)
def test_more_months_change_nothing_before(seed: int) -> None:
    """Nor does the order of the rows."""
    data = tiny(seed)
    few, many = amounts(ahead(data, 2)), amounts(ahead(data, 5))
    assert few == {key: milli for key, milli in many.items() if key[1] in (MARCH, APRIL)}
    turned = {
        field.name: getattr(data, field.name)[::-1]
        for field in dataclasses.fields(data)
        if field.name != "notes"
    }
    assert ahead(replace(data, **turned), 5) == ahead(data, 5)


@given(st.integers(0, 2**32 - 1), shapes())
@settings(max_examples=25, deadline=None)
def test_firm_needs_of_whole_books(seed: int, shape: Any) -> None:
    """Options, kits, made parts, parts orders: as what is in no plan is counted part by part."""
    data = random_book(seed, shape)
    problem = problem_of(data)
    found = demand_ahead(problem, None, 2)
    for name in problem.parts:
        wanted = unplanned_needs(problem, None, name, None)
        assert sorted((need.day, need.who, need.milli) for need in found.firm.get(name, ())) == (
            sorted((row.due, row.who, row.quantity_milli) for row in wanted)
        )


@given(st.integers(0, 2**32 - 1), shapes(alternates=False))
@settings(max_examples=10, deadline=None)
def test_a_plan_draws_what_whole_bills_call_for(seed: int, shape: Any) -> None:
    """Each thing once, on another day, where nothing stands in and no made part is on a shelf."""
    data = random_book(seed, shape)
    data = replace(data, stock=tuple(row for row in data.stock if row.part != "FRAME"))
    problem = Problem(data, settings_of(data))
    planned = demand_ahead(problem, planning.plan(problem, Effort(seconds=0.1)), 1)
    assert totals_of(planned) == totals_of(demand_ahead(problem, None, 1)) != {}


def totals_of(found: DemandAhead) -> dict[tuple[str, str], int]:
    """By part and by who needs it."""
    totals: Counter[tuple[str, str]] = Counter()
    for name, needs in found.firm.items():
        for need in needs:
            totals[name, need.who] += need.milli
    return dict(totals)

"""The checker's own explosion of bills: quantities by hand, the arithmetic beside them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from audited_shop import PLAN, SETTINGS
from fulfil_models.audit_frame import Frame
from fulfil_models.audit_time import minutes_needed
from fulfil_models.tables import (
    Alternate,
    BillLine,
    Build,
    BuildOption,
    Dataset,
    Part,
    RegionRule,
    RoutingStep,
)

ORDERED = date(2026, 2, 2)
BUILD = Build(build="B", product="TOWER", point="A", ordered=ORDERED, destination="US-CA-900")
DATA = Dataset(
    parts=(
        Part(part="TOWER", make=True, family="towers"),
        Part(part="KIT", make=True),
        Part(part="HOSE", step_milli=250),
        Part(part="LAMP"),
        Part(part="VALVE"),
    ),
    bills=(
        BillLine(parent="TOWER", component="LAMP", quantity_milli=4_000, operation=20),
        BillLine(parent="TOWER", component="HOSE", quantity_milli=2_500, scrap_ppm=50_000),
        BillLine(parent="KIT", component="HOSE", quantity_milli=1_100),
    ),
    routings=(
        RoutingStep(part="TOWER", operation=10, work_centre="W", minutes_milli=0),
        RoutingStep(part="TOWER", operation=20, work_centre="W", minutes_milli=0),
    ),
    builds=(BUILD,),
)


def needs(data: Dataset) -> dict[tuple[int | None, str], int]:
    return Frame(data, SETTINGS, PLAN, None).build_needs(data.builds[0])


def with_bill(*lines: BillLine) -> Dataset:
    return replace(DATA, bills=(*DATA.bills, *lines))


def test_scrap_and_steps() -> None:
    # 2.5 / 0.95 = 2.63, in steps of 0.25: 2.75; no operation named: the first
    assert needs(DATA) == {(20, "LAMP"): 4_000, (10, "HOSE"): 2_750}


def test_lines_of_a_component_add_up_before_rounding() -> None:
    # 2.6316 + 0.1 = 2.7316: still 2.75, not 2.75 + 0.25
    more = with_bill(BillLine(parent="TOWER", component="HOSE", quantity_milli=100, operation=10))
    assert needs(more)[10, "HOSE"] == 2_750


def test_another_operation_is_another_need() -> None:
    more = with_bill(BillLine(parent="TOWER", component="HOSE", quantity_milli=100, operation=20))
    assert needs(more)[10, "HOSE"] == 2_750
    assert needs(more)[20, "HOSE"] == 250


def test_effective_dates_are_inclusive_and_judged_at_the_order_date() -> None:
    def line(starts: date | None, ends: date | None) -> Dataset:
        return with_bill(
            BillLine(
                parent="TOWER", component="VALVE", quantity_milli=1_000, starts=starts, ends=ends
            )
        )

    assert (10, "VALVE") in needs(line(ORDERED, ORDERED))
    assert (10, "VALVE") not in needs(line(date(2026, 2, 3), None))
    assert (10, "VALVE") not in needs(line(None, date(2026, 2, 1)))


def test_options_add_before_scrap_and_take_away() -> None:
    def option(component: str, milli: int, operation: int | None = None) -> Dataset:
        row = BuildOption(build="B", component=component, quantity_milli=milli, operation=operation)
        return replace(DATA, build_options=(row,))

    # (2.5 + 1) / 0.95 = 3.68: 3.75
    assert needs(option("HOSE", 1_000))[10, "HOSE"] == 3_750
    # a bill line's operation where there is one
    assert needs(option("LAMP", 2_000))[20, "LAMP"] == 6_000
    assert (20, "LAMP") not in needs(option("LAMP", -4_000))
    # an operation of its own is a need of its own, without the scrap of the other line
    assert needs(option("HOSE", 1_000, 20))[20, "HOSE"] == 1_000
    # what the bill does not have goes to the first operation
    assert needs(option("VALVE", 2_000))[10, "VALVE"] == 2_000


def test_region_rules_go_by_the_beginning_of_the_destination() -> None:
    def rule(region: str, family: str = "towers") -> Dataset:
        row = RegionRule(
            region=region, family=family, component="VALVE", quantity_milli=1_000, note="verify"
        )
        return replace(DATA, region_rules=(row,))

    assert needs(rule("US-CA"))[10, "VALVE"] == 1_000
    assert (10, "VALVE") not in needs(rule("US-NV"))
    assert (10, "VALVE") not in needs(rule("US-CA", "pumps"))


def test_a_phantom_needs_all_at_one_moment() -> None:
    frame = Frame(DATA, SETTINGS, PLAN, None)
    # 3 x 1.1 = 3.3: 3.5
    assert frame.part_needs("KIT", 3_000, ORDERED) == {(None, "HOSE"): 3_500}


def test_an_alternate_is_rounded_to_its_own_step() -> None:
    data = replace(
        DATA,
        alternates=(
            Alternate(part="LAMP", alternate="HOSE", ratio_ppm=333_333, approved=True),
            Alternate(part="LAMP", alternate="VALVE", ratio_ppm=1_500_000),
        ),
    )
    frame = Frame(data, SETTINGS, PLAN, None)
    # 4 x 0.333333 = 1.333332, in steps of 0.25: 1.5
    assert frame.wanted("LAMP", "HOSE", 4_000) == 1_500
    assert frame.wanted("LAMP", "LAMP", 4_000) == 4_000
    assert not frame.may_fill("LAMP", "VALVE")


def test_minutes_are_rounded_down_once() -> None:
    step = RoutingStep(
        part="TOWER", operation=10, work_centre="W", minutes_milli=1_334, setup_milli=500
    )
    # 0.5 + 1.334 x 2.5 = 3.835
    assert minutes_needed(step, 2_500) == 3

"""Needs of a job (rule 3) worked out by hand, total requirements and low-level codes."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from typing import Any

import pytest
from cases import CASES, LOW_LEVEL_CODES, TOTALS
from fulfil_models.cells import MILLI
from fulfil_models.explosion import JobNeed, job_needs, low_level_codes, round_up, total_needs
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    BillLine,
    Build,
    BuildOption,
    Dataset,
    Part,
    RegionRule,
    RoutingStep,
)

from fulfil.exchange.loading import load_rows

AS_OF = date(2026, 3, 2)


def problem(*lines: BillLine, **tables: Any) -> Problem:
    """Machine M with operations 10 and 20; screws come singly, hose by 0.5, paint by 0.001."""
    steps = {"SCREW": MILLI, "HOSE": 500, "PAINT": 1}
    data = Dataset(
        parts=(
            Part(part="M", family="PUMPSET", make=True),
            *(Part(part=part, step_milli=step_milli) for part, step_milli in steps.items()),
        ),
        bills=lines,
        routings=tuple(
            RoutingStep(part="M", operation=operation, work_centre="W", minutes_milli=MILLI)
            for operation in (10, 20)
        ),
        **tables,
    )
    return Problem(data, Settings(as_of=AS_OF))


def line(component: str, quantity_milli: int, **more: Any) -> BillLine:
    return BillLine(parent="M", component=component, quantity_milli=quantity_milli, **more)


def build(**more: Any) -> Build:
    return Build(build="B", product="M", point="A", ordered=date(2026, 2, 2), **more)


@pytest.mark.parametrize(
    ("component", "per_milli", "scrap_ppm", "units", "need_milli"),
    [
        ("SCREW", 4000, 0, 3, 12_000),  # 3 x 4
        ("SCREW", 9000, 100_000, 1, 10_000),  # 9 / 0.9 = 10 exactly: no eleventh screw
        ("SCREW", 4000, 20_000, 3, 13_000),  # 12 / 0.98 = 12.24.. -> 13
        ("HOSE", 1200, 0, 2, 2500),  # 2.4 -> 2.5
        ("HOSE", 1250, 0, 2, 2500),  # 2.5 stays
        ("PAINT", 333, 500_000, 1, 666),  # 0.333 / 0.5
        ("PAINT", 1, 250_000, 1, 2),  # 0.001 / 0.75 = 0.0013.. -> 0.002
    ],
)
def test_scrap_and_step(
    component: str, per_milli: int, scrap_ppm: int, units: int, need_milli: int
) -> None:
    book = problem(line(component, per_milli, scrap_ppm=scrap_ppm))
    assert job_needs(book, "M", units * MILLI) == [JobNeed(10, component, need_milli)]


def test_lines_of_a_component_at_one_operation_add_up_before_rounding() -> None:
    # 1.2 + 1.2 = 2.4 -> 2.5 of hose, not 1.5 + 1.5; that at operation 20 stays apart: 1.2 -> 1.5
    book = problem(line("HOSE", 1200), line("HOSE", 1200), line("HOSE", 1200, operation=20))
    assert job_needs(book, "M", MILLI) == [JobNeed(10, "HOSE", 2500), JobNeed(20, "HOSE", 1500)]


def test_lines_of_different_scrap_add_up_before_rounding() -> None:
    """2 / 0.9 + 5 / 0.75 = 2.22.. + 6.66.. = 8.88.. -> 9, not 3 + 7; with a third line of 1 / 0.9,
    which fills it up to 10 exactly, no eleventh."""
    two = (line("SCREW", 2000, scrap_ppm=100_000), line("SCREW", 5000, scrap_ppm=250_000))
    assert job_needs(problem(*two), "M", MILLI) == [JobNeed(10, "SCREW", 9000)]
    three = (*two, line("SCREW", 1000, scrap_ppm=100_000))
    assert job_needs(problem(*three), "M", MILLI) == [JobNeed(10, "SCREW", 10_000)]


@pytest.mark.parametrize(
    ("ordered", "there"),
    [
        (date(2026, 1, 31), False),
        (date(2026, 2, 1), True),
        (date(2026, 2, 28), True),
        (date(2026, 3, 1), False),
        (None, True),
    ],
)
def test_effective_dates_are_both_inclusive(ordered: date | None, there: bool) -> None:
    book = problem(line("SCREW", MILLI, starts=date(2026, 2, 1), ends=date(2026, 2, 28)))
    assert bool(job_needs(book, "M", MILLI, ordered=ordered)) is there


def test_options_are_added_before_scrap_and_negative_ones_remove() -> None:
    # screws (9 + 9) / 0.9 = 20 at the bill line's operation; hose 1 - 1 = 0: not needed;
    # paint, not on the bill, at the first operation
    book = problem(
        line("SCREW", 9000, scrap_ppm=100_000, operation=20),
        line("HOSE", 1000),
        build_options=(
            BuildOption(build="B", component="SCREW", quantity_milli=9000),
            BuildOption(build="B", component="HOSE", quantity_milli=-1000),
            BuildOption(build="B", component="PAINT", quantity_milli=7),
        ),
    )
    needs = [JobNeed(10, "PAINT", 7), JobNeed(20, "SCREW", 20_000)]
    assert job_needs(book, "M", MILLI, build=build()) == needs


@pytest.mark.parametrize(
    ("destination", "screws_milli"), [("US-CA", 3000), ("US-NV", 1000), (None, 1000)]
)
def test_region_rules_add_where_the_machine_goes(
    destination: str | None, screws_milli: int
) -> None:
    def rule(family: str) -> RegionRule:
        return RegionRule(
            region="US-CA", family=family, component="SCREW", quantity_milli=2000, note="guard"
        )

    book = problem(line("SCREW", MILLI), region_rules=(rule("PUMPSET"), rule("OTHER")))
    needs = job_needs(book, "M", MILLI, build=build(destination=destination))
    assert needs == [JobNeed(10, "SCREW", screws_milli)]


def test_a_phantom_needs_at_no_operation_of_its_own() -> None:
    data = Dataset(
        parts=(Part(part="KIT", make=True), Part(part="SCREW")),
        bills=(BillLine(parent="KIT", component="SCREW", quantity_milli=2000),),
    )
    book = Problem(data, Settings(as_of=AS_OF))
    assert job_needs(book, "KIT", 3 * MILLI) == [JobNeed(None, "SCREW", 6000)]


@pytest.mark.parametrize(
    ("quantity_milli", "step_milli", "rounded"),
    [
        (Fraction(0), 1000, 0),
        (Fraction(1, 3), 1000, 1000),
        (Fraction(1000), 1000, 1000),
        (Fraction(3001, 3), 1000, 2000),
        (Fraction(1001), 250, 1250),
    ],
)
def test_rounding_up(quantity_milli: Fraction, step_milli: int, rounded: int) -> None:
    assert round_up(quantity_milli, step_milli) == rounded


def case(folder: str) -> Problem:
    dataset, findings = load_rows(CASES / folder, AS_OF)
    assert dataset is not None, [finding.text() for finding in findings]
    return Problem(dataset, Settings(as_of=AS_OF))


@pytest.mark.parametrize("folder", TOTALS)
def test_total_requirements_are_those_published(folder: str) -> None:
    """gozinto: Vazsonyi 1958 (from memory), totals recomputed; the others: textbook examples."""
    totals = total_needs(case(folder), {"TOP": MILLI})
    assert totals.pop("TOP") == MILLI
    assert totals == {part: units * MILLI for part, units in TOTALS[folder].items()}


def test_low_level_codes_are_those_published() -> None:
    """In the data set one TOP stands above part A, so every code is one more."""
    codes = low_level_codes(case("low-level-codes"))
    assert codes == {"TOP": 0, **{part: code + 1 for part, code in LOW_LEVEL_CODES.items()}}


def test_bills_that_contain_themselves_are_refused() -> None:
    data = Dataset(
        parts=(Part(part="X", make=True), Part(part="Y", make=True)),
        bills=(
            BillLine(parent="X", component="Y", quantity_milli=MILLI),
            BillLine(parent="Y", component="X", quantity_milli=MILLI),
        ),
    )
    with pytest.raises(ValueError, match="contain themselves"):
        low_level_codes(Problem(data, Settings(as_of=AS_OF)))

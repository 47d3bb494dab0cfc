"""Needs of parts that are expected, through all levels: published bills, and small ones by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from cases import CASES, TOTALS
from expected_sets import (
    APRIL,
    AS_OF,
    MARCH,
    MAY,
    SET,
    ahead,
    forecast,
    forecast_of,
    line,
    part,
    rate,
)
from fulfil_models.cells import MILLI
from fulfil_models.demand_ahead import ForecastNeed, demand_ahead
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    BillLine,
    Build,
    Dataset,
    Delivered,
    Demand,
    TakeRate,
)

from fulfil.exchange.loading import load_rows

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

"""What is expected of made parts where some are there already, or on order."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from expected_sets import (
    APRIL,
    AS_OF,
    MARCH,
    MAY,
    SET,
    ahead,
    amounts,
    forecast,
    forecast_of,
    line,
    part,
    rate,
    tiny,
)
from fulfil_models.cells import MILLI
from fulfil_models.demand_ahead import DemandAhead
from fulfil_models.tables import (
    Build,
    Dataset,
    Purchase,
    Stock,
)
from hypothesis import given, settings
from hypothesis import strategies as st


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

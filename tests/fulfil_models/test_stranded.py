"""What can never come, by hand and against a plain search."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date

import pytest
from fulfil_models.plan import Stranded
from fulfil_models.settings import Settings, parse_settings
from fulfil_models.source_terms import can_order
from fulfil_models.stranded import left_out, stranded
from fulfil_models.tables import (
    Alternate,
    BillLine,
    Build,
    Dataset,
    Lane,
    Part,
    Point,
    Purchase,
    RoutingStep,
    Source,
    Stock,
    WorkCentre,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from small_data import Tables, dataset_of, findings_of, good, put

DAY = date(2026, 3, 2)
SETTINGS = Settings(as_of=DAY)


def without(tables: Tables, *where: tuple[str, str, str]) -> Tables:
    """The tables less the rows that have a value in a column."""
    left = dict(tables)
    for table, column, value in where:
        place = left[table][0].index(column)
        left[table] = [row for row in left[table] if row[place] != value]
    return left


NO_LAMPS = without(
    good(), ("stock", "part", "LAMP"), ("sources", "part", "LAMP"), ("price_breaks", "part", "LAMP")
)
NO_ENGINES = without(
    good(),
    ("sources", "part", "ENGINE"),
    ("purchases", "part", "ENGINE"),
    ("stock", "part", "ENGINE2"),
)


def stranded_in(tables: Tables) -> tuple[Stranded, ...]:
    data = dataset_of(tables)
    return stranded(data, parse_settings(data.settings, DAY))


def builds(tables: Tables) -> dict[str, tuple[str, ...]]:
    return {row.key: row.parts for row in stranded_in(tables) if row.kind == "build"}


def lines(tables: Tables) -> dict[str, tuple[str, ...]]:
    return {row.key: row.parts for row in stranded_in(tables) if row.kind != "build"}


def test_nothing_is_stranded_where_everything_can_come() -> None:
    assert stranded_in(good()) == ()


def test_the_part_at_the_bottom_is_named() -> None:
    # The mast is made of lamps, so K2 lacks lamps twice over. K1 has its mast: operation 10 is
    # finished. K0 is done.
    assert stranded_in(NO_LAMPS) == (
        Stranded("build", "K2", ("LAMP",)),
        Stranded("parts_order", "SO1/1", ("LAMP",)),
    )
    keys = left_out(dataset_of(NO_LAMPS), SETTINGS)
    assert keys.builds == {"K2"}
    assert keys.lines == {("SO1", "1")}


def test_what_is_held_does_not_count() -> None:
    tables = good()
    tables["sources"] = [row for row in tables["sources"] if row[0] != "LAMP"]
    assert builds(tables) == {}
    assert builds(put(tables, "stock", 2, "held", "20")) == {"K2": ("LAMP",)}


def test_one_way_is_enough_for_engines() -> None:
    assert builds(NO_ENGINES) == {"K2": ("ENGINE",)}
    for table in ("sources", "purchases"):
        again = {**NO_ENGINES, table: good()[table]}
        assert builds(again) == {}
    # the other make lies at B, from where a lane leads to A
    assert builds({**NO_ENGINES, "stock": good()["stock"]}) == {}


def test_an_alternate_counts_only_if_it_is_approved() -> None:
    tables = {**NO_ENGINES, "stock": good()["stock"]}
    assert builds(put(tables, "alternates", 2, "approved", "no")) == {"K2": ("ENGINE",)}


def test_lanes_lead_one_way_and_on() -> None:
    tables = {**NO_ENGINES, "stock": good()["stock"]}
    tables["lanes"] = [["origin", "destination", "days"], ["A", "B", "3"]]
    assert builds(tables) == {"K2": ("ENGINE",)}
    tables["points"] = [*good()["points"], ["C", "", "", "", "", ""]]
    tables["lanes"] = [["origin", "destination", "days"], ["B", "C", "1"], ["C", "A", "1"]]
    assert builds(tables) == {}


def test_a_source_that_can_never_be_ordered_from_does_not_count() -> None:
    tables = {**NO_ENGINES, "sources": good()["sources"]}
    assert builds(put(tables, "sources", 2, "monthly_cap", "0")) == {"K2": ("ENGINE",)}
    # 90 days less 10 if hurried: within a horizon of 80 days, not of 79
    for days, expected in (("80", {}), ("79", {"K2": ("ENGINE",)})):
        tables["settings"] = [*good()["settings"], ["horizon_days", days]]
        assert builds(tables) == expected
    # and within one of 81 if orders wait for the 3rd
    for days, expected in (("81", {}), ("80", {"K2": ("ENGINE",)})):
        rows = ["horizon_days", days], ["orders_from", "2026-03-03"]
        tables["settings"] = [*good()["settings"], *rows]
        assert builds(tables) == expected


@pytest.mark.parametrize(
    ("minimum", "multiple", "cap", "expected"),
    [
        (0, 0, None, True),
        (5, 0, 5, True),
        (6, 0, 5, False),
        (0, 4, 7, True),
        (5, 4, 7, False),  # four is too few, eight too many
        (5, 4, 8, True),
        (0, 8, 7, False),
        (0, 0, 0, False),
    ],
)
def test_an_order_fits_the_cap_in_whole_multiples(
    minimum: int, multiple: int, cap: int | None, expected: bool
) -> None:
    source = Source(
        part="P",
        supplier="S",
        point="A",
        lead_days=1,
        minimum_milli=minimum * 1_000,
        multiple_milli=multiple * 1_000,
        monthly_cap_milli=None if cap is None else cap * 1_000,
    )
    assert can_order(source) is expected


def test_a_part_is_made_only_where_all_its_work_centres_stand() -> None:
    tables = put(good(), "routings", 4, "work_centre", "SHED")
    tables["work_centres"].append(["SHED", "B", "1"])
    assert builds(tables) == {"K2": ("MAST",)}
    assert builds({**tables, "stock": [*good()["stock"], ["A", "MAST", "1", "", ""]]}) == {}
    (warning,) = [f for f in findings_of(tables) if f.code == "never-comes"]
    assert "SHED, which makes it, stands elsewhere" in warning.wrong


def test_a_phantom_comes_from_its_parts() -> None:
    tables = without(good(), ("routings", "part", "MAST"))
    assert builds(tables) == {}
    tables["bills"] = [row for row in tables["bills"] if row[0] != "MAST"]
    # neither bill nor routing: nothing to make it from
    assert builds(tables) == {"K2": ("MAST",)}


def test_bill_lines_count_on_the_order_date() -> None:
    tables = without(good(), ("sources", "part", "CABLE"))
    tables["build_options"] = [row for row in tables["build_options"] if row[1] != "CABLE"]
    # K1 is ordered on 2026-02-02 and K2 on 2026-02-16; both ends of the span are included.
    for ends, expected in (
        ("2026-02-01", {}),
        ("2026-02-02", {"K1": ("CABLE",)}),
        ("2026-02-15", {"K1": ("CABLE",)}),
        ("2026-02-16", {"K1": ("CABLE",), "K2": ("CABLE",)}),
    ):
        assert builds(put(tables, "bills", 4, "ends", ends)) == expected


def test_options_and_region_rules_count() -> None:
    tables = without(good(), ("sources", "part", "FILTER"))
    assert lines(tables) == {"SO1/2": ("FILTER",)}
    # K1 is past the operation at which the rule for its region adds the filter.
    assert builds(tables) == {}
    tables["progress"] = tables["progress"][:1]
    assert builds(tables) == {"K1": ("FILTER",)}
    # The option of K2 takes away all the cable it would have needed.
    assert builds(without(good(), ("sources", "part", "CABLE"))) == {"K1": ("CABLE",)}


def test_an_order_no_carrier_can_take_is_stranded_too() -> None:
    tables = put(good(), "parts_orders", 2, "destination", "CA-ON")
    assert lines(tables) == {"SO1/1": ("LAMP",)}


def test_the_warning_names_part_point_and_builds() -> None:
    (warning,) = [f for f in findings_of(NO_LAMPS) if "to A" in f.wrong]
    assert (warning.code, warning.value) == ("never-comes", "LAMP")
    assert warning.wrong == (
        "can never come to A: no stock, purchase, source or approved alternate; "
        "left out of the plan: build K2"
    )


# ---- against a plain search


def random_dataset(seed: int) -> Dataset:
    """A small world with gaps: shelves, lanes, alternates, nested and dated bills."""
    rng = random.Random(seed)
    points = ("A", "B", "C")
    parts = [f"P{n}" for n in range(8)]
    days = [date(2026, month, 1) for month in (1, 2, 3, 4)]

    def some(share: float) -> bool:
        return rng.random() < share

    bills = [
        BillLine(
            parent=parent,
            component=rng.choice(parts[place + 1 :]),
            quantity_milli=1_000,
            starts=rng.choice(days) if some(0.3) else None,
            ends=rng.choice(days) if some(0.3) else None,
        )
        for place, parent in enumerate(parts[:-1])
        for _ in range(rng.randrange(3))
    ]
    routings = [
        RoutingStep(part=part, operation=10, work_centre=rng.choice("VW"), minutes_milli=0)
        for part in parts
        if some(0.4)
    ]
    routings += [
        RoutingStep(part=product, operation=10, work_centre="V", minutes_milli=0)
        for product in ("X", "Y")
    ]
    bills += [
        BillLine(parent=product, component=part, quantity_milli=1_000)
        for product in ("X", "Y")
        for part in rng.sample(parts, 2)
    ]
    pairs = [(part, point) for part in parts for point in points]
    return Dataset(
        points=tuple(Point(point=point) for point in points),
        parts=tuple(Part(part=part, make=some(0.6)) for part in [*parts, "X", "Y"]),
        bills=tuple(bills),
        alternates=tuple(
            Alternate(part=a, alternate=b, approved=some(0.6))
            for a, b in {tuple(rng.sample(parts, 2)) for _ in range(3)}
        ),
        stock=tuple(
            Stock(point=point, part=part, quantity_milli=1_000, held_milli=1_000 * some(0.2))
            for part, point in rng.sample(pairs, 3)
        ),
        purchases=tuple(
            Purchase(
                order="O",
                line=str(n),
                part=part,
                supplier="S",
                point=point,
                quantity_milli=1_000,
                ordered=DAY,
                due=DAY,
            )
            for n, (part, point) in enumerate(rng.sample(pairs, 2))
        ),
        lanes=tuple(
            Lane(origin=a, destination=b, days=1)
            for a in points
            for b in points
            if a != b and some(0.3)
        ),
        work_centres=(
            WorkCentre(work_centre="V", point="A"),
            WorkCentre(work_centre="W", point=rng.choice("AB")),
        ),
        routings=tuple(routings),
        builds=tuple(
            Build(build=f"K{n}", product=rng.choice("XY"), point="A", ordered=rng.choice(days))
            for n in range(4)
        ),
    )


def plainly_stranded(data: Dataset) -> set[str]:
    """The same question put to every need anew, by a search that remembers nothing."""

    def leads(origin: str, seen: tuple[str, ...] = ()) -> bool:
        return origin == "A" or any(
            leads(lane.destination, (*seen, origin))
            for lane in data.lanes
            if lane.origin == origin and lane.destination not in seen
        )

    def comes(part: str) -> bool:
        shelves = [
            s.point for s in data.stock if s.part == part and s.quantity_milli > s.held_milli
        ]
        shelves += [p.point for p in data.purchases if p.part == part]
        return any(leads(point) for point in shelves)

    def makes(part: str, day: date, within: tuple[str, ...]) -> bool:
        lines = [row for row in data.bills if row.parent == part]
        steps = [row for row in data.routings if row.part == part]
        made = next(row.make for row in data.parts if row.part == part)
        centre = {row.work_centre: row.point for row in data.work_centres}
        if not made or not (lines or steps) or part in within:
            return False
        if any(centre[step.work_centre] != "A" for step in steps):
            return False
        return all(filled(c, day, (*within, part)) for c in in_effect(lines, day))

    def in_effect(lines: list[BillLine], day: date) -> list[str]:
        return [
            line.component
            for line in lines
            if (line.starts is None or line.starts <= day)
            and (line.ends is None or day <= line.ends)
        ]

    def filled(part: str, day: date, within: tuple[str, ...] = ()) -> bool:
        choices = [part]
        choices += [a.alternate for a in data.alternates if a.part == part and a.approved]
        return any(comes(choice) or makes(choice, day, within) for choice in choices)

    return {
        build.build
        for build in data.builds
        if not all(
            filled(component, build.ordered)
            for component in in_effect(
                [row for row in data.bills if row.parent == build.product], build.ordered
            )
        )
    }


@settings(max_examples=300, deadline=None)
@given(st.integers(0, 10**6))
def test_a_plain_search_strands_the_same_builds(seed: int) -> None:
    data = random_dataset(seed)
    assert {row.key for row in stranded(data, SETTINGS)} == plainly_stranded(data)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(seed: int, rng: random.Random) -> None:
    data = random_dataset(seed)
    shuffled = replace(
        data,
        **{
            name: tuple(rng.sample(rows, len(rows)))
            for name in ("bills", "stock", "lanes", "parts", "builds", "alternates")
            if (rows := data.rows(name)) or True
        },
    )
    assert stranded(shuffled, SETTINGS) == stranded(data, SETTINGS)

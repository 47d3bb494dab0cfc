"""The demo scenario: its tables parse, refer to each other and fit the planning date."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import replace
from datetime import date, datetime, time
from fractions import Fraction

from demo_scenario import (
    AS_OF,
    PLANT,
    axis,
    calls_for,
    demo,
    find,
    firm,
    line_operation,
    promised_day,
    way,
    work_from,
)
from fulfil_models.columns import TABLES
from fulfil_models.settings import parse_settings
from fulfil_models.stranded import stranded

# -- the tables ---------------------------------------------------------------------------------


def test_every_table_of_the_contract_is_there_and_filled() -> None:
    assert len(TABLES) == 28
    assert [name for name in TABLES if not demo().rows(name)] == []


def test_no_two_rows_share_a_key() -> None:
    tables = [table for table in TABLES.values() if table.unique]
    assert {*TABLES} - {table.name for table in tables} == {"bills", "build_options"}  # they add up
    for table in tables:
        keys = Counter(table.key_of(row) for row in demo().rows(table.name))
        assert keys
        assert [key for key, count in keys.items() if count > 1] == [], table.name


def test_references_hold() -> None:
    looked_up = 0
    for table in TABLES.values():
        for column in table.columns:
            if column.refers is None:
                continue
            other, _, name = column.refers.partition(".")
            attribute = next(c.attribute for c in TABLES[other].columns if c.name == name)
            known = {getattr(row, attribute) for row in demo().rows(other)}
            used = {getattr(row, column.attribute) for row in demo().rows(table.name)} - {None}
            assert used - known == set(), f"{table.name}.{column.name}"
            looked_up += len(used)
    assert looked_up > 1000


def test_counts_are_those_of_the_scenario() -> None:
    data = demo()
    families = {row.family for row in data.parts if row.part in {b.product for b in data.builds}}
    engines = [row for row in data.parts if row.family == "engine"]
    assert 40 <= len(firm()) <= 60
    assert {row.status for row in data.builds} == {"firm", "quoted", "done", "cancelled"}
    assert (len(families), len(engines), len(data.points)) == (6, 5, 5)
    assert 190 <= len(data.parts) <= 260
    assert 200 <= len(data.receipts) <= 400
    assert len({row.order for row in data.parts_orders}) == 30
    assert len({row.month for row in data.demand}) == 12


def test_no_two_firm_builds_are_alike() -> None:
    options = defaultdict(list)
    for row in demo().build_options:
        options[row.build].append((row.component, row.quantity_milli))
    made = Counter((b.product, tuple(sorted(options[b.build]))) for b in firm())
    assert max(made.values()) == 1


def test_bills_are_three_levels_deep_and_hold_phantoms() -> None:
    data = demo()
    below = defaultdict(set)
    for line in data.bills:
        below[line.parent].add(line.component)

    def depth(part: str, seen: tuple[str, ...] = ()) -> int:
        assert part not in seen, f"cycle {seen}"
        return max((1 + depth(c, (*seen, part)) for c in below[part]), default=0)

    assert max(depth(part) for part in list(below)) == 3
    routed = {row.part for row in data.routings}
    phantoms = {row.part for row in data.parts if row.make and row.part not in routed}
    assert phantoms <= set(below)
    assert len(phantoms) >= 2


def test_bills_and_options_name_operations_of_the_parent() -> None:
    steps = {(row.part, row.operation) for row in demo().routings}
    product = {row.build: row.product for row in demo().builds}
    named = {(row.parent, row.operation) for row in demo().bills if row.operation is not None}
    named |= {(product[r.build], r.operation) for r in demo().build_options if r.operation}
    named |= {(product[row.build], row.operation) for row in demo().progress}
    assert named - steps == set()


def test_every_bought_part_has_a_source_at_the_plant() -> None:
    source = {row.part for row in demo().sources if row.point == PLANT}
    assert {row.part for row in demo().parts if not row.make} - source == set()


def test_quantities_in_stock_and_on_order_are_whole_steps() -> None:
    step = {row.part: row.step_milli for row in demo().parts}
    held = [(row.part, row.quantity_milli) for row in demo().stock]
    ordered = [(row.part, row.quantity_milli) for row in demo().purchases]
    wanted = [(row.part, row.quantity_milli) for row in demo().parts_orders]
    assert min(map(len, (held, ordered, wanted))) >= 30
    for part, quantity_milli in held + ordered + wanted:
        assert quantity_milli % step[part] == 0, (part, quantity_milli)
    assert {step[p] for p in ("HOSE-HP12", "W-16", "TUBE-80", "ENG-014D")} == {250, 500, 100, 1000}


# -- dates --------------------------------------------------------------------------------------


def test_dates_fit_the_planning_date() -> None:
    assert AS_OF.weekday() == 0
    assert next(row.value for row in demo().settings if row.key == "as_of") == "2026-09-14"
    promised = [promised_day(row) for row in firm() if row.promised]
    assert all(row.ordered < AS_OF for row in demo().builds)
    assert all(row.ordered < promised_day(row) for row in firm() if row.promised)
    assert all(axis().is_open(day) for day in promised if day >= AS_OF)
    assert [day for day in sorted(promised) if day < AS_OF] == [
        date(2026, 9, 10),
        date(2026, 9, 11),
        date(2026, 9, 11),
    ]
    # ten weeks from the planning date on: 14 September to 20 November
    assert {(day - AS_OF).days // 7 for day in promised if day >= AS_OF} == set(range(10))
    assert all(r.ordered < r.due and r.ordered < AS_OF for r in demo().purchases)
    assert all(r.ordered <= r.received < AS_OF for r in demo().receipts)
    assert all(r.ordered <= r.shipped < AS_OF for r in demo().delivered)
    assert any(not row.confirmed for row in demo().purchases)


def test_progress_keeps_opening_hours_and_the_order_of_work() -> None:
    product = {row.build: row.product for row in demo().builds}
    minutes = {(r.part, r.operation): work_from(r.part, r.operation) for r in demo().routings}
    past = axis(as_of=date(2026, 8, 24))
    last: dict[str, datetime] = {}
    assert demo().progress
    for row in sorted(demo().progress, key=lambda row: (row.build, row.operation)):
        assert row.started is not None
        assert past.start_moment(past.position(row.started)) == row.started, row
        if row.finished is None:
            # started this morning, at the opening, on an operation that takes no part
            assert row.started == datetime.combine(AS_OF, time(6))
            assert find(row.build).status == "firm"
            assert line_operations(product[row.build]).isdisjoint({row.operation})
            continue
        assert find(row.build).status == "done"
        route = [op for part, op in minutes if part == product[row.build]]
        later = min((op for op in route if op > row.operation), default=None)
        own = minutes[product[row.build], row.operation]
        own -= minutes[product[row.build], later] if later else 0
        assert past.position(row.finished) - past.position(row.started) == own, row
        assert last.get(row.build, row.started) <= row.started
        assert row.finished.date() < AS_OF
        last[row.build] = row.finished


def line_operations(product: str) -> set[int]:
    lines = [row for row in demo().bills if row.parent == product]
    return {line_operation(product, row.component) for row in lines}


def test_the_work_fits_the_stations_and_the_test_bay_is_tightest() -> None:
    """Minutes of all firm builds against minutes of ten weeks; made parts count, stock does not."""
    need: dict[str, Fraction] = defaultdict(Fraction)
    for build in firm():
        for part, units in {build.product: Fraction(1), **calls_for(build)}.items():
            for step in demo().routings:
                if step.part == part:
                    minutes = step.setup_milli + step.minutes_milli * units
                    need[step.work_centre] += minutes * step.stations / 1000
    centres = demo().work_centres
    week_ten = axis().opening(date(2026, 11, 21))
    assert week_ten == 48 * 480  # 50 weekdays less 12 October and 11 November, 8 hours each
    share = {w.work_centre: need[w.work_centre] / (week_ten * w.stations) for w in centres}
    whole = sum(need.values()) / (week_ten * sum(w.stations for w in centres))
    assert max(share, key=lambda centre: share[centre]) == "TEST"
    assert Fraction(60, 100) <= whole <= Fraction(85, 100)
    assert all(value <= Fraction(85, 100) for value in share.values())


# -- shipping and suppliers ---------------------------------------------------------------------


def test_any_customer_is_reached_in_two_days_from_some_point() -> None:
    nearest: dict[str, int] = {}
    for row in demo().deliveries:
        nearest[row.destination] = min(row.days, nearest.get(row.destination, row.days))
    assert len([place for place in nearest if place.startswith("US-")]) == 49  # 48 states and DC
    assert max(nearest.values()) == 2


def test_every_order_and_build_has_a_way_from_every_point() -> None:
    destinations = {
        *(row.destination for row in demo().parts_orders),
        *(row.destination for row in demo().builds if row.destination),
    }
    assert len(destinations) >= 10
    for destination in destinations:
        assert all(way(row.point, destination) for row in demo().points), destination


def test_every_build_and_parts_order_can_be_filled() -> None:
    assert len(demo().parts_orders) >= 30
    settings = parse_settings(demo().settings, AS_OF)
    assert stranded(demo(), settings) == ()
    # the same with no point delivering anywhere: then nothing of the parts orders can be sent
    nowhere = stranded(replace(demo(), deliveries=()), settings)
    assert {row.key for row in nowhere} == {f"{r.order}/{r.line}" for r in demo().parts_orders}


def test_the_engine_supplier_slips_more_in_the_last_six_months() -> None:
    turn = date(2026, 3, 14)
    slips: dict[bool, list[int]] = {True: [], False: []}
    for row in demo().receipts:
        if row.supplier == "LARKBENCH" and row.part.startswith("ENG-"):
            assert row.due is not None
            slips[row.received > turn].append((row.received - row.due).days)
    assert min(len(days) for days in slips.values()) >= 15
    mean = {late: Fraction(sum(days), len(days)) for late, days in slips.items()}
    assert mean[True] - mean[False] >= 7


def test_ratings_bear_out_which_engines_may_replace_which() -> None:
    """hp = gpm x psi / 1714 / efficiency: 21 x 725 / 1714 / 0.85 = 10.4; 15 x 580 gives 6.0."""
    rate = {(r.part, r.rating): Fraction(r.value_micro, 1_000_000) for r in demo().ratings}

    def takes(pump: str) -> Fraction:
        work = rate[pump, "flow"] * rate[pump, "pressure"] / 1714
        return work / rate[pump, "efficiency"]

    assert Fraction("10.4") < takes("PMP-D21") < Fraction("10.5")
    assert Fraction("5.9") < takes("PMP-D15") < Fraction("6.0")
    small, large = rate["ENG-008G", "shaft_power"], rate["ENG-013G", "shaft_power"]
    assert takes("PMP-D15") < small < takes("PMP-D21") < large
    approved = {(row.part, row.alternate): row.approved for row in demo().alternates}
    assert approved["ENG-008G", "ENG-013G"]
    assert not approved["ENG-013G", "ENG-008G"]
    # every other pump is within its engine too
    for pump, engine in (("PE-3", "ENG-013G"), ("PE-4", "ENG-033D"), ("PE-6", "ENG-070D")):
        assert takes(pump) < rate[engine, "shaft_power"]
    for alternator, engine in (("08", "014D"), ("20", "033D"), ("45", "070D")):
        assert rate[f"ALT-{alternator}", "input_power"] < rate[f"ENG-{engine}", "shaft_power"]


def test_engines_batteries_tanks_and_crates_carry_a_caution() -> None:
    cautions = {row.part: row.caution for row in demo().parts}
    heavy = [row.part for row in demo().parts if (row.weight_g or 0) >= 100_000]
    engines = [row.part for row in demo().parts if row.family == "engine"]
    for part in [*engines, "BAT-100", "BAT-LFP", "TANK-110", "TANK-240"]:
        assert cautions[part], part
    assert [part for part in heavy if not cautions[part]] == []
    assert all("\n" not in text for text in cautions.values() if text)

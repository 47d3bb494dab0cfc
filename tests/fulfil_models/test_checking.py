"""Checks across tables: warnings each in their place, errors that list every offender, and
nothing found where nothing is wrong. (Errors that files can hold are in test_bad_input.)"""
# a case reads best as what is done and, on the same line or the next, what must be found

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from datetime import date

import pytest
from fulfil_models.checking import CHECKS, REACH_CHECKS, check
from fulfil_models.findings import Finding, Severity
from fulfil_models.reading import Origins
from fulfil_models.tables import BillLine, Dataset, Part, Stock
from small_data import TODAY, Tables, dataset_of, findings_of, good, put


@dataclass(frozen=True)
class Warned:
    """Tables with one oddity, and the warning it must bring."""

    name: str
    tables: Tables
    code: str
    file: str
    row: int | None
    column: str | None
    words: tuple[str, ...] = ()


def edited(*edits: tuple[str, int, str, str]) -> Tables:
    tables = good()
    for table, row, column, value in edits:
        tables = put(tables, table, row, column, value)
    return tables


def added(table: str, *rows: str) -> Tables:
    tables = good()
    tables[table] += [row.split("|") for row in rows]
    return tables


def warned(
    name: str, table: str, row: int, column: str, value: str, code: str, *words: str
) -> Warned:
    return Warned(name, edited((table, row, column, value)), code, table, row, column, words)


def without_bill_of(part: str) -> Tables:
    tables = good()
    tables["bills"] = [row for row in tables["bills"] if row[0] != part]
    tables["build_options"] = tables["build_options"][:1]
    return tables


def forecast_of_a_kit() -> Tables:
    """Of a mast that is made of nothing any more."""
    tables = without_bill_of("MAST")
    tables["demand"] += [["MAST", "2026-06", "1"], ["MAST", "2026-07", "1"]]
    return tables


WARNINGS = [
    # 2026-03-02 is 31 days after 2026-01-30; due again 7 days after the planning date
    warned("purchase past due", "purchases", 2, "due", "2026-01-30",
        "past-due", "31 days past", "2026-03-09"),
    Warned("purchases not confirmed", edited(("purchases", 2, "confirmed", "no")),
        "unconfirmed", "purchases", None, None, ("1 line is not",)),
    warned("ordered from the future", "purchases", 2, "ordered", "2026-03-03",
        "in-the-future", "2026-03-02"),
    Warned("receipt of an order of the future",
        edited(("receipts", 2, "ordered", "2026-03-03"), ("receipts", 2, "due", "2026-03-04"),
            ("receipts", 2, "received", "2026-03-05")),
        "in-the-future", "receipts", 2, "ordered", ("no lead time",)),
    warned("receipt from the future", "receipts", 2, "received", "2026-03-03", "in-the-future"),
    warned("receipt due before it was ordered", "receipts", 2, "due", "2025-08-31",
        "due-before-ordered"),
    warned("cut-off before opening", "points", 2, "cutoff", "07:00",
        "cutoff-outside-hours", "07:00 to 15:30"),
    warned("cut-off after closing", "points", 2, "cutoff", "15:31", "cutoff-outside-hours"),
    warned("cut-off outside standard hours", "points", 3, "cutoff", "17:00",
        "cutoff-outside-hours", "08:00 to 16:30"),
    warned("odd region", "points", 2, "region", "Idaho", "odd-region"),
    warned("family of no part", "region_rules", 2, "family", "towers", "unknown-family", "tower"),
    # multiples of 10 cannot be ordered under a cap of 9
    warned("cap below every order", "sources", 3, "monthly_cap", "9",
        "cannot-order", "multiple 10"),
    warned("expedited into the past", "sources", 2, "expedite_days", "91",
        "expedite-over-lead", "90"),
    warned("lead time beyond the horizon", "sources", 3, "lead_days", "731",
        "beyond-horizon", "730"),
    # 4 may come a month
    Warned("cap below the minimum", edited(("sources", 2, "minimum", "5")),
        "cannot-order", "sources", 2, "monthly_cap", ("minimum 5",)),
    warned("dearer by the dozen", "price_breaks", 3, "price", "41", "price-rises", "40"),
    warned("dearer by ten than the source is", "price_breaks", 2, "price", "40.5", "price-rises",
        "above the 40 in sources"),
    Warned("price breaks out of order",
        edited(("price_breaks", 2, "from_quantity", "60"), ("price_breaks", 2, "price", "39")),
        "price-rises", "price_breaks", 2, "price", ("the 36 of the smaller quantity 50",)),
    Warned("price of nobody's", added("price_breaks", "FILTER|S1|0|8", "ENGINE2|S1|0|8"),
        "no-source", "price_breaks", 5, "supplier", ("ENGINE2",)),
    warned("two units of a rating", "ratings", 3, "unit", "kW", "mixed-units", "hp in row 2"),
    warned("more than one each", "take_rates", 2, "rate", "1.5", "rate-above-one", "FILTER"),
    Warned("forecast without a bill", forecast_of_a_kit(), "no-bill", "demand", 3, "part",
        ("MAST",)),
    Warned("forecast of the past", edited(("demand", 2, "month", "2026-02")),
        "past-forecast", "demand", None, None, ("2026-02",)),
    warned("promised before it was ordered", "builds", 3, "promised", "2026-02-15",
        "promised-before-ordered"),
    warned("order promised before it was placed", "parts_orders", 3, "promised", "2026-02-26",
        "promised-before-ordered"),
    warned("promised beyond the horizon", "builds", 3, "promised", "2028-03-02",
        "beyond-horizon", "2028-03-01"),
    warned("work in the future", "progress", 2, "finished", "2026-03-03T07:00", "in-the-future"),
    Warned("row without progress",
        edited(("progress", 2, "started", ""), ("progress", 2, "finished", "")),
        "no-progress", "progress", 2, "started"),
    Warned("later work first", added("progress", "K2|20|2026-02-27T07:00|"),
        "out-of-order", "progress", 3, "operation", ("operation 10",)),
    Warned("build without a bill", without_bill_of("TOWER"), "no-bill", "builds", 2, "product"),
    Warned("unused part", added("parts", "SPARE||||1|"),
        "unused-part", "parts", None, None, ("1 part", "SPARE")),
]  # fmt: skip


@pytest.mark.parametrize("case", WARNINGS, ids=lambda case: case.name)
def test_an_oddity_is_warned_of_in_its_place(case: Warned) -> None:
    findings = findings_of(case.tables)
    assert not [finding for finding in findings if finding.is_error]
    about = [finding for finding in findings if finding.code == case.code]
    assert [(f.file, f.row, f.column) for f in about][:1] == [(case.file, case.row, case.column)]
    assert all(word in about[0].text() for word in case.words), about[0].text()


def test_nothing_is_found_where_nothing_is_wrong() -> None:
    assert findings_of(good()) == []


LIMITS = [
    ("cut-off at closing", edited(("points", 2, "cutoff", "15:30"))),
    ("all that is on the shelf is held", edited(("stock", 2, "held", "20"))),
    ("option that removes exactly what there is", good()),
    ("cap of one order", edited(("sources", 3, "monthly_cap", "10"))),
    ("due on the planning date", edited(("purchases", 2, "due", "2026-03-02"))),
    ("due on the last day of the horizon", edited(("purchases", 2, "due", "2028-03-01"))),
    ("shift right after another", edited(("shifts", 3, "opens", "11:00"))),
    ("all stations out at once", edited(("downtime", 2, "stations", "2"))),
    ("lead time of the whole horizon", edited(("sources", 3, "lead_days", "730"))),
    ("cancelled build at a point without work", edited(("builds", 4, "point", "B"))),
    ("calendar by its shifts alone", {k: v for k, v in good().items() if k != "calendars"}),
    ("suppliers by their purchases alone", {k: v for k, v in good().items() if k != "suppliers"}),
    ("bill quantity below the step", edited(("bills", 2, "quantity", "0.3"))),
]


@pytest.mark.parametrize(("name", "tables"), LIMITS, ids=[name for name, _ in LIMITS])
def test_what_is_just_right_is_not_complained_of(name: str, tables: Tables) -> None:
    assert [finding.text() for finding in findings_of(tables)] == []


def test_every_offender_is_listed() -> None:
    tables = edited(
        ("stock", 2, "part", "LAMPE"), ("stock", 3, "part", "MOTOR"), ("bills", 5, "parent", "X")
    )
    assert {(f.file, f.row, f.value) for f in findings_of(tables) if f.is_error} == {
        ("stock", 2, "LAMPE"),
        ("stock", 3, "MOTOR"),
        ("bills", 5, "X"),
    }


def test_two_separate_circles_are_two_findings_and_members_are_in_order() -> None:
    tables = added("bills", "ENGINE|CABLE|1||||", "CABLE|FILTER|1||||", "FILTER|ENGINE|1||||")
    tables["bills"].append(["LAMP", "LAMP", "1", "", "", "", ""])
    cycles = [f.wrong for f in findings_of(tables) if f.code == "bill-cycle"]
    assert sorted(cycles) == [
        "makes CABLE contain itself: CABLE > FILTER > ENGINE > CABLE",
        "makes LAMP contain itself: LAMP > LAMP",
    ]


def test_two_ways_round_are_one_finding_that_names_all() -> None:
    tables = added("bills", "CABLE|LAMP|1||||", "LAMP|CABLE|1||||", "LAMP|ENGINE|1||||")
    tables["bills"].append(["ENGINE", "CABLE", "1", "", "", "", ""])
    (cycle,) = [f for f in findings_of(tables) if f.code == "bill-cycle"]
    assert "CABLE > LAMP > CABLE" in cycle.wrong
    assert "ENGINE" in cycle.wrong


def test_what_follows_from_a_broken_cell_is_not_reported() -> None:
    """Each of these cells is what another row is measured against."""
    for table, row, column in [
        ("work_centres", 2, "stations"),  # the tower takes both, and downtime one
        ("parts", 6, "step"),  # half a metre of cable
        ("routings", 2, "operation"),  # bills, options and progress name it
        ("bills", 4, "quantity"),  # an option takes away 2.4
        ("shifts", 4, "closes"),  # opening hours
        ("builds", 2, "ordered"),
        ("settings", 2, "value"),
    ]:
        findings = findings_of(edited((table, row, column, "?")))
        errors = [(f.file, f.row, f.column) for f in findings if f.is_error]
        assert errors == [(table, row, column)], findings


def test_the_planning_date_is_that_of_the_caller_unless_it_is_set() -> None:
    tables = good()
    tables["settings"] = tables["settings"][:1]
    assert [f.code for f in findings_of(tables, date(2026, 4, 2))] == ["past-due"]
    assert findings_of(tables, date(2026, 4, 1)) == []
    assert findings_of(good(), date(2026, 4, 2)) == []


def test_longer_than_the_horizon_counts_the_largest_job() -> None:
    """A mast of 60 minutes takes long if a tower takes 8,000 of them.

    The plant works 8 h on Mondays and 8.5 h on Tuesdays and Wednesdays, 25 h a week; 730 days from
    Monday 2026-03-02 are 104 weeks and 2 days, a Monday and a Tuesday: 104 x 25 + 16.5 = 2616.5 h
    at most, 156,990 minutes. 2,616 masts take 156,960 minutes if no holiday comes in the way,
    8,000 take 480,000.
    """
    few = edited(("bills", 2, "quantity", "2000"))
    assert [f.code for f in findings_of(few)] == []
    many = edited(("bills", 2, "quantity", "8000"))
    (finding,) = findings_of(many)
    assert (finding.code, finding.file, finding.row) == ("longer-than-horizon", "routings", 4)
    assert "a job of 8000 take 480000 minutes" in finding.wrong


def test_more_units_than_solvers_can_tell_apart_are_refused_where_they_first_come() -> None:
    """A mast has four lamps: 250,000,000 masts of a tower have 1,000,000,000, which is the most."""
    most = findings_of(edited(("bills", 2, "quantity", "250000000")))
    assert "too-many-units" not in {f.code for f in most}
    more = findings_of(edited(("bills", 2, "quantity", "250000001")))
    (finding,) = [f for f in more if f.code == "too-many-units"]
    assert (finding.file, finding.row, finding.column) == ("bills", 5, "quantity")
    assert "one job call for 1000000004 of LAMP" in finding.wrong


def test_holidays_and_closures_can_close_a_point_for_good() -> None:
    tables = edited(("settings", 3, "key", "horizon_days"), ("settings", 3, "value", "3"))
    tables["closures"] += [["plant", f"2026-03-0{day}", ""] for day in (2, 3, 4)]
    # Some dates now lie beyond so short a horizon, too; here only the hours matter.
    (finding,) = [f for f in findings_of(tables) if f.code == "no-opening-hours"]
    assert (finding.file, finding.row, finding.value) == ("points", 2, "plant")
    assert "2026-03-02 to 2026-03-05" in finding.wrong


def test_a_data_set_from_no_file_counts_its_rows_from_one() -> None:
    dataset = dataset_of(good())
    bad = replace(dataset, stock=(replace(dataset.stock[0], held_milli=21_000),))
    (finding,) = [f for f in check(bad, Origins(), TODAY) if f.is_error]
    assert finding == Finding(
        Severity.ERROR,
        "held-over-quantity",
        "stock",
        1,
        "held",
        "21",
        "is more than the 20 on the shelf",
        "write at most the quantity",
    )


def test_every_check_says_what_it_checks() -> None:
    assert CHECKS
    assert REACH_CHECKS
    assert [check for check in (*CHECKS, *REACH_CHECKS) if not check.__doc__] == []


def big(parts: int) -> Dataset:
    """A chain of bills with `parts` levels beside as many bought parts on the shelf."""
    base = dataset_of(good())
    made = tuple(Part(part=f"M{n}", make=True) for n in range(parts))
    bought = tuple(Part(part=f"P{n}") for n in range(parts))
    bills = tuple(
        BillLine(parent=f"M{n}", component=component, quantity_milli=1_000)
        for n in range(parts)
        for component in (f"P{n}", f"M{n + 1}")
        if component != f"M{parts}"
    )
    stock = tuple(Stock(point="A", part=f"P{n}", quantity_milli=10**9) for n in range(parts))
    top = BillLine(parent="TOWER", component="M0", quantity_milli=1_000)
    return replace(
        base,
        parts=base.parts + made + bought,
        bills=(*base.bills, top, *bills),
        stock=base.stock + stock,
    )


def test_time_grows_like_the_rows() -> None:
    """Ten times the rows take about ten times as long on the processor, where a check that compares
    every row with every other takes a hundred times; the best of three tries each."""
    seconds = []
    for parts in (1_000, 10_000):
        dataset = big(parts)
        tries = []
        for _ in range(3):
            begin = time.process_time()
            assert check(dataset, Origins(), TODAY) == []
            tries.append(time.process_time() - begin)
        seconds.append(min(tries))
    assert seconds[1] < 30 * seconds[0]

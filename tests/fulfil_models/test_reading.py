"""Tables of text to rows: headings, cells, keys, and where each fault is."""

from __future__ import annotations

from datetime import date

from fulfil_models.cells import CellError
from fulfil_models.findings import Finding, Severity, did_you_mean, listed, nearest
from fulfil_models.reading import RawTables, read_tables
from fulfil_models.reading_table import RawTable
from fulfil_models.tables import BillLine, Lane, Part, Stock
from small_data import Tables, dataset_of, good, put, raw_tables


def places(tables: Tables) -> list[tuple[str, str, int | None, str | None]]:
    return [(f.code, f.file, f.row, f.column) for f in read_tables(raw_tables(tables)).findings]


def test_cells_become_rows_with_their_defaults() -> None:
    dataset = dataset_of(good())
    assert dataset.bills[2] == BillLine(
        parent="TOWER",
        component="CABLE",
        quantity_milli=2_400,
        scrap_ppm=50_000,
        operation=20,
        starts=date(2025, 1, 1),
        ends=date(2027, 12, 31),
    )
    assert dataset.parts[4] == Part(
        part="CABLE",
        description="cable, m",
        family="cable",
        unit="ea",
        step_milli=500,
        make=False,
        weight_g=200,
    )
    assert dataset.stock[1] == Stock(point="B", part="ENGINE2", quantity_milli=1_000, held_milli=0)
    assert dataset.lanes == (
        Lane(
            origin="B",
            destination="A",
            days=3,
            weekdays=("Tue", "Fri"),
            cost_per_move_micro=150_000_000,
        ),
    )


def test_blanks_around_cells_and_headings_and_blank_rows_do_not_count() -> None:
    tables = good()
    tables["stock"] = [
        [" point", "part ", "quantity", "held", "counted_on", "", ""],
        [" A ", "LAMP", " 20 ", "2", "2026-02-27", "", ""],
        ["", " ", "", "", "", "", ""],
        ["B", "ENGINE2", "1", "", "", "", ""],
    ]
    reading = read_tables(raw_tables(tables))
    assert reading.findings == ()
    assert reading.dataset == dataset_of(good())
    assert reading.origins.rows["stock"] == [2, 4]


def test_columns_may_stand_in_any_order() -> None:
    tables = good()
    tables["bills"] = [row[::-1] for row in tables["bills"]]
    assert dataset_of(tables) == dataset_of(good())


def test_a_missing_table_names_what_it_needs() -> None:
    reading = read_tables(RawTables("empty"))
    assert {f.code for f in reading.findings} == {"missing-table"}
    needed = {f.value for f in reading.findings}
    assert needed == {"points", "parts", "bills", "stock", "work_centres", "routings", "builds"}
    assert reading.origins.unreadable == needed


def test_every_bad_cell_of_a_row_is_found_and_the_row_is_kept() -> None:
    tables = put(put(good(), "stock", 2, "quantity", "many"), "stock", 2, "counted_on", "today")
    reading = read_tables(raw_tables(tables))
    assert [(f.code, f.row, f.column, f.value) for f in reading.findings] == [
        ("bad-number", 2, "quantity", "many"),
        ("bad-date", 2, "counted_on", "today"),
    ]
    assert [row.part for row in reading.dataset.stock] == ["LAMP", "ENGINE2"]
    assert reading.origins.broken["stock"] == {0: {"quantity_milli", "counted_on"}}


def test_a_bad_name_keeps_its_text_so_that_others_find_it() -> None:
    long = "L" * 70
    tables = put(good(), "parts", 7, "part", long)
    assert read_tables(raw_tables(tables)).dataset.parts[5].part == long


def test_a_row_whose_key_is_bad_repeats_no_other() -> None:
    # Two routing rows of the tower whose operations cannot be read are two faults, not three.
    tables = put(put(good(), "routings", 2, "operation", "x"), "routings", 3, "operation", "y")
    assert places(tables) == [
        ("bad-number", "routings", 2, "operation"),
        ("bad-number", "routings", 3, "operation"),
    ]


def test_of_rows_with_one_key_the_first_is_kept() -> None:
    tables = good()
    tables["stock"].append(["A", "LAMP", "99", "", ""])
    tables["stock"].append(["A", "LAMP", "98", "", ""])
    reading = read_tables(raw_tables(tables))
    assert [(f.code, f.row, f.column, f.value) for f in reading.findings] == [
        ("duplicate-key", 4, "point, part", "A, LAMP"),
        ("duplicate-key", 5, "point, part", "A, LAMP"),
    ]
    assert all("row 2" in f.wrong for f in reading.findings)
    assert reading.dataset == dataset_of(good())


def test_bill_lines_may_repeat_but_the_same_line_twice_is_said_so() -> None:
    tables = good()
    tables["bills"].append(["MAST", "LAMP", "2", "", "", "", ""])
    assert places(tables) == []
    tables["bills"].append(["MAST", "LAMP", "4", "", "", "", ""])
    reading = read_tables(raw_tables(tables))
    assert [(f.severity, f.code, f.row) for f in reading.findings] == [
        (Severity.WARNING, "duplicate-row", 7)
    ]
    assert len(reading.dataset.bills) == 6


def test_a_row_of_the_wrong_width_is_reported_once_and_blamed_for_nothing_else() -> None:
    tables = good()
    tables["stock"][1] = ["A", "LAMP", "20", "2", "2026-02-27", "what", "else"]
    tables["parts"][6] = ["LAMP", "lamp"]
    reading = read_tables(raw_tables(tables))
    assert sorted((f.code, f.row) for f in reading.findings) == [
        ("too-few-cells", 7),
        ("too-many-cells", 2),
    ]
    assert {row.part for row in reading.dataset.parts} >= {"LAMP"}


def test_cells_that_the_form_could_not_deliver_are_reported_by_its_words() -> None:
    heading = tuple(good()["suppliers"][0])
    error = CellError("is an error", "mend it", "error-cell")
    table = RawTable("suppliers", "s", heading, [(2, ["S1", "#N/A"]), (3, ["S2", ""])])
    marked = RawTable("suppliers", "s", heading, table.rows, 1, {(2, 1): error, (3, 1): None})
    findings = read_tables(RawTables("x", (marked,))).findings
    assert [(f.code, f.row, f.column, f.value) for f in findings if f.file == "s"] == [
        ("error-cell", 2, "name", "#N/A")
    ]


def test_a_finding_is_one_line_with_its_place_first() -> None:
    finding = Finding(
        Severity.ERROR, "bad-text", "parts.csv", 12, "caution", "a\nb", "is wrong", "mend it"
    )
    assert finding.text() == (
        'error: parts.csv, row 12, column caution: "a\\nb" is wrong; mend it [bad-text]'
    )
    whole = Finding(Severity.WARNING, "x", "parts.csv", None, None, "v" * 99, "is long", "cut it")
    assert whole.text() == f'warning: parts.csv: "{"v" * 57}..." is long; cut it [x]'


def test_near_names_are_found_whatever_their_capitals() -> None:
    known = ["ENGINE", "ENGINE2", "LAMP"]
    assert did_you_mean("engin", known) == "did you mean ENGINE or ENGINE2?"
    assert did_you_mean("zzz", known) == ""


def test_slips_are_seen_before_names_that_are_alike_on_the_whole() -> None:
    builds = [f"B-{number}" for number in range(2101, 2160)]
    # letter and digit, a separator left out, capitals: it can be no other
    for slip in ("B-21O5", "B2105", "b_2105", "B-2IO5"):
        assert nearest(slip, builds) == ["B-2105"]
    # two that changed places come before one that is wrong
    assert nearest("B-1205", builds)[0] == "B-2105"
    assert nearest("B-205", builds)[0] == "B-2105"
    assert nearest("B-21055", builds)[0] == "B-2105"
    assert nearest("B-9999", builds) == []
    # of two characters one is too much to guess
    assert nearest("S2", ["S1"]) == []
    assert nearest("Notes", ["lanes", "stock"]) == []


def test_long_lists_say_how_many_more() -> None:
    assert listed("abc") == "a, b, c"
    assert listed("abcde", 3) == "a, b, c and 2 more"

"""Bad input: each case breaks one thing in a data set without fault and asks for one finding,
in its place, and for no other error."""
# a case reads best as what is done and, on the same line or the next, what must be found

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import pytest
from faults import (
    BOOK,
    FOLDER,
    OLE,
    Bad,
    both,
    bytes_as,
    cell,
    cell_xml,
    empty_folder,
    excel_date_with_time,
    many_parts,
    merged,
    only_lane_away_gone,
    other_file,
    out_of_reach,
    raw,
    sheet_xml,
    shortened,
    swap,
    with_rows,
    with_table,
    without_column,
    without_supply_of_lamps,
    without_table,
    zip_bomb,
)
from small_data import TODAY, good, put, write_csv, write_xlsx

from fulfil.exchange import load_rows

IDLE = [["calendar", "holidays"], ["plant", "US"], ["idle", ""]]
FAR_AWAY = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
ENTITY = b'<!DOCTYPE w [<!ENTITY a "b">]>'

# fmt: off
CASES: list[Bad] = [
    # tables and columns
    *both("missing table", without_table("builds"), "missing-table", None, None, None, "builds"),
    *both("missing column", without_column("bills", "quantity"),
        "missing-column", "bills", 1, "quantity"),
    *both("missing key column", without_column("parts", "part"),
        "missing-column", "parts", 1, "part"),
    *both("unknown table", with_table("prts", [["a"], ["1"]]),
        "unknown-table", "prts", None, None, "parts", severity="warning"),
    *both("unknown column", put(good(), "bills", 1, "starts", "strts"),
        "unknown-column", "bills", 1, "strts", "starts", severity="warning"),
    *both("column twice", put(good(), "parts", 1, "family", "description"),
        "duplicate-column", "parts", 1, "description"),
    *both("column without heading", put(good(), "parts", 1, "family", ""),
        "blank-heading", "parts", 1, None, "column 3"),
    *both("file with no heading", with_table("demand", []), "empty-file", "demand"),
    # names
    *cell("unknown part", "bills", 3, "component", "ENGIN", "unknown-part", "ENGINE"),
    *cell("unknown part in stock", "stock", 2, "part", "LAMPS", "unknown-part", "LAMP"),
    *cell("forecast of an unknown part", "demand", 2, "part", "TOWERS", "unknown-part", "TOWER"),
    *cell("share of an unknown product", "take_rates", 2, "product", "TOWERS", "unknown-part",
        "TOWER"),
    *cell("share with an unknown component", "take_rates", 2, "component", "FILTERS",
        "unknown-part", "FILTER"),
    *cell("unknown point", "stock", 3, "point", "C", "unknown-point"),
    *cell("unknown work centre", "routings", 4, "work_centre", "BAYS",
        "unknown-work-centre", "BAY"),
    *cell("unknown calendar", "points", 2, "calendar", "plants", "unknown-calendar", "plant"),
    *cell("unknown supplier", "purchases", 2, "supplier", "S2", "unknown-supplier"),
    *cell("unknown build", "progress", 2, "build", "K8", "unknown-build"),
    *cell("unknown time zone", "points", 2, "timezone", "America/Bosie",
        "unknown-timezone", "America/Boise"),
    *cell("unknown holidays", "calendars", 2, "holidays", "US-IDA", "unknown-holidays"),
    *cell("unknown status", "builds", 2, "status", "frim", "unknown-status", "firm"),
    *cell("identifier too long", "delivered", 2, "order", "K" * 65, "bad-identifier", "65"),
    *cell("tab in an identifier", "delivered", 2, "order", "K\t9", "bad-identifier"),
    # bills
    *both("bill that contains itself", with_rows("bills", ["MAST", "TOWER", "1"]),
        "bill-cycle", "bills", 6, "component", "MAST > TOWER > MAST"),
    *both("part that contains itself", with_rows("bills", ["MAST", "MAST", "1"]),
        "bill-cycle", "bills", 6, "component", "MAST > MAST"),
    *both("option that closes a circle", with_rows("build_options", ["K2", "TOWER", "1"]),
        "bill-cycle", "build_options", 4, "component", "TOWER > TOWER"),
    *both("share of a product in itself", put(good(), "take_rates", 2, "component", "TOWER"),
        "rate-cycle", "take_rates", 2, "component", "TOWER > TOWER", "remove"),
    *both("share that closes a circle", with_rows("take_rates", ["MAST", "TOWER", "0.1"]),
        "rate-cycle", "take_rates", 3, "component", "MAST > TOWER > MAST"),
    *cell("bill line at an unknown operation", "bills", 2, "operation", "15",
        "unknown-operation", "10, 20"),
    *cell("option at an unknown operation", "build_options", 3, "operation", "30",
        "unknown-operation"),
    *cell("progress of an unknown operation", "progress", 2, "operation", "11",
        "unknown-operation"),
    *cell("option that removes too much", "build_options", 2, "quantity", "-2.5",
        "removes-too-much", "2.4"),
    *both("duplicate key", with_rows("parts", ["LAMP"]),
        "duplicate-key", "parts", 9, "part", "row 7"),
    *both("duplicate key of two columns", with_rows("stock", ["A", "LAMP", "1"]),
        "duplicate-key", "stock", 4, "point, part", "row 2"),
    *both("price from one quantity twice", put(good(), "price_breaks", 3, "from_quantity", "10.0"),
        "duplicate-key", "price_breaks", 3, "part, supplier, from_quantity", "row 2"),
    # numbers
    *cell("negative quantity", "stock", 2, "quantity", "-20", "out-of-range"),
    *cell("zero quantity", "bills", 2, "quantity", "0", "out-of-range", "above 0"),
    *cell("quantity in words", "purchases", 2, "quantity", "two", "bad-number"),
    *cell("decimal comma", "bills", 4, "quantity", "1,5", "bad-number", "comma"),
    *cell("exponent", "bills", 4, "quantity", "1e3", "bad-number", "exponent"),
    *cell("infinite quantity", "bills", 4, "quantity", "inf", "bad-number"),
    *cell("four decimals", "bills", 4, "quantity", "1.0005", "bad-number", "3 decimal places"),
    *cell("number too large", "stock", 2, "quantity", "1000000000000", "bad-number", "too large"),
    *cell("fraction of a day", "sources", 2, "lead_days", "1.5", "bad-number", "whole number"),
    *cell("all is scrap", "bills", 4, "scrap", "1", "out-of-range", "below 1"),
    *cell("negative forecast", "demand", 2, "quantity", "-3", "out-of-range"),
    *cell("negative share of builds", "take_rates", 2, "rate", "-0.4", "out-of-range"),
    *cell("share of builds in words", "take_rates", 2, "rate", "some", "bad-number"),
    *cell("negative hold", "stock", 2, "held", "-1", "out-of-range"),
    *cell("empty quantity", "purchases", 2, "quantity", "", "empty"),
    *cell("empty name", "work_centres", 3, "point", "", "empty"),
    *cell("stock below the step", "stock", 2, "quantity", "20.5", "below-step", "step of LAMP"),
    *cell("purchase below the step", "purchases", 2, "quantity", "2.5", "below-step"),
    *cell("order below the step", "parts_orders", 2, "quantity", "0.5", "below-step"),
    *cell("multiple below the step", "sources", 4, "multiple", "0.25", "below-step", "0.5"),
    *cell("more held than there is", "stock", 2, "held", "21", "held-over-quantity"),
    *cell("neither yes nor no", "parts", 2, "make", "maybe", "bad-yes-no"),
    # dates and times
    *cell("bad date", "builds", 2, "ordered", "02/02/2026", "bad-date", "YYYY-MM-DD"),
    *cell("impossible date", "builds", 2, "ordered", "2026-02-30", "bad-date", "calendar"),
    *cell("year of a slip", "builds", 2, "ordered", "0206-02-02", "bad-date", "years"),
    *cell("bad moment", "downtime", 2, "starts", "2026-03-16 07:00", "bad-datetime"),
    *cell("promise that is no date", "builds", 2, "promised", "soon", "bad-moment"),
    *cell("bad time of day", "shifts", 2, "opens", "7h00", "bad-time"),
    *cell("time after midnight", "shifts", 5, "closes", "24:30", "bad-time"),
    *cell("bad weekday", "shifts", 5, "weekday", "Mittwoch", "bad-weekday"),
    *cell("bad departure days", "lanes", 2, "weekdays", "Tue,Fry", "bad-weekdays"),
    *cell("bad month", "demand", 2, "month", "2026-13", "bad-month"),
    *cell("shift that ends before it begins", "shifts", 5, "closes", "06:00",
        "closes-before-opening"),
    *cell("overlapping shifts", "shifts", 3, "opens", "10:30", "overlapping-shifts", "row 2"),
    *both("point without opening hours",
        put(with_table("calendars", IDLE), "points", 3, "calendar", "idle"),
        "no-opening-hours", "points", 3, "calendar", "no shifts"),
    *cell("downtime that ends before it begins", "downtime", 2, "ends", "2026-03-16T07:00",
        "ends-before-start"),
    *cell("downtime of more stations than there are", "downtime", 2, "stations", "3",
        "too-many-stations"),
    *cell("due before it was ordered", "purchases", 2, "due", "2026-01-04", "due-before-ordered"),
    *cell("due after the horizon", "purchases", 2, "due", "2062-04-01", "beyond-horizon"),
    *cell("received before it was ordered", "receipts", 2, "received", "2025-08-31",
        "received-before-ordered"),
    *cell("earliest after the horizon", "builds", 3, "earliest", "2029-01-01", "beyond-horizon"),
    *cell("finished before it was started", "progress", 2, "finished", "2026-02-24T12:00",
        "finished-before-start"),
    *both("finished and never started", put(good(), "progress", 2, "started", ""),
        "finished-without-start", "progress", 2, "started"),
    # settings
    *cell("bad planning date", "settings", 2, "value", "tomorrow", "bad-setting"),
    *cell("bad currency", "settings", 3, "value", "dollars", "bad-setting"),
    *both("negative cost of a late day", with_rows("settings", ["late_day_cost", "-1"]),
        "bad-setting", "settings", 4, "value"),
    *both("no horizon", with_rows("settings", ["horizon_days", "0"]),
        "bad-setting", "settings", 4, "value"),
    *both("negative freeze", with_rows("settings", ["freeze_days", "-1"]),
        "bad-setting", "settings", 4, "value"),
    *both("unknown setting", with_rows("settings", ["horizon", "90"]),
        "unknown-setting", "settings", 4, "key", "horizon_days", severity="warning"),
    # work
    *cell("operation longer than the horizon", "routings", 3, "minutes", "900000",
        "longer-than-horizon"),
    *cell("operation of more stations than there are", "routings", 2, "stations", "3",
        "too-many-stations", "2"),
    *cell("build at a point that assembles nothing", "builds", 2, "point", "B",
        "assembles-nothing", "A"),
    *both("build away from its work centres",
        put(with_rows("work_centres", ["SHED", "B"]), "builds", 2, "point", "B"),
        "assembled-elsewhere", "builds", 2, "point", "BAY, TEST"),
    *both("build of what is never assembled",
        put(put(good(), "builds", 4, "product", "LAMP"), "builds", 4, "status", "firm"),
        "no-routing", "builds", 4, "product"),
    # supply
    *cell("alternate of itself", "alternates", 2, "alternate", "ENGINE", "alternate-of-itself"),
    *cell("lane to where it starts", "lanes", 2, "destination", "B", "lane-to-itself"),
    *both("order no point delivers to", put(good(), "parts_orders", 2, "destination", "CA-ON"),
        "no-delivery", "parts_orders", 2, "destination", "no point"),
    *both("order without a way from where the part is", out_of_reach(),
        "no-delivery", "parts_orders", 3, "destination", "no lane"),
    *both("part that can never come", without_supply_of_lamps(),
        "never-comes", "parts", 7, "part", "build K2", severity="warning"),
    *both("no lane where one is needed", only_lane_away_gone(),
        "never-comes", "parts", 8, "part", "build K2", "no lane", severity="warning"),
    # CSV files
    Bad("cp1252", raw("suppliers", swap(b"First", "Zürich".encode("cp1252"))),
        "not-utf-8", "suppliers.csv", 2, None, ("cp1252", "Zürich", "iconv")),
    Bad("UTF-16", raw("suppliers", lambda data: data.decode().encode("utf-16")),
        "not-utf-8", "suppliers.csv", None, None, ("UTF-16",)),
    Bad("UTF-16 without mark", raw("suppliers", lambda data: data.decode().encode("utf-16-le")),
        "not-utf-8", "suppliers.csv"),
    Bad("NUL", raw("suppliers", swap(b"First", b"Fi\x00st")),
        "bad-text", "suppliers.csv", 2, "name"),
    Bad("empty file", raw("demand", lambda data: b""), "empty-file", "demand.csv"),
    Bad("file of blank lines", raw("demand", lambda data: b"\r\n ,\r\n"),
        "empty-file", "demand.csv"),
    Bad("semicolons", raw("parts", lambda data: data.replace(b",", b";")),
        "wrong-delimiter", "parts.csv", 1, None, ("semicolons",)),
    Bad("tabs", raw("parts", lambda data: data.replace(b",", b"\t")),
        "wrong-delimiter", "parts.csv", 1, None, ("tabs",)),
    Bad("separator line", raw("parts", lambda data: b"sep=,\r\n" + data),
        "separator-line", "parts.csv", 1, None, ("remove the line",)),
    Bad("too many cells", raw("demand", swap(b"2026-06,3", b"2026-06,3,4")),
        "too-many-cells", "demand.csv", 2),
    Bad("too few cells", raw("demand", swap(b"2026-06,3", b"2026-06")),
        "too-few-cells", "demand.csv", 2),
    Bad("quotation mark in a cell", raw("closures", swap(b"summer", b'5" of rain')),
        "stray-quote", "closures.csv", 2),
    Bad("text after a quotation", raw("closures", swap(b"summer", b'"sum"mer')),
        "stray-quote", "closures.csv", 2),
    Bad("quotation without end", raw("parts", swap(b'"cable, m"', b'"cable, m')),
        "stray-quote", "parts.csv", 6, None, ("never closed",)),
    Bad("very long cell", raw("closures", swap(b"summer", b"x" * 200_000)),
        "too-long", "closures.csv", 2),
    Bad("long text", raw("closures", swap(b"summer", b"x" * 40_000)),
        "bad-text", "closures.csv", 2, "reason", ("40000",)),
    Bad("workbook named csv", other_file("demand.csv", b"PK\x03\x04rest"), "not-csv", "demand.csv"),
    Bad("table in another form", other_file("demand.tsv", b"part\tmonth"),
        "not-csv", "demand.tsv", severity="warning"),
    Bad("two files for a table", other_file("demand.CSV", b"part,month,quantity\r\n"),
        "duplicate-table", "demand.csv"),
    Bad("folder without tables", empty_folder, "no-tables", FOLDER),
    Bad("nothing there", lambda tmp: tmp / "gone", "no-such-path", "gone"),
    Bad("single table", lambda tmp: write_csv(tmp / FOLDER, good()) / "parts.csv",
        "not-a-data-set", "parts.csv"),
    # workbooks
    Bad("error cell in a number",
        sheet_xml("stock", cell_xml("C2", '<c r="C2" t="e"><v>#N/A</v></c>')),
        "error-cell", f"{BOOK}, sheet stock", 2, "quantity", ("#N/A",)),
    Bad("error cell in optional text",
        sheet_xml("suppliers", cell_xml("B2", '<c r="B2" t="e"><f>1/0</f><v>#DIV/0!</v></c>')),
        "error-cell", f"{BOOK}, sheet suppliers", 2, "name", ("#DIV/0!",)),
    Bad("formula that was never calculated",
        sheet_xml("stock", cell_xml("C2", '<c r="C2"><f>4*5</f></c>')),
        "formula-without-value", f"{BOOK}, sheet stock", 2, "quantity"),
    Bad("formula with an empty value element",
        sheet_xml("stock", cell_xml("D2", '<c r="D2"><f>1+1</f><v></v></c>')),
        "formula-without-value", f"{BOOK}, sheet stock", 2, "held"),
    Bad("merged cells", sheet_xml("shifts", merged("A2:A3")),
        "merged-cells", f"{BOOK}, sheet shifts", 2, "calendar", ("A2:A3",)),
    Bad("merged heading", sheet_xml("demand", merged("A1:B1")),
        "merged-cells", f"{BOOK}, sheet demand", 1, "part", ("A1:B1",)),
    Bad("time in a column of days", excel_date_with_time,
        "bad-date", f"{BOOK}, sheet builds", 2, "ordered", ("2026-02-02T09:30",)),
    Bad("cell far away", sheet_xml("demand", swap(b"</sheetData>", FAR_AWAY + b"</sheetData>")),
        "too-large", BOOK, None, None, ("XFD1048576",)),
    Bad("gigabyte when unpacked", bytes_as(BOOK, zip_bomb),
        "too-large", BOOK, None, None, ("1024 MiB",)),
    Bad("thousands of parts", bytes_as(BOOK, many_parts), "too-large", BOOK),
    Bad("part longer than declared", shortened, "not-a-workbook", BOOK),
    Bad("workbook cut short", bytes_as(BOOK, lambda: b"PK\x03\x04" + bytes(50)),
        "not-a-workbook", BOOK),
    Bad("text named xlsx", bytes_as(BOOK, lambda: b"part,quantity"), "not-a-workbook", BOOK),
    Bad("old format", bytes_as(BOOK, lambda: OLE), "not-a-workbook", BOOK, None, None, (".xls",)),
    Bad("password", bytes_as(BOOK, lambda: OLE + "EncryptedPackage".encode("utf-16-le")),
        "encrypted", BOOK),
    Bad("entity bomb", sheet_xml("demand", swap(b"<worksheet", ENTITY + b"<worksheet")),
        "not-a-workbook", BOOK),
    Bad("broken XML", sheet_xml("demand", swap(b"</sheetData>", b"</sheetDat>")),
        "not-a-workbook", BOOK),
]
# fmt: on


@pytest.mark.parametrize("bad", CASES, ids=lambda bad: bad.name)
def test_one_fault_gives_one_finding_in_its_place(bad: Bad, tmp_path: Path) -> None:
    dataset, findings = load_rows(bad.make(tmp_path), TODAY)
    about = [finding for finding in findings if finding.code == bad.code]
    assert [(f.severity, Path(f.file).name, f.row, f.column) for f in about] == [
        (bad.severity, bad.file, bad.row, bad.column)
    ], "\n".join(finding.text() for finding in findings)
    assert [f for f in findings if f.is_error and f not in about] == []
    assert (dataset is None) == (bad.severity == "error")
    text = about[0].text()
    assert all(word in text for word in bad.words), text
    assert about[0].wrong
    assert about[0].remedy


def test_the_data_set_that_the_cases_break_is_without_fault(tmp_path: Path) -> None:
    assert load_rows(write_csv(tmp_path / FOLDER, good()), TODAY)[1] == []
    assert load_rows(write_xlsx(tmp_path / BOOK, good()), TODAY)[1] == []


def test_all_faults_are_reported_in_one_go(tmp_path: Path) -> None:
    tables = put(good(), "stock", 2, "quantity", "many")
    tables = put(tables, "stock", 2, "point", "Z")  # the same row, another fault
    tables = put(tables, "bills", 3, "component", "ENGIN")
    tables = put(tables, "shifts", 3, "opens", "10:30")
    del tables["work_centres"]
    dataset, findings = load_rows(write_csv(tmp_path / FOLDER, tables), TODAY)
    assert dataset is None
    assert {(f.code, f.file, f.row) for f in findings if f.is_error} == {
        ("missing-table", FOLDER, None),
        ("bad-number", "stock.csv", 2),
        ("unknown-point", "stock.csv", 2),
        ("unknown-part", "bills.csv", 3),
        ("overlapping-shifts", "shifts.csv", 3),
    }


def test_rows_are_counted_by_line_where_cells_hold_line_breaks(tmp_path: Path) -> None:
    tables = put(good(), "parts", 2, "description", "light\ntower")
    tables = put(tables, "parts", 3, "make", "maybe")
    _, findings = load_rows(write_csv(tmp_path / FOLDER, tables), TODAY)
    # The heading is line 1 and the tower takes lines 2 and 3, so the mast is on line 4.
    assert [(f.code, f.row) for f in findings if f.is_error] == [("bad-yes-no", 4)]


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "with mark"])
@pytest.mark.parametrize("end", [b"\r\n", b"\n", b"\r"], ids=["CRLF", "LF", "CR"])
def test_marks_and_line_ends_do_not_matter(mark: bytes, end: bytes, tmp_path: Path) -> None:
    folder = write_csv(tmp_path / FOLDER, good())
    before = load_rows(folder, TODAY)[0]
    for path in folder.glob("*.csv"):
        path.write_bytes(mark + path.read_bytes().replace(b"\r\n", end))
    assert load_rows(folder, TODAY) == (before, [])


def test_typed_cells_of_a_workbook_are_read_like_text(tmp_path: Path) -> None:
    """Dates, times, numbers and truth values as a spreadsheet stores them."""
    import xlsxwriter

    before = load_rows(write_csv(tmp_path / FOLDER, good()), TODAY)[0]
    path = tmp_path / BOOK
    with xlsxwriter.Workbook(path) as workbook:
        day = workbook.add_format({"num_format": "dd.mm.yyyy"})
        clock = workbook.add_format({"num_format": "hh:mm"})
        for name, rows in good().items():
            sheet = workbook.add_worksheet(name)
            for row, cells in enumerate(rows):
                for column, text in enumerate(cells):
                    if row and name == "builds" and column == 3:
                        sheet.write_datetime(row, column, date.fromisoformat(text), day)
                    elif row and name == "shifts" and column > 1:
                        at = datetime.strptime(text, "%H:%M").time()
                        sheet.write_datetime(row, column, at, clock)
                    elif row and name in ("stock", "bills") and column == 2:
                        sheet.write_number(row, column, float(text))
                    elif row and name == "parts" and column == 3 and text:
                        sheet.write_boolean(row, column, text == "yes")
                    elif row and name == "work_centres" and column == 2:
                        sheet.write_formula(row, column, "=1+1", None, int(text))
                    elif text:
                        sheet.write_string(row, column, text)
    assert load_rows(path, TODAY) == (before, [])

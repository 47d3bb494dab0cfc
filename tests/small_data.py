"""A small data set with a row in every table, without fault, for tests to break in one place."""

from __future__ import annotations

import copy
import csv
from datetime import date
from pathlib import Path

from fulfil_models.checking import check
from fulfil_models.findings import Finding
from fulfil_models.reading import RawTables, read_tables
from fulfil_models.reading_table import RawTable
from fulfil_models.tables import Dataset

Cells = list[list[str]]
Tables = dict[str, Cells]

TODAY = date(2026, 3, 2)


def _rows(text: str) -> Cells:
    return [[cell.strip() for cell in line.split("|")] for line in text.strip().splitlines()]


_GOOD = {
    "settings": "key|value\nas_of|2026-03-02\ncurrency|USD",
    "points": """
        point|name|region|timezone|calendar|cutoff
        A|Alder|US-ID|America/Boise|plant|15:00
        B|Birch|US-OH|America/New_York||
    """,
    "calendars": "calendar|holidays\nplant|US",
    "shifts": """
        calendar|weekday|opens|closes
        plant|Mon|07:00|11:00
        plant|Mon|11:30|15:30
        plant|Tue|07:00|15:30
        plant|Wed|07:00|15:30
    """,
    "closures": "calendar|date|reason\nplant|2026-07-06|summer",
    "parts": """
        part|description|family|make|step|weight_kg
        TOWER|light tower|tower|yes||800
        MAST|mast|mast|yes||90
        ENGINE|engine|engine|||120
        ENGINE2|engine, other make|engine|||125
        CABLE|cable, m|cable||0.5|0.2
        LAMP|lamp|lamp|||3
        FILTER|filter|filter|||1
    """,
    "bills": """
        parent|component|quantity|scrap|operation|starts|ends
        TOWER|MAST|1||10||
        TOWER|ENGINE|1||10||
        TOWER|CABLE|2.4|0.05|20|2025-01-01|2027-12-31
        MAST|LAMP|4||||
    """,
    "alternates": "part|alternate|ratio|rank|approved\nENGINE|ENGINE2||1|yes",
    "suppliers": "supplier|name\nS1|First",
    "sources": """
        part|supplier|point|lead_days|minimum|multiple|price|monthly_cap|expedite_days
        ENGINE|S1|A|90|1|1|900|4|10
        LAMP|S1|A|20|10|10|40||
        CABLE|S1|A|5|0|0|1.25||
        FILTER|S1|B|5|0|0|8||
    """,
    "price_breaks": "part|supplier|from_quantity|price\nLAMP|S1|10|40\nLAMP|S1|50|36",
    "stock": "point|part|quantity|held|counted_on\nA|LAMP|20|2|2026-02-27\nB|ENGINE2|1||",
    "purchases": """
        order|line|part|supplier|point|quantity|ordered|due|confirmed
        PO1|1|ENGINE|S1|A|2|2026-01-05|2026-04-01|yes
    """,
    "receipts": """
        order|line|part|supplier|point|quantity|ordered|due|received
        PO0|1|ENGINE|S1|A|1|2025-09-01|2025-12-01|2025-12-09
    """,
    "lanes": "origin|destination|days|weekdays|cost_per_move\nB|A|3|Tue Fri|150",
    "work_centres": "work_centre|point|stations\nBAY|A|2\nTEST|A|1",
    "downtime": """
        work_centre|starts|ends|stations
        BAY|2026-03-16T07:00|2026-03-18T15:30|1
    """,
    "routings": """
        part|operation|work_centre|minutes|setup|stations
        TOWER|10|BAY|240|30|2
        TOWER|20|TEST|90||
        MAST|10|BAY|60||
    """,
    "builds": """
        build|product|point|ordered|promised|earliest|weight|destination|status
        K1|TOWER|A|2026-02-02|2026-04-15|||US-CA|firm
        K2|TOWER|A|2026-02-16|2026-05-06T12:00|2026-03-09|2|US-NV|
        K0|TOWER|A|2025-11-03|2026-01-14|||US-NV|done
    """,
    "build_options": "build|component|quantity|operation\nK2|CABLE|-2.4|\nK2|LAMP|2|20",
    "progress": """
        build|operation|started|finished
        K1|10|2026-02-25T07:00|2026-02-25T12:00
    """,
    "region_rules": "region|family|component|quantity|note\nUS-CA|tower|FILTER|1|often required",
    "ratings": "part|rating|value|unit\nENGINE|shaft_power|13|hp\nENGINE2|shaft_power|14|hp",
    "deliveries": "point|destination|days|cost\nA|US|2|30\nB|US-O|1|20",
    "parts_orders": """
        order|line|part|quantity|ordered|destination|within_days|promised|split
        SO1|1|LAMP|2|2026-02-27|US-CA|5||yes
        SO1|2|FILTER|1|2026-02-27|US-OH||2026-03-20|no
    """,
    "demand": "part|month|quantity\nTOWER|2026-06|3",
    "take_rates": "product|component|rate\nTOWER|FILTER|0.4",
    "delivered": """
        order|product|ordered|promised|shipped
        K9|TOWER|2025-06-02|2025-09-01|2025-09-08
    """,
}


def good() -> Tables:
    """The tables as cells, headings first; free to be changed."""
    return {name: _rows(text) for name, text in _GOOD.items()}


def put(tables: Tables, table: str, row: int, column: str, value: str) -> Tables:
    """The tables with another value in one cell; `row` counts from 1, the heading."""
    changed = copy.deepcopy(tables)
    changed[table][row - 1][changed[table][0].index(column)] = value
    return changed


def write_csv(folder: Path, tables: Tables) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)
    return folder


def write_xlsx(path: Path, tables: Tables) -> Path:
    """The same cells as text in a workbook."""
    import xlsxwriter

    with xlsxwriter.Workbook(path, {"strings_to_formulas": False}) as workbook:
        for name, rows in tables.items():
            sheet = workbook.add_worksheet(name)
            for row, cells in enumerate(rows):
                for column, cell in enumerate(cells):
                    if cell:
                        sheet.write_string(row, column, cell)
    return path


def raw_tables(tables: Tables) -> RawTables:
    """The same cells as they come from a form, without any file."""
    return RawTables(
        "small",
        tuple(
            RawTable(name, name, tuple(rows[0]), list(enumerate(rows[1:], 2)))
            for name, rows in tables.items()
        ),
    )


def dataset_of(tables: Tables) -> Dataset:
    """The data set of cells that can all be read."""
    reading = read_tables(raw_tables(tables))
    assert [finding for finding in reading.findings if finding.is_error] == []
    return reading.dataset


def findings_of(tables: Tables, today: date = TODAY) -> list[Finding]:
    """Everything that is wrong with the tables."""
    reading = read_tables(raw_tables(tables))
    return [*reading.findings, *check(reading.dataset, reading.origins, today)]

"""Ways to break the small data set in one place, and what must be found then."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from small_data import Cells, Tables, good, put, write_csv, write_xlsx

FOLDER, BOOK = "folder", "book.xlsx"


@dataclass(frozen=True)
class Bad:
    """One way to go wrong: how to make it, and the finding that must come of it."""

    name: str
    make: Callable[[Path], Path]
    code: str
    file: str
    row: int | None = None
    column: str | None = None
    words: tuple[str, ...] = ()
    """what the finding must say"""
    severity: str = "error"


# ---- how to break things


def _as_folder(tables: Tables) -> Callable[[Path], Path]:
    return lambda tmp: write_csv(tmp / FOLDER, tables)


def _as_book(tables: Tables) -> Callable[[Path], Path]:
    return lambda tmp: write_xlsx(tmp / BOOK, tables)


def both(
    name: str,
    tables: Tables,
    code: str,
    table: str | None,
    row: int | None = None,
    column: str | None = None,
    *words: str,
    severity: str = "error",
) -> Iterator[Bad]:
    """A fault that a folder and a workbook can have alike; `table` None is the whole."""
    csv_file = FOLDER if table is None else f"{table}.csv"
    sheet = BOOK if table is None else f"{BOOK}, sheet {table}"
    yield Bad(f"{name} in CSV", _as_folder(tables), code, csv_file, row, column, words, severity)
    yield Bad(f"{name} in XLSX", _as_book(tables), code, sheet, row, column, words, severity)


def cell(
    name: str, table: str, row: int, column: str, value: str, code: str, *words: str
) -> Iterator[Bad]:
    """A fault of one cell."""
    return both(name, put(good(), table, row, column, value), code, table, row, column, *words)


def without_table(name: str) -> Tables:
    tables = good()
    del tables[name]
    return tables


def without_column(table: str, column: str) -> Tables:
    tables = good()
    place = tables[table][0].index(column)
    tables[table] = [row[:place] + row[place + 1 :] for row in tables[table]]
    return tables


def with_rows(table: str, *rows: list[str]) -> Tables:
    tables = good()
    width = len(tables[table][0])
    tables[table] += [row + [""] * (width - len(row)) for row in rows]
    return tables


def with_table(name: str, cells: Cells) -> Tables:
    return {**good(), name: cells}


def less_rows(table: str, keep: Callable[[list[str]], bool]) -> Tables:
    tables = good()
    tables[table] = [tables[table][0], *filter(keep, tables[table][1:])]
    return tables


def raw(table: str, change: Callable[[bytes], bytes]) -> Callable[[Path], Path]:
    """The bytes of one CSV file changed."""

    def make(tmp: Path) -> Path:
        folder = write_csv(tmp / FOLDER, good())
        path = folder / f"{table}.csv"
        path.write_bytes(change(path.read_bytes()))
        return folder

    return make


def swap(old: bytes, new: bytes) -> Callable[[bytes], bytes]:
    def change(data: bytes) -> bytes:
        assert old in data, "the fault must be put somewhere"
        return data.replace(old, new, 1)

    return change


def sheet_xml(table: str, change: Callable[[bytes], bytes]) -> Callable[[Path], Path]:
    """The XML of one sheet of the workbook changed."""

    def make(tmp: Path) -> Path:
        path = write_xlsx(tmp / BOOK, good())
        part = f"xl/worksheets/sheet{list(good()).index(table) + 1}.xml"
        with zipfile.ZipFile(path) as archive:
            parts = {name: archive.read(name) for name in archive.namelist()}
        parts[part] = change(parts[part])
        with zipfile.ZipFile(path, "w") as archive:
            for name, data in parts.items():
                archive.writestr(name, data)
        return path

    return make


def cell_xml(reference: str, content: str) -> Callable[[bytes], bytes]:
    """Another element in the place of one cell of a sheet."""

    def change(data: bytes) -> bytes:
        text = data.decode()
        begin = text.index(f'<c r="{reference}"')
        end = text.index("</c>", begin) + len("</c>")
        return (text[:begin] + content + text[end:]).encode()

    return change


def merged(reference: str) -> Callable[[bytes], bytes]:
    cells = f'<mergeCells count="1"><mergeCell ref="{reference}"/></mergeCells>'
    return swap(b"</sheetData>", f"</sheetData>{cells}".encode())


def bytes_as(name: str, data: Callable[[], bytes]) -> Callable[[Path], Path]:
    def make(tmp: Path) -> Path:
        (tmp / name).write_bytes(data())
        return tmp / name

    return make


def zip_bomb() -> bytes:
    """An archive of some hundred kilobytes that declares to unpack to a gigabyte."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for number in range(4):
            with archive.open(f"xl/worksheets/sheet{number}.xml", "w") as part:
                for _ in range(64):
                    part.write(bytes(2**22))
    return buffer.getvalue()


def many_parts() -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for number in range(2_001):
            archive.writestr(f"{number}.xml", b"")
    return buffer.getvalue()


def shortened(tmp: Path) -> Path:
    """A workbook one of whose parts is longer than the archive says."""
    path = write_xlsx(tmp / BOOK, good())
    data = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as archive:
        entry = archive.getinfo("xl/worksheets/sheet1.xml")
    # The central directory holds the length before packing as the fourth 32-bit number of the
    # entry: 24 bytes after its signature, 22 before its name ends.
    at = data.rindex(b"xl/worksheets/sheet1.xml") - 46 + 24
    assert int.from_bytes(data[at : at + 4], "little") == entry.file_size
    data[at : at + 4] = (entry.file_size // 2).to_bytes(4, "little")
    path.write_bytes(data)
    return path


def excel_date_with_time(tmp: Path) -> Path:
    """A moment where a day is asked for, as a spreadsheet stores it."""
    import xlsxwriter

    path = tmp / BOOK
    with xlsxwriter.Workbook(path) as workbook:
        moment = workbook.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        for name, rows in good().items():
            sheet = workbook.add_worksheet(name)
            for row, cells in enumerate(rows):
                for column, value in enumerate(cells):
                    if name == "builds" and (row, column) == (1, 3):
                        sheet.write_datetime(row, column, datetime(2026, 2, 2, 9, 30), moment)
                    elif value:
                        sheet.write_string(row, column, value)
    return path


def other_file(name: str, data: bytes) -> Callable[[Path], Path]:
    def make(tmp: Path) -> Path:
        folder = write_csv(tmp / FOLDER, good())
        (folder / name).write_bytes(data)
        return folder

    return make


def empty_folder(tmp: Path) -> Path:
    (tmp / FOLDER).mkdir()
    return tmp / FOLDER


def without_supply_of_lamps() -> Tables:
    tables = less_rows("stock", lambda row: row[1] != "LAMP")
    for name in ("sources", "price_breaks"):
        tables[name] = [row for row in tables[name] if row[0] != "LAMP"]
    tables["parts_orders"] = [row for row in tables["parts_orders"] if row[2] != "LAMP"]
    return tables


def only_lane_away_gone() -> Tables:
    """Filters come to B only, and nothing leads from there to the build at A."""
    tables = put(good(), "builds", 3, "destination", "US-CA")
    del tables["lanes"]
    return tables


def out_of_reach() -> Tables:
    """Filters come to B only, from where nothing leads to the customer or to A."""
    tables = put(good(), "deliveries", 3, "destination", "MX")
    del tables["lanes"]
    return tables


OLE = bytes.fromhex("d0cf11e0a1b11ae1") + bytes(600)

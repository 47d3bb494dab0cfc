"""A workbook with one sheet for each table."""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fulfil_models.cells import CellError
from fulfil_models.columns import TABLES
from fulfil_models.findings import Finding, Severity
from fulfil_models.reading import RawTables
from fulfil_models.reading_table import RawTable
from fulfil_models.values import cell_text

from fulfil.exchange.archive import ArchiveError, entries_of, packed
from fulfil.exchange.sheet_scan import Cell, SheetScan, cell_name, scan_sheet, sheet_parts

MOST_CELLS = 5_000_000
"""rows times columns of one sheet: what is read is held in memory, blanks too"""


def read_workbook(path: Path) -> RawTables:
    """All tables of a workbook."""
    try:
        entries = entries_of(path)
        parts = sheet_parts(entries)
        scans = {name: scan_sheet(entries[part]) for name, part in parts.items()}
        _refuse_wide(scans)
        values = _values(packed(entries), list(parts))
    except ArchiveError as error:
        return _refused(path, error.code, error.wrong, error.remedy)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        return _refused(
            path, "unreadable", f"cannot be read: {reason}", "check that you may read it"
        )
    tables = []
    unreadable = set()
    findings: list[Finding] = []
    for sheet, scan in scans.items():
        name = sheet.strip()
        label = f"{path.name}, sheet {sheet}"
        if name not in TABLES and not scan.rows:
            continue  # the empty sheet that a new workbook comes with
        table, faults = _table(name, label, values[sheet], scan)
        findings += faults
        if table is None:
            unreadable.add(name)
        else:
            tables.append(table)
    return RawTables(path.name, tuple(tables), frozenset(unreadable), tuple(findings))


def _refused(path: Path, code: str, wrong: str, remedy: str) -> RawTables:
    finding = Finding(Severity.ERROR, code, path.name, None, None, None, wrong, remedy)
    return RawTables(path.name, (), frozenset(TABLES), (finding,))


def _refuse_wide(scans: dict[str, SheetScan]) -> None:
    for name, scan in scans.items():
        if scan.rows * scan.columns > MOST_CELLS:
            last = cell_name((scan.rows, scan.columns - 1))
            raise ArchiveError(
                "too-large",
                f"has a sheet {name} that reaches to {last}",
                "delete what stands far away from the table",
            )


def _values(archive: io.BytesIO, sheets: list[str]) -> dict[str, list[list[Any]]]:
    """Values of every sheet, from its first row and column on.

    Raises ArchiveError where the sheets cannot be made out.
    """
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        with _quiet():
            workbook = CalamineWorkbook.from_filelike(archive)
            return {
                name: workbook.get_sheet_by_name(name).to_python(skip_empty_area=False)
                for name in sheets
            }
    except (CalamineError, ValueError, OSError) as error:
        raise ArchiveError(
            "not-a-workbook", f"is damaged: {error}", "save it again as .xlsx"
        ) from error
    except BaseException as error:
        # A panic of the reader arrives as an exception that is no `Exception`; it is damage too.
        if type(error).__name__ != "PanicException":
            raise
        raise ArchiveError("not-a-workbook", "is damaged", "save it again as .xlsx") from error


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep what the reader itself writes to the standard error stream when it panics from the
    user, who gets a message of ours."""
    try:
        kept = os.dup(2)
    except OSError:  # there is no such stream to write to
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)


def _table(
    name: str, label: str, values: list[list[Any]], scan: SheetScan
) -> tuple[RawTable | None, list[Finding]]:
    """The table on a sheet; None if its heading is no row of single cells."""
    spec = TABLES.get(name)
    if spec is None:
        return RawTable(name, label, (), ()), []
    values = _padded(values, scan)
    heading_place = next(
        (place for place, row in enumerate(values) if any(_is_filled(cell) for cell in row)), None
    )
    if heading_place is None:
        return RawTable(name, label, (), ()), []
    heading = [cell_text(cell).strip() for cell in values[heading_place]]
    heading_row = heading_place + 1
    merges = list(_merges(label, heading, scan))
    if any(first[0] <= heading_row <= last[0] for first, last in scan.merged):
        return None, merges
    kinds = {column.name: column.kind for column in spec.columns}
    of_place = [kinds.get(title) for title in heading]
    rows = [
        (
            place + 1,
            [cell_text(cell, kind) for cell, kind in zip(values[place], of_place, strict=True)],
        )
        for place in range(heading_place + 1, len(values))
    ]
    return RawTable(name, label, tuple(heading), rows, heading_row, _bad_cells(scan)), merges


def _padded(values: list[list[Any]], scan: SheetScan) -> list[list[Any]]:
    """Values as far as the sheet has content, errors in their places.

    The reader gives blanks for errors, and a row of nothing but blanks would be passed over.
    """
    width = max(scan.columns, max(map(len, values), default=0))
    padded = [row + [""] * (width - len(row)) for row in values]
    padded += [[""] * width for _ in range(scan.rows - len(padded))]
    for (row, column), shown in scan.errors.items():
        padded[row - 1][column] = shown
    return padded


def _is_filled(cell: Any) -> bool:
    return cell_text(cell).strip() != ""


def _bad_cells(scan: SheetScan) -> dict[Cell, CellError | None]:
    found: dict[Cell, CellError | None] = {}
    for cell in scan.errors:
        found[cell] = CellError(
            "is an error, not a value", "mend the formula or type the value", "error-cell"
        )
    for cell in scan.unvalued:
        found[cell] = CellError(
            "is a formula without a stored value",
            "open the workbook in a spreadsheet program and save it, or type the value",
            "formula-without-value",
        )
    for first, last in scan.merged:
        for row in range(first[0], min(last[0], scan.rows) + 1):
            for column in range(first[1], min(last[1], scan.columns - 1) + 1):
                if (row, column) != first and len(found) < MOST_CELLS:
                    found[row, column] = None  # the range is reported as a whole
    return found


def _merges(label: str, heading: list[str], scan: SheetScan) -> Iterator[Finding]:
    for first, last in scan.merged:
        title = heading[first[1]] if first[1] < len(heading) else ""
        yield Finding(
            Severity.ERROR,
            "merged-cells",
            label,
            first[0],
            title or None,
            f"{cell_name(first)}:{cell_name(last)}",
            "is a range of merged cells, of which only the first has a value",
            "unmerge it and write the value into every cell that it is for",
        )

"""From a path to a data set: whatever its form, read and checked in the same way."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from fulfil_models.checking import check
from fulfil_models.columns import TABLES
from fulfil_models.findings import Finding, Severity, has_errors
from fulfil_models.reading import RawTables, read_tables
from fulfil_models.tables import Dataset

from fulfil.exchange.folder import read_folder

WORKBOOKS = (".xlsx", ".xlsm")


def read_path(path: Path) -> RawTables:
    """The tables of a folder of CSV files or of a workbook, as text."""
    try:
        if path.is_dir():
            return read_folder(path)
        if not path.exists():
            return _refused(path, "no-such-path", "is not there", "check the path")
        if path.suffix.lower() in WORKBOOKS:
            # Only here, since the reader of workbooks is not needed for a folder.
            from fulfil.exchange.workbook import read_workbook

            return read_workbook(path)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        return _refused(
            path, "unreadable", f"cannot be read: {reason}", "check that you may read it"
        )
    if path.suffix.lower() == ".csv":
        return _refused(
            path, "not-a-data-set", "is a single table", "give the folder that holds all tables"
        )
    return _refused(
        path,
        "not-a-data-set",
        "is neither a folder nor an .xlsx workbook",
        "give a folder of CSV files or a workbook",
    )


def _refused(path: Path, code: str, wrong: str, remedy: str) -> RawTables:
    finding = Finding(Severity.ERROR, code, str(path), None, None, None, wrong, remedy)
    return RawTables(str(path), (), frozenset(TABLES), (finding,))


def load_rows(path: Path, today: date) -> tuple[Dataset | None, list[Finding]]:
    """The data set at a path, and everything that is wrong with it.

    Parameters
    ----------
    path: folder of CSV files, or workbook.
    today: the planning date where the settings do not name one.

    Returns
    -------
    The data set, None if any finding is an error; and the findings, errors first.
    """
    reading = read_tables(read_path(path))
    findings = [*reading.findings, *check(reading.dataset, reading.origins, today)]
    findings.sort(key=lambda finding: not finding.is_error)
    return (None if has_errors(findings) else reading.dataset), findings

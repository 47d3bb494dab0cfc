"""A folder of CSV files, one for each table."""

from __future__ import annotations

from pathlib import Path

from fulfil_models.columns import TABLES
from fulfil_models.findings import Finding, Severity
from fulfil_models.reading import RawTables

from fulfil.exchange.csv_file import CsvFile


def read_folder(folder: Path) -> RawTables:
    """All tables of a folder. Other files in it are let be."""
    files = sorted(path for path in folder.iterdir() if not path.name.startswith("."))
    tables = {}
    unreadable: set[str] = set()
    findings: list[Finding] = []
    for path in files:
        if path.suffix.lower() != ".csv" or not path.is_file():
            if path.stem in TABLES:
                findings.append(_not_read(path))
            continue
        if path.stem in tables or path.stem in unreadable:
            findings.append(_second(path))
            continue
        read = CsvFile(path)
        findings += read.findings
        if read.table is not None:
            tables[path.stem] = read.table
        if read.incomplete:
            unreadable.add(path.stem)
    if not tables and not unreadable:
        findings.append(_nothing(folder))
        unreadable |= set(TABLES)
    return RawTables(
        folder.name or str(folder), tuple(tables.values()), frozenset(unreadable), tuple(findings)
    )


def _not_read(path: Path) -> Finding:
    return Finding(
        Severity.WARNING,
        "not-csv",
        path.name,
        None,
        None,
        None,
        "has the name of a table but is no CSV file, and is not read",
        f"save it as {path.stem}.csv, or remove it",
    )


def _second(path: Path) -> Finding:
    return Finding(
        Severity.ERROR,
        "duplicate-table",
        path.name,
        None,
        None,
        None,
        f"is a second file for the table {path.stem}",
        "keep one of the two",
    )


def _nothing(folder: Path) -> Finding:
    return Finding(
        Severity.ERROR,
        "no-tables",
        folder.name or str(folder),
        None,
        None,
        None,
        "holds no CSV files",
        "give the folder that holds parts.csv, builds.csv and the other tables",
    )

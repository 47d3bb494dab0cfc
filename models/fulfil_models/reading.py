"""From text to rows: tables as they were written become a data set, and every cell that cannot be
read becomes a finding.

A row with a bad cell is kept, a stand-in in the cell's place and the row marked as broken, so that
the checks across tables (`fulfil_models.checking`) can go on and blame nothing on what is only a
consequence.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fulfil_models.columns import TABLES, Table
from fulfil_models.findings import Finding, Severity, did_you_mean
from fulfil_models.reading_table import RawTable, TableReader
from fulfil_models.tables import Dataset


@dataclass(frozen=True, slots=True)
class RawTables:
    """All that was found in one folder or workbook.

    Attributes
    ----------
    source: the folder or workbook, to name in findings.
    tables: those that could be taken apart into cells.
    unreadable: names of tables that are there but could not be.
    findings: what stood in the way.
    """

    source: str
    tables: tuple[RawTable, ...] = ()
    unreadable: frozenset[str] = frozenset()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Origins:
    """Where each row of a data set came from.

    Attributes
    ----------
    source: folder or workbook of the whole.
    files: file or sheet of each table.
    rows: number, as seen in the file, of each row of each table of the data set.
    broken: for each table, by index of the row, the attributes whose cells could not be read.
    unreadable: tables whose rows are not known, so that nothing can be said of who names them.
    """

    source: str = "data set"
    files: Mapping[str, str] = field(default_factory=dict)
    rows: Mapping[str, Sequence[int]] = field(default_factory=dict)
    broken: Mapping[str, Mapping[int, Collection[str]]] = field(default_factory=dict)
    unreadable: frozenset[str] = frozenset()

    @property
    def broken_rows(self) -> bool:
        """Whether any cell could not be read."""
        return any(self.broken.values())

    def file(self, table: str) -> str:
        return self.files.get(table, table)

    def row(self, table: str, index: int) -> int:
        """Number of a row; of a data set that came from no file, counted from 1."""
        numbers = self.rows.get(table)
        return index + 1 if numbers is None else numbers[index]


@dataclass(frozen=True, slots=True)
class Reading:
    """A data set, where its rows came from, and what was wrong with its cells."""

    dataset: Dataset
    origins: Origins
    findings: tuple[Finding, ...]


def read_tables(raw: RawTables) -> Reading:
    """Turn tables of text into a data set.

    The data set is complete only if no finding is an error; it is returned all the same so that
    the checks across tables can report what else is wrong.
    """
    findings = list(raw.findings)
    given: dict[str, RawTable] = {}
    for table in raw.tables:
        if table.name not in TABLES:
            findings.append(_unknown_table(table))
        else:
            given[table.name] = table
    rows: dict[str, tuple[Any, ...]] = {}
    numbers: dict[str, list[int]] = {}
    broken: dict[str, Mapping[int, Collection[str]]] = {}
    unreadable = set(raw.unreadable)
    for name, spec in TABLES.items():
        if name in given:
            reader = TableReader(spec, given[name])
            rows[name] = reader.read()
            numbers[name] = reader.numbers
            broken[name] = dict(reader.broken)
            findings += reader.findings
            if reader.unreadable:
                unreadable.add(name)
        elif spec.required and name not in unreadable:
            findings.append(_missing_table(raw.source, spec))
            unreadable.add(name)
    files = {name: table.file for name, table in given.items()}
    origins = Origins(raw.source, files, numbers, broken, frozenset(unreadable))
    return Reading(Dataset(**rows), origins, tuple(findings))


def _unknown_table(table: RawTable) -> Finding:
    remedy = did_you_mean(table.name, TABLES) or "remove it or ignore this; it is not read"
    return Finding(
        Severity.WARNING,
        "unknown-table",
        table.file,
        None,
        None,
        table.name,
        "is no table of a data set",
        remedy,
    )


def _missing_table(source: str, spec: Table[Any]) -> Finding:
    needed = ", ".join(column.name for column in spec.columns if column.required)
    return Finding(
        Severity.ERROR,
        "missing-table",
        source,
        None,
        None,
        spec.name,
        "is a table that a data set needs, and it is not here",
        f"add it with at least the columns {needed}; it may have no rows",
    )

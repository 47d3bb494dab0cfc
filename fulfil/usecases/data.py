"""Getting data in and out: check, load, export, template."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from fulfil.errors import Refused
from fulfil.usecases.basis import require_data

if TYPE_CHECKING:
    from fulfil_models.findings import Finding
    from fulfil_models.tables import Dataset

    from fulfil.store.session import Store


@dataclass(frozen=True, slots=True)
class Counted:
    """Rows of a table."""

    table: str
    rows: int


@dataclass(frozen=True, slots=True)
class CheckAnswer:
    """What was found in a data set.

    Attributes
    ----------
    good: it can be loaded; warnings may remain.
    tables: tables that have rows; empty where the set cannot be loaded.
    """

    path: str
    good: bool
    errors: int
    warnings: int
    findings: tuple[Finding, ...]
    tables: tuple[Counted, ...]


@dataclass(frozen=True, slots=True)
class LoadAnswer:
    """What a load did; `changed` is False where the same data were stored already."""

    check: CheckAnswer
    loaded: bool
    changed: bool
    data_hash: str | None
    database: str


@dataclass(frozen=True, slots=True)
class WriteAnswer:
    """What was written where."""

    path: str
    tables: tuple[Counted, ...]


def check(path: Path, today: date) -> CheckAnswer:
    """Reads and checks a data set, and changes nothing."""
    return _checked(path, today)[1]


def load(store: Store, path: Path, today: date) -> LoadAnswer:
    """Checks a data set and stores it if it has no error: all of it or nothing."""
    dataset, found = _checked(path, today)
    if dataset is None:
        return LoadAnswer(found, False, False, store.data_hash(), store.name)
    result = store.replace_dataset(dataset)
    return LoadAnswer(found, True, result.changed, result.data_hash, store.name)


def _checked(path: Path, today: date) -> tuple[Dataset | None, CheckAnswer]:
    from fulfil.exchange import load_rows

    if not path.exists():
        raise Refused(
            f"{path} is not there", "give the folder of CSV files or the .xlsx workbook to read"
        )
    dataset, findings = load_rows(path, today)
    errors = sum(1 for row in findings if row.is_error)
    return dataset, CheckAnswer(
        path=str(path),
        good=dataset is not None,
        errors=errors,
        warnings=len(findings) - errors,
        findings=tuple(findings),
        tables=() if dataset is None else counted(dataset),
    )


def counted(dataset: Dataset) -> tuple[Counted, ...]:
    """Rows of every table that has any, in the order of the tables."""
    from fulfil_models.columns import TABLES

    counts = ((name, len(dataset.rows(name))) for name in TABLES)
    return tuple(Counted(name, rows) for name, rows in counts if rows)


def export(store: Store, path: Path) -> WriteAnswer:
    """Writes the stored data to a folder, or to a workbook where the name ends in .xlsx."""
    from fulfil.exchange import write_folder, write_workbook

    require_data(store)
    dataset = store.dataset()
    if _is_workbook(path):
        _refuse_folder(path)
        write_workbook(dataset, path)
    else:
        _refuse_file(path)
        write_folder(dataset, path)
    return WriteAnswer(str(path), counted(dataset))


def template(path: Path, *, xlsx: bool) -> WriteAnswer:
    """Writes empty tables with their headings and a page that explains each column.

    Raises Refused where files are there already: a template never writes over data.
    """
    from fulfil_models.columns import TABLES

    from fulfil.exchange import write_template

    if xlsx:
        _refuse_folder(path)
        taken = path.exists()
    else:
        _refuse_file(path)
        taken = path.is_dir() and any(path.iterdir())
    if taken:
        raise Refused(
            f"{path} is there already", "name a new place; a template never writes over data"
        )
    write_template(path, xlsx=xlsx)
    return WriteAnswer(str(path), tuple(Counted(name, 0) for name in TABLES))


def _is_workbook(path: Path) -> bool:
    return path.suffix.lower() == ".xlsx"


def _refuse_folder(path: Path) -> None:
    if path.is_dir():
        raise Refused(f"{path} is a folder", "name a file that ends in .xlsx")


def _refuse_file(path: Path) -> None:
    if path.is_file():
        raise Refused(f"{path} is a file", "name a folder, or a file that ends in .xlsx")

"""Data sets into files: the same rows always give the same bytes, whatever order they came in."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from fulfil_models.columns import TABLES, Table
from fulfil_models.tables import Dataset

from fulfil.exchange.descriptor import descriptor_text
from fulfil.exchange.errors import ExchangeError
from fulfil.exchange.guide import column_guide
from fulfil.exchange.protection import is_free_text, protect

DESCRIPTOR = "datapackage.json"
GUIDE = "COLUMNS.md"


def write_folder(dataset: Dataset, folder: Path) -> None:
    """Write a data set as a folder of CSV files with its descriptor.

    Tables without rows are left out unless a data set needs them. The folder may exist: files of
    tables are replaced, those of tables that are left out are removed, so that what is read from
    it is this data set and nothing else. Other files stay.
    """
    names = [name for name, table in TABLES.items() if table.required or dataset.rows(name)]
    _make_folder(folder)
    for name, table in TABLES.items():
        path = folder / f"{name}.csv"
        if name in names:
            replace(path, csv_bytes(table, dataset.rows(name)))
        else:
            path.unlink(missing_ok=True)
    replace(folder / DESCRIPTOR, descriptor_text(names).encode())


def write_workbook(dataset: Dataset, path: Path) -> None:
    """Write a data set as one workbook with a sheet for each table that has rows or is needed."""
    from fulfil.exchange.workbook_writing import workbook_bytes

    names = [name for name, table in TABLES.items() if table.required or dataset.rows(name)]
    _make_folder(path.parent)
    replace(path, workbook_bytes(dataset, names))


def write_template(target: Path, *, xlsx: bool = False) -> None:
    """Write every table with its heading and no rows, to be filled in.

    Parameters
    ----------
    target: folder to make, which also gets the descriptor and a page that explains the columns;
        or workbook.
    xlsx: whether to write a workbook, whose headings explain themselves when selected.
    """
    if xlsx:
        from fulfil.exchange.workbook_writing import workbook_bytes

        _make_folder(target.parent)
        replace(target, workbook_bytes(Dataset(), TABLES))
        return
    _make_folder(target)
    for name, table in TABLES.items():
        replace(target / f"{name}.csv", csv_bytes(table, ()))
    replace(target / DESCRIPTOR, descriptor_text(TABLES).encode())
    replace(target / GUIDE, column_guide().encode())


def csv_bytes(table: Table[Any], rows: Iterable[Any]) -> bytes:
    """A table as a CSV file: UTF-8, RFC 4180, rows by key and then by all columns."""
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow([column.name for column in table.columns])
    for row in table.in_order(rows):
        writer.writerow([_cell(column, getattr(row, column.attribute)) for column in table.columns])
    return buffer.getvalue().encode()


def _cell(column: Any, value: Any) -> str:
    if value is None:
        return ""
    text: str = column.kind.format(value)
    return protect(text) if is_free_text(column) else text


def _make_folder(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise ExchangeError(f"{folder} is a file", "name a folder")
    folder.mkdir(parents=True, exist_ok=True)


def replace(path: Path, data: bytes) -> None:
    """Put a file in its place whole: whoever reads it meets the old content or the new.

    Raises OSError where the folder or the file cannot be written.
    """
    if path.is_dir():
        raise ExchangeError(f"{path} is a folder", "name a file")
    partial = path.with_name(f".{path.name}.partial")
    try:
        partial.write_bytes(data)
        os.replace(partial, path)
    except OSError as error:
        error.filename = str(path)  # nobody knows of the partial one
        raise
    finally:
        partial.unlink(missing_ok=True)

"""A data set from pandas frames and back, for use in a notebook.

A frame is a table of the data set: its columns carry the names of the contract. What comes in is
turned into text by the rules of a file and read like one, so that a frame and a file with the
same content give the same data set and the same findings.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from fulfil_models import cells as k
from fulfil_models.checking import check
from fulfil_models.columns import TABLES, Column
from fulfil_models.findings import DataError, has_errors
from fulfil_models.reading import RawTables, Reading, read_tables
from fulfil_models.reading_table import RawTable
from fulfil_models.tables import Dataset
from fulfil_models.values import cell_text

if TYPE_CHECKING:
    import pandas as pd


def dataset_from_frames(frames: Mapping[str, pd.DataFrame], today: date) -> Dataset:
    """The data set that frames hold, checked like one from files.

    Parameters
    ----------
    frames: a frame for each table, by the table's name; tables without one are empty.
    today: the planning date where the settings do not name one.

    Returns
    -------
    The data set; its `notes` are the warnings.

    Raises
    ------
    DataError
        If anything is wrong with it; rows are counted from 1 in the order of the frame.
    """
    reading = read_frames(frames)
    findings = [*reading.findings, *check(reading.dataset, reading.origins, today)]
    if has_errors(findings):
        raise DataError(findings)
    data = {name: reading.dataset.rows(name) for name in TABLES}
    return Dataset(**data, notes=tuple(finding.text() for finding in findings))


def read_frames(frames: Mapping[str, pd.DataFrame]) -> Reading:
    """Read frames as tables, without the checks across tables."""
    tables = []
    for name, frame in frames.items():
        spec = TABLES.get(name)
        kinds = {column.name: column.kind for column in spec.columns} if spec else {}
        heading = tuple(str(label) for label in frame.columns)
        columns = [
            [cell_text(value, kinds.get(label)) for value in frame.iloc[:, place].tolist()]
            for place, label in enumerate(heading)
        ]
        rows = list(enumerate(zip(*columns, strict=True), 1))
        tables.append(RawTable(name, f"frame {name}", heading, rows))
    return read_tables(RawTables("frames", tuple(tables)))


def frames_from_dataset(dataset: Dataset) -> dict[str, pd.DataFrame]:
    """A frame for every table that has rows, in the order of the keys.

    Whole numbers are `Int64`, yes and no `boolean`, other numbers exact `Decimal` objects, dates
    and times objects of the standard library; times of day are text.
    """
    import pandas as pd

    frames = {}
    for name, spec in TABLES.items():
        rows = spec.in_order(dataset.rows(name))
        if not rows:
            continue
        frames[name] = pd.DataFrame(
            {
                column.name: pd.Series(
                    [_to_frame(column, getattr(row, column.attribute)) for row in rows],
                    dtype=_DTYPES.get(column.kind, "object"),
                )
                for column in spec.columns
            }
        )
    return frames


_DTYPES: dict[k.Kind, Any] = {k.COUNT: "Int64", k.DAYS: "Int64", k.YES_NO: "boolean"}


def _to_frame(column: Column, value: Any) -> Any:
    if value is None or column.kind in _DTYPES:
        return value
    if column.kind.places:
        return Decimal(value).scaleb(-column.kind.places)
    if column.kind in (k.DATE, k.DATETIME, k.MOMENT):
        return value
    return column.kind.format(value)

"""Data sets from pandas frames and back."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

import pandas as pd
import pytest
from any_dataset import datasets
from fulfil_models import cells as k
from fulfil_models.columns import TABLES
from fulfil_models.findings import DataError
from fulfil_models.frames import dataset_from_frames, frames_from_dataset, read_frames
from fulfil_models.tables import Dataset
from fulfil_models.values import cell_text
from hypothesis import given, settings
from small_data import TODAY, Tables, dataset_of, good


def frames(tables: Tables) -> dict[str, pd.DataFrame]:
    return {name: pd.DataFrame(rows[1:], columns=rows[0]) for name, rows in tables.items()}


def in_order(dataset: Dataset) -> Dataset:
    return Dataset(**{name: tuple(t.in_order(dataset.rows(name))) for name, t in TABLES.items()})


def test_frames_of_text_are_read_like_files() -> None:
    dataset = dataset_from_frames(frames(good()), TODAY)
    assert dataset == dataset_of(good())
    assert dataset.notes == ()


def test_frames_of_values_are_read_exactly() -> None:
    given_frames = frames(good())
    stock = given_frames["stock"]
    stock["quantity"] = [20.0, 1.0]
    stock["held"] = pd.array([2, None], dtype="Int64")
    stock["counted_on"] = pd.to_datetime(["2026-02-27", None])
    given_frames["builds"]["ordered"] = [date(2026, 2, 2), date(2026, 2, 16), date(2025, 11, 3)]
    given_frames["purchases"]["confirmed"] = [True]
    given_frames["bills"]["quantity"] = [1, Decimal(1), 2.4, Decimal("4")]
    given_frames["downtime"]["starts"] = pd.to_datetime(["2026-03-16 07:00"])
    assert dataset_from_frames(given_frames, TODAY) == dataset_of(good())


def test_what_is_wrong_is_raised_whole_with_rows_counted_from_one() -> None:
    given_frames = frames(good())
    given_frames["stock"]["quantity"] = [0.1 + 0.2, 1.0]  # 0.30000000000000004
    given_frames["bills"].loc[1, "component"] = "ENGIN"
    with pytest.raises(DataError) as caught:
        dataset_from_frames(given_frames, TODAY)
    assert [(f.code, f.file, f.row) for f in caught.value.findings] == [
        ("bad-number", "frame stock", 1),
        ("unknown-part", "frame bills", 2),
    ]
    assert "frame bills, row 2" in str(caught.value)


def test_warnings_become_notes() -> None:
    given_frames = frames(good())
    given_frames["purchases"]["due"] = ["2026-03-01"]
    (note,) = dataset_from_frames(given_frames, TODAY).notes
    assert "1 day past" in note


def test_frames_hold_exact_numbers_and_real_dates() -> None:
    made = frames_from_dataset(dataset_of(good()))
    assert set(made) == set(good())
    cable = made["bills"].set_index("component").loc["CABLE"]
    assert cable["quantity"] == Decimal("2.4")
    assert cable["scrap"] == Decimal("0.05")
    assert cable["starts"] == date(2025, 1, 1)
    assert made["builds"]["promised"].tolist() == [
        date(2026, 1, 14),
        date(2026, 4, 15),
        datetime(2026, 5, 6, 12),
    ]
    assert str(made["sources"]["lead_days"].dtype) == "Int64"
    assert str(made["parts"]["make"].dtype) == "boolean"


@settings(max_examples=60, deadline=None)
@given(datasets())
def test_every_data_set_comes_back_from_frames(dataset: Dataset) -> None:
    reading = read_frames(frames_from_dataset(dataset))
    assert [f for f in reading.findings if f.is_error and f.code != "missing-table"] == []
    assert reading.dataset == in_order(dataset)


@pytest.mark.parametrize(
    ("value", "kind", "text"),
    [
        (None, None, ""),
        (float("nan"), k.QUANTITY, ""),
        (pd.NA, k.QUANTITY, ""),
        (pd.NaT, k.DATE, ""),
        (7.0, k.IDENTIFIER, "7"),
        (1e16, k.TEXT, "10000000000000000"),
        (1e-05, k.FACTOR, "0.00001"),
        (2.5, k.QUANTITY, "2.5"),
        (Decimal("2.500"), k.QUANTITY, "2.5"),
        (Decimal("1E+3"), k.QUANTITY, "1000"),
        (float("inf"), k.QUANTITY, "inf"),
        (True, k.YES_NO, "yes"),
        (True, k.TEXT, "true"),
        (datetime(2026, 3, 2), k.DATE, "2026-03-02"),
        (datetime(2026, 3, 2, 14, 30), k.DATE, "2026-03-02T14:30"),
        (datetime(2026, 3, 2, 14, 30, 15), k.DATETIME, "2026-03-02T14:30:15"),
        (pd.Timestamp("2026-03-02 14:30"), k.MOMENT, "2026-03-02T14:30"),
        (date(2026, 3, 2), k.DATETIME, "2026-03-02T00:00"),
        (date(2026, 3, 2), k.MOMENT, "2026-03-02"),
        (time(7, 5), k.TIME, "07:05"),
        (time(7, 5, 1), k.TIME, "07:05:01"),
        (timedelta(days=1), k.TIME, "24:00"),
        (("Tue", "Fri"), k.WEEKDAY_LIST, "Tue Fri"),
    ],
)
def test_values_become_the_text_of_a_file(value: Any, kind: k.Kind | None, text: str) -> None:
    assert cell_text(value, kind) == text


def test_scalars_of_numpy_are_values_too() -> None:
    series = pd.Series([3], dtype="int64")
    assert cell_text(series.iloc[0], k.COUNT) == "3"

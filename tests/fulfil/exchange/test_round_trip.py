"""What is written comes back: from folders and from workbooks, whatever the cells hold."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from any_dataset import datasets
from fulfil_models.columns import TABLES
from fulfil_models.reading import read_tables
from fulfil_models.tables import Build, Dataset, Part, Setting
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from small_data import TODAY, good, write_csv

from fulfil.exchange import load_rows, read_path, write_folder, write_template, write_workbook
from fulfil.exchange.protection import protect, unprotect

Write = Callable[[Dataset, Path], None]

FORMS = pytest.mark.parametrize(
    ("write", "name"), [(write_folder, "data"), (write_workbook, "data.xlsx")], ids=["CSV", "XLSX"]
)
# many made-up cells are none of their kind and are left out; enough are not
UNHURRIED = [HealthCheck.too_slow, HealthCheck.filter_too_much]
QUICK = settings(max_examples=80, deadline=None, suppress_health_check=UNHURRIED)


def in_order(dataset: Dataset) -> Dataset:
    return Dataset(**{name: tuple(t.in_order(dataset.rows(name))) for name, t in TABLES.items()})


def back(write: Write, name: str, dataset: Dataset) -> tuple[Dataset, list[Any]]:
    with tempfile.TemporaryDirectory() as folder:
        write(dataset, Path(folder) / name)
        reading = read_tables(read_path(Path(folder) / name))
    return reading.dataset, [finding for finding in reading.findings if finding.is_error]


def all_bytes(write: Write, name: str, dataset: Dataset) -> dict[str, bytes]:
    with tempfile.TemporaryDirectory() as folder:
        write(dataset, Path(folder) / name)
        files = [path for path in Path(folder).rglob("*") if path.is_file()]
        return {path.name: path.read_bytes() for path in files}


HARD = Dataset(
    parts=tuple(
        Part(part=text, description=text)
        for text in ("=1+1", "'=1+1", "''-2", "'quoted", "@x", "+1", "-5", "_x0041_", "007", "1e3")
    ),
    settings=(Setting(key="a", value='say "so",\nthen\tstop'),),
    builds=(
        Build(
            build="at midnight",
            product="P",
            point="A",
            ordered=TODAY,
            promised=datetime(2026, 4, 1),
        ),
        Build(build="on the day", product="P", point="A", ordered=TODAY, promised=TODAY),
    ),
)


@FORMS
@QUICK
@example(dataset=HARD)
@given(dataset=datasets())
def test_every_data_set_comes_back(write: Write, name: str, dataset: Dataset) -> None:
    assert back(write, name, dataset) == (in_order(dataset), [])


@FORMS
@settings(QUICK, max_examples=25)
@given(dataset=datasets(), data=st.data())
def test_the_order_of_rows_does_not_change_a_byte(
    write: Write, name: str, dataset: Dataset, data: st.DataObject
) -> None:
    shuffled = Dataset(
        **{table: tuple(data.draw(st.permutations(dataset.rows(table)))) for table in TABLES}
    )
    assert all_bytes(write, name, dataset) == all_bytes(write, name, shuffled)


@FORMS
def test_the_same_data_set_is_written_twice_as_the_same_bytes(write: Write, name: str) -> None:
    first = all_bytes(write, name, HARD)
    assert first == all_bytes(write, name, HARD)
    assert all(first.values())


@given(st.text("'=+-@\t\ra", max_size=6))
def test_protection_is_undone_and_nothing_dangerous_is_left(text: str) -> None:
    text = text.strip()
    assert unprotect(protect(text)) == text
    assert not protect(text).startswith(("=", "+", "-", "@"))


def test_no_cell_of_an_export_can_run_as_a_formula(tmp_path: Path) -> None:
    write_folder(HARD, tmp_path)
    for path in tmp_path.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]
    with (tmp_path / "parts.csv").open(encoding="utf-8", newline="") as file:
        assert "'=1+1" in {row[0] for row in csv.reader(file)}


def test_negative_numbers_are_no_formulas(tmp_path: Path) -> None:
    dataset, findings = load_rows(write_csv(tmp_path / "in", good()), TODAY)
    assert findings == []
    assert dataset is not None
    write_folder(dataset, tmp_path / "out")
    # The option that removes cable is a number, which keeps its sign in front.
    assert "K2,CABLE,-2.4,\r\n" in (tmp_path / "out" / "build_options.csv").read_bytes().decode()


def test_what_was_loaded_is_exported_and_loaded_again(tmp_path: Path) -> None:
    dataset, _ = load_rows(write_csv(tmp_path / "in", good()), TODAY)
    assert dataset is not None
    write_folder(dataset, tmp_path / "out")
    write_workbook(dataset, tmp_path / "out.xlsx")
    assert load_rows(tmp_path / "out", TODAY) == (in_order(dataset), [])
    assert load_rows(tmp_path / "out.xlsx", TODAY) == (in_order(dataset), [])


def test_only_needed_tables_and_those_with_rows_are_written(tmp_path: Path) -> None:
    write_folder(HARD, tmp_path)
    needed = {name for name, table in TABLES.items() if table.required}
    expected = {f"{name}.csv" for name in needed | {"settings"}} | {"datapackage.json"}
    assert {path.name for path in tmp_path.iterdir()} == expected


def test_an_export_over_another_one_leaves_nothing_of_it(tmp_path: Path) -> None:
    dataset, _ = load_rows(write_csv(tmp_path, good()), TODAY)
    assert dataset is not None
    (tmp_path / "notes.txt").write_text("mine")
    write_folder(HARD, tmp_path)
    assert not (tmp_path / "demand.csv").exists()
    assert (tmp_path / "notes.txt").read_text() == "mine"
    assert back(write_folder, "x", HARD)[0] == read_tables(read_path(tmp_path)).dataset


@pytest.mark.parametrize("xlsx", [False, True], ids=["CSV", "XLSX"])
def test_a_template_loads_as_it_is(xlsx: bool, tmp_path: Path) -> None:
    target = tmp_path / ("new.xlsx" if xlsx else "new")
    write_template(target, xlsx=xlsx)
    assert load_rows(target, TODAY) == (Dataset(), [])
    raw = read_path(target)
    headings = {table.name: table.heading for table in raw.tables}
    assert headings == {n: tuple(c.name for c in t.columns) for n, t in TABLES.items()}
    if not xlsx:
        assert (target / "datapackage.json").is_file()
        assert (target / "COLUMNS.md").is_file()

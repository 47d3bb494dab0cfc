"""Data sets in the store: whole, once, in order, and refused where they cannot be held."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import pytest
import sqlalchemy as sa
from fulfil_models.columns import TABLES
from fulfil_models.tables import Build, Dataset, Part, Setting, Stock

from fulfil.store import StoreError, data_hash
from fulfil.store.read import NotRead
from fulfil.store.session import Store

MakeDataset = Callable[..., Dataset]


def same_rows(one: Dataset, other: Dataset) -> bool:
    """Equal up to the order of rows."""
    return all(Counter(one.rows(name)) == Counter(other.rows(name)) for name in TABLES)


def reversed_rows(dataset: Dataset) -> Dataset:
    return dataclasses.replace(dataset, **{name: dataset.rows(name)[::-1] for name in TABLES})


def test_comes_back_as_it_went_in(store: Store, make_dataset: MakeDataset) -> None:
    dataset = make_dataset()
    result = store.replace_dataset(dataset)
    back = store.dataset()
    assert same_rows(back, dataset)
    assert back.notes == dataset.notes
    assert result.changed
    assert result.data_hash == data_hash(dataset) == store.data_hash()
    # 3 builds: 3 products + 1 engine; 2 bill lines and 2 routing steps a product
    assert result.counts["parts"] == 4
    assert result.counts["bills"] == result.counts["routings"] == 6
    assert result.counts["stock"] == 0
    assert list(result.counts) == list(TABLES)


def test_rows_come_by_key_then_by_all_columns_with_the_empty_ones_first(
    store: Store, make_dataset: MakeDataset
) -> None:
    store.replace_dataset(make_dataset(builds=2))
    back = store.dataset()
    # The key of shifts is calendar, weekday, opens: Mon before Tue, by the alphabet.
    assert [shift.weekday for shift in back.shifts] == ["Mon", "Tue"]
    assert [(step.part, step.operation) for step in back.routings] == [
        ("LT-0000", 10),
        ("LT-0000", 20),
        ("LT-0001", 10),
        ("LT-0001", 20),
    ]
    # Bill lines may share a key; their other columns then decide.
    assert [line.ends is None for line in back.bills] == [True, False, True, False]


def test_the_same_rows_in_another_order_change_nothing(
    store: Store, make_dataset: MakeDataset
) -> None:
    dataset = make_dataset()
    first = store.replace_dataset(dataset)
    written = _written(store)
    again = store.replace_dataset(reversed_rows(dataset))
    assert not again.changed
    assert (again.data_hash, again.counts) == (first.data_hash, first.counts)
    assert _written(store) == written


def _written(store: Store) -> object:
    with store.reading() as connection:
        return connection.execute(sa.text("SELECT data_hash, loaded FROM data_state")).one()


def test_another_data_set_takes_the_place_of_the_first(
    store: Store, make_dataset: MakeDataset
) -> None:
    store.replace_dataset(make_dataset(builds=5))
    smaller = dataclasses.replace(make_dataset(builds=1), lanes=(), notes=())
    assert store.replace_dataset(smaller).changed
    assert same_rows(store.dataset(), smaller)
    assert store.dataset().notes == ()


def test_only_the_tables_asked_for_are_read(store: Store, make_dataset: MakeDataset) -> None:
    dataset = make_dataset()
    store.replace_dataset(dataset)
    some = store.dataset(["builds", "points"])
    assert some.builds == dataset.builds
    assert some.points == dataset.points
    others = [name for name in TABLES if name not in ("builds", "points")]
    assert len(others) == len(TABLES) - 2
    for name in others:
        assert isinstance(some.rows(name), NotRead)


@pytest.mark.parametrize(
    "look",
    [
        list,
        len,
        bool,
        sorted,
        lambda rows: [*rows],
        lambda rows: rows[0],
        lambda rows: 1 in rows,
        lambda rows: rows == (),
        lambda rows: (*rows, 1),
        lambda rows: (1,) + rows,  # noqa: RUF005 - the sum itself is tried
        lambda rows: next(iter(rows), None),
    ],
)
def test_a_table_that_was_not_asked_for_is_not_taken_for_an_empty_one(
    store: Store, look: Callable[[tuple[Any, ...]], object]
) -> None:
    store.replace_dataset(Dataset())
    assert store.dataset(["shifts"]).shifts == ()
    with pytest.raises(LookupError, match="did not ask the store for the table shifts"):
        look(store.dataset(["builds"]).shifts)


def test_a_table_that_does_not_exist_is_a_fault_of_the_caller(
    store: Store, make_dataset: MakeDataset
) -> None:
    store.replace_dataset(make_dataset())
    with pytest.raises(KeyError, match="notes"):
        store.dataset(["notes"])


def test_before_the_first_load_there_are_no_data(store: Store) -> None:
    assert store.data_hash() is None
    with pytest.raises(StoreError) as raised:
        store.dataset()
    assert raised.value.wrong == "there are no data yet"
    assert raised.value.remedy == "run: fulfil load FOLDER"


def test_an_empty_data_set_is_not_the_same_as_none(store: Store) -> None:
    assert store.replace_dataset(Dataset()).changed
    assert store.data_hash() == data_hash(Dataset())
    assert store.dataset() == Dataset()


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        (
            {"stock": (Stock(point="BOI", part="E-40", quantity_milli=1),) * 2},
            "stock has two rows for point BOI, part E-40",
        ),
        (
            # 2^63 thousandths, one more than a column of 64 bits holds
            {"stock": (Stock(point="BOI", part="E-40", quantity_milli=2**63),)},
            "stock has the quantity 9223372036854775.808, which is too large to be stored",
        ),
        (
            {"parts": (Part(part="E-40", cost_micro=10**21),)},
            "parts has the cost 1000000000000000, which is too large to be stored",
        ),
    ],
)
def test_what_cannot_be_held_is_refused_and_nothing_changes(
    store: Store, make_dataset: MakeDataset, wrong: dict[str, tuple[object, ...]], told: str
) -> None:
    before = make_dataset()
    store.replace_dataset(before)
    with pytest.raises(StoreError) as raised:
        store.replace_dataset(dataclasses.replace(make_dataset(builds=9), **wrong))
    assert raised.value.wrong == told
    assert same_rows(store.dataset(), before)
    assert store.data_hash() == data_hash(before)


def test_the_largest_number_is_kept_to_the_unit(store: Store) -> None:
    stock = Stock(point="BOI", part="E-40", quantity_milli=2**63 - 1, held_milli=2**53 + 1)
    store.replace_dataset(Dataset(stock=(stock,)))
    assert store.dataset().stock == (stock,)


def test_an_error_half_way_undoes_what_was_written(
    store: Store, make_dataset: MakeDataset, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = make_dataset()
    store.replace_dataset(before)
    from fulfil.store import write

    insert = write.insert_rows

    def insert_until_builds(connection: sa.Connection, table: sa.Table, *rest: object) -> None:
        if table.name == "builds":
            raise RuntimeError("half way")
        insert(connection, table, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(write, "insert_rows", insert_until_builds)
    with pytest.raises(RuntimeError, match="half way"):
        store.replace_dataset(make_dataset(builds=9))
    assert same_rows(store.dataset(), before)
    assert store.data_hash() == data_hash(before)


def test_any_change_of_a_cell_changes_the_hash(make_dataset: MakeDataset) -> None:
    dataset = make_dataset()
    build = dataset.builds[0]
    changes = {"customer": "B", "weight_ppm": 2, "promised": None, "status": "quoted"}
    hashes = {data_hash(dataset)}
    for attribute, value in changes.items():
        changed: Build = dataclasses.replace(build, **{attribute: value})
        hashes.add(data_hash(dataclasses.replace(dataset, builds=(changed, *dataset.builds[1:]))))
    assert len(hashes) == 1 + len(changes)


def test_the_hash_tells_a_date_from_the_midnight_it_begins_with(
    make_dataset: MakeDataset,
) -> None:
    build = make_dataset().builds[0]
    hashes = {
        data_hash(Dataset(builds=(dataclasses.replace(build, promised=moment),)))
        for moment in (date(2026, 3, 2), datetime(2026, 3, 2))
    }
    assert len(hashes) == 2


def test_the_hash_is_the_one_written_down() -> None:
    """Stored hashes must hold over versions: this one was worked out apart.

    printf '%s%s' 'data set, canonical form 1' '["settings",[{"key":"as_of","value":"2026-03-02"}]]'
    piped through sha256sum.
    """
    dataset = Dataset(settings=(Setting(key="as_of", value="2026-03-02"),))
    assert data_hash(dataset) == "53d297f8ce89c2d78eb0a66045211adc1075ae5c28b9e2a3cdd761968c7fe95a"


def test_cells_that_hold_their_default_do_not_count_for_the_hash() -> None:
    """So that an optional column added later leaves the hash of older data as it was."""
    spelled_out = Part(part="E-40", description=None, unit="ea", step_milli=1000, make=False)
    assert data_hash(Dataset(parts=(spelled_out,))) == data_hash(
        Dataset(parts=(Part(part="E-40"),))
    )

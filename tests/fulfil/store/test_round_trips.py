"""Whatever a data set or a plan may hold comes back equal, in any order it was given."""

from __future__ import annotations

import random
import types
import typing
from collections import Counter
from collections.abc import Iterator
from datetime import date, datetime
from enum import Enum
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from fulfil_models import cells
from fulfil_models.columns import TABLES, Table
from fulfil_models.plan import Plan
from fulfil_models.tables import Dataset
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from postgresql import Server

from fulfil.store import data_hash, open_store
from fulfil.store.session import Store

TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=20)
"""without the one character that PostgreSQL does not hold; reading refuses it anyway"""

MOMENTS = st.datetimes().map(lambda moment: moment.replace(fold=0))
"""wall times, of which none is the second of its name"""

WHOLE = st.integers(-(2**63) + 1, 2**63 - 1)
NAME = st.text(st.characters(exclude_categories=["Cc", "Cs"]), min_size=1, max_size=8)

OF_KIND: dict[cells.Kind, st.SearchStrategy[Any]] = {
    cells.IDENTIFIER: NAME,
    cells.TEXT: TEXT,
    cells.YES_NO: st.booleans(),
    cells.DATE: st.dates(),
    cells.DATETIME: MOMENTS,
    cells.MOMENT: st.one_of(st.dates(), MOMENTS),
    cells.TIME: st.integers(0, 24 * 60),
    cells.WEEKDAY: st.sampled_from(cells.WEEKDAYS),
    cells.WEEKDAY_LIST: st.sets(st.sampled_from(cells.WEEKDAYS)).map(
        lambda days: tuple(sorted(days, key=cells.WEEKDAYS.index))
    ),
    cells.MONTH: st.dates().map(lambda day: f"{day:%Y-%m}"),
    cells.TIMEZONE: st.sampled_from(["America/Boise", "UTC"]),
}


def rows_of(table: Table[Any]) -> st.SearchStrategy[tuple[Any, ...]]:
    """Rows with any cells, two of a key only where the table allows it."""
    fields = {}
    for column in table.columns:
        cell = OF_KIND.get(column.kind, WHOLE)
        may_be_empty = not column.required and column.default is None
        fields[column.attribute] = st.none() | cell if may_be_empty else cell
    row = st.builds(table.row, **fields)
    unique = table.key_of if table.unique else None
    return st.lists(row, max_size=5, unique_by=unique).map(tuple)


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """One database for all examples: each replaces the last."""
    path: Path = tmp_path_factory.mktemp("round_trips") / "fulfil.db"
    with open_store(str(path)) as opened:
        yield opened


@pytest.fixture(scope="module")
def on_server(postgresql: Server) -> Iterator[Store]:
    """The same on a server."""
    with postgresql.database("empty") as name, open_store(postgresql.url(name)) as opened:
        yield opened


quick = settings(
    deadline=None, derandomize=True, suppress_health_check=list(HealthCheck), database=None
)


@pytest.mark.parametrize("name", TABLES)
@given(data=st.data())
@settings(quick, max_examples=15)
def test_any_rows_of_a_table(shared: Store, name: str, data: st.DataObject) -> None:
    rows = data.draw(rows_of(TABLES[name]))
    _come_back(shared, {name: rows})


@pytest.mark.postgresql
@given(rows=st.fixed_dictionaries({name: rows_of(table) for name, table in TABLES.items()}))
@settings(quick, max_examples=25)
def test_any_rows_of_all_tables_at_once(on_server: Store, rows: dict[str, tuple[Any, ...]]) -> None:
    _come_back(on_server, rows)


def _come_back(store: Store, rows: dict[str, tuple[Any, ...]]) -> None:
    told = store.replace_dataset(Dataset(**rows))
    dataset = store.dataset()
    for name, given_rows in rows.items():
        back = dataset.rows(name)
        assert Counter(back) == Counter(given_rows)
        keys = [TABLES[name].key_of(row) for row in back]
        assert keys == sorted(keys)
    assert told.data_hash == data_hash(dataset)


@given(
    rows=st.fixed_dictionaries({name: rows_of(TABLES[name]) for name in ("bills", "builds")}),
    seed=st.integers(0, 99),
)
@settings(quick, max_examples=30)
def test_rows_in_any_order_have_one_hash(rows: dict[str, tuple[Any, ...]], seed: int) -> None:
    mixed = {name: tuple(random.Random(seed).sample(of, len(of))) for name, of in rows.items()}
    assert data_hash(Dataset(**mixed)) == data_hash(Dataset(**rows))


SIMPLE: dict[Any, st.SearchStrategy[Any]] = {
    str: TEXT,
    int: WHOLE,
    bool: st.booleans(),
    date: st.dates(),
    datetime: MOMENTS,
    Fraction: st.fractions(),
    type(None): st.none(),
}
UNIQUE = {
    "builds": lambda row: row.build,
    "jobs": lambda row: row.job,
    "operations": lambda row: (row.job, row.operation),
    "supplies": lambda row: row.supply,
}


def any_of(hint: Any) -> st.SearchStrategy[Any]:
    """Any value of a type as it is written in the classes of a plan."""
    if hint in SIMPLE:
        return SIMPLE[hint]
    if isinstance(hint, types.UnionType):
        return st.one_of([any_of(one) for one in typing.get_args(hint)])
    if typing.get_origin(hint) is tuple:
        return st.lists(any_of(typing.get_args(hint)[0]), max_size=3).map(tuple)
    if issubclass(hint, Enum):
        return st.sampled_from(hint)
    return st.builds(hint, **{name: any_of(of) for name, of in typing.get_type_hints(hint).items()})


def any_plan() -> st.SearchStrategy[Plan]:
    fields = {}
    for name, hint in typing.get_type_hints(Plan).items():
        if name in UNIQUE:
            of = any_of(typing.get_args(hint)[0])
            fields[name] = st.lists(of, max_size=3, unique_by=UNIQUE[name]).map(tuple)
        else:
            fields[name] = any_of(hint)
    return st.builds(Plan, **fields)


@given(plan=any_plan())
@settings(quick, max_examples=80)
def test_any_plan(shared: Store, plan: Plan) -> None:
    _comes_back(shared, plan)


@pytest.mark.postgresql
@given(plan=any_plan())
@settings(quick, max_examples=30)
def test_any_plan_on_a_server(on_server: Store, plan: Plan) -> None:
    _comes_back(on_server, plan)


def _comes_back(store: Store, plan: Plan) -> None:
    told = store.replace_dataset(Dataset())
    number = store.save_plan(
        plan, input_hash=told.data_hash, options={"seed": 7}, seconds=0.25, versions={"x": "1"}
    )
    back = store.plan(number)
    assert back.plan == plan
    assert back.plan.gap == back.header.gap == plan.gap
    # Equal is not enough: yes is not 1.
    assert repr(back.plan) == repr(plan)

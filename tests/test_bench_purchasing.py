"""The parts that purchasing ahead is measured with: the grown book, and what is read beside it."""

from __future__ import annotations

import re
import sqlite3
import subprocess
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
import sqlalchemy as sa
from bench_ahead import MONTHS, OPTION_PPM, USES, YEAR_MILLI, grown, purchasable
from bench_purchasing import chase_tables, cover_tables, reading
from demo_scenario import AS_OF, demo
from fulfil_models.demand_ahead import demand_ahead
from fulfil_models.problem import Problem
from fulfil_models.settings import parse_settings
from fulfil_models.tables import Dataset

from fulfil.exchange import load_rows, write_folder
from fulfil.store import open_store
from fulfil.store.session import Store
from fulfil.usecases.chasing import chase
from fulfil.usecases.cover import Asked, cover

PARTS = 400


@pytest.fixture(scope="module")
def book() -> Dataset:
    assert 0 < purchasable(demo()) < PARTS
    return grown(demo(), AS_OF, parts=PARTS)


def products(dataset: Dataset) -> set[str]:
    return {row.product for row in dataset.builds if row.status == "firm"}


def test_a_grown_book_can_be_loaded(book: Dataset, tmp_path: Path) -> None:
    write_folder(book, tmp_path)
    loaded, findings = load_rows(tmp_path, AS_OF)
    assert loaded is not None, [row.text() for row in findings]
    assert purchasable(loaded) == PARTS


def test_it_has_so_many_parts_to_buy_and_each_a_record(book: Dataset) -> None:
    assert purchasable(book) == PARTS
    bought = {row.part for row in book.sources}
    came = Counter(row.part for row in book.receipts)
    assert bought <= set(came)
    new = bought - {row.part for row in demo().sources}
    assert new <= {row.part for row in book.purchases}
    uses = Counter(row.component for row in book.bills)
    assert {uses[part] for part in new} == {min(USES, len(products(book)))}


def test_every_product_is_expected_once_a_year_in_every_month(book: Dataset) -> None:
    months: dict[str, list[int]] = {}
    for row in book.demand:
        months.setdefault(row.part, []).append(row.quantity_milli)
    assert set(months) == products(book)
    for quantities in months.values():
        assert len(quantities) == MONTHS
        assert min(quantities) > 0
        assert sum(quantities[:12]) == sum(quantities[12:]) == YEAR_MILLI
    assert {row.rate_ppm for row in book.take_rates} == {OPTION_PPM}
    lines = {(row.parent, row.component) for row in book.bills}
    assert not lines & {(row.product, row.component) for row in book.take_rates}


def test_new_parts_are_needed_by_what_is_ordered_and_by_what_will_be(book: Dataset) -> None:
    problem = Problem(book, parse_settings(book.settings, AS_OF))
    needs = demand_ahead(problem, None, MONTHS)
    new = {row.part for row in book.parts} - {row.part for row in demo().parts}
    assert new <= set(needs.firm)
    assert new <= set(needs.forecast)


def test_it_grows_in_the_same_way_again(book: Dataset) -> None:
    assert grown(demo(), AS_OF, parts=PARTS) == book
    assert grown(demo(), date(2000, 1, 1), parts=PARTS) == book  # its settings name the day
    enough = grown(replace(demo(), take_rates=()), AS_OF, parts=0)
    assert purchasable(enough) == purchasable(demo())
    assert enough.take_rates == ()


# ---- what is read beside a command


def tables_read(store: Store, ask: Callable[[Store], object]) -> set[str]:
    """Tables that a question looks into."""
    found: set[str] = set()

    def note(connection: object, cursor: object, statement: str, *_: object) -> None:
        found.update(re.findall(r"(?:FROM|JOIN) (\w+)", statement))

    sa.event.listen(sa.Engine, "before_cursor_execute", note)
    try:
        ask(store)
    finally:
        sa.event.remove(sa.Engine, "before_cursor_execute", note)
    return found


QUESTIONS: tuple[tuple[Callable[[Store], object], Callable[[], list[str]]], ...] = (
    (lambda store: cover(store, Asked()), cover_tables),
    (chase, chase_tables),
)
LITTLE = {"data_state", "data_notes"}
"""a row or none: what is known of the data as a whole"""


@pytest.mark.parametrize(("ask", "named"), QUESTIONS)
def test_as_much_is_read_as_the_command_reads(
    demo_db: Path, ask: Callable[[Store], object], named: Callable[[], list[str]]
) -> None:
    with open_store(str(demo_db)) as store:
        read = tables_read(store, ask)
    names = named()
    assert read - LITTLE == set(names)
    assert len(names) == len(set(names))


def test_reading_takes_every_row_of_the_tables_named(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / "some.db")
    connection.executescript(
        "CREATE TABLE one (a); INSERT INTO one VALUES (1), (2); CREATE TABLE two (b)"
    )
    connection.close()
    words = reading("some.db", ["one", "two"])
    words[2] += "print([len(frame) for frame in frames])"
    ran = subprocess.run(words, cwd=tmp_path, check=True, capture_output=True, text=True)
    assert ran.stdout == "[2, 0]\n"
    with pytest.raises(subprocess.CalledProcessError):
        subprocess.run(reading("some.db", ["three"]), cwd=tmp_path, check=True, capture_output=True)

"""What a load changed: told row by row, kept, and found again from earlier data on."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime
from typing import Any

import pytest
import sqlalchemy as sa
from fulfil_models.cells import QUANTITY
from fulfil_models.columns import TABLES
from fulfil_models.tables import BillLine, Closure, Dataset, Lane, Part, Point, Stock
from hypothesis import given, settings
from hypothesis import strategies as st

from fulfil.store import changes, write
from fulfil.store.canonical import canonical_form
from fulfil.store.results import CellChange, DataChange, RowChange, TableChange
from fulfil.store.session import Store
from fulfil.store.tables import DATA_CHANGES

MakeDataset = Callable[..., Dataset]

MONDAY = date(2026, 3, 2)


def table_changes(before: Dataset, after: Dataset) -> tuple[TableChange, ...]:
    return changes.table_changes(canonical_form(before), canonical_form(after))


def stock(*counts: int) -> Dataset:
    """A data set with a stock count for each of some parts."""
    return Dataset(
        stock=tuple(
            Stock(point="BOI", part=f"P{number:03}", quantity_milli=count)
            for number, count in enumerate(counts)
        )
    )


class TestCompared:
    """Rows are told apart by their keys, and cells as the files have them."""

    def test_new_gone_and_changed_rows(self, make_dataset: MakeDataset) -> None:
        before = make_dataset()
        first, second, third = before.builds
        moved = dataclasses.replace(second, promised=date(2026, 4, 9), weight_ppm=2_500_000)
        builds = (moved, dataclasses.replace(first, build="B9"), third)
        (found,) = table_changes(before, dataclasses.replace(before, builds=builds))
        assert found == TableChange(
            "builds",
            added=1,
            removed=1,
            changed=1,
            rows=(
                RowChange(
                    "changed",
                    ("B0001",),
                    (
                        CellChange("promised", "2026-04-01T14:30", "2026-04-09"),
                        CellChange("weight", "1", "2.5"),
                    ),
                ),
                RowChange("removed", ("B0000",)),
                RowChange("added", ("B9",)),
            ),
        )

    def test_every_cell_is_told_as_a_file_has_it(self) -> None:
        before = Dataset(
            points=(Point(point="BOI", cutoff=15 * 60),),
            parts=(Part(part="E-40", description="Ü 'x'"),),
            lanes=(Lane(origin="BOI", destination="RNO", days=1, weekdays=("Tue", "Fri")),),
        )
        after = Dataset(
            points=(Point(point="BOI", latitude_micro=-43_615_000),),
            parts=(Part(part="E-40", make=True, cost_micro=1_234_567_891),),
            lanes=(Lane(origin="BOI", destination="RNO", days=2, weekdays=()),),
        )
        found = table_changes(before, after)
        cells = [(row.key, cell) for table in found for row in table.rows for cell in row.cells]
        assert cells == [
            (("BOI",), CellChange("latitude", "", "-43.615")),
            (("BOI",), CellChange("cutoff", "15:00", "")),
            (("E-40",), CellChange("description", "Ü 'x'", "")),
            (("E-40",), CellChange("make", "no", "yes")),
            (("E-40",), CellChange("cost", "", "1234.567891")),
            (("BOI", "RNO"), CellChange("days", "1", "2")),
            (("BOI", "RNO"), CellChange("weekdays", "Tue Fri", "")),
        ]

    def test_keys_are_told_as_a_file_has_them(self) -> None:
        after = Dataset(closures=(Closure(calendar="standard", day=MONDAY),))
        (found,) = table_changes(Dataset(), after)
        assert found.rows == (RowChange("added", ("standard", "2026-03-02")),)

    def test_rows_that_share_a_key_are_counted_one_by_one(self) -> None:
        line = BillLine(parent="LT", component="E-40", quantity_milli=1000)
        more = dataclasses.replace(line, quantity_milli=8000)

        def counts(before: Iterable[BillLine], after: Iterable[BillLine]) -> tuple[int, int, int]:
            (found,) = table_changes(Dataset(bills=tuple(before)), Dataset(bills=tuple(after)))
            return found.added, found.removed, found.changed

        assert counts([line], [line, more, more]) == (2, 0, 0)
        assert counts([line], [more, more]) == (1, 0, 1)
        assert counts([line, line, more], [line]) == (0, 2, 0)

    def test_the_same_rows_in_another_order_are_no_change(self, make_dataset: MakeDataset) -> None:
        data = make_dataset()
        mixed = {name: data.rows(name)[::-1] for name in TABLES}
        assert table_changes(data, dataclasses.replace(data, **mixed)) == ()

    def test_tables_come_in_their_order(self, make_dataset: MakeDataset) -> None:
        everything = make_dataset()
        found = [change.table for change in table_changes(Dataset(), everything)]
        assert found == [name for name in TABLES if everything.rows(name)]

    @pytest.mark.parametrize(
        ("numbers", "told"),
        [
            # changed, removed, added: 200 in all; 40 of each for sure, the rest to the first
            ((200, 0, 0), (200, 0, 0)),
            ((201, 0, 0), (200, 0, 0)),
            ((0, 0, 999), (0, 0, 200)),
            ((999, 999, 999), (120, 40, 40)),
            ((999, 999, 0), (160, 40, 0)),
            ((10, 999, 999), (10, 150, 40)),
            ((999, 0, 7), (193, 0, 7)),
        ],
    )
    def test_of_many_rows_the_first_are_told(
        self, numbers: tuple[int, int, int], told: tuple[int, int, int]
    ) -> None:
        changed, removed, added = numbers
        before = stock(*[1] * (changed + removed))
        after = stock(*[2] * changed, *[1] * (removed + added))
        after = dataclasses.replace(after, stock=after.stock[:changed] + after.stock[-added:])
        if not added:
            after = stock(*[2] * changed)
        (found,) = table_changes(before, after)
        assert (found.changed, found.removed, found.added) == numbers
        rows = Counter(row.how for row in found.rows)
        assert (rows["changed"], rows["removed"], rows["added"]) == told
        for how in ("changed", "removed", "added"):
            keys = [row.key for row in found.rows if row.how == how]
            assert keys == sorted(keys)
        assert found.rows[0].key == ("BOI", "P000")


LINES = st.lists(
    st.builds(
        BillLine,
        parent=st.sampled_from("AB"),
        component=st.sampled_from("CD"),
        quantity_milli=st.integers(1, 3),
        operation=st.sampled_from([None, 10]),
    ),
    max_size=12,
)
COUNTS = st.dictionaries(st.integers(0, 12), st.integers(0, 2)).map(
    lambda counts: tuple(
        Stock(point="BOI", part=f"P{part}", quantity_milli=count) for part, count in counts.items()
    )
)
DATA = st.builds(lambda lines, counts: Dataset(bills=tuple(lines), stock=counts), LINES, COUNTS)


@given(before=DATA, after=DATA)
@settings(deadline=None, derandomize=True, database=None, max_examples=200)
def test_any_two_data_sets(before: Dataset, after: Dataset) -> None:
    """The counts are those of keys alone, and the rows told turn the one into the other."""
    found = {change.table: change for change in table_changes(before, after)}
    for name in ("bills", "stock"):
        old, new = Counter(before.rows(name)), Counter(after.rows(name))
        gone = Counter(map(TABLES[name].key_of, (old - new).elements()))
        come = Counter(map(TABLES[name].key_of, (new - old).elements()))
        change = found.get(name, TableChange(name, 0, 0, 0, ()))
        assert (change.added, change.removed, change.changed) == (
            (come - gone).total(),
            (gone - come).total(),
            (gone & come).total(),
        )
        keys = Counter((row.how, row.key) for row in change.rows)
        assert keys == Counter(
            {
                **{("changed", key): number for key, number in (gone & come).items()},
                **{("removed", key): number for key, number in (gone - come).items()},
                **{("added", key): number for key, number in (come - gone).items()},
            }
        )
    counts = {(row.point, row.part): QUANTITY.format(row.quantity_milli) for row in before.stock}
    for row in found["stock"].rows if "stock" in found else ():
        key = (row.key[0], row.key[1])
        if row.how == "removed":
            del counts[key]
            continue
        quantity = next(one for one in after.stock if (one.point, one.part) == key).quantity_milli
        if row.how == "changed":
            assert row.cells == (CellChange("quantity", counts[key], QUANTITY.format(quantity)),)
        counts[key] = QUANTITY.format(quantity)
    assert counts == {
        (row.point, row.part): QUANTITY.format(row.quantity_milli) for row in after.stock
    }


class TestLoads:
    """A load tells what it changed, and writes only that."""

    def test_the_first_load_changes_nothing(self, store: Store, make_dataset: MakeDataset) -> None:
        assert store.replace_dataset(make_dataset()).changes == ()
        assert self._logged(store) == 0

    def test_a_load_of_the_same_data_changes_nothing(
        self, store: Store, make_dataset: MakeDataset
    ) -> None:
        store.replace_dataset(make_dataset())
        assert store.replace_dataset(make_dataset()).changes == ()
        assert self._logged(store) == 0

    def test_a_load_says_what_it_changed(self, store: Store, make_dataset: MakeDataset) -> None:
        before, after = make_dataset(), make_dataset(builds=4, customer="B")
        store.replace_dataset(before)
        told = store.replace_dataset(after).changes
        assert told == table_changes(before, after)
        # one build more, with a product that has 2 bill lines and 2 routing steps
        assert [(row.table, row.added, row.removed, row.changed) for row in told] == [
            ("parts", 1, 0, 0),
            ("bills", 2, 0, 0),
            ("routings", 2, 0, 0),
            ("builds", 1, 0, 3),
        ]
        assert told[-1].rows[0] == RowChange(
            "changed", ("B0000",), (CellChange("customer", "A", "B"),)
        )

    def test_a_load_against_an_empty_data_set(
        self, store: Store, make_dataset: MakeDataset
    ) -> None:
        """Data without a row are data: what comes after them is a change."""
        store.replace_dataset(Dataset())
        data = make_dataset()
        assert store.replace_dataset(data).changes == table_changes(Dataset(), data)

    def test_a_table_that_stays_the_same_is_not_written(
        self, store: Store, make_dataset: MakeDataset, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        store.replace_dataset(make_dataset())
        written = []
        insert = write.insert_rows

        def noted(connection: sa.Connection, table: sa.Table, *rest: Any) -> None:
            written.append(table.name)
            insert(connection, table, *rest)

        monkeypatch.setattr(write, "insert_rows", noted)
        store.replace_dataset(make_dataset(customer="B"))
        assert written == ["builds", "data_notes"]

    def _logged(self, store: Store) -> int:
        with store.reading() as connection:
            return len(connection.execute(sa.select(DATA_CHANGES)).all())


class TestSince:
    """The way from earlier data to those stored now."""

    @pytest.fixture
    def load(self, store: Store, make_dataset: MakeDataset) -> Callable[[str], str]:
        """Loads the data set of a name and returns its hash."""

        def do(name: str) -> str:
            return store.replace_dataset(make_dataset(customer=name)).data_hash

        return do

    def _steps(self, store: Store, since: str) -> list[tuple[str, str]]:
        """From which customer to which each change led."""
        found = store.changes_since(since)
        assert found is not None
        cells = [change.tables[0].rows[0].cells[0] for change in found]
        return [(cell.before, cell.after) for cell in cells]

    def test_a_change_comes_back_as_it_was_told(
        self, store: Store, make_dataset: MakeDataset
    ) -> None:
        began = datetime.now(UTC)
        first = store.replace_dataset(make_dataset())
        second = store.replace_dataset(make_dataset(builds=5, customer="Ü \n 🏗"))
        found = store.changes_since(first.data_hash)
        assert found is not None
        (change,) = found
        assert began <= change.created <= datetime.now(UTC)
        assert change == DataChange(
            number=change.number,
            created=change.created,
            hash_before=first.data_hash,
            hash_after=second.data_hash,
            tables=second.changes,
        )

    def test_one_after_the_other(self, store: Store, load: Callable[[str], str]) -> None:
        a, b, c = load("A"), load("B"), load("C")
        assert self._steps(store, a) == [("A", "B"), ("B", "C")]
        assert self._steps(store, b) == [("B", "C")]
        assert store.changes_since(c) == []

    def test_back_to_the_first(self, store: Store, load: Callable[[str], str]) -> None:
        a, b, _ = load("A"), load("B"), load("A")
        assert store.changes_since(a) == []
        assert self._steps(store, b) == [("B", "A")]

    def test_from_the_last_time_on(self, store: Store, load: Callable[[str], str]) -> None:
        a, b, _, c = load("A"), load("B"), load("A"), load("C")
        assert self._steps(store, a) == [("A", "C")]
        assert self._steps(store, b) == [("B", "A"), ("A", "C")]
        assert store.changes_since(c) == []

    def test_a_way_that_is_not_known(self, store: Store, load: Callable[[str], str]) -> None:
        assert store.changes_since("0" * 64) is None  # no data at all yet
        load("A")
        load("B")
        assert store.changes_since("0" * 64) is None

    def test_a_way_with_a_gap_is_not_known(self, store: Store, load: Callable[[str], str]) -> None:
        a, b, c, d = [load(name) for name in "ABCD"]
        with store.writing() as connection:
            connection.execute(sa.delete(DATA_CHANGES).where(DATA_CHANGES.c.hash_before == b))
        assert store.changes_since(a) is None
        assert self._steps(store, c) == [("C", "D")]
        with store.writing() as connection:
            connection.execute(sa.delete(DATA_CHANGES).where(DATA_CHANGES.c.hash_after == d))
        assert store.changes_since(c) is None

    def test_what_is_decided_at_once_is_one_change(
        self, store: Store, load: Callable[[str], str], make_dataset: MakeDataset
    ) -> None:
        a = load("A")
        more = write.prepared(make_dataset(customer="B"))
        with store.deciding() as desk:
            desk.replace_dataset(more)
        assert self._steps(store, a) == [("A", "B")]

    def test_a_load_that_is_undone_is_no_change(
        self, store: Store, load: Callable[[str], str], make_dataset: MakeDataset
    ) -> None:
        a = load("A")
        more = write.prepared(make_dataset(customer="B"))

        def undone() -> None:
            with store.deciding() as desk:
                assert desk.replace_dataset(more).changed
                raise RuntimeError

        with pytest.raises(RuntimeError):
            undone()
        load("C")
        assert self._steps(store, a) == [("A", "C")]

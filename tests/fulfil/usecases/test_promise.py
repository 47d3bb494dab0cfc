"""When could something new ship, and beside which plan? Dates by hand on `sales_shop`."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from fulfil_models.tables import Dataset, Part
from sales_shop import (
    FIRST,
    SECOND,
    THIRD,
    ask,
    book,
    dump,
    planned,
    rich,
)
from tiny_shop import march, purchase, source, stock

from fulfil.errors import Refused
from fulfil.store import StoreError
from fulfil.store.session import Store
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_machine
from fulfil.usecases.holds import hold
from fulfil.usecases.promise import Promises, promise

pytestmark = pytest.mark.usefixtures("monday")


# ---- the date


def test_the_first_day_that_is_free_with_a_part_that_is(store: Store) -> None:
    found = ask(store)
    # the station is taken on the 2nd and the 3rd; the third engine is on the shelf
    assert (found.ships, found.quote, found.basis.plan) == (FIRST, 1, 1)
    (row,) = found.builds
    assert (row.finish, row.lead_days) == (datetime(2026, 3, 4, 16, 30), 2)
    assert row.blockers[0].ahead == ("B1", "B2")
    assert (found.retimed_from, found.changes, found.due, found.reordered) == (None, (), None, None)


def test_asking_keeps_a_quote_and_changes_nothing_else(store: Store) -> None:
    but = ("quotes", "sqlite_sequence")
    before = dump(store, but=but)
    for number in (1, 2):
        assert ask(store).quote == number
    assert dump(store, but=but) == before
    assert [row.number for row in store.quotes()] == [2, 1]


@pytest.mark.parametrize(("wanted", "late"), [(FIRST, 0), (march(5), 0), (march(3), 1)])
def test_against_the_day_that_is_wanted(store: Store, wanted: date, late: int) -> None:
    found = ask(store, wanted=wanted)
    assert (found.due, found.days_past_wanted) == (wanted, late)
    assert found.ships == FIRST  # the day that is wanted moves nobody


def test_a_weight_is_kept_up_to_the_order(store: Store) -> None:
    ask(store, weight_ppm=2_500_000)
    accept_quote(store, 1)
    assert {row.build: row.weight_ppm for row in store.dataset().builds}["Q1"] == 2_500_000


def test_options_are_kept_up_to_the_order(store: Store) -> None:
    # two engines: the free one, and that of the 16th
    found = ask(store, options=(("engine", 1000),))
    assert found.ships == SECOND
    accept_quote(store, 1)
    (row,) = store.dataset().build_options
    assert (row.build, row.component, row.quantity_milli) == ("Q1", "ENGINE", 1000)
    drawn = {peg.supply for peg in store.plan_pegs(builds=["Q1"])}
    assert drawn == {"stock/A/ENGINE", "purchase/P1/1"}


def test_one_that_takes_no_engine_waits_for_the_station_only(store: Store) -> None:
    hold(store, ask(store).quote, 3)
    assert ask(store, options=(("ENGINE", -1000),)).ships == march(5)


def test_without_deliveries_it_is_not_known_when_it_arrives(store: Store) -> None:
    found = ask(store, destination="anywhere")
    assert (found.ships, found.arrives) == (FIRST, None)


def test_what_never_comes_is_said(tmp_path: Path) -> None:
    data = book(parts=(*book().parts, Part(part="GHOST")))
    with planned(tmp_path / "ghost.db", data) as store:
        with pytest.raises(Refused) as caught:
            ask(store, options=(("GHOST", 1000),))
        assert caught.value.wrong.startswith("MACHINE: a part of it never comes")
        assert "fulfil explode MACHINE" in caught.value.remedy
        assert store.quotes() == []


# ---- which plan


def test_beside_a_plan_by_its_number(store: Store) -> None:
    header = store.plan_header()
    second = store.save_plan(
        store.plan().plan, input_hash=header.input_hash, options={}, seconds=1, versions={}
    )
    store.accept_plan(second)
    assert ask(store).basis.plan == second
    assert promise(store, ask_machine("MACHINE"), 1).basis.plan == 1
    with pytest.raises(StoreError, match="no plan 9"):
        promise(store, ask_machine("MACHINE"), 9)


def test_a_plan_of_other_data_is_not_gone_on_with_by_a_question(store: Store) -> None:
    store.accept_plan(1)
    ask(store)
    accept_quote(store, 1)  # plan 2 goes on with plan 1
    before = dump(store)
    with pytest.raises(Refused, match="plan 1 is of other data"):
        promise(store, ask_machine("MACHINE"), 1)
    assert dump(store) == before
    assert promise(store, ask_machine("MACHINE"), 2).ships == SECOND


def test_many_questions_read_what_stands_once(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    reads: list[int] = []
    read = Store.dataset

    def counted(self: Store, *words: Any) -> Dataset:
        reads.append(1)
        return read(self, *words)

    promises = Promises(store)
    assert promises.quote(ask_machine("MACHINE")).ships == FIRST
    monkeypatch.setattr(Store, "dataset", counted)
    assert promises.quote(ask_machine("MACHINE")).ships == FIRST
    assert reads == []
    hold(store, 1, 1)
    reads.clear()
    assert promises.quote(ask_machine("MACHINE")).ships == SECOND
    assert reads == [1]


def test_another_offer_of_a_quote_that_is_held_is_seen(tmp_path: Path) -> None:
    with planned(tmp_path / "rich.db", rich()) as store:
        promises = Promises(store)
        found = promises.quote(ask_machine("MACHINE"))
        (place,) = (row.place for row in found.forward if row.found.by == "ENGINE2")
        hold(store, found.quote, 1)
        assert promises.quote(ask_machine("MACHINE")).ships == THIRD
        hold(store, found.quote, 1, place=place)  # so P1 is free again, and the 4th is not
        found = promises.quote(ask_machine("MACHINE"))
        assert found.ships == SECOND
        assert {row.found.ships for row in found.forward} == {march(5)}


def test_the_purchase_and_the_source_are_what_they_are(tmp_path: Path) -> None:
    data = book(purchases=(purchase("P1", march(9)),), sources=(source(9),), stock=(stock(2),))
    with planned(tmp_path / "other.db", data) as store:
        # P1 comes on Monday the 9th, an order of nine days on Wednesday the 11th
        for day in (march(9), march(11), march(12)):
            found = ask(store)
            assert found.ships == day
            hold(store, found.quote, 1)

"""Quotes that are held and let go: what is held is kept from everybody, until it runs out."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from holding import answer, broken, engines_of_holds, nothing_changes
from sales_shop import (
    AS_OF,
    FIRST,
    FOURTH,
    SECOND,
    THIRD,
    ask,
    book,
    planned,
    set_day,
)
from tiny_shop import hurried, march, stock

from fulfil.errors import Refused
from fulfil.store import StoreError
from fulfil.store.session import Store
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.holds import hold, holds, release

pytestmark = pytest.mark.usefixtures("monday")


def test_what_is_held_is_kept_from_later_quotes(store: Store) -> None:
    for day in (FIRST, SECOND, THIRD, FOURTH):
        found = ask(store)
        assert found.ships == day
        row = hold(store, found.quote, 2, "Customer")
        assert (row.quote.held_until, row.quote.held_for) == (march(4), "Customer")
        assert (row.active, row.what, row.offer.ships) == (True, "MACHINE", day)
    assert [row.quote.number for row in holds(store).rows] == [1, 2, 3, 4]


def test_holds_that_run_out_first_come_first(store: Store) -> None:
    for days in (5, 1, 3):
        hold(store, ask(store).quote, days)
    assert [row.quote.number for row in holds(store).rows] == [2, 3, 1]


def test_another_has_taken_it_and_the_next_date_is_named(store: Store) -> None:
    first, second = ask(store).quote, ask(store).quote
    hold(store, second, 3)
    with pytest.raises(Refused) as caught:
        hold(store, first, 3)
    assert caught.value.wrong.startswith("Q1 is not good any more: others have taken it: ")
    assert caught.value.remedy == "asked again, it ships 2026-03-16: `fulfil hold Q3` keeps that"
    assert hold(store, 3, 3).offer.ships == SECOND
    assert engines_of_holds(store) == ["purchase/P1/1", "stock/A/ENGINE"]


def test_letting_go_gives_exactly_the_earlier_answer(tmp_path: Path) -> None:
    with planned(tmp_path / "fulfil.db", book(sources=(hurried(29, 20, 10),))) as store:
        hold(store, ask(store).quote, 3)
        before = ask(store)
        assert before.ships == SECOND
        assert len(before.forward) == 1  # expedited: here on Wednesday the 11th
        assert before.forward[0].found.ships == march(11)
        hold(store, before.quote, 3)
        assert ask(store).ships == THIRD
        assert release(store, before.quote).quote.state.value == "released"
        assert answer(ask(store)) == answer(before)
        release(store, 1)
        assert ask(store).ships == FIRST


def test_a_hold_runs_out_by_itself(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    hold(store, ask(store).quote, 1)
    set_day(monkeypatch, march(3))  # the end of this day is the end of the hold
    assert ask(store).ships == SECOND
    assert [row.active for row in holds(store).rows] == [True]
    set_day(monkeypatch, march(4))
    assert ask(store).ships == FIRST
    assert holds(store).rows == ()
    assert [row.active for row in holds(store, every=True).rows if row.quote.number == 1] == [False]
    for refused in (lambda: hold(store, 1, 3), lambda: accept_quote(store, 1)):
        with (
            nothing_changes(store),
            pytest.raises(Refused, match="the hold of Q1 ran out on 2026-03-03"),
        ):
            refused()
    with nothing_changes(store), pytest.raises(Refused, match="ran out"):
        release(store, 1)


def test_held_longer(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    hold(store, ask(store).quote, 1, "Customer")
    row = hold(store, 1, 30)
    assert (row.quote.held_until, row.quote.held_for) == (date(2026, 4, 1), "Customer")
    set_day(monkeypatch, march(20))
    assert ask(store).ships == SECOND
    assert hold(store, 1, 0, "Another").quote.held_for == "Another"


def test_held_longer_though_the_data_changed(store: Store) -> None:
    hold(store, ask(store).quote, 1)
    store.replace_dataset(book(stock=(stock(9),)))
    assert hold(store, 1, 9).quote.held_until == march(11)
    # another that was not held is out of date
    quote = ask(store).quote
    store.replace_dataset(book(stock=(stock(3),)))
    with pytest.raises(Refused) as caught:
        hold(store, quote, 9)
    assert caught.value.wrong == (
        "Q2 is not good any more: the data, or the day, are not those it was made from"
    )
    assert caught.value.remedy.startswith("asked again, it ships 2026-03-16: `fulfil hold Q3`")
    assert holds(store).rows[0].quote.number == 1


def test_one_of_the_offers(tmp_path: Path) -> None:
    with planned(
        tmp_path / "fulfil.db", book(stock=(stock(2),), sources=(hurried(29, 20, 10),))
    ) as store:
        found = ask(store)
        assert (found.ships, [row.place for row in found.forward]) == (SECOND, [1])
        row = hold(store, found.quote, 3, place=1)
        assert (row.offer.ships, row.offer.lever, row.offer.by) == (march(11), "expedite", "S")
        assert hold(store, found.quote, 5).quote.chosen == 1  # the same one, longer
        assert ask(store).ships == SECOND  # P1/1 is left to others
        made = accept_quote(store, found.quote)
        assert (made.promised, made.ships) == (march(11), march(11))
        (supply,) = (row for row in store.plan_supplies() if row.supplier == "S")
        assert supply.expedited
        assert broken(store) == []


def test_another_offer_than_the_one_that_is_held(tmp_path: Path) -> None:
    with planned(
        tmp_path / "fulfil.db", book(stock=(stock(2),), sources=(hurried(29, 20, 10),))
    ) as store:
        found = ask(store)
        hold(store, found.quote, 3, place=1)
        other = ask(store)
        hold(store, other.quote, 3)  # so P1/1, which offer 0 needs, is gone
        with nothing_changes(store, but=("quotes", "sqlite_sequence")):
            for refused in (hold_plain, accept_plain):
                with pytest.raises(Refused, match="Q1 is not good any more: others have taken it"):
                    refused(store)
        assert accept_quote(store, 1).ships == march(11)


def hold_plain(store: Store) -> None:
    hold(store, 1, 3, place=0)


def accept_plain(store: Store) -> None:
    accept_quote(store, 1, place=0)


def test_an_offer_that_there_is_not(store: Store) -> None:
    ask(store)
    with nothing_changes(store):
        for refused in (
            lambda: hold(store, 1, 3, place=1),
            lambda: accept_quote(store, 1, place=1),
        ):
            with pytest.raises(Refused, match="Q1 has no offer 1"):
                refused()
        for missing in (
            lambda: hold(store, 7, 3),
            lambda: accept_quote(store, 7),
            lambda: release(store, 7),
        ):
            with pytest.raises(StoreError, match="there is no quote Q7"):
                missing()
        with pytest.raises(Refused, match="Q1 is not held"):
            release(store, 1)


def test_what_was_released_may_be_held_again(store: Store) -> None:
    hold(store, ask(store).quote, 3)
    release(store, 1)
    with nothing_changes(store), pytest.raises(Refused, match="Q1 is not held"):
        release(store, 1)
    assert hold(store, 1, 3).active
    release(store, 1)
    assert accept_quote(store, 1).ships == FIRST  # and accepted, too


def test_a_hold_lasts_to_the_end_of_its_last_day(store: Store) -> None:
    row = hold(store, ask(store).quote, 0)
    assert row.quote.held_until == AS_OF
    assert ask(store).ships == SECOND
    assert row.quote.held_until + timedelta(1) == march(3)

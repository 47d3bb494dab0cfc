"""Holds and plans that are made beside them: neither takes what is the other's."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from holding import answer, broken
from sales_shop import (
    FIRST,
    FOURTH,
    SECOND,
    THIRD,
    ask,
    book,
    plan_again,
    planned,
    ships,
)
from tiny_shop import DAY, build, march, source, stock

from fulfil.store.session import Store
from fulfil.usecases import planning
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.holds import hold, release
from fulfil.usecases.plans import accept
from fulfil.usecases.quote_documents import offer_of

pytestmark = pytest.mark.usefixtures("monday")


def test_a_plan_that_is_made_beside_a_hold(store: Store) -> None:
    hold(store, ask(store).quote, 3)
    late = (build("B3", march(4)), build("B4", SECOND))
    store.replace_dataset(book(builds=(*book().builds, *late)))
    number = plan_again(store)
    # the day and the engine of 03-04 are held for Q1, so of the two one has the engine of the 16th
    # and one that is ordered; a day late costs B3 as much as B4, so B4 is in time
    found = ships(store, number)
    assert sorted(found.values()) == [march(2), march(3), SECOND, THIRD]
    assert broken(store, number) == []
    assert store.plan_header(number).options["holds"] == [[1, 0]]
    store.accept_plan(number)
    assert accept_quote(store, 1).ships == FIRST
    assert ships(store) == {**found, "Q1": FIRST}


def test_a_hold_that_is_placed_while_a_plan_is_searched_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with planned(tmp_path / "fulfil.db", book(stock=(stock(4),))) as store:
        hold(store, ask(store).quote, 3)
        builds = (*book().builds, build("U", None))
        store.replace_dataset(book(builds=builds, stock=(stock(4),)))
        ask(store)  # the plan goes on: U stands on the 5th, behind what is held
        release(store, 1)
        assert ships(store)["U"] == march(5)
        quote = ask(store).quote
        search, found = planning._search, []

        def held_meanwhile(*words: Any) -> Any:
            found.append(search(*words))
            hold(store, quote, 3)
            return found[-1]

        monkeypatch.setattr(planning, "_search", held_meanwhile)
        number = plan_again(store)
        # the search put U on the third day, the 4th, which is held since then
        ((outcome, _),) = found
        assert outcome.decisions.starts["U"] == (2 * DAY,)
        assert ships(store, number) == {"B1": march(2), "B2": march(3), "U": march(5)}
        assert store.plan_header(number).options["holds"] == [[quote, 0]]
        assert broken(store, number) == []
        store.accept_plan(number)
        assert accept_quote(store, quote).ships == FIRST


def test_a_hold_on_what_an_order_brings_over_lets_nobody_be_late(tmp_path: Path) -> None:
    # engines come by two, and no more than two a month: B2 has one of the order, Q1 the other
    terms = replace(source(29, 2), minimum_milli=2000)
    data = book(purchases=(), stock=(stock(1),), sources=(terms,))
    with planned(tmp_path / "fulfil.db", data) as store:
        assert ships(store) == {"B1": march(2), "B2": THIRD}
        hold(store, ask(store).quote, 3)
        other = ask(store)
        assert other.ships == date(2026, 4, 2)
        # the plan that goes on places the order again, for B2 and for the hold
        assert accept_quote(store, other.quote).ships == other.ships
        assert ships(store) == {"B1": march(2), "B2": THIRD, "Q2": other.ships}
        assert broken(store) == []
        assert accept_quote(store, 1).ships == FOURTH
        assert ships(store) == {"B1": march(2), "B2": THIRD, "Q1": FOURTH, "Q2": other.ships}
        assert broken(store) == []


@pytest.mark.parametrize("units", [2, 3])
def test_a_plan_to_come_places_an_order_for_itself_and_for_a_hold(
    units: int, tmp_path: Path
) -> None:
    # at least so many engines and no more than so many a month: were one of them ordered for the
    # hold alone, none could be ordered for B2 before April
    terms = replace(source(29, units), minimum_milli=units * 1000)
    data = book(purchases=(), stock=(stock(1),), sources=(terms,))
    with planned(tmp_path / "fulfil.db", data) as store:
        hold(store, ask(store).quote, 3)
        for _ in range(2):
            number = plan_again(store)
            assert ships(store, number) == {"B1": march(2), "B2": THIRD}
            assert broken(store, number) == []
            accept(store, number)
            # what the order brings over is the hold's: of two none is left, of three one
            (quote,) = store.quotes(numbers=[ask(store).quote])
            assert len(offer_of(quote, 0).orders) == units - 2
        assert accept_quote(store, 1).ships == FOURTH
        assert ships(store) == {"B1": march(2), "B2": THIRD, "Q1": FOURTH}
        assert broken(store) == []


def test_let_go_the_order_is_the_plans_alone(tmp_path: Path) -> None:
    terms = replace(source(29, 2), minimum_milli=2000)
    data = book(purchases=(), stock=(stock(1),), sources=(terms,))
    with planned(tmp_path / "fulfil.db", data) as store:
        first = ask(store)
        hold(store, first.quote, 3)
        accept(store, plan_again(store))
        release(store, first.quote)
        assert answer(ask(store)) == answer(first)

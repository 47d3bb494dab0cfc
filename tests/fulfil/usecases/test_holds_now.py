"""When what is held would ship now: what `holds` tells is what `accept` then does."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from fulfil_models.room import Request
from fulfil_models.tables import Setting
from sales_shop import AS_OF, FIRST, FOURTH, SECOND, THIRD, ask, book, dump, planned
from tiny_shop import build, march, purchase, stock

from fulfil.errors import Refused
from fulfil.store.session import Store
from fulfil.usecases import holds_now as module
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import Asked
from fulfil.usecases.holds import hold, holds
from fulfil.usecases.promise import promise

pytestmark = pytest.mark.usefixtures("monday")


def holding(store: Store, count: int) -> list[date]:
    """Holds so many, one after the other; when they ship."""
    return [hold(store, ask(store).quote, 3).offer.ships for _ in range(count)]


def now(store: Store) -> dict[int, date | None]:
    """When each would ship now; that looks, and changes nothing."""
    before = dump(store)
    found = {row.quote.number: row.ships_now for row in holds(store).rows}
    assert dump(store) == before
    return found


def broken(store: Store) -> dict[int, tuple[str, ...]]:
    return {row.quote.number: row.broken for row in holds(store).rows}


def test_fresh_ones_are_not_computed_anew(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: Any) -> Any:
        raise AssertionError

    monkeypatch.setattr(module, "go_on", never)
    assert holding(store, 2) == [FIRST, SECOND]
    assert now(store) == {1: FIRST, 2: SECOND}


def test_a_purchase_slips_that_one_of_two_draws_on(store: Store) -> None:
    assert holding(store, 2) == [FIRST, SECOND]
    store.replace_dataset(book(purchases=(purchase("P1", march(18)),)))
    assert now(store) == {1: FIRST, 2: march(18)}
    assert broken(store) == {1: (), 2: ()}
    with pytest.raises(Refused, match="2026-03-16 cannot be kept any more") as caught:
        accept_quote(store, 2)
    assert caught.value.wrong.endswith("it would ship 2026-03-18")
    # the plan was re-timed by that, and it is told as before
    assert now(store) == {1: FIRST, 2: march(18)}
    assert accept_quote(store, 2, promised=march(18)).ships == march(18)
    assert now(store) == {1: FIRST}


def test_an_order_of_yesterday_comes_a_day_later(tmp_path: Path) -> None:
    """An engine ordered on Monday the 2nd is here after 29 days, on 03-31; on the 3rd, on 04-01."""
    sold_out: dict[str, Any] = {"stock": (stock(2),), "purchases": ()}
    with planned(tmp_path / "fulfil.db", book(**sold_out)) as store:
        assert holding(store, 1) == [THIRD]
        tuesday = (Setting(key="as_of", value="2026-03-03"),)
        # B1 is done, and has its engine
        later = {"settings": tuesday, "builds": (build("B2", march(3)),), "stock": (stock(1),)}
        store.replace_dataset(book(**{**sold_out, **later}))
        assert now(store) == {1: FOURTH}
        with pytest.raises(Refused, match="it would ship 2026-04-01"):
            accept_quote(store, 1)


def test_data_that_change_nothing_for_it(store: Store) -> None:
    assert holding(store, 1) == [FIRST]
    store.replace_dataset(book(stock=(stock(3), stock(5, "B"))))
    assert now(store) == {1: FIRST}


def test_one_that_has_no_place_any_more_and_one_that_has(tmp_path: Path) -> None:
    # the second waits for an engine that is to be ordered, and then nobody supplies any more
    with planned(tmp_path / "fulfil.db", book(purchases=())) as store:
        assert holding(store, 2) == [FIRST, THIRD]
        store.replace_dataset(book(purchases=(), sources=()))
        assert now(store) == {1: FIRST, 2: None}
        assert broken(store)[1] == ()
        (wrong,) = broken(store)[2]
        assert wrong.endswith("nothing is left for Q2")


def test_a_plan_that_cannot_go_on(store: Store) -> None:
    assert holding(store, 1) == [FIRST]
    store.replace_dataset(book(stock=(stock(1),), purchases=(), sources=()))
    assert now(store) == {1: None}
    assert holds(store).wrong.startswith("plan 1 cannot go on with the data as they are")


def test_two_under_one_name_are_put_there_one_by_one(store: Store) -> None:
    asked = Asked(Request((build("N1", None, ordered=AS_OF),)), named=True)
    for _ in range(2):
        hold(store, promise(store, asked).quote, 3)
    store.replace_dataset(book(stock=(stock(3), stock(5, "B"))))
    assert now(store) == {1: FIRST, 2: SECOND}
    accept_quote(store, 1)
    # under that name the other cannot be accepted any more
    assert now(store) == {2: None}

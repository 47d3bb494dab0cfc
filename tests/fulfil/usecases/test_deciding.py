"""Quotes that are outdated when something is decided on them: asked again, and taken if as good."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from books import settings_of
from fulfil_models.audit import audit
from fulfil_models.tables import Dataset
from sales_shop import FIRST, SECOND, ask, book, planned, ships
from tiny_shop import build, delivery, hurried, march, stock

from fulfil.errors import Refused
from fulfil.store.session import Store
from fulfil.usecases import holds as module
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_parts
from fulfil.usecases.deciding import OUTDATED
from fulfil.usecases.holds import hold, holds, release
from fulfil.usecases.promise import promise

pytestmark = pytest.mark.usefixtures("monday")


def other_data(store: Store, **tables: Any) -> None:
    """Data that are others, though nothing that anybody waits for is."""
    store.replace_dataset(book(**{"stock": (stock(3), stock(5, "B")), **tables}))


def states(store: Store) -> dict[int, str]:
    return {quote.number: quote.state.value for quote in store.quotes()}


# ---- the same date


def test_an_outdated_quote_is_held_as_the_one_asked_again(store: Store) -> None:
    quote = ask(store).quote
    other_data(store)
    row = hold(store, quote, 3, "Customer")
    assert (row.quote.number, row.offer.ships, row.quote.held_for) == (2, FIRST, "Customer")
    assert row.course is not None
    assert row.course.named == 1
    renewal = row.course.renewal
    assert renewal is not None
    assert (renewal.number, renewal.why, renewal.quoted, renewal.ships) == (
        1,
        OUTDATED,
        FIRST,
        FIRST,
    )
    assert states(store) == {1: "renewed", 2: "held"}
    assert store.quote(1).name == "Q2"
    # whoever names the old one means the new one from now on
    assert hold(store, 1, 5).quote.number == 2
    assert [found.quote.number for found in holds(store).rows] == [2]
    assert release(store, 1).quote.number == 2
    assert states(store) == {1: "renewed", 2: "released"}


def test_an_outdated_quote_becomes_one_order_and_no_second_one(store: Store) -> None:
    quote = ask(store).quote
    other_data(store)
    made = accept_quote(store, quote)
    assert (made.quote.number, made.names, made.promised, made.ships) == (2, ("Q2",), FIRST, FIRST)
    assert made.course.renewal is not None
    with pytest.raises(Refused, match="Q2 was accepted already: it is Q2"):
        accept_quote(store, quote)
    assert set(ships(store)) == {"B1", "B2", "Q2"}


def test_one_who_accepts_does_not_void_the_quotes_of_others(tmp_path: Path) -> None:
    """Q1 has a machine of the 4th; the spare part of Q2 leaves from stock of its own."""
    data = book(deliveries=(delivery("A"),), stock=(stock(4),))
    with planned(tmp_path / "fulfil.db", data) as store:
        machine = ask(store)
        assert machine.ships == FIRST
        part = promise(store, ask_parts((("ENGINE", 1000),), "US-NV"))
        accept_quote(store, part.quote)
        made = accept_quote(store, machine.quote)
        assert (made.quote.number, made.ships, made.late_after) == (3, FIRST, 0)


def test_sooner_is_as_good(store: Store) -> None:
    hold(store, ask(store).quote, 3)
    quote = ask(store)
    assert quote.ships == SECOND
    store.replace_dataset(book(stock=(stock(9),)))
    row = hold(store, quote.quote, 3)
    assert (row.quote.number, row.offer.ships) == (3, march(5))
    assert row.course is not None
    assert row.course.renewal is not None
    assert (row.course.renewal.quoted, row.course.renewal.ships) == (SECOND, march(5))


# ---- not as good


def test_a_later_date_is_refused_and_named(store: Store) -> None:
    quote = ask(store).quote
    other_data(store, stock=(stock(2),))
    for decide in (lambda: hold(store, quote, 3), lambda: accept_quote(store, quote)):
        with pytest.raises(Refused) as caught:
            decide()
        assert caught.value.wrong == f"Q1 is not good any more: {OUTDATED}"
        assert caught.value.remedy.startswith("asked again, it ships 2026-03-16: `fulfil hold Q")
    assert states(store)[1] == "quoted"


def test_where_a_re_ordered_date_was_told_the_way_to_it_is_named(store: Store) -> None:
    quote = ask(store).quote
    other_data(store, stock=(stock(2),))
    with pytest.raises(Refused) as caught:
        accept_quote(store, quote, promised=march(3), seconds=1)
    assert "`fulfil promise ... --resequence` asks again" in caught.value.remedy


def test_an_offer_that_costs_more_is_refused(tmp_path: Path) -> None:
    """Expedited it is here on the 11th for 10, and for 11 by the data as they are then."""
    sold_out: dict[str, Any] = {"stock": (stock(2),), "sources": (hurried(29, 20, 10),)}
    with planned(tmp_path / "fulfil.db", book(**sold_out)) as store:
        found = ask(store)
        assert [(row.found.ships, row.found.cost) for row in found.forward] == [(march(11), 10)]
        store.replace_dataset(book(**{**sold_out, "sources": (hurried(29, 20, 11),)}))
        with pytest.raises(Refused) as caught:
            hold(store, found.quote, 3, place=1)
        assert caught.value.remedy == (
            "asked again, offer 1 ships 2026-03-11: `fulfil hold Q2 --offer 1` keeps that"
        )
        # as asked it ships on the same day for the same
        assert hold(store, found.quote, 3, place=0).offer.ships == SECOND


def test_the_offer_is_found_in_the_new_quote(tmp_path: Path) -> None:
    sold_out: dict[str, Any] = {"stock": (stock(2),), "sources": (hurried(29, 20, 10),)}
    with planned(tmp_path / "fulfil.db", book(**sold_out)) as store:
        found = ask(store)
        store.replace_dataset(book(**{**sold_out, "stock": (stock(2), stock(5, "B"))}))
        row = hold(store, found.quote, 3, place=1)
        assert (row.quote.number, row.quote.chosen, row.offer.ships) == (2, 1, march(11))
        assert hold(store, found.quote, 5, place=1).quote.number == 2
        assert accept_quote(store, found.quote).ships == march(11)


def test_spare_parts_that_arrive_later_are_not_as_good(tmp_path: Path) -> None:
    """The carrier takes a day, and by the data as they are then two."""
    with planned(tmp_path / "fulfil.db", book(deliveries=(delivery("A"),))) as store:
        found = promise(store, ask_parts((("ENGINE", 1000),), "US-NV"))
        slow = replace(delivery("A"), days=delivery("A").days + 1)
        store.replace_dataset(book(deliveries=(slow,)))
        with pytest.raises(Refused, match="Q1 is not good any more"):
            accept_quote(store, found.quote)


# ---- the plan that is re-timed first


def test_that_the_plan_was_re_timed_is_told(store: Store) -> None:
    hold(store, ask(store).quote, 3)
    # beside the hold B2 has no engine until one is ordered: it is late, and not by accepting Q1
    store.replace_dataset(book(stock=(stock(2),), purchases=()))
    made = accept_quote(store, 1)
    retiming = made.course.retiming
    assert retiming is not None
    assert (retiming.retimed_from, retiming.plan, made.plan) == (1, 2, 3)
    assert (retiming.late_before, retiming.late_after) == (0, 1)
    assert (made.late_before, made.late_after) == (0, 1)
    assert retiming.changes is not None
    assert [table.table for change in retiming.changes for table in change.tables] == [
        "stock",
        "purchases",
    ]
    assert made.course.renewal is None


# ---- for whom


def test_an_order_for_a_customer(store: Store) -> None:
    quote = ask(store).quote
    hold(store, quote, 3, "One")
    made = accept_quote(store, quote, customer="Another")
    assert made.quote.held_for == "Another"
    (row,) = (row for row in store.dataset().builds if row.build == "Q1")
    assert row.customer == "Another"


# ---- let go


def rules_broken(store: Store) -> list[str]:
    data: Dataset = store.dataset()
    return [row.wrong for row in audit(data, settings_of(data), store.plan().plan)]


def test_the_plan_goes_on_without_an_order_that_is_let_go(tmp_path: Path) -> None:
    builds = (*book().builds, build("U", None))
    with planned(tmp_path / "fulfil.db", book(builds=builds, stock=(stock(9),))) as store:
        accept_quote(store, ask(store).quote, promised=march(4), seconds=1)
        found = release(store, 1)
        assert (found.was_order, found.plan, found.wrong) == (True, 3, "")
        assert store.plan_header().retimed_from == 2
        # U was moved for it to the 5th, and stays there
        assert ships(store) == {"B1": march(2), "B2": march(3), "U": march(5)}
        assert rules_broken(store) == []


def test_an_order_is_let_go_though_no_plan_goes_on(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def cannot(_: Store) -> Any:
        raise Refused("plan 2 cannot go on", "run `fulfil plan`")

    accept_quote(store, ask(store).quote)
    monkeypatch.setattr(module, "current", cannot)
    found = release(store, 1)
    assert (found.was_order, found.plan, found.wrong) == (True, None, "plan 2 cannot go on")
    assert {row.build for row in store.dataset().builds} == {"B1", "B2"}


def test_an_order_that_was_let_go_can_be_taken_up_again(store: Store) -> None:
    quote = ask(store).quote
    for _ in range(2):
        assert accept_quote(store, quote, promised=SECOND).ships == FIRST
        release(store, quote)
    row = hold(store, quote, 3)
    assert (row.quote.promised, row.quote.name, row.offer.ships) == (None, None, FIRST)

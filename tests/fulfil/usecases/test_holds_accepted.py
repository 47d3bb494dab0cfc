"""Quotes that become firm orders: nobody's promise is broken by it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from holding import broken, nothing_changes
from sales_shop import (
    AS_OF,
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
from tiny_shop import build, delivery, march, order, purchase, stock

from fulfil.errors import Refused
from fulfil.store.session import Store
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_machine
from fulfil.usecases.holds import hold
from fulfil.usecases.promise import promise

pytestmark = pytest.mark.usefixtures("monday")


def test_a_firm_build_with_its_promised_date(store: Store) -> None:
    ask(store, destination="US-NV")
    hold(store, 1, 3, "Customer")
    made = accept_quote(store, 1)
    assert (made.names, made.promised, made.ships, made.plan) == (("Q1",), FIRST, FIRST, 2)
    assert (made.late_before, made.late_after, made.reordered) == (0, 0, None)
    (row,) = (row for row in store.dataset().builds if row.build == "Q1")
    assert (row.product, row.point, row.promised, row.status) == ("MACHINE", "A", FIRST, "firm")
    assert (row.ordered, row.destination, row.customer) == (AS_OF, "US-NV", "Customer")
    assert ships(store) == {"B1": march(2), "B2": march(3), "Q1": FIRST}
    header = store.plan_header()
    assert (header.number, header.retimed_from, header.late) == (2, 1, 0)
    assert broken(store) == []
    quote = store.quote(1)
    assert (quote.state.value, quote.promised, quote.name) == ("accepted", FIRST, "Q1")
    assert ask(store).ships == SECOND


def test_the_next_plan_has_it_due_like_any_other(store: Store) -> None:
    ask(store)
    accept_quote(store, 1)
    number = plan_again(store)
    rows = {row.build: row for row in store.planned_builds(number)}
    assert {name: row.promised for name, row in rows.items()} == {
        "B1": march(2),
        "B2": march(3),
        "Q1": FIRST,
    }
    assert [row.late_minutes for row in rows.values()] == [0, 0, 0]


def test_promised_for_a_later_day(store: Store) -> None:
    ask(store)
    made = accept_quote(store, 1, promised=march(6), name="N1")
    assert (made.names, made.promised, made.ships, made.reordered) == (
        ("N1",),
        march(6),
        FIRST,
        None,
    )
    assert {row.build: row.promised for row in store.dataset().builds}["N1"] == march(6)
    # so another may have the 4th: N1 can go later
    hold(store, ask(store).quote, 0)
    found = promise(store, ask_machine("MACHINE"), reorder_seconds=1)
    assert found.ships == THIRD


def test_promised_for_an_earlier_day_by_re_ordering(tmp_path: Path) -> None:
    builds = (*book().builds, build("U", None))
    with planned(tmp_path / "fulfil.db", book(builds=builds, stock=(stock(9),))) as store:
        assert ask(store).ships == march(5)
        made = accept_quote(store, 1, promised=march(4), seconds=1)
        assert (made.ships, made.late_after, made.to_approve) == (march(4), 0, False)
        assert made.reordered is not None
        assert [(row.build, row.ships_after) for row in made.reordered.moved] == [("U", march(5))]
        assert (made.reordered.days_sooner, made.reordered.cost) == (1, 0)
        assert made.reordered.measures == ()
        assert ships(store) == {"B1": march(2), "B2": march(3), "Q1": march(4), "U": march(5)}
        assert broken(store) == []


def test_no_order_keeps_every_promise(store: Store) -> None:
    ask(store)
    with nothing_changes(store), pytest.raises(Refused) as caught:
        accept_quote(store, 1, promised=march(3), seconds=1)
    assert caught.value.wrong == (
        "2026-03-03 cannot be kept: re-ordering the queue brings it to 2026-03-04, every promise "
        "kept"
    )
    with nothing_changes(store), pytest.raises(Refused, match="2026-02-27 is before the planning"):
        accept_quote(store, 1, promised=date(2026, 2, 27))


def test_accepted_twice(store: Store) -> None:
    ask(store)
    accept_quote(store, 1, name="N1")
    with nothing_changes(store):
        for refused in (lambda: accept_quote(store, 1), lambda: hold(store, 1, 3)):
            with pytest.raises(Refused) as caught:
                refused()
            assert caught.value.wrong == (
                "Q1 was accepted already: it is N1, promised for 2026-03-04"
            )
            assert caught.value.remedy == "see `fulfil holds --all`"


@pytest.mark.parametrize("name", ["B1", "O1", "A" * 65])
def test_names_that_cannot_be_given(tmp_path: Path, name: str) -> None:
    data = book(
        parts_orders=(order("O1", 1, march(9)),), deliveries=(delivery("A"),), stock=(stock(9),)
    )
    with planned(tmp_path / "fulfil.db", data) as store:
        ask(store)
        with nothing_changes(store), pytest.raises(Refused, match=name):
            accept_quote(store, 1, name=name)


def test_a_hold_is_accepted_after_the_data_changed(store: Store) -> None:
    hold(store, ask(store).quote, 3)
    loose = ask(store).quote
    store.replace_dataset(book(stock=(stock(3), stock(5, "B")), purchases=()))
    with pytest.raises(Refused, match="Q2 is not good any more: the data, or the day, are not"):
        accept_quote(store, loose)
    made = accept_quote(store, 1)
    assert (made.ships, made.plan) == (FIRST, 3)
    assert broken(store) == []


def test_a_hold_goes_before_what_the_shelf_is_short_of(store: Store) -> None:
    hold(store, ask(store).quote, 3)
    store.replace_dataset(book(stock=(stock(2),), purchases=()))
    # B2 has no engine beside the hold until one is ordered: it is late already, and not by accept
    assert ask(store).ships == FOURTH
    assert ships(store) == {"B1": march(2), "B2": THIRD}
    made = accept_quote(store, 1)
    assert (made.late_before, made.late_after) == (1, 1)


def test_a_hold_whose_engine_is_gone_is_not_promised_for_its_day(store: Store) -> None:
    hold(store, ask(store).quote, 3)
    store.replace_dataset(book(builds=(), stock=(), purchases=(purchase("P1", SECOND),)))
    ask(store)
    with nothing_changes(store), pytest.raises(Refused) as caught:
        accept_quote(store, 1)
    assert caught.value.wrong == "2026-03-04 cannot be kept any more: it would ship 2026-03-16"
    assert caught.value.remedy == "promise that with --promised 2026-03-16, or ask again"
    assert accept_quote(store, 1, promised=SECOND).ships == SECOND


def test_others_keep_their_holds(store: Store) -> None:
    for _ in range(3):
        hold(store, ask(store).quote, 3)
    assert accept_quote(store, 2).ships == SECOND
    assert accept_quote(store, 3).ships == THIRD
    assert store.plan_header().options["holds"] == [[1, 0]]
    assert accept_quote(store, 1).ships == FIRST
    assert ships(store) == {
        "B1": march(2),
        "B2": march(3),
        "Q1": FIRST,
        "Q2": SECOND,
        "Q3": THIRD,
    }
    assert broken(store) == []


def test_a_parts_order_that_would_be_late_for_it_is_not(tmp_path: Path) -> None:
    # O1 has the third engine, and leaves on the 4th
    data = book(parts_orders=(order("O1", 1, march(4)),), deliveries=(delivery("A"),))
    with planned(tmp_path / "fulfil.db", data) as store:
        assert ask(store).ships == SECOND
        with nothing_changes(store), pytest.raises(Refused, match="cannot be kept"):
            accept_quote(store, 1, promised=march(4), seconds=1)

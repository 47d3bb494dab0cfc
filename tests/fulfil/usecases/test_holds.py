"""Quotes that are held, let go and made firm orders: nobody's promise is broken by it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from beside_books import split_book, without
from books import Shape, settings_of
from fulfil_models.audit import audit
from fulfil_models.checking import check
from fulfil_models.clashes import clashes
from fulfil_models.plan import Plan
from fulfil_models.reading import Origins
from fulfil_models.room import Request
from fulfil_models.tables import Dataset
from sales_shop import (
    AS_OF,
    FIRST,
    FOURTH,
    SECOND,
    THIRD,
    book,
    dump,
    plan_again,
    planned,
    set_day,
    ships,
)
from tiny_shop import DAY, build, delivery, hurried, march, order, purchase, source, stock

from fulfil.errors import Refused
from fulfil.exchange import write_folder
from fulfil.store import StoreError
from fulfil.store.session import Store
from fulfil.usecases import planning
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import Asked, ask_machine, ask_parts
from fulfil.usecases.basis import standing_plan
from fulfil.usecases.current import current, go_on
from fulfil.usecases.data import load
from fulfil.usecases.held_quotes import HELD, active, orders_of, taken_by_holds
from fulfil.usecases.holds import hold, holds, release
from fulfil.usecases.plans import accept
from fulfil.usecases.promise import PromiseAnswer, promise
from fulfil.usecases.quote_documents import offer_of


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    set_day(monkeypatch, AS_OF)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with planned(tmp_path / "fulfil.db", book()) as store:
        yield store


@contextmanager
def nothing_changes(store: Store, *, but: tuple[str, ...] = ()) -> Iterator[None]:
    before = dump(store, but=but)
    yield
    assert dump(store, but=but) == before


def ask(store: Store, **more: Any) -> PromiseAnswer:
    return promise(store, ask_machine("MACHINE", **more))


def answer(found: PromiseAnswer) -> tuple[Any, ...]:
    """What a customer is told, but for the number of the quote."""
    return found.ships, found.builds, found.forward, found.shipments, found.from_points


def engines_of_holds(store: Store) -> list[str]:
    """The supplies that holds draw on, one for each unit."""
    held = active(store.quotes(HELD), AS_OF)
    return sorted(peg.supply for row in held for peg in row.offer.plan.pegs)


def broken(store: Store, number: int | None = None) -> list[str]:
    """Rules that a plan breaks, the newest if none is named, and what is taken twice between it and
    the holds."""
    from fulfil_models.taken import taken_by

    data, stored = store.dataset(), store.plan(number)
    settings, plan = settings_of(data), stored.plan
    held = active(store.quotes(HELD), AS_OF)
    found = [row.wrong for row in audit(data, settings, plan)]
    taken = taken_by(plan, data) + taken_by_holds(held, data, orders_of(plan, stored.header.number))
    return found + [row.text() for row in clashes(data, settings, taken)]


# ---- hold


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


# ---- beside a plan that is searched for


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


# ---- accept


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


# ---- random tiny books

SHAPE = Shape(builds=3, points=2, operations=2)


def lateness(plan: Plan) -> dict[str, int]:
    """Of each build that is promised its late minutes, of each line its late days."""
    found = {row.build: row.late_minutes for row in plan.builds if row.promised is not None}
    for row in plan.shipments:
        key = f"{row.order}/{row.line}"
        found[key] = max(found.get(key, 0), row.late_days)
    return found


def split(seed: int) -> tuple[Dataset, Request] | None:
    """A random book without the last of its builds, and that build as it is asked for."""
    found = split_book(seed, SHAPE, asked=1)
    if found is None:
        return None
    data, (name,) = found
    (row,) = (row for row in data.builds if row.build == name)
    options = tuple(row for row in data.build_options if row.build == name)
    if any(row.build == name for row in data.progress):
        return None
    return without(data, [name]), Request((replace(row, promised=None),), options)


SEEDS = [seed for seed in range(10) if split(seed) is not None]


def test_there_are_random_books_enough() -> None:
    assert len(SEEDS) >= 8


@pytest.mark.parametrize("seed", SEEDS)
def test_no_promise_is_broken_for_a_new_one(seed: int, tmp_path: Path) -> None:
    found = split(seed)
    assert found is not None
    data, request = found
    with planned(tmp_path / "fulfil.db", data) as store:
        before = lateness(store.plan().plan)
        held = promise(store, Asked(request, named=True))
        hold(store, held.quote, 3)
        other = ask_machine(request.builds[0].product, request.builds[0].point)
        second = promise(store, other)
        hold(store, second.quote, 3)
        assert broken(store) == []
        for quote in (held, second):
            made = accept_quote(store, quote.quote)
            assert made.ships <= quote.ships
            after = lateness(store.plan().plan)
            assert {name: after[name] for name in before} == before
            assert all(after[name] == 0 for name in made.names)
            before = after
            assert broken(store) == []
            # what is in the data now could be loaded as it stands
            assert not any(row.is_error for row in check(store.dataset(), Origins(), AS_OF))


DRAWING = (3, 19, 25, 28, 55, 76)
"""books whose holds draw on what new orders of the plan bring over"""


@pytest.mark.parametrize("seed", DRAWING)
def test_nobody_is_later_in_a_plan_that_goes_on_beside_holds(seed: int, tmp_path: Path) -> None:
    found = split(seed)
    assert found is not None
    data, request = found
    with planned(tmp_path / "fulfil.db", data) as store:
        asked = Asked(request, named=True)
        another = ask_machine(request.builds[0].product, request.builds[0].point)
        for question in (asked, another):
            hold(store, promise(store, question).quote, 3)
        now = current(store)
        assert any(row.offer.orders for row in now.holds)
        made = go_on(
            store, "the plan", now.plan, now.dataset, now.settings, now.holds, now.premises
        )
        assert lateness(made) == lateness(now.plan)


def test_the_next_plan_keeps_what_was_kept(tmp_path: Path) -> None:
    found = split(SEEDS[0])
    assert found is not None
    data, request = found
    with planned(tmp_path / "fulfil.db", data) as store:
        promise(store, Asked(request, named=True))
        accept_quote(store, 1)
        before = store.plan_header()
        number = plan_again(store)
        assert broken(store, number) == []
        after = store.plan_header(number)
        # the plan that goes on is a plan of these very data: the search finds none that is worse
        assert after.weighted_late_minutes <= before.weighted_late_minutes


# ---- data that are loaded after an accept


def files(path: Path, data: Dataset) -> Path:
    write_folder(data, path)
    return path


def test_a_data_set_that_lacks_the_order_keeps_it(store: Store, tmp_path: Path) -> None:
    ask(store, options=(("ENGINE", 1000),))
    accept_quote(store, 1)
    with_order = store.data_hash()
    old = files(tmp_path / "old", book())
    first = load(store, old, AS_OF)
    assert (first.kept, first.changed) == (("Q1 (Q1)",), False)
    assert store.data_hash() == with_order
    new = files(tmp_path / "new", book(stock=(stock(9),)))
    second = load(store, new, AS_OF)
    assert (second.kept, second.changed) == (("Q1 (Q1)",), True)
    data = store.dataset()
    assert {row.build for row in data.builds} == {"B1", "B2", "Q1"}
    assert [row.build for row in data.build_options] == ["Q1"]
    again = load(store, new, AS_OF)
    assert (again.kept, again.changed) == (("Q1 (Q1)",), False)
    assert store.dataset() == data
    assert store.quote(1).state.value == "accepted"


def test_a_data_set_that_has_the_order_takes_its_place(store: Store, tmp_path: Path) -> None:
    ask(store)
    accept_quote(store, 1)
    own = build("Q1", march(9), ordered=AS_OF, customer="Customer")
    path = files(tmp_path / "new", book(builds=(*book().builds, own)))
    for changed in (True, False):
        found = load(store, path, AS_OF)
        assert (found.kept, found.changed) == ((), changed)
        assert own in store.dataset().builds
        assert store.quote(1).state.value == "kept"
    # it lives in the files from now on: where they lack it, it is done or cancelled
    assert load(store, files(tmp_path / "old", book()), AS_OF).kept == ()
    assert {row.build for row in store.dataset().builds} == {"B1", "B2"}
    with nothing_changes(store), pytest.raises(Refused, match="Q1 was accepted from Q1 and is in"):
        release(store, 1)


def test_of_an_order_of_several_those_that_lack_are_kept(store: Store, tmp_path: Path) -> None:
    builds = (build("N1", None, ordered=AS_OF), build("N2", None, ordered=AS_OF))
    promise(store, Asked(Request(builds), named=True))
    assert accept_quote(store, 1).names == ("N1", "N2")
    path = files(tmp_path / "new", book(builds=(*book().builds, build("N1", SECOND))))
    assert load(store, path, AS_OF).kept == ("Q1 (N2)",)
    assert {row.build for row in store.dataset().builds} == {"B1", "B2", "N1", "N2"}
    assert store.quote(1).state.value == "accepted"
    both = book(builds=(*book().builds, build("N1", SECOND), build("N2", SECOND)))
    assert load(store, files(tmp_path / "both", both), AS_OF).kept == ()
    assert store.quote(1).state.value == "kept"


def test_a_parts_order_is_kept_too(tmp_path: Path) -> None:
    with planned(tmp_path / "fulfil.db", book(deliveries=(delivery("A"),))) as store:
        promise(store, ask_parts((("ENGINE", 1000),), "US-NV"))
        accept_quote(store, 1)
        (line,) = store.dataset().parts_orders
        path = files(tmp_path / "new", book(deliveries=(delivery("A"),), stock=(stock(5),)))
        assert load(store, path, AS_OF).kept == ("Q1 (Q1)",)
        assert store.dataset().parts_orders == (line,)
        release(store, 1)
        assert store.dataset().parts_orders == ()


def test_an_accepted_order_that_is_let_go(store: Store) -> None:
    data, quote = store.data_hash(), ask(store, options=(("ENGINE", 1000),)).quote
    accept_quote(store, quote)
    assert release(store, quote).quote.state.value == "released"
    assert store.data_hash() == data
    assert ask(store).ships == FIRST


def test_a_data_set_in_which_it_has_no_place_is_refused(store: Store, tmp_path: Path) -> None:
    ask(store)
    accept_quote(store, 1)
    base = book()
    gone = book(
        builds=(), parts=base.parts[1:], bills=(), routings=(), work_centres=base.work_centres
    )
    path = files(tmp_path / "gone", gone)
    with nothing_changes(store), pytest.raises(Refused) as caught:
        load(store, path, AS_OF)
    assert caught.value.wrong.startswith("Q1 was accepted as Q1, which has no place in these data")
    assert caught.value.remedy.endswith("`fulfil release Q1`")
    release(store, 1)
    assert load(store, path, AS_OF).loaded


def test_a_quote_is_not_made_of_data_that_are_gone(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody loads data while an order is taken up: it is looked at anew, with those."""
    from fulfil.usecases import accepting as module

    hold(store, ask(store).quote, 3)
    changes = iter([book(stock=(stock(9),))])
    go_on = module.go_on

    def loaded_meanwhile(*words: Any) -> Plan:
        made = go_on(*words)
        for data in changes:
            store.replace_dataset(data)
        return made

    monkeypatch.setattr(module, "go_on", loaded_meanwhile)
    assert accept_quote(store, 1).ships == FIRST
    assert {row.quantity_milli for row in store.dataset().stock} == {9000}
    assert {row.build for row in store.dataset().builds} == {"B1", "B2", "Q1"}
    assert store.plan_header(standing_plan(store)).input_hash == store.data_hash()


def test_a_hold_lasts_to_the_end_of_its_last_day(store: Store) -> None:
    row = hold(store, ask(store).quote, 0)
    assert row.quote.held_until == AS_OF
    assert ask(store).ships == SECOND
    assert row.quote.held_until + timedelta(1) == march(3)

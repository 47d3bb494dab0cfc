"""Quotes in the store, and what is decided on them: written down as told, whole or not at all."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from fulfil_models.plan import Plan
from fulfil_models.tables import Dataset

from fulfil.store import StaleData, StoreError, open_store, write
from fulfil.store.desk import Desk
from fulfil.store.results import Quote, QuoteState
from fulfil.store.session import Store

MakeDataset = Callable[..., Dataset]
MakePlan = Callable[..., Plan]
NewQuote = Callable[..., int]

MONDAY = date(2026, 3, 2)
FRIDAY = date(2026, 3, 6)
EASTER = date(2026, 4, 5)

ASKED = {"builds": [{"product": "LT-0001", "customer": "Ü 🏗 'x'"}], "days": 5, "split": False}
ANSWER = {"offers": [{"ships": "2026-04-01", "cost": 0.1}, None], "z": 1, "a": "\0\n"}


@pytest.fixture
def input_hash(store: Store, make_dataset: MakeDataset) -> str:
    return store.replace_dataset(make_dataset()).data_hash


@pytest.fixture
def plan(store: Store, input_hash: str, make_plan: MakePlan) -> int:
    """Number of a plan of the stored data."""
    return store.save_plan(make_plan(), input_hash=input_hash, options={}, seconds=1.5, versions={})


@pytest.fixture
def new_quote(store: Store, plan: int, input_hash: str) -> NewQuote:
    def make(asked: dict[str, Any] = ASKED, answer: dict[str, Any] = ANSWER) -> int:
        return store.save_quote(
            plan=plan, data_hash=input_hash, as_of=MONDAY, asked=asked, answer=answer
        )

    return make


def test_comes_back_as_it_went_in(
    store: Store, new_quote: NewQuote, plan: int, input_hash: str
) -> None:
    before = datetime.now(UTC)
    number = new_quote()
    quote = store.quote(number)
    assert before <= quote.created <= datetime.now(UTC)
    assert quote == Quote(
        number=number,
        created=quote.created,
        plan=plan,
        data_hash=input_hash,
        as_of=MONDAY,
        asked=ASKED,
        answer=ANSWER,
        state=QuoteState.QUOTED,
        decided=quote.created,
        chosen=None,
        held_until=None,
        held_for=None,
        promised=None,
        name=None,
    )
    assert list(quote.answer) == ["offers", "z", "a"]  # in the order it was told


def test_an_answer_may_be_long(store: Store, new_quote: NewQuote) -> None:
    answer = {"rows": [{"number": number, "why": "Ü" * 200} for number in range(500)]}
    assert store.quote(new_quote(answer=answer)).answer == answer


def test_a_number_that_is_none_is_refused_in_a_document(store: Store, new_quote: NewQuote) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        new_quote(answer={"cost": float("nan")})
    assert store.quotes() == []


def test_newest_first(store: Store, new_quote: NewQuote) -> None:
    assert (store.quotes(), store.quote_numbers()) == ([], [])
    assert [new_quote() for _ in range(3)] == [1, 2, 3]
    assert [quote.number for quote in store.quotes()] == [3, 2, 1]
    assert store.quote_numbers() == [3, 2, 1]


def test_a_quote_of_data_that_were_replaced_is_refused(
    store: Store, new_quote: NewQuote, make_dataset: MakeDataset
) -> None:
    store.replace_dataset(make_dataset(customer="B"))
    with pytest.raises(StaleData, match="changed while the quote was made"):
        new_quote()
    assert store.quotes() == []
    store.replace_dataset(make_dataset())  # the data it was made from are back
    assert new_quote() == 1


def test_a_quote_on_no_plan_is_refused(store: Store, input_hash: str) -> None:
    with pytest.raises(StoreError, match="there is no plan 7"):
        store.save_quote(plan=7, data_hash=input_hash, as_of=MONDAY, asked={}, answer={})
    assert store.quotes() == []


@pytest.mark.parametrize(
    "ask",
    [
        lambda desk: desk.quote(7),
        lambda desk: desk.hold(7, chosen=0, until=FRIDAY, customer="A"),
        lambda desk: desk.release(7),
        lambda desk: desk.accept(7, chosen=0, promised=EASTER, name="B7", customer=None),
        lambda desk: desk.keep(7),
        lambda desk: desk.renew(7, name="Q8"),
    ],
)
def test_a_quote_that_does_not_exist(
    store: Store, new_quote: NewQuote, ask: Callable[[Desk], object]
) -> None:
    new_quote()
    with pytest.raises(StoreError) as raised, store.deciding() as desk:
        ask(desk)
    assert raised.value.wrong == "there is no quote Q7"
    assert raised.value.remedy
    assert [quote.state for quote in store.quotes()] == ["quoted"]  # none was invented
    with pytest.raises(StoreError, match="there is no quote Q7"):
        store.quote(7)


class TestStates:
    """Each decision changes its own cells of its own quote, and the moment it was taken."""

    @pytest.fixture
    def before(self, store: Store, new_quote: NewQuote) -> Quote:
        """The second of three quotes."""
        for _ in range(3):
            new_quote()
        return store.quote(2)

    def decided(
        self, store: Store, before: Quote, decide: Callable[[Desk], None], **expected: Any
    ) -> Quote:
        """The quote after a decision, which changed what is expected and no other quote."""
        others = [quote for quote in store.quotes() if quote.number != 2]
        with store.deciding() as desk:
            decide(desk)
            inside = desk.quote(2)
        after = store.quote(2)
        assert after == inside == dataclasses.replace(before, decided=after.decided, **expected)
        assert before.decided < after.decided
        assert datetime.now(UTC) - after.decided < timedelta(minutes=1)
        assert [quote for quote in store.quotes() if quote.number != 2] == others
        return after

    def test_held_and_released(self, store: Store, before: Quote) -> None:
        held = self.decided(
            store,
            before,
            lambda desk: desk.hold(2, chosen=1, until=FRIDAY, customer="Ü"),
            state="held",
            chosen=1,
            held_until=FRIDAY,
            held_for="Ü",
        )
        longer = self.decided(
            store,
            held,
            lambda desk: desk.hold(2, chosen=1, until=EASTER, customer=None),
            held_until=EASTER,
            held_for=None,
        )
        self.decided(store, longer, lambda desk: desk.release(2), state="released")

    def test_accepted_and_kept(self, store: Store, before: Quote) -> None:
        accepted = self.decided(
            store,
            before,
            lambda desk: desk.accept(2, chosen=0, promised=EASTER, name="B77", customer="C"),
            state="accepted",
            chosen=0,
            promised=EASTER,
            name="B77",
            held_for="C",
        )
        self.decided(store, accepted, lambda desk: desk.keep(2), state="kept")

    def test_held_again_after_it_was_an_order(self, store: Store, before: Quote) -> None:
        with store.deciding() as desk:
            desk.accept(2, chosen=0, promised=EASTER, name="B77", customer="C")
            desk.release(2)
        self.decided(
            store,
            before,
            lambda desk: desk.hold(2, chosen=1, until=FRIDAY, customer="D"),
            state="held",
            chosen=1,
            held_until=FRIDAY,
            held_for="D",
        )

    def test_renewed(self, store: Store, before: Quote) -> None:
        self.decided(
            store, before, lambda desk: desk.renew(2, name="Q3"), state="renewed", name="Q3"
        )

    def test_those_in_a_state(self, store: Store, before: Quote) -> None:
        with store.deciding() as desk:
            desk.hold(1, chosen=0, until=FRIDAY, customer=None)
            desk.release(2)
            assert [quote.number for quote in desk.quotes(["held", "quoted"])] == [3, 1]
        assert [quote.number for quote in store.quotes([QuoteState.HELD])] == [1]
        assert [quote.number for quote in store.quotes({"released", "accepted"})] == [2]
        assert store.quotes(["kept"]) == []
        assert store.quotes([]) == []

    def test_those_of_some_numbers(self, store: Store, before: Quote) -> None:
        assert [quote.number for quote in store.quotes(numbers=[1, 3, 99])] == [3, 1]
        with store.deciding() as desk:
            desk.hold(1, chosen=0, until=FRIDAY, customer=None)
            assert [quote.number for quote in desk.quotes(["held"], [1, 3])] == [1]
            assert desk.quotes(["held"], []) == []

    def test_what_is_held_on_a_day(self, store: Store, before: Quote) -> None:
        with store.deciding() as desk:
            desk.hold(3, chosen=0, until=FRIDAY, customer=None)
            desk.hold(1, chosen=4, until=MONDAY, customer=None)
            assert desk.held_keys(MONDAY) == ((1, 4), (3, 0))
        assert store.held_keys(MONDAY) == ((1, 4), (3, 0))
        assert store.held_keys(MONDAY + timedelta(1)) == ((3, 0),)
        assert store.held_keys(FRIDAY + timedelta(1)) == ()
        with store.deciding() as desk:
            desk.release(3)
        assert store.held_keys(MONDAY) == ((1, 4),)

    def test_what_is_no_state_is_a_fault_of_the_caller(self, store: Store) -> None:
        with pytest.raises(ValueError, match="sold"):
            store.quotes(["sold"])


class TestDeciding:
    """At a desk all that is written together comes together, or none of it."""

    def test_it_shows_which_plan_stands(
        self, store: Store, plan: int, input_hash: str, make_plan: MakePlan
    ) -> None:
        with store.deciding() as desk:
            assert desk.data_hash() == input_hash
            assert desk.accepted_header() is None
            retimed = desk.save_plan(
                make_plan(builds=2),
                input_hash=input_hash,
                options={"seed": 7},
                seconds=0.5,
                versions={"x": "1"},
                retimed_from=plan,
            )
            desk.accept_plan(plan)
            newest, first = desk.plan_headers()
            assert desk.plan_header() == newest
            assert desk.plan_header(plan) == first == desk.accepted_header()
        assert (newest.number, newest.retimed_from, newest.options) == (retimed, plan, {"seed": 7})
        assert (first.number, first.retimed_from, first.input_hash) == (plan, None, input_hash)
        assert store.plan_headers() == [newest, first]
        assert store.plan(retimed).plan == make_plan(builds=2)

    def test_a_plan_that_re_times_none_is_refused(
        self, store: Store, input_hash: str, make_plan: MakePlan
    ) -> None:
        with pytest.raises(StoreError, match="there is no plan 9"):
            store.save_plan(
                make_plan(),
                input_hash=input_hash,
                options={},
                seconds=1.0,
                versions={},
                retimed_from=9,
            )
        assert store.plan_headers() == []

    def test_accepting_brings_its_data_its_plan_and_its_state(
        self,
        store: Store,
        new_quote: NewQuote,
        make_dataset: MakeDataset,
        make_plan: MakePlan,
    ) -> None:
        new_quote()
        more = write.prepared(make_dataset(builds=4))
        with store.deciding() as desk:
            told = desk.replace_dataset(more)
            desk.accept(1, chosen=0, promised=EASTER, name="B0003", customer=None)
            number = self._save(desk, make_plan(builds=4), told.data_hash)
            desk.accept_plan(number)
        assert told.changed
        assert store.data_hash() == told.data_hash == more.data_hash
        assert len(store.dataset(["builds"]).builds) == 4
        assert store.quote(1).state == "accepted"
        accepted = store.accepted_header()
        assert accepted is not None
        assert (accepted.number, accepted.builds) == (2, 4)

    def test_an_error_undoes_all_of_it(
        self,
        store: Store,
        new_quote: NewQuote,
        make_dataset: MakeDataset,
        make_plan: MakePlan,
    ) -> None:
        new_quote()
        before = self._state(store)
        more = write.prepared(make_dataset(builds=4))

        def undone() -> None:
            with store.deciding() as desk:
                told = desk.replace_dataset(more)
                desk.hold(1, chosen=0, until=FRIDAY, customer="A")
                number = self._save(desk, make_plan(), told.data_hash)
                desk.accept_plan(number)
                desk.save_quote(
                    plan=number, data_hash=told.data_hash, as_of=MONDAY, asked={}, answer={}
                )
                inside = self._state(desk)
                assert all(new != old for new, old in zip(inside, before, strict=True))
                raise RuntimeError("thought better of it")

        with pytest.raises(RuntimeError, match="thought better"):
            undone()
        assert self._state(store) == before
        assert len(store.dataset(["builds"]).builds) == 3

    def test_what_is_refused_undoes_what_came_before_it(
        self,
        store: Store,
        new_quote: NewQuote,
        input_hash: str,
        make_dataset: MakeDataset,
        make_plan: MakePlan,
    ) -> None:
        new_quote()
        before = self._state(store)
        more = write.prepared(make_dataset(builds=4))

        def refused() -> None:
            with store.deciding() as desk:
                desk.release(1)
                desk.replace_dataset(more)
                self._save(desk, make_plan(), input_hash)  # of the data just replaced

        with pytest.raises(StaleData):
            refused()
        assert self._state(store) == before

    def test_others_read_meanwhile_what_was_there_before(
        self, store: Store, new_quote: NewQuote, address: str
    ) -> None:
        new_quote()
        with open_store(address) as other:
            with store.deciding() as desk:
                desk.hold(1, chosen=0, until=FRIDAY, customer="A")
                assert desk.quotes(["held"]) != []
                assert other.quote(1).state == "quoted"
                assert other.quotes(["held"]) == []
                assert other.quote_numbers() == [1]
            assert other.quote(1).state == "held"

    def _save(self, desk: Desk, plan: Plan, input_hash: str) -> int:
        return desk.save_plan(plan, input_hash=input_hash, options={}, seconds=0.0, versions={})

    def _state(self, of: Store | Desk) -> tuple[object, ...]:
        return of.data_hash(), of.plan_headers(), of.accepted_header(), of.quotes()

"""Data and plans change while somebody holds or accepts: neither undoes the other; see `racing`."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa
from racing import (
    STATIONS,
    Planned,
    Racers,
    assert_accepted_is_planned,
    assert_nothing_twice,
    book,
    task,
)
from tiny_shop import hurried, march, purchase

from fulfil.exchange import write_folder
from fulfil.store.results import PlanHeader
from fulfil.store.tables import DATA_CHANGES
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_machine
from fulfil.usecases.basis import Plans, standing_header
from fulfil.usecases.current import current
from fulfil.usecases.holds import hold, holds
from fulfil.usecases.promise import Promises


@pytest.mark.slow
def test_nobody_holds_what_was_quoted_from_other_data(
    planned: Planned, racers: Racers, tmp_path: Path
) -> None:
    """One loads, in turn, data in which the purchase is due another day, while others ask and
    hold. Loads and holds come one after the other, so their moments tell which data there were."""
    first = book(on_shelf=5)
    second = replace(first, purchases=(purchase("P1", march(17), STATIONS),))
    folders = []
    for name, data in (("second", second), ("first", first)):
        write_folder(data, tmp_path / name)
        folders.append(str(tmp_path / name))
    store = planned(first)
    said = racers.race(
        task("loads", folders=folders * 4, pause_seconds=0.4), *[task("tries", rounds=8)] * 3
    )
    held = {row.quote.number: row.quote for row in holds(store).rows if row.active}
    assert set(held) == {number for row in said for number in row.get("held", ())}
    with store.reading() as connection:
        changes = connection.execute(sa.select(DATA_CHANGES).order_by(DATA_CHANGES.c.change)).all()
    assert len(changes) == len(folders) * 4
    for quote in held.values():
        there = changes[0].hash_before
        for change in changes:
            if change.created < quote.decided:
                there = change.hash_after
        assert quote.data_hash == there
    assert held
    assert_nothing_twice(store)


@pytest.mark.parametrize("meanwhile", ["accept", "hold"])
def test_a_plan_that_was_begun_before_a_decision_does_not_undo_it(
    planned: Planned, racers: Racers, meanwhile: str
) -> None:
    """A quote is accepted, or held, after a search has begun and before its plan is stored."""
    store = planned(book(on_shelf=1))
    number = Promises(store).quote(ask_machine("MACHINE")).quote
    racers.start(task("plans_anew"), gates=2)
    racers.open_gate()
    racers.await_gate(1)
    if meanwhile == "accept":
        accept_quote(store, number)
    else:
        hold(store, number, days=3)
    racers.open_gate()
    (said,), codes = racers.ended()
    assert codes == [0]
    if meanwhile == "accept":
        assert said["wrong"] == "the data were changed while the plan was made; it was not stored"
        assert assert_accepted_is_planned(store) == {number}
    else:
        store.accept_plan(said["plan"])
        assert_nothing_twice(store)
        assert store.plan_header(said["plan"]).options["holds"] == [[number, 0]]


def test_a_quote_is_accepted_beside_the_plan_that_was_accepted_meanwhile(
    planned: Planned, racers: Racers
) -> None:
    """Whoever accepts waits for one who stores and accepts a plan, and then goes on with that."""
    store = planned(book(on_shelf=1))
    number = Promises(store).quote(ask_machine("MACHINE")).quote
    header = standing_header(store)
    assert header is not None
    plan = store.plan(header.number).plan
    racers.start(task("accepts", number=number))
    with store.deciding() as desk:
        racers.open_gate()
        assert racers.say_nothing(seconds=1)
        newer = desk.save_plan(
            plan, input_hash=header.input_hash, options={}, seconds=0.0, versions={}
        )
        desk.accept_plan(newer)
    (said,), codes = racers.ended()
    assert codes == [0]
    assert store.plan_header(said["done"]).retimed_from == newer
    assert assert_accepted_is_planned(store) == {number}


def test_those_who_go_on_with_a_plan_at_once_go_on_with_one(
    planned: Planned, racers: Racers
) -> None:
    """The data changed, and several ask at the same moment what stands now."""
    store = planned(book(on_shelf=5))
    store.replace_dataset(book(on_shelf=4))
    said = racers.race(*[task("retimes")] * 4)
    standing = standing_header(store)
    assert standing is not None
    assert {row["plan"] for row in said} == {standing.number}
    assert len(store.plan_headers()) == 2


def test_a_plan_that_was_gone_on_with_meanwhile_is_not_gone_on_with_once_more(
    planned: Planned, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An order is accepted between the look at the plan and the look at the data.

    An engine ordered today comes on 03-12, on 03-09 for 100,000 more, which the customer pays. To
    go on with the plan before would order it plainly, as three late days cost 3,000: a broken
    promise.
    """
    data = replace(book(on_shelf=0), purchases=(), sources=(hurried(10, by_days=3, cost=100_000),))
    store = planned(data)
    number = Promises(store).quote(ask_machine("MACHINE")).quote
    assert [offer["ships"] for offer in store.quote(number).answer["offers"]] == [
        "2026-03-12",
        "2026-03-09",
    ]
    accepted: list[int] = []

    def looks(plans: Plans) -> PlanHeader | None:
        found = standing_header(plans)
        if not accepted:
            accepted.append(0)
            accepted[0] = accept_quote(store, number, place=1).plan
        return found

    monkeypatch.setattr("fulfil.usecases.current.standing_header", looks)
    assert current(store).basis.plan == accepted[0]
    assert assert_accepted_is_planned(store) == {number}

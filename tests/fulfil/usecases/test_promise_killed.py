"""Whoever holds or accepts is killed at any moment: all of it is there or nothing; see `racing`."""

from __future__ import annotations

import os
import random
import signal
import time
from collections.abc import Callable

import pytest
from racing import (
    PATIENCE_SECONDS,
    Planned,
    Racers,
    assert_accepted_is_planned,
    assert_nothing_twice,
    book,
    task,
)

from fulfil.store.session import Store
from fulfil.usecases.asking import ask_machine
from fulfil.usecases.holds import hold, holds
from fulfil.usecases.promise import Promises

MOMENTS = 10
"""at which a transaction that writes is killed after a statement, and as many by the clock"""


def settle(store: Store) -> None:
    """Waits for a server to notice that those who spoke to it are gone."""
    patience = time.monotonic() + PATIENCE_SECONDS
    while True:
        with store.reading() as connection:
            if connection.dialect.name == "sqlite":
                assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
                assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
                return
            others = connection.exec_driver_sql(
                "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
                "AND pid <> pg_backend_pid() AND state <> 'idle'"
            ).scalar()
        if others == 0:
            return
        assert time.monotonic() < patience
        time.sleep(0.01)


@pytest.mark.slow
def test_killed_at_any_moment_of_a_hold_it_is_held_or_not(planned: Planned, racers: Racers) -> None:
    store = planned(book(on_shelf=40))
    promises = Promises(store)

    def quote() -> int:
        return promises.quote(ask_machine("MACHINE")).quote

    held: set[int] = set()

    def look(number: int) -> bool:
        nonlocal held
        now = {row.quote.number: row for row in holds(store).rows if row.active}
        assert held <= set(now) <= held | {number}
        for row in now.values():
            assert (row.quote.chosen, row.quote.held_until is None) == (0, False)
        assert store.quote(number).state.value == ("held" if number in now else "quoted")
        assert_nothing_twice(store)
        held = set(now)
        return number in now

    _kill_at_moments(racers, store, "holds", quote, look)


@pytest.mark.slow
def test_killed_at_any_moment_of_an_accept_all_of_it_is_there_or_nothing(
    planned: Planned, racers: Racers
) -> None:
    """The build in the data, the quote that is accepted, the plan that goes on: all or none. Every
    other quote is held before."""
    store = planned(book(on_shelf=40))
    promises = Promises(store)
    made: list[int] = []

    def quote() -> int:
        made.append(promises.quote(ask_machine("MACHINE")).quote)
        if len(made) % 2:
            hold(store, made[-1], days=3)
        return made[-1]

    accepted: set[int] = set()

    def look(number: int) -> bool:
        nonlocal accepted
        now = assert_accepted_is_planned(store)
        assert accepted <= now <= accepted | {number}
        accepted = now
        return number in now

    _kill_at_moments(racers, store, "accepts", quote, look)


def _kill_at_moments(
    racers: Racers,
    store: Store,
    name: str,
    quote: Callable[[], int],
    look: Callable[[int], bool],
) -> None:
    """Kills processes that decide on a quote each: at statements of the transaction that writes,
    spread over all of it, and by the clock, within each tenth of the time that it takes.

    `quote` makes the quote; `look` looks at all there is afterwards and says whether it was
    decided on. Each works on what the kill before it left.
    """
    number = quote()
    (whole,) = racers.race(task(name, number=number))
    assert look(number)
    chance = random.Random(20260302)
    last = whole["moments"]
    moments = sorted({1 + round(place * (last - 1) / (MOMENTS - 1)) for place in range(MOMENTS)})
    for dies in moments:
        number = quote()
        racers.start(task(name, number=number, dies=dies))
        racers.open_gate()
        said, codes = racers.ended()
        assert (said, codes) == ([], [-signal.SIGKILL])
        settle(store)
        assert not look(number), "what was not committed is there"
    by_clock = 2 * MOMENTS - len(moments)
    killed = 0
    for place in chance.sample(range(by_clock), by_clock):
        number = quote()
        # Its id is its own as long as a gate is shut, even where it has ended by itself.
        (process,) = racers.start(task(name, number=number), gates=2)
        racers.open_gate()
        time.sleep((place + chance.random()) / by_clock * whole["seconds"] * 1.05)
        os.kill(process, signal.SIGKILL)
        racers.open_gate()
        said, codes = racers.ended()
        killed += codes == [-signal.SIGKILL]
        settle(store)
        assert look(number) or not any("done" in row for row in said)
    assert killed >= by_clock // 4
    number = quote()
    assert "done" in racers.race(task(name, number=number))[0]
    assert look(number)

"""Many people at once: nobody gets what another has; see `racing`."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path

import pytest
from racing import (
    LATER,
    PATIENCE_SECONDS,
    SOON,
    Planned,
    Racers,
    assert_accepted_is_planned,
    assert_nothing_twice,
    book,
    task,
)

from fulfil.usecases.asking import ask_machine
from fulfil.usecases.holds import hold, holds
from fulfil.usecases.promise import Promises


@pytest.mark.slow
def test_fifty_want_the_last_five_engines(planned: Planned, racers: Racers) -> None:
    """All have a quote for an engine from the shelf before the first of them holds one."""
    store = planned(book(on_shelf=5, to_come=50))
    said = racers.race(*[task("takes")] * 50, gates=2)
    assert Counter(row["ships"] for row in said) == {str(SOON): 5, str(LATER): 45}
    assert [row["refused"] for row in said if row["ships"] == str(SOON)] == [0] * 5
    rows = [row for row in holds(store).rows if row.active]
    assert {row.quote.number: row.offer.ships for row in rows} == {
        said_row["held"]: date.fromisoformat(said_row["ships"]) for said_row in said
    }
    assert {row.quote.held_for for row in rows} == {f"customer {place}" for place in range(50)}
    assert_nothing_twice(store)


@pytest.mark.slow
def test_four_want_the_last_two_engines_by_the_command_line(
    address: str, planned: Planned, tmp_path: Path
) -> None:
    store = planned(book(on_shelf=2))
    with ThreadPoolExecutor(4) as customers:
        got = list(customers.map(lambda _: Customer(address, tmp_path).takes(), range(4)))
    assert Counter(ships for _, ships in got) == {str(SOON): 2, str(LATER): 2}
    rows = [row for row in holds(store).rows if row.active]
    assert {f"Q{row.quote.number}": str(row.offer.ships) for row in rows} == dict(got)
    assert_nothing_twice(store)


class Customer:
    """Somebody who types commands."""

    def __init__(self, address: str, folder: Path) -> None:
        self.words = [sys.executable, "-m", "fulfil", "--db", address]
        self.folder = folder

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [*self.words, *words],
            cwd=self.folder,
            env={k: v for k, v in os.environ.items() if not k.startswith("FULFIL_")},
            capture_output=True,
            text=True,
            check=False,
            timeout=PATIENCE_SECONDS,
        )

    def takes(self) -> tuple[str, str]:
        """Asks and holds, what the refusal names where it is refused; the quote, and its date."""
        asked = self.run("promise", "MACHINE", "--json")
        assert asked.returncode == 0, asked.stderr
        quote = json.loads(asked.stdout)["quote"]
        while True:
            held = self.run("hold", quote, "--days", "3", "--json")
            if held.returncode == 0:
                assert "error" not in held.stderr
                return quote, json.loads(held.stdout)["ships"]
            told = re.fullmatch(
                rf"error: {quote} is not good any more: others have taken it: [^\n]*\n\n"
                r"hint: asked again, it ships [\d-]+: `fulfil hold (Q\d+)` keeps that\n",
                held.stderr,
            )
            assert told is not None, held.stderr
            quote = told[1]


@pytest.mark.slow
def test_six_order_at_once_and_each_promise_is_kept(planned: Planned, racers: Racers) -> None:
    """Every order that is accepted makes the quotes of the others old: they are asked anew."""
    store = planned(book(on_shelf=3))
    said = racers.race(*[task("orders")] * 6, gates=2)
    assert Counter(row["promised"] for row in said) == {str(SOON): 3, str(LATER): 3}
    assert assert_accepted_is_planned(store) == {row["accepted"] for row in said}


def test_of_four_that_accept_the_same_quote_one_succeeds(planned: Planned, racers: Racers) -> None:
    store = planned(book(on_shelf=5))
    for held in (False, True):
        number = Promises(store).quote(ask_machine("MACHINE")).quote
        if held:
            hold(store, number, days=3)
        said = racers.race(*[task("accepts", number=number)] * 4)
        assert len([row for row in said if "done" in row]) == 1
        refused = [row["refused"] for row in said if "refused" in row]
        assert all(text.startswith(f"Q{number} was accepted already") for text in refused)
        assert len(refused) == 3
        assert number in assert_accepted_is_planned(store)


def test_holding_and_accepting_one_quote_at_once_gives_it_to_nobody_twice(
    planned: Planned, racers: Racers
) -> None:
    store = planned(book(on_shelf=1))
    quotes = [Promises(store).quote(ask_machine("MACHINE")).quote for _ in range(2)]
    racers.race(
        task("accepts", number=quotes[0]),
        task("holds", number=quotes[1]),
        task("accepts", number=quotes[1]),
        task("holds", number=quotes[0]),
    )
    # Only the last engine on the shelf was quoted, so one of the two has it, and one order at most.
    accepted = assert_accepted_is_planned(store)
    held = {row.quote.number for row in holds(store).rows if row.active}
    assert len(accepted | held) == 1

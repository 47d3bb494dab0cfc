"""Run by the tests of races: processes that quote, hold, accept, load and plan at the same time.

    racers.py

Loads all that is needed once. Each line it reads tells a batch: its database, its tasks, a process
is forked for each of them, and how many gates they come to. Every process opens the database for
itself, says when it stands at a gate, waits there, and says what happened; each further line opens
a gate. Once all have ended their exit codes are said. All lines are JSON.
"""

from __future__ import annotations

import contextlib
import gc
import json
import os
import re
import signal
import sys
import time
import traceback
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from fulfil_models import clashes, forward, planning, repair, taken  # noqa: F401 -- loaded once

from fulfil.errors import Refused
from fulfil.store import StoreError, desk, open_store, plans, quotes, write  # noqa: F401 -- too
from fulfil.store.session import Store
from fulfil.usecases import data
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_machine
from fulfil.usecases.current import current
from fulfil.usecases.holds import hold
from fulfil.usecases.planning import make_plan
from fulfil.usecases.promise import promise

with contextlib.suppress(ImportError):
    import psycopg  # noqa: F401 -- too

MACHINE = "MACHINE"
DAYS = 3
"""that things are held"""
NAMED = re.compile(r"`fulfil hold Q(\d+)`")


class Racer:
    """What a task knows: its place among the others, the gates, and how to tell."""

    def __init__(self, store: Store, place: int, gates: list[int]) -> None:
        self.store = store
        self.place = place
        self._gates = gates
        self._passed = 0

    def say(self, **what: Any) -> None:
        """One line; those of several processes do not mix, as each is written at once."""
        os.write(1, (json.dumps({"racer": self.place, **what}) + "\n").encode())

    def gate(self) -> None:
        """Waits until the next gate is opened."""
        self.say(at=self._passed)
        os.read(self._gates[self._passed], 1)
        self._passed += 1


def named_in(error: Refused) -> int:
    """The new quote that a refusal names; raises the refusal where it names none."""
    found = NAMED.search(error.remedy)
    if found is None:
        raise error
    return int(found[1])


def quoted(racer: Racer) -> int:
    return promise(racer.store, ask_machine(MACHINE)).quote


def takes(racer: Racer) -> None:
    """Asks for a machine and holds it: what it asked for, or what the refusal names instead."""
    racer.gate()
    number, refused = quoted(racer), 0
    racer.gate()
    while True:
        try:
            row = hold(racer.store, number, DAYS, f"customer {racer.place}")
        except Refused as error:
            number, refused = named_in(error), refused + 1
        else:
            racer.say(held=row.quote.number, ships=row.offer.ships.isoformat(), refused=refused)
            return


def orders(racer: Racer) -> None:
    """The same with an order: accepts at once."""
    racer.gate()
    number = quoted(racer)
    racer.gate()
    while True:
        try:
            done = accept_quote(racer.store, number)
        except Refused as error:
            number = named_in(error)
        else:
            racer.say(accepted=done.quote.number, promised=done.promised.isoformat())
            return


def tries(racer: Racer, rounds: int) -> None:
    """Asks and holds so many times, and goes on where it is refused; on a computer so slow that all
    were refused, until others change nothing any more."""
    racer.gate()
    held: list[int] = []
    refused = 0
    while len(held) + refused < rounds or not held:
        number = quoted(racer)
        try:
            row = hold(racer.store, number, DAYS)
        except Refused:
            refused += 1
        else:
            held.append(row.quote.number)
    racer.say(held=held, refused=refused)


def loads(racer: Racer, folders: list[str], pause_seconds: float) -> None:
    """Loads data sets one after the other."""
    racer.gate()
    for folder in folders:
        done = data.load(racer.store, Path(folder), date(2026, 3, 2))
        assert done.loaded
        time.sleep(pause_seconds)
    racer.say(loaded=len(folders))


def holds(racer: Racer, number: int, dies: int | None = None) -> None:
    _decides(racer, dies, lambda: hold(racer.store, number, DAYS).quote.number)


def accepts(racer: Racer, number: int, dies: int | None = None) -> None:
    _decides(racer, dies, lambda: accept_quote(racer.store, number).plan)


def retimes(racer: Racer) -> None:
    """Looks at what stands now, and goes on with the plan where data changed."""
    racer.gate()
    racer.say(plan=current(racer.store).basis.plan)


def plans_anew(racer: Racer) -> None:
    """Makes a plan; at the second gate it has a first one and goes on searching."""
    racer.gate()
    try:
        found = make_plan(
            racer.store, seconds=1, seed=0, mode="repeatable", on_first=lambda _: racer.gate()
        )
    except StoreError as error:
        racer.say(wrong=error.wrong)
    else:
        racer.say(plan=found.number)


def _decides(racer: Racer, dies: int | None, decide: Callable[[], int]) -> None:
    """Decides something; dies by its own hand at some moment of the transaction that writes."""
    moments = _Moments(dies)
    racer.gate()
    began = time.monotonic()
    try:
        done = decide()
    except Refused as error:
        racer.say(refused=error.wrong)
    else:
        racer.say(done=done, seconds=time.monotonic() - began, moments=moments.count)


class _Moments:
    """Counts the moments of transactions that write: after each statement, and before they are
    committed. At one of them the process is killed."""

    def __init__(self, dies: int | None) -> None:
        self.count = 0
        self.dies = dies
        sa.event.listen(sa.Engine, "after_cursor_execute", self._executed)
        sa.event.listen(sa.Engine, "commit", self._passed)

    def _executed(self, connection: sa.Connection, *_: Any) -> None:
        self._passed(connection)

    def _passed(self, connection: sa.Connection) -> None:
        if connection.get_execution_options().get("fulfil_writes"):
            self.count += 1
            if self.count == self.dies:
                os.kill(os.getpid(), signal.SIGKILL)


TASKS: dict[str, Callable[..., None]] = {
    task.__name__: task
    for task in (takes, orders, tries, loads, holds, accepts, retimes, plans_anew)
}


def forked(database: str, place: int, told: dict[str, Any], gates: list[tuple[int, int]]) -> int:
    """Starts a process for a task; its id."""
    process = os.fork()
    if process:
        return process
    code = 1
    try:
        for _, opens in gates:
            os.close(opens)
        with open_store(database) as store:
            words = {name: value for name, value in told.items() if name != "task"}
            TASKS[told["task"]](Racer(store, place, [waits for waits, _ in gates]), **words)
        code = 0
    except BaseException:  # noqa: BLE001 -- nothing else may run in the copy of this process
        traceback.print_exc()
    finally:
        sys.stderr.flush()
        os._exit(code)


def batch(told: dict[str, Any]) -> None:
    database = told["database"]
    gates = [os.pipe() for _ in range(told["gates"])]
    ids = [forked(database, place, task, gates) for place, task in enumerate(told["tasks"])]
    os.write(1, (json.dumps({"ids": ids}) + "\n").encode())
    for _, opens in gates:
        sys.stdin.readline()
        os.close(opens)
    codes = [os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]) for process in ids]
    for waits, _ in gates:
        os.close(waits)
    os.write(1, (json.dumps({"codes": codes}) + "\n").encode())


def main() -> None:
    gc.freeze()  # what the processes share is not copied only because it is looked at
    while line := sys.stdin.readline():
        batch(json.loads(line))


if __name__ == "__main__":
    main()

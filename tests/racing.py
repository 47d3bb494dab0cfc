"""Processes that race for what is promised, and what must be true when they have ended.

The shop of `tiny_shop` with as many stations as anyone wants: whoever has an ENGINE ships a day's
work later. B1 has one of those on the shelf; those that are left ship on Monday 2026-03-02, and
whoever comes too late has one of the purchase that is due on the 16th. The processes are real ones
(`fulfil/usecases/racers.py`), each with a connection of its own.
"""

from __future__ import annotations

import contextlib
import json
import os
import selectors
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import IO, Any

import pytest
from fulfil_models.audit import audit
from fulfil_models.clashes import clashes
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.tables import Dataset, Setting, WorkCentre
from tiny_shop import AS_OF, build, march, purchase, shop, stock

from fulfil.store.session import Store
from fulfil.usecases.basis import settings_of, standing_header
from fulfil.usecases.current import current
from fulfil.usecases.holds import holds
from fulfil.usecases.quote_documents import offer_of

RACERS = Path(__file__).parent / "fulfil" / "usecases" / "racers.py"
SOON, LATER = march(2), march(16)
"""when a machine ships with an engine from the shelf, and with one of the purchase"""
STATIONS = 60
PATIENCE_SECONDS = 300


def book(on_shelf: int, to_come: int = STATIONS) -> Dataset:
    """A data set in which so many engines are left on the shelf."""
    return shop(
        settings=(Setting(key="as_of", value=AS_OF.isoformat()),),
        builds=(build("B1", SOON),),
        stock=(stock(on_shelf + 1),),
        purchases=(purchase("P1", LATER, to_come),),
        work_centres=(WorkCentre(work_centre="CELL", point="A", stations=STATIONS),),
    )


Planned = Callable[[Dataset], Store]


# ---- processes


Said = dict[str, Any]
Task = dict[str, Any]


class Racers:
    """Batches of processes, one after the other; see `fulfil/usecases/racers.py`."""

    def __init__(self, complaints: Path) -> None:
        self._complaints = complaints
        with complaints.open("wb") as errors:
            self.process = subprocess.Popen(
                [sys.executable, str(RACERS)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=errors,
                env={
                    **{k: v for k, v in os.environ.items() if not k.startswith("FULFIL_")},
                    "PYTHONPATH": os.pathsep.join(path for path in sys.path if path),
                },
            )
        self._to, self._from = _pipe(self.process.stdin), _pipe(self.process.stdout)
        self._address = ""
        self._told_of = 0

    def on(self, address: str) -> Racers:
        """The same, with batches on this database from now on."""
        self._address, self._told_of = address, len(self.complaints())
        return self

    def start(self, *tasks: Task, gates: int = 1) -> list[int]:
        """Makes the processes, which stand at the first gate then; their ids."""
        self._tell({"database": self._address, "tasks": tasks, "gates": gates})
        lines = [self._told() for _ in range(len(tasks) + 1)]
        assert sum("at" in line for line in lines) == len(tasks)
        ids: list[int] = next(line["ids"] for line in lines if "ids" in line)
        return ids

    def await_gate(self, count: int) -> None:
        """Waits until so many stand at a gate."""
        for _ in range(count):
            assert "at" in self._told()

    def open_gate(self) -> None:
        self._tell({})

    def ended(self) -> tuple[list[Said], list[int]]:
        """What all of them said, and their exit codes."""
        said: list[Said] = []
        while "codes" not in (line := self._told()):
            said.append(line)
        return said, line["codes"]

    def race(self, *tasks: Task, gates: int = 1) -> list[Said]:
        """All of it where nothing is done meanwhile; each says one thing and ends well."""
        self.start(*tasks, gates=gates)
        for number in range(gates):
            self.open_gate()
            if number + 1 < gates:
                self.await_gate(len(tasks))
        said, codes = self.ended()
        assert codes == [0] * len(tasks), self.complaints()
        assert sorted(line["racer"] for line in said) == list(range(len(tasks)))
        return said

    def say_nothing(self, seconds: float) -> bool:
        """Whether no process says anything for so long."""
        with selectors.DefaultSelector() as waits:
            waits.register(self._from, selectors.EVENT_READ)
            return not waits.select(seconds)

    def complaints(self) -> str:
        """All that it and its processes have had to complain of on this database."""
        return self._complaints.read_text(encoding="utf-8")[self._told_of :]

    def end(self) -> None:
        self._to.close()
        self.process.wait(PATIENCE_SECONDS)

    def kill(self) -> None:
        self.process.kill()
        for pipe in (self._to, self._from):
            with contextlib.suppress(BrokenPipeError):
                pipe.close()
        self.process.wait()

    def _tell(self, what: Any) -> None:
        self._to.write((json.dumps(what) + "\n").encode())
        self._to.flush()

    def _told(self) -> Said:
        line = self._from.readline()
        if not line:
            pytest.fail(f"the racers ended: {self.complaints()}")
        said: Said = json.loads(line)
        return said


def _pipe(pipe: IO[bytes] | None) -> IO[bytes]:
    assert pipe is not None
    return pipe


def task(name: str, **words: Any) -> Task:
    return {"task": name, **words}


# ---- what must be true afterwards


def pieces(store: Store) -> list[Plan]:
    """The plan that stands and what is held beside it."""
    header = standing_header(store)
    assert header is not None
    held = [row.quote for row in holds(store).rows if row.active]
    return [
        store.plan(header.number).plan,
        *[offer_of(quote, quote.chosen or 0).plan for quote in held],
    ]


def assert_nothing_twice(store: Store) -> None:
    """No unit and no station is anybody's twice: as the program sees it, and counted by hand."""
    now = current(store)
    assert clashes(now.dataset, now.settings, now.taken) == ()
    assert [row.broken for row in holds(store).rows if row.broken] == []
    data = store.dataset()
    there = {("stock", row.point, row.part): row.quantity_milli for row in data.stock}
    there |= {("purchase", row.order, row.line): row.quantity_milli for row in data.purchases}
    drawn: Counter[tuple[str, str, str]] = Counter()
    changes: list[tuple[Any, int]] = []
    for piece in pieces(store):
        supplies = {row.supply: row for row in piece.supplies}
        for peg in piece.pegs:
            supply = supplies[peg.supply]
            if supply.kind is SupplyKind.NEW_PURCHASE:
                continue  # ordered for this piece alone
            place = (supply.order or supply.point, supply.line or supply.part)
            drawn[(supply.kind.value, *place)] += peg.quantity_milli
        for row in piece.operations:
            changes += [(row.start, 1), (row.end, -1)]
    assert [key for key, milli in drawn.items() if milli > there[key]] == []
    busy = 0
    for _, change in sorted(changes):
        busy += change
        assert busy <= STATIONS


def assert_accepted_is_planned(store: Store) -> set[int]:
    """What is accepted is in the data and in the plan that stands, and nothing else is; the numbers
    of the quotes."""
    accepted = {row.number: row for row in store.quotes(["accepted"])}
    data, header = store.dataset(), standing_header(store)
    assert header is not None
    assert header.input_hash == store.data_hash()
    plan = store.plan(header.number).plan
    assert audit(data, settings_of(data, AS_OF), plan) == ()
    names = {f"Q{number}" for number in accepted}
    assert {row.build for row in data.builds} == names | {"B1"}
    assert sorted(row.build for row in plan.builds) == sorted(names | {"B1"})
    ships = {row.build: row.ships for row in plan.builds}
    for number, quote in accepted.items():
        assert quote.name == f"Q{number}"
        assert quote.promised is not None
        assert ships[quote.name] <= quote.promised
    assert_nothing_twice(store)
    return set(accepted)

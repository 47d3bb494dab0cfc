"""Many people at once: nobody gets what another has, whatever is killed or changed meanwhile.

The shop of `tiny_shop` with as many stations as anyone wants: whoever has an ENGINE ships a day's
work later. B1 has one of those on the shelf; those that are left ship on Monday 2026-03-02, and
whoever comes too late has one of the purchase that is due on the 16th. The processes are real ones
(`racers.py`), each with a connection of its own.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import re
import selectors
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import IO, Any

import pytest
import sqlalchemy as sa
from fulfil_models.audit import audit
from fulfil_models.clashes import clashes
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.planning import Effort, Workbench, finished, search_plan
from fulfil_models.problem import Problem
from fulfil_models.tables import Dataset, Setting, WorkCentre
from postgresql import Server
from tiny_shop import AS_OF, build, hurried, march, purchase, shop, stock

from fulfil.exchange import write_folder
from fulfil.store import open_store
from fulfil.store.results import PlanHeader
from fulfil.store.session import Store
from fulfil.store.tables import DATA_CHANGES
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_machine
from fulfil.usecases.basis import Plans, settings_of, standing_header
from fulfil.usecases.current import current
from fulfil.usecases.holds import hold, holds
from fulfil.usecases.promise import Promises
from fulfil.usecases.quote_documents import offer_of

RACERS = Path(__file__).with_name("racers.py")
SOON, LATER = march(2), march(16)
"""when a machine ships with an engine from the shelf, and with one of the purchase"""
STATIONS = 60
PATIENCE_SECONDS = 300
MOMENTS = 10
"""at which a transaction that writes is killed after a statement, and as many by the clock"""


def book(on_shelf: int, to_come: int = STATIONS) -> Dataset:
    """A data set in which so many engines are left on the shelf."""
    return shop(
        settings=(Setting(key="as_of", value=AS_OF.isoformat()),),
        builds=(build("B1", SOON),),
        stock=(stock(on_shelf + 1),),
        purchases=(purchase("P1", LATER, to_come),),
        work_centres=(WorkCentre(work_centre="CELL", point="A", stations=STATIONS),),
    )


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Of a database of the test's own, once of each kind."""
    if request.param == "sqlite":
        yield str(tmp_path / "fulfil.db")
        return
    server: Server = request.getfixturevalue("postgresql")
    with server.database(template="empty") as name:
        yield server.url(name)


Planned = Callable[[Dataset], Store]


@pytest.fixture
def planned(address: str) -> Iterator[Planned]:
    """Fills the database with a data set and an accepted plan of it."""
    with open_store(address) as store:

        def fill(data: Dataset) -> Store:
            told = store.replace_dataset(data)
            settings = settings_of(data, AS_OF)
            bench = Workbench(Problem(data, settings))
            plan = finished(bench, search_plan(bench, Effort(seconds=0.2)))
            assert audit(data, settings, plan) == ()
            number = store.save_plan(
                plan, input_hash=told.data_hash, options={}, seconds=0.2, versions={}
            )
            store.accept_plan(number)
            return store

        yield fill


# ---- processes


Said = dict[str, Any]
Task = dict[str, Any]


class Racers:
    """Batches of processes, one after the other; see `racers.py`."""

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


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[Racers]]:
    """Racers that have loaded all that they need, for one test after the other."""
    made = [Racers(tmp_path_factory.mktemp("racers") / "complaints")]
    yield made
    made[0].end()
    code = made[0].process.returncode
    made[0].kill()
    assert code == 0


@pytest.fixture
def racers(
    address: str,
    loaded: list[Racers],
    request: pytest.FixtureRequest,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Racers]:
    """Nothing that they complain of is let pass. Where a test failed they may stand at a gate yet:
    the next one has new ones."""
    failed = request.session.testsfailed
    yield loaded[0].on(address)
    complaints = loaded[0].complaints()
    if complaints or request.session.testsfailed > failed:
        loaded[0].kill()
        loaded[0] = Racers(tmp_path_factory.mktemp("racers") / "complaints")
    assert complaints == ""


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


# ---- who gets what


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


# ---- killed


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


# ---- while something else changes


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

"""What happens to the store when programs are killed, run at once, or may not write.

Each case uses processes of its own (`worker.py`), as the program would run.
"""

from __future__ import annotations

import json
import os
import pickle
import random
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from forked import Process
from fulfil_models.plan import Plan
from fulfil_models.tables import Dataset

from fulfil.store import data_hash, open_store
from fulfil.store.session import Store

MakeDataset = Callable[..., Dataset]
MakePlan = Callable[..., Plan]
Worker = Callable[..., Process]

MONDAY = date(2026, 3, 2)
KILLS = {"sqlite": 20, "postgresql": 5}
PATIENCE_SECONDS = 300
MOST_KILLS = 60
"""where no round was whole before: a busy computer takes longer over one than was measured"""


def told(process: Process) -> dict[str, Any]:
    """The next thing a worker says."""
    line = process.stdout.readline()
    if not line:
        pytest.fail(f"the worker ended: {process.stderr.read()}")
    said: dict[str, Any] = json.loads(line)
    return said


def start(*workers: Process) -> None:
    """Lets workers begin, once all of them are ready."""
    for process in workers:
        assert told(process) == {"ready": True}
    for process in workers:
        process.stdin.write("go\n")
        process.stdin.flush()


def ended_well(process: Process) -> None:
    _, complaint = process.communicate(timeout=PATIENCE_SECONDS)
    assert (process.returncode, complaint) == (0, "")


@pytest.fixture
def pickled(tmp_path: Path) -> Callable[..., str]:
    """Writes what a worker is given to a file."""

    def write(**given: Any) -> str:
        path = tmp_path / f"given-{len(list(tmp_path.iterdir()))}.pickle"
        path.write_bytes(pickle.dumps(given))
        return str(path)

    return write


def test_killed_at_any_moment_it_holds_the_state_before_or_after(
    address: str,
    worker: Worker,
    pickled: Callable[..., str],
    make_dataset: MakeDataset,
    make_plan: MakePlan,
) -> None:
    """kill -9 at random moments of loads and of storing plans, one after the other on the same
    database, so that each start also works on what the kill before it left."""
    datasets = [make_dataset(builds=600, customer="A"), make_dataset(builds=500, customer="B")]
    allowed = {data_hash(dataset) for dataset in datasets}
    plan = make_plan(builds=300)
    given = pickled(datasets=datasets, plan=plan)
    chance = random.Random(20260302)

    # How long one load and one plan take here, so that the moments fall into all of it.
    process = worker("alternate", address, given)
    start(process)
    told(process)
    began = time.monotonic()
    told(process)
    round_seconds = time.monotonic() - began
    process.kill()
    process.wait()

    rounds = kills = 0
    plans = _check_whole(address, allowed, plan)
    process = worker("alternate", address, given)
    while kills < KILLS["postgresql" if "://" in address else "sqlite"] or (
        rounds == 0 and kills < MOST_KILLS
    ):
        kills += 1
        start(process)
        time.sleep(chance.uniform(0, 2 * round_seconds))
        process.send_signal(signal.SIGKILL)
        said, _ = process.communicate()
        assert process.returncode == -signal.SIGKILL
        whole_rounds = said.count("\n")
        process = worker("alternate", address, given)
        before, plans = plans, _check_whole(address, allowed, plan)
        # Each whole round stored one plan; the one broken off may have got as far or not.
        assert plans - before in (whole_rounds, whole_rounds + 1)
        rounds += whole_rounds
    assert rounds > 0


def _check_whole(address: str, allowed: set[str], plan: Plan) -> int:
    """The number of plans, after looking at the whole database."""
    with open_store(address) as store:
        _wait_for_the_dead(store)
        with store.reading() as connection:
            if connection.dialect.name == "sqlite":
                assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
                assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
            rows = connection.exec_driver_sql("SELECT plan, count(*) FROM plan_pegs GROUP BY plan")
            assert {count for _, count in rows} == {len(plan.pegs)}
        stored = store.data_hash()
        assert stored in allowed
        # The hash that is written down is that of the rows that are there.
        assert data_hash(store.dataset()) == stored
        headers = store.plan_headers()
        assert {header.input_hash for header in headers} <= allowed
        assert store.plan().plan == plan
        return len(headers)


def _wait_for_the_dead(store: Store) -> None:
    """A server notices a moment later that who spoke to it is gone; until then it goes on."""
    patience = time.monotonic() + PATIENCE_SECONDS
    while True:
        with store.reading() as connection:
            if connection.dialect.name == "sqlite":
                return
            others = connection.exec_driver_sql(
                "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
                "AND pid <> pg_backend_pid() AND state <> 'idle'"
            ).scalar()
        if others == 0:
            return
        assert time.monotonic() < patience
        time.sleep(0.01)


def test_two_loads_at_once_one_waits_and_both_are_whole(
    address: str, worker: Worker, pickled: Callable[..., str], make_dataset: MakeDataset
) -> None:
    datasets = [make_dataset(builds=3000, customer=customer) for customer in "AB"]
    loads = [worker("load", address, pickled(dataset=dataset)) for dataset in datasets]
    start(*loads)
    answers = [told(process) for process in loads]
    for process in loads:
        ended_well(process)
    hashes = [data_hash(dataset) for dataset in datasets]
    assert [answer["changed"] for answer in answers] == [True, True]
    assert [answer["data_hash"] for answer in answers] == hashes
    # They were at it at the same time, and the one that ended last is what is stored.
    assert max(answer["began"] for answer in answers) < min(answer["ended"] for answer in answers)
    last = max(answers, key=lambda answer: answer["ended"])
    with open_store(address) as store:
        assert store.data_hash() == last["data_hash"] == data_hash(store.dataset())


def test_a_load_waits_for_a_writer_and_then_goes_on(
    address: str, worker: Worker, pickled: Callable[..., str], make_dataset: MakeDataset
) -> None:
    dataset = make_dataset()
    process = worker("load", address, pickled(dataset=dataset))
    with open_store(address) as other, other.writing():
        start(process)
        with pytest.raises(subprocess.TimeoutExpired):
            process.wait(timeout=0.7)
        with open_store(address) as store:
            assert store.data_hash() is None  # readers are not held up
        let_go = time.time()
    answer = told(process)
    ended_well(process)
    assert answer["changed"]
    assert answer["began"] < let_go < answer["ended"]


def test_writers_in_a_loop_never_fail_and_never_lose_a_change(
    address: str,
    worker: Worker,
    pickled: Callable[..., str],
    make_dataset: MakeDataset,
    make_plan: MakePlan,
) -> None:
    """Four processes: two add to one number after reading it, one loads, one reads and accepts."""
    rounds = 60 if "://" in address else 150
    datasets = [make_dataset(customer=customer) for customer in "AB"]
    with open_store(address) as store:
        stored = store.replace_dataset(datasets[0])
        store.save_plan(
            make_plan(), input_hash=stored.data_hash, options={}, seconds=0.0, versions={}
        )
        with store.writing() as connection:
            connection.exec_driver_sql("CREATE TABLE counter (value INTEGER)")
            connection.exec_driver_sql("INSERT INTO counter VALUES (0)")
    given = pickled(datasets=datasets, rounds=rounds)
    tasks = ("counts", "counts", "loads", "accepts")
    workers = [worker(task, address, given) for task in tasks]
    start(*workers)
    for process in workers:
        assert told(process) == {"rounds": rounds}
        ended_well(process)
    with open_store(address) as store:
        with store.reading() as connection:
            value = connection.exec_driver_sql("SELECT value FROM counter").scalar()
        assert value == 2 * rounds
        assert store.data_hash() == data_hash(datasets[1])
        assert store.accepted_header() is not None


@pytest.fixture
def quoted(address: str, make_dataset: MakeDataset, make_plan: MakePlan) -> Callable[[int], str]:
    """Fills the database with a data set, a plan and some quotes on it; returns its address."""

    def fill(number: int) -> str:
        with open_store(address) as store:
            told = store.replace_dataset(make_dataset())
            plan = store.save_plan(
                make_plan(), input_hash=told.data_hash, options={}, seconds=0.0, versions={}
            )
            for _ in range(number):
                store.save_quote(
                    plan=plan, data_hash=told.data_hash, as_of=MONDAY, asked={}, answer={}
                )
        return address

    return fill


def test_two_that_decide_at_once_never_take_the_same(
    quoted: Callable[[int], str], worker: Worker, pickled: Callable[..., str]
) -> None:
    """Each looks for the oldest quote that is open and holds it: in one transaction, so that no
    other has taken it in between."""
    address = quoted(40)
    workers = [worker("takes", address, pickled()) for _ in range(2)]
    start(*workers)
    answers = [told(process) for process in workers]
    for process in workers:
        ended_well(process)
    assert max(answer["began"] for answer in answers) < min(answer["ended"] for answer in answers)
    assert sorted(answers[0]["taken"] + answers[1]["taken"]) == list(range(1, 41))
    by_number = {number: one["customer"] for one in answers for number in one["taken"]}
    with open_store(address) as store:
        assert {quote.number: quote.held_for for quote in store.quotes(["held"])} == by_number


def test_who_decides_second_sees_what_the_first_decided(
    quoted: Callable[[int], str], worker: Worker, pickled: Callable[..., str]
) -> None:
    address = quoted(2)
    process = worker("takes", address, pickled())
    with open_store(address) as store, store.deciding() as desk:
        start(process)
        with pytest.raises(subprocess.TimeoutExpired):
            process.wait(timeout=0.7)
        desk.hold(1, chosen=0, until=MONDAY, customer="the first")
    assert told(process)["taken"] == [2]
    ended_well(process)


def test_killed_in_the_middle_of_deciding_nothing_was_decided(
    quoted: Callable[[int], str],
    worker: Worker,
    pickled: Callable[..., str],
    make_dataset: MakeDataset,
    make_plan: MakePlan,
) -> None:
    address = quoted(1)
    with open_store(address) as store:
        before = (store.data_hash(), store.plan_headers(), store.quotes())
    given = pickled(dataset=make_dataset(builds=300, customer="B"), plan=make_plan(builds=300))
    process = worker("lingers", address, given)
    start(process)
    assert told(process) == {"decided": 2}
    process.kill()
    process.wait()
    assert _check_whole(address, {str(before[0])}, make_plan()) == 1
    with open_store(address) as store:
        assert (store.data_hash(), store.plan_headers(), store.quotes()) == before
        with store.deciding() as desk:  # and nobody is kept waiting
            desk.release(1)
        assert store.quote(1).state == "released"


def test_several_first_openings_at_once_make_one_database(
    new_address: str, worker: Worker, pickled: Callable[..., str]
) -> None:
    given = pickled()
    workers = [worker("opens", new_address, given) for _ in range(4)]
    start(*workers)
    for process in workers:
        assert told(process) == {"data_hash": None}
        ended_well(process)


def test_first_connections_at_once_set_the_way_of_writing_without_fail(
    tmp_path: Path, worker: Worker, pickled: Callable[..., str]
) -> None:
    """SQLite refuses at once, without waiting, where two begin the write-ahead log of a new file
    at the same moment: seen in 4 of 100 such openings."""
    rounds = 60
    given = pickled(rounds=rounds)
    workers = [worker("connects", str(tmp_path / "new.db"), given) for _ in range(4)]
    start(*workers)
    for process in workers:
        assert told(process) == {"rounds": rounds}
        ended_well(process)


@pytest.fixture
def reachable() -> Iterator[Path]:
    """A folder that other users may enter, which those of pytest are not."""
    path = Path(tempfile.mkdtemp())
    path.chmod(0o755)
    yield path
    shutil.rmtree(path)


@pytest.mark.parametrize("what", ["file", "folder", "new"])
def test_without_the_right_to_write(
    reachable: Path,
    database: Path,
    worker: Worker,
    pickled: Callable[..., str],
    make_dataset: MakeDataset,
    what: str,
) -> None:
    """A file that may not be written, one in a folder that may not, and none in such a folder.

    Rights do not bind root, so the worker goes on as another user where root runs the tests.
    """
    path = reachable / "fulfil.db"
    if what != "new":
        shutil.copy(database, path)
        path.chmod(0o444)
    reachable.chmod(0o777 if what == "file" else 0o555)
    before = path.read_bytes() if path.exists() else None
    process = worker("without_rights", str(path), pickled(dataset=make_dataset()))
    start(process)
    answers = []
    while not answers or "wrong" not in answers[-1]:
        answers.append(told(process))
    ended_well(process)
    reachable.chmod(0o755)
    assert not any("stored" in answer for answer in answers)
    assert str(path) in answers[-1]["wrong"]
    assert "writ" in answers[-1]["wrong"] + answers[-1]["remedy"]
    assert (path.read_bytes() if path.exists() else None) == before
    assert os.access(reachable, os.W_OK)

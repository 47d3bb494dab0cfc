"""What kill -9 leaves of the whole command `fulfil plan`: the plans before or the plans after."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import small_shop
from books import Shape, random_book
from fulfil_models.audit import audit
from fulfil_models.plan import Plan
from fulfil_models.settings import parse_settings
from fulfil_models.tables import Dataset

from fulfil.store import open_store

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        not Path("/proc/self/stat").exists(), reason="which processes are left is read from /proc"
    ),
]

KILLS = 10
"""of each of two books: 20 together"""
MOST_TRIES = 3 * KILLS
"""where the command took less time than was measured before"""
PATIENCE_SECONDS = 300
GRACE_SECONDS = 60.0
"""in which the processes of a killed program must be gone"""


def small_book() -> Dataset:
    """Proven in no time, so that a good part of the command is reading, checking and storing."""
    return small_shop.dataset()


def large_book() -> Dataset:
    """Searched for until the seconds are over."""
    return random_book(1, Shape(builds=40, operations=3))


def stored(dataset: Dataset, folder: Path) -> Path:
    """A database that holds the data set and no plan."""
    path = folder / "fulfil.db"
    with open_store(str(path)) as store:
        store.replace_dataset(dataset)
    return path


def planning(database: Path, seconds: int = 1) -> subprocess.Popen[str]:
    """The command as a user starts it, in a process group of its own."""
    plan = ["plan", "--seconds", str(seconds)]
    words = [sys.executable, "-m", "fulfil", "--db", str(database), *plan]
    environment = {k: v for k, v in os.environ.items() if not k.startswith("FULFIL_")}
    return subprocess.Popen(
        words,
        cwd=database.parent,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
    )


def members(group: int) -> Iterator[int]:
    """Processes of a group that still run; those that only wait to be noticed do not count."""
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                fields = (entry / "stat").read_text(encoding="utf-8").rpartition(")")[2].split()
            except (FileNotFoundError, ProcessLookupError):
                continue  # ended while we looked
            if int(fields[2]) == group and fields[0] != "Z":
                yield int(entry.name)


def left_of(group: int, seconds: float = GRACE_SECONDS) -> list[int]:
    """Processes of a group that are left when the grace is over; those are then killed."""
    until = time.monotonic() + seconds
    while (left := list(members(group))) and time.monotonic() < until:
        time.sleep(0.02)
    if left:
        os.killpg(group, signal.SIGKILL)
    return left


def check_whole(database: Path, sound: dict[int, Plan]) -> int:
    """The number of plans, each of which is whole: it keeps every rule on the data it is of.

    `sound` has those that were found so before, which must be the same still; what is found now is
    added to it.
    """
    with open_store(str(database)) as store:
        with store.reading() as connection:
            assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
            assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
        dataset, data_hash = store.dataset(), store.data_hash()
        headers = store.plan_headers()
        for header in headers:
            plan = store.plan(header.number).plan
            assert header.input_hash == data_hash
            assert len(plan.builds) == header.builds
            if header.number in sound:
                assert plan == sound[header.number]
            else:
                assert audit(dataset, parse_settings(dataset.settings, plan.as_of), plan) == ()
                sound[header.number] = plan
    assert set(sound) == {header.number for header in headers}
    return len(headers)


@pytest.mark.parametrize("book", [small_book, large_book])
def test_killed_at_any_moment_it_holds_the_plans_before_or_after(
    book: Callable[[], Dataset], tmp_path: Path
) -> None:
    """Moments are spread over the command, by chance within each tenth of the time that it takes,
    and a little beyond; each run works on what the kill before it left."""
    database = stored(book(), tmp_path)
    chance = random.Random(20260914)
    began = time.monotonic()
    whole = planning(database)
    told, _ = whole.communicate(timeout=PATIENCE_SECONDS)
    seconds = time.monotonic() - began
    assert whole.returncode == 0
    assert told.startswith("plan 1 of ")
    sound: dict[int, Plan] = {}
    plans = check_whole(database, sound)
    assert plans == 1

    killed = tries = 0
    places = chance.sample(range(KILLS), KILLS)
    while places:
        number, tries = places.pop(), tries + 1
        moment = (number + chance.random()) / KILLS * seconds * 1.05
        process = planning(database)
        began = time.monotonic()
        try:
            process.wait(moment)
        except subprocess.TimeoutExpired:
            killed += 1
            os.killpg(process.pid, signal.SIGKILL)
        else:  # others take less of the computer than before: to be tried again, if it was early
            took = time.monotonic() - began
            if number < KILLS - 2 and tries < MOST_TRIES:
                seconds = min(seconds, took)
                places.append(number)
        told, _ = process.communicate(timeout=PATIENCE_SECONDS)
        assert left_of(process.pid) == []
        before, plans = plans, check_whole(database, sound)
        assert plans in (before, before + 1)
        if told:
            assert plans == before + 1, "a plan was told of and not kept"
    assert killed >= KILLS - 3

    again = planning(database)
    told, _ = again.communicate(timeout=PATIENCE_SECONDS)
    assert again.returncode == 0
    assert told.startswith("plan ")
    assert check_whole(database, sound) == plans + 1


def test_the_processes_of_a_killed_program_end_with_it(tmp_path: Path) -> None:
    """Only the program itself is killed, while its processes search: none may stay behind."""
    database = stored(large_book(), tmp_path)
    process = planning(database, seconds=PATIENCE_SECONDS)
    until = time.monotonic() + PATIENCE_SECONDS
    while len(list(members(process.pid))) < 3:  # the program and two that search, at the least
        assert time.monotonic() < until, "the program started no others"
        assert process.poll() is None, "the program ended before it was killed"
        time.sleep(0.02)
    time.sleep(0.5)
    assert process.poll() is None
    process.kill()
    left = left_of(process.pid)
    process.communicate(timeout=PATIENCE_SECONDS)
    assert left == []
    assert check_whole(database, {}) == 0

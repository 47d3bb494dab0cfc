"""Run by the fault tests in processes of their own: does one task on a database, as told.

    worker.py serve

A process is forked for each task, with the words TASK DATABASE PICKLE (see `forked.py`).

Says `ready` once all is loaded, starts when it reads a line, says what happened as JSON lines.
"""

from __future__ import annotations

import contextlib
import json
import os
import pickle
import sys
import time
from datetime import date
from pathlib import Path
from typing import Any

from forked import serve

from fulfil.store import StoreError, open_store, plans, quotes, read, write  # noqa: F401 -- loaded before the start
from fulfil.store.dialect import address_of, engine_for
from fulfil.store.session import Store

with contextlib.suppress(ImportError):
    import psycopg  # noqa: F401 -- too

NOBODY = 65534


def say(**what: Any) -> None:
    print(json.dumps(what), flush=True)  # noqa: T201 -- how it answers


def ready() -> None:
    say(ready=True)
    sys.stdin.readline()


def load(store: Store, given: dict[str, Any]) -> None:
    """One load, with the moments at which it began and ended."""
    ready()
    began = time.time()
    result = store.replace_dataset(given["dataset"])
    say(changed=result.changed, data_hash=result.data_hash, began=began, ended=time.time())


def alternate(store: Store, given: dict[str, Any]) -> None:
    """Stores data sets in turn, a plan after each, until killed."""
    ready()
    while True:
        for dataset in given["datasets"]:
            told = store.replace_dataset(dataset)
            store.save_plan(
                given["plan"], input_hash=told.data_hash, options={}, seconds=0.0, versions={}
            )
            say(rounds=1)


def loads(store: Store, given: dict[str, Any]) -> None:
    """Stores data sets in turn as often as told."""
    ready()
    for number in range(given["rounds"]):
        store.replace_dataset(given["datasets"][number % 2])
    say(rounds=given["rounds"])


def accepts(store: Store, given: dict[str, Any]) -> None:
    """Reads a plan and accepts it as often as told."""
    ready()
    for _ in range(given["rounds"]):
        store.accept_plan(store.plan_header().number)
    say(rounds=given["rounds"])


def counts(store: Store, given: dict[str, Any]) -> None:
    """Adds one to a number, reading it first, as often as told."""
    ready()
    for _ in range(given["rounds"]):
        with store.writing() as connection:
            (value,) = connection.exec_driver_sql("SELECT value FROM counter").one()
            connection.exec_driver_sql(f"UPDATE counter SET value = {int(value) + 1}")
    say(rounds=given["rounds"])


def takes(store: Store, given: dict[str, Any]) -> None:
    """Holds one open quote after the other until there is none, and says which, and when."""
    ready()
    began, taken = time.time(), []
    while True:
        with store.deciding() as desk:
            found = desk.quotes(["quoted"])
            if not found:
                break
            time.sleep(0.005)
            number = found[-1].number
            desk.hold(number, chosen=0, until=date(2026, 3, 6), customer=str(os.getpid()))
        taken.append(number)
        time.sleep(0.02)
    say(taken=taken, began=began, ended=time.time(), customer=str(os.getpid()))


def lingers(store: Store, given: dict[str, Any]) -> None:
    """Decides everything that can be, and never comes to the end of it."""
    prepared = write.prepared(given["dataset"])
    ready()
    with store.deciding() as desk:
        told = desk.replace_dataset(prepared)
        desk.accept(1, chosen=0, promised=date(2026, 4, 5), name="B9", customer=None)
        number = desk.save_plan(
            given["plan"], input_hash=told.data_hash, options={}, seconds=0.0, versions={}
        )
        desk.accept_plan(number)
        say(decided=number)
        time.sleep(600)


def opens(database: str, given: dict[str, Any]) -> None:
    """Opens the database for the first time, together with others."""
    ready()
    with open_store(database) as store:
        say(data_hash=store.data_hash())


def connects(database: str, given: dict[str, Any]) -> None:
    """Connects to new files, at the same moments as others that were started together."""
    ready()
    first = (int(time.time() / 0.5) + 2) * 0.5
    for number in range(given["rounds"]):
        time.sleep(max(0.0, first + 0.02 * number - time.time()))
        engine = engine_for(address_of(f"{database}.{number}"), wait_seconds=10)
        engine.connect().close()
        engine.dispose()
    say(rounds=given["rounds"])


def without_rights(database: str, given: dict[str, Any]) -> None:
    """Opens the database as a user who may not write it, reads, and tries to store."""
    with open_store("sqlite://") as store:  # loads what is needed while it may still be read
        store.replace_dataset(given["dataset"])
        store.dataset()
    if os.geteuid() == 0:
        os.setgid(NOBODY)
        os.setuid(NOBODY)
    ready()
    try:
        with open_store(database) as store:
            say(read=store.data_hash())
            store.replace_dataset(given["dataset"])
            say(stored=True)
    except StoreError as error:
        say(wrong=error.wrong, remedy=error.remedy)


ON_STORE = {"load": load, "alternate": alternate, "loads": loads, "accepts": accepts}
ON_STORE |= {"counts": counts, "takes": takes, "lingers": lingers}
ON_PATH = {"opens": opens, "connects": connects, "without_rights": without_rights}


def main(task: str, database: str, pickled: str) -> None:
    given = pickle.loads(Path(pickled).read_bytes())
    if task in ON_PATH:
        ON_PATH[task](database, given)
        return
    with open_store(database) as store:
        ON_STORE[task](store, given)


if __name__ == "__main__":
    open_store("sqlite://").close()  # loads what makes the tables
    serve(main)

"""Databases with a planned shop: that of `sales_shop`, or that of `racing`, where many race."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import sales_shop
from fulfil_models.audit import audit
from fulfil_models.planning import Effort, Workbench, finished, search_plan
from fulfil_models.problem import Problem
from fulfil_models.tables import Dataset
from postgresql import Server
from racing import Planned, Racers
from tiny_shop import AS_OF

from fulfil.store import open_store
from fulfil.store.session import Store
from fulfil.usecases.basis import settings_of


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Of a database of the test's own, once of each kind."""
    if request.param == "sqlite":
        yield str(tmp_path / "fulfil.db")
        return
    server: Server = request.getfixturevalue("postgresql")
    with server.database(template="empty") as name:
        yield server.url(name)


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


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """The shop of `sales_shop`, planned; a module may have another of its own."""
    with sales_shop.planned(tmp_path / "fulfil.db", sales_shop.book()) as store:
        yield store

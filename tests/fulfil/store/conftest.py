"""A database to work on and small data sets and plans to put into it."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import date, datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from forked import Forks, Process
from fulfil_models.plan import (
    Blocker,
    BlockerKind,
    Objective,
    Peg,
    Plan,
    PlannedBuild,
    PlannedJob,
    PlannedOperation,
    Reason,
    Shipment,
    Status,
    Stranded,
    Supply,
    SupplyKind,
)
from fulfil_models.tables import (
    BillLine,
    Build,
    Dataset,
    Downtime,
    Lane,
    Part,
    Point,
    RoutingStep,
    Setting,
    Shift,
    WorkCentre,
)
from postgresql import Server

from fulfil.store import open_store
from fulfil.store.dialect import address_of
from fulfil.store.session import Store

WORKER = Path(__file__).with_name("worker.py")

MONDAY = date(2026, 3, 2)
EIGHT = datetime(2026, 3, 2, 8)
NOON = datetime(2026, 3, 2, 12)


def make_dataset(builds: int = 3, customer: str = "A") -> Dataset:
    """A small data set with `builds` builds, each with a product and routing of its own."""
    products = [f"LT-{number:04}" for number in range(builds)]
    return Dataset(
        settings=(Setting(key="as_of", value="2026-03-02"),),
        points=(Point(point="BOI", latitude_micro=43_615_000, cutoff=15 * 60),),
        shifts=(
            Shift(calendar="standard", weekday="Tue", opens=8 * 60, closes=12 * 60),
            Shift(calendar="standard", weekday="Mon", opens=8 * 60, closes=24 * 60),
        ),
        parts=(
            Part(part="E-40", cost_micro=1_234_567_891, weight_g=91_500),
            *[Part(part=product, make=True, description="Ü 🏗 'x'") for product in products],
        ),
        bills=tuple(
            BillLine(parent=product, component="E-40", quantity_milli=1000, ends=ends)
            for product in products
            for ends in (MONDAY, None)
        ),
        lanes=(
            Lane(origin="BOI", destination="BOI", days=1, weekdays=("Tue", "Fri")),
            Lane(origin="BOI", destination="RNO", days=1),
        ),
        work_centres=(WorkCentre(work_centre="FRAME", point="BOI", stations=2),),
        downtime=(Downtime(work_centre="FRAME", starts=EIGHT, ends=NOON, stations=1),),
        routings=tuple(
            RoutingStep(part=product, operation=step, work_centre="FRAME", minutes_milli=90_500)
            for product in products
            for step in (20, 10)
        ),
        builds=tuple(
            Build(
                build=f"B{number:04}",
                product=product,
                point="BOI",
                ordered=MONDAY,
                # a date, a moment and no promise in turn
                promised=(date(2026, 4, 1), datetime(2026, 4, 1, 14, 30), None)[number % 3],
                customer=customer,
            )
            for number, product in enumerate(products)
        ),
        notes=("no calendar is given: standard hours",),
    )


def make_plan(builds: int = 3, total: Fraction = Fraction(1, 3)) -> Plan:
    """A plan with something in each of its parts; every build but each third is late."""
    names = [f"B{number:04}" for number in range(builds)]
    frames = [f"{name}/FRAME" for name in names]
    return Plan(
        as_of=MONDAY,
        status=Status.FEASIBLE,
        objective=Objective(lateness=total, transfers=Fraction(5), deliveries=Fraction(7, 9)),
        bound=Fraction(1, 7),
        weighted_late_minutes=Fraction(22, 7),
        builds=tuple(
            PlannedBuild(
                build=name,
                product="LT-0001",
                point="BOI",
                ordered=MONDAY,
                promised=(date(2026, 3, 1), datetime(2026, 3, 1, 9, 30), None)[number % 3],
                finish=NOON,
                ships=MONDAY,
                late_minutes=240 if number % 3 < 2 else 0,
                late_days=1 if number % 3 < 2 else 0,
                lead_days=0,
                reasons=(
                    Reason(name, 20, BlockerKind.WORK_CENTRE, "FRAME", NOON, "two stand before"),
                    Reason(f"{name}/FRAME", None, BlockerKind.PART, "E-40", EIGHT, "it comes then"),
                ),
                blockers=(
                    Blocker(
                        BlockerKind.PART, "E-40", EIGHT, 31, "due then", "PO1/1", ("B1", "B 2")
                    ),
                    Blocker(BlockerKind.WORK, name, None, 0, "the work itself"),
                )[: number % 3],
            )
            for number, name in enumerate(names)
        ),
        jobs=(
            *[PlannedJob(name, name, "LT-0001", 1000) for name in names],
            *[
                PlannedJob(frame, name, "FRAME-1", 2500, name, 20)
                for name, frame in zip(names, frames, strict=True)
            ],
        ),
        operations=tuple(
            PlannedOperation(job, step, centre, EIGHT, NOON)
            for job in (*names, *frames)
            for step, centre in ((20, "TEST"), (10, "FRAME"))
        ),
        pegs=(
            *[Peg(name, 20, "E-40", "E-40", 1000, "PO1/1", "BOI", EIGHT) for name in names],
            *[Peg(frame, None, "E-40", "E-41", 1500, "S1", "BOI", NOON) for frame in frames],
        ),
        shipments=(
            Shipment("SO1", "1", "E-40", "E-41", 1000, "S1", "BOI", MONDAY, date(2026, 3, 4), 2),
        ),
        supplies=(
            Supply("PO1/1", SupplyKind.PURCHASE, "E-40", "BOI", 9000, EIGHT, order="PO1", line="1"),
            Supply("S1", SupplyKind.STOCK, "E-41", "BOI", 99_000, EIGHT),
            Supply(
                "N1",
                SupplyKind.NEW_PURCHASE,
                "E-40",
                "RNO",
                1000,
                NOON,
                supplier="ACME",
                place_on=MONDAY,
                expedited=True,
                arrives_on=date(2026, 3, 9),
            ),
            Supply(
                "T1",
                SupplyKind.TRANSFER,
                "E-40",
                "BOI",
                1000,
                NOON,
                origin="RNO",
                from_supply="N1",
                leaves_on=date(2026, 3, 10),
                arrives_on=date(2026, 3, 12),
            ),
            Supply("J1", SupplyKind.JOB, "FRAME-1", "BOI", 2500, NOON, job=frames[0]),
        ),
        stranded=(Stranded("parts_order", "SO2/1", ("E-99", "E-98")),),
        notes=("the purchase PO1/1 is past due", "its date is not confirmed"),
    )


@pytest.fixture(name="make_dataset")
def _make_dataset() -> Callable[..., Dataset]:
    return make_dataset


@pytest.fixture(name="make_plan")
def _make_plan() -> Callable[..., Plan]:
    return make_plan


@pytest.fixture(scope="session")
def empty_database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with all its tables and nothing in them, to be copied."""
    path = tmp_path_factory.mktemp("store") / "empty.db"
    open_store(str(path)).close()
    return path


@pytest.fixture
def database(empty_database: Path, tmp_path: Path) -> Path:
    """A database of the test's own."""
    return Path(shutil.copy(empty_database, tmp_path / "fulfil.db"))


KINDS = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)]
"""of database, for what must hold in each of them"""


@pytest.fixture
def server_database(postgresql: Server) -> Iterator[str]:
    """The URL of a PostgreSQL database of the test's own, with all its tables."""
    with postgresql.database(template="empty") as name:
        yield postgresql.url(name)


@pytest.fixture
def new_server_database(postgresql: Server) -> Iterator[str]:
    """The URL of a PostgreSQL database with nothing in it."""
    with postgresql.database() as name:
        yield postgresql.url(name)


@pytest.fixture(params=KINDS)
def address(request: pytest.FixtureRequest) -> str:
    """Of a database of the test's own, with all its tables: once of each kind."""
    of_kind = {"sqlite": "database", "postgresql": "server_database"}
    return str(request.getfixturevalue(of_kind[request.param]))


@pytest.fixture(params=KINDS)
def new_address(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a database is to be made, once of each kind."""
    if request.param == "sqlite":
        return str(tmp_path / "new.db")
    return str(request.getfixturevalue("new_server_database"))


Ask = Callable[..., list[tuple[Any, ...]]]


@pytest.fixture
def ask() -> Ask:
    """Runs statements on a database without the store, commits, and answers the last one's rows."""

    def do(address: str, *statements: str) -> list[tuple[Any, ...]]:
        engine = sa.create_engine(address_of(address).url)
        found: list[tuple[Any, ...]] = []
        with engine.begin() as connection:
            for statement in statements:
                done = connection.exec_driver_sql(statement)
                found = [tuple(row) for row in done] if done.returns_rows else []
        engine.dispose()
        return found

    return do


@pytest.fixture
def store(address: str) -> Iterator[Store]:
    with open_store(address) as opened:
        yield opened


@pytest.fixture
def file_store(database: Path) -> Iterator[Store]:
    with open_store(str(database)) as opened:
        yield opened


Worker = Callable[..., Process]


@pytest.fixture(scope="module")
def forks() -> Iterator[Forks]:
    """`worker.py`, with all that it needs loaded."""
    made = Forks(WORKER)
    yield made
    made.close()


@pytest.fixture
def worker(forks: Forks) -> Iterator[Worker]:
    """Starts a task of `worker.py` in a process of its own; what runs at the end is killed."""
    started: list[Process] = []

    def start(*arguments: str) -> Process:
        started.append(forks.start(*arguments))
        return started[-1]

    yield start
    for process in started:
        process.end()

"""A shop of a few machines for tests of what is promised, held and accepted, with dates by hand.

The shop of `tiny_shop`: a MACHINE takes one ENGINE and a whole day on the only station of CELL, so
one machine ships a day. The planning date is Monday 2026-03-02. B1 and B2 are promised for the 2nd
and the 3rd and can be nowhere else if both promises are to be kept. Of three engines on the shelf
one is free; P1/1 brings one on the 16th, and whoever orders one today has it on the 31st. So of
what is new the first ships on 03-04, the second on 03-16, and every other one from 03-31 on, a
working day after the other.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from fulfil_models.audit import audit
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.planning import Effort, Workbench, finished, search_plan
from fulfil_models.problem import Problem
from fulfil_models.tables import (
    Dataset,
    Delivery,
    Part,
    Rating,
    Receipt,
    RegionRule,
    Setting,
    TakeRate,
)
from tiny_shop import AS_OF, build, delivery, march, purchase, shop, source, stand_in, stock

from fulfil.store import data_hash as known_by
from fulfil.store import open_store
from fulfil.store.session import Store
from fulfil.usecases.asking import ask_machine
from fulfil.usecases.basis import settings_of
from fulfil.usecases.planning import PlanOutcome, make_plan
from fulfil.usecases.promise import PromiseAnswer, promise

FIRST, SECOND, THIRD, FOURTH = march(4), march(16), march(31), date(2026, 4, 1)
"""when the first machines that are new ship"""

USECASES = ("current", "held_quotes", "holds", "basis", "planning", "available")
"""modules that ask for the day"""

_PLANNED: dict[str, bytes] = {}
"""databases with a plan, by the hash of their data: each is planned once for all tests"""


def book(**tables: Any) -> Dataset:
    """The data of the shop, with these tables in place of its own."""
    own: dict[str, Any] = {
        "settings": (Setting(key="as_of", value=AS_OF.isoformat()),),
        "builds": (build("B1", march(2)), build("B2", march(3))),
        "stock": (stock(3),),
        "purchases": (purchase("P1", SECOND),),
        "sources": (source(29),),
    }
    return shop(**{**own, **tables})


FIVE = {"B1": march(2), "B2": march(3), "B3": FIRST, "B4": SECOND, "B5": THIRD}
"""promises that are kept to the day by three engines on the shelf, P1/1 and an order of today"""


def five(**tables: Any) -> Dataset:
    """The shop with a build for each engine that there is or can be; tables as for `book`."""
    rows = tuple(build(name, day) for name, day in FIVE.items())
    return book(**{"builds": rows, **tables})


def receipt(days: int, ordered: date, line: str) -> Receipt:
    """An engine that the supplier brought to A, so many days after it was ordered."""
    return Receipt(
        order="R",
        line=line,
        part="ENGINE",
        supplier="S",
        point="A",
        quantity_milli=MILLI,
        ordered=ordered,
        received=ordered + timedelta(days),
    )


def rich() -> Dataset:
    """The shop with both engines on the shelf taken, so that the next comes on the 16th; with an
    approved alternate, another engine as an option, and a valve that Nevada asks for."""

    def rated(part: str, horse_power: int) -> Rating:
        return Rating(part=part, rating="shaft_power", value_micro=horse_power * MICRO, unit="hp")

    return book(
        parts=(
            Part(part="MACHINE", make=True, family="machine"),
            Part(part="ENGINE", family="engine", caution="ship dry"),
            Part(part="ENGINE2"),
            Part(part="ENGINE3", family="engine"),
            Part(part="VALVE"),
        ),
        alternates=(stand_in(100),),
        stock=(
            stock(2),
            stock(1, part="ENGINE2"),
            stock(1, part="ENGINE3"),
            stock(5, part="VALVE"),
        ),
        take_rates=(TakeRate(product="MACHINE", component="ENGINE3", rate_ppm=100_000),),
        ratings=(rated("ENGINE", 8), rated("ENGINE2", 13), rated("ENGINE3", 5)),
        region_rules=(
            RegionRule(
                region="US-NV",
                family="machine",
                component="VALVE",
                quantity_milli=MILLI,
                note="backflow protection",
            ),
        ),
        deliveries=(
            delivery("A", cost=20, days=2),
            Delivery(point="A", destination="89", days=1),
        ),
    )


def planned(path: Path, data: Dataset) -> Store:
    """A store at a path that holds a data set and a plan of it, which nobody has accepted."""
    known = known_by(data)
    if known not in _PLANNED:
        made = path.with_name(f"{known[:16]}.db")
        with open_store(str(made)) as store:
            _plan_first(store, data)
        _PLANNED[known] = made.read_bytes()
    path.write_bytes(_PLANNED[known])
    return open_store(str(path))


def _plan_first(store: Store, data: Dataset) -> None:
    """Stores a data set with a plan that is searched for in this very process."""
    settings = settings_of(data, AS_OF)
    bench = Workbench(Problem(data, settings))
    plan = finished(bench, search_plan(bench, Effort(seconds=0.2)))
    assert audit(data, settings, plan) == ()
    store.replace_dataset(data)
    store.save_plan(plan, input_hash=known_by(data), options={}, seconds=0.2, versions={})


def plan_so(store: Store, **premises: Any) -> PlanOutcome:
    """A new plan of what is stored, with what it is asked to take otherwise than the data."""
    outcome = make_plan(store, seconds=0.2, seed=1, mode="repeatable", **premises)
    assert outcome.violations == ()
    return outcome


def plan_again(store: Store) -> int:
    """The number of a new plan of what is stored."""
    return plan_so(store).number


def planned_twice(path: Path, data: Dataset, **premises: Any) -> bytes:
    """A database with a plan of some data, and a second one with these premises."""
    with open_store(str(path)) as store:
        store.replace_dataset(data)
        plan_again(store)
        plan_so(store, **premises)
    return path.read_bytes()


def copied(path: Path, database: bytes) -> Store:
    """A store of its own with what a database holds."""
    path.write_bytes(database)
    return open_store(str(path))


def set_day(monkeypatch: Any, day: date) -> None:
    """Lets it be another day for every use case."""
    clock: Callable[[], date] = lambda: day  # noqa: E731 -- one clock for all of them
    for module in USECASES:
        monkeypatch.setattr(f"fulfil.usecases.{module}.today", clock)


def ships(store: Store, plan: int | None = None) -> dict[str, date]:
    """When each build ships in a plan, the newest if none is named."""
    return {row.build: row.ships for row in store.planned_builds(plan)}


def dump(store: Store, *, but: tuple[str, ...] = ()) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table of a database, but some tables."""
    import sqlalchemy as sa

    from fulfil.store.tables import METADATA

    with store.reading() as connection:
        names = sa.inspect(connection).get_table_names()
        assert set(METADATA.tables) <= set(names)
        return {
            name: sorted(
                (tuple(row) for row in connection.execute(sa.text(f'SELECT * FROM "{name}"'))),
                key=repr,
            )
            for name in names
            if name not in but
        }


def ask(store: Store, **more: Any) -> PromiseAnswer:
    return promise(store, ask_machine("MACHINE", **more))

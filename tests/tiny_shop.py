"""A shop so small that its best plan is worked out in one's head.

A MACHINE takes one ENGINE and one whole day (480 minutes) on the only station of CELL, at point A,
Mon-Fri 08:00-12:00 and 12:30-16:30. The planning date is Monday 2026-03-02; a late working day
costs 1000. So a build due on the day on which its engine is usable is just in time, and each
working day later costs 1000. Point B holds stock and assembles nothing.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from fulfil_models.book import Book
from fulfil_models.cells import MICRO, MILLI, PPM
from fulfil_models.plan import Plan
from fulfil_models.planning import Effort, Workbench, finished, search_plan
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    Alternate,
    BillLine,
    Build,
    Dataset,
    Delivery,
    Lane,
    Part,
    PartsOrder,
    Point,
    Purchase,
    RoutingStep,
    Source,
    Stock,
    Supplier,
    WorkCentre,
)

AS_OF = date(2026, 3, 2)
SETTINGS = Settings(as_of=AS_OF)
DAY = 480
"""working minutes of a day"""


def march(day: int) -> date:
    return date(2026, 3, day)


def shop(**tables: tuple[Any, ...]) -> Dataset:
    """The shop with these tables in place of its own (which have no builds and no supply)."""
    base = Dataset(
        points=(Point(point="A"), Point(point="B")),
        suppliers=(Supplier(supplier="S"),),
        parts=(
            Part(part="MACHINE", make=True),
            Part(part="ENGINE", weight_g=40_000),
            Part(part="ENGINE2"),
        ),
        bills=(engines(1),),
        work_centres=(WorkCentre(work_centre="CELL", point="A"),),
        routings=(
            RoutingStep(
                part="MACHINE", operation=10, work_centre="CELL", minutes_milli=DAY * MILLI
            ),
        ),
    )
    return replace(base, **tables)


def problem_of(data: Dataset, **settings: Any) -> Problem:
    return Problem(data, replace(SETTINGS, **settings))


def book_of(data: Dataset, **settings: Any) -> Book:
    return Book(problem_of(data, **settings))


def engines(count: int) -> BillLine:
    """So many engines in a machine."""
    return BillLine(parent="MACHINE", component="ENGINE", quantity_milli=count * MILLI)


def build(name: str, promised: date | None, **more: Any) -> Build:
    fields: dict[str, Any] = {"product": "MACHINE", "point": "A", "ordered": date(2026, 2, 2)}
    return Build(build=name, promised=promised, **(fields | more))


def stock(units: int, point: str = "A", part: str = "ENGINE", held: int = 0) -> Stock:
    return Stock(point=point, part=part, quantity_milli=units * MILLI, held_milli=held * MILLI)


def purchase(name: str, due: date, units: int = 1, **more: Any) -> Purchase:
    fields: dict[str, Any] = {
        "line": "1",
        "part": "ENGINE",
        "supplier": "S",
        "point": "A",
        "quantity_milli": units * MILLI,
        "ordered": date(2026, 1, 5),
    }
    return Purchase(order=name, due=due, **(fields | more))


def source(lead_days: int, cap: int | None = None, **more: Any) -> Source:
    """Engines from S to point A, at most `cap` a month."""
    fields: dict[str, Any] = {"part": "ENGINE", "supplier": "S", "point": "A"}
    if cap is not None:
        fields["monthly_cap_milli"] = cap * MILLI
    return Source(lead_days=lead_days, **(fields | more))


def hurried(lead_days: int, by_days: int, cost: int, cap: int | None = None) -> Source:
    """Such a source that can be expedited, at a cost per unit."""
    return source(lead_days, cap, expedite_days=by_days, expedite_cost_micro=cost * MICRO)


def lane(
    origin: str, destination: str, days: int, move: int = 0, kg: float = 0, **more: Any
) -> Lane:
    return Lane(
        origin=origin,
        destination=destination,
        days=days,
        cost_per_move_micro=move * MICRO,
        cost_per_kg_micro=round(kg * MICRO),
        **more,
    )


def stand_in(extra_cost: int, ratio: int = 1) -> Alternate:
    """ENGINE2, approved in place of an ENGINE."""
    return Alternate(
        part="ENGINE",
        alternate="ENGINE2",
        ratio_ppm=ratio * PPM,
        extra_cost_micro=extra_cost * MICRO,
        approved=True,
    )


def order(name: str, units: int, promised: date | None, line: str = "1", **more: Any) -> PartsOrder:
    """Engines for a customer in Nevada."""
    fields: dict[str, Any] = {
        "part": "ENGINE",
        "quantity_milli": units * MILLI,
        "ordered": date(2026, 2, 27),
        "destination": "US-NV",
    }
    return PartsOrder(order=name, line=line, promised=promised, **(fields | more))


def delivery(point: str, cost: int = 0, days: int = 1, kg: int = 0) -> Delivery:
    return Delivery(
        point=point,
        destination="US",
        days=days,
        cost_micro=cost * MICRO,
        cost_per_kg_micro=kg * MICRO,
    )


def planned(data: Dataset, settings: Settings = SETTINGS) -> Plan:
    """The plan that a short search finds."""
    bench = Workbench(Problem(data, settings))
    return finished(bench, search_plan(bench, Effort(seconds=0.1)))

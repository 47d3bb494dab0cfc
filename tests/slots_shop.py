"""A tiny shop to put the whole model to: rows of its tables with short names.

A working day has 480 minutes (Mon-Fri 08:00-12:00, 12:30-16:30) and a late day costs 1000, so a
late minute 1000 / 480. The planning date is Monday 2026-03-02, its opening minute 0; Thursday
03-05 opens at minute 3 x 480 = 1440. Unless a test says more, machines take 60 minutes on W and
were due at minute 0.
"""

from __future__ import annotations

from datetime import date, datetime
from fractions import Fraction
from typing import Any

from fulfil_models.cells import MICRO, MILLI
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    Alternate,
    BillLine,
    Build,
    Dataset,
    Delivery,
    Downtime,
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
OPENING = datetime(2026, 3, 2, 8, 0)
WEDNESDAY, THURSDAY = date(2026, 3, 4), date(2026, 3, 5)
ORDERED = date(2026, 2, 2)
SETTINGS = Settings(as_of=AS_OF)


def build(name: str = "B1", promised: date | None = OPENING, **more: Any) -> Build:
    fields = {"product": "M", "point": "A", "ordered": ORDERED, "promised": promised} | more
    return Build(build=name, **fields)


def step(part: str, operation: int, centre: str, minutes: int, stations: int = 1) -> RoutingStep:
    return RoutingStep(
        part=part,
        operation=operation,
        work_centre=centre,
        minutes_milli=minutes * MILLI,
        stations=stations,
    )


def bill(parent: str, component: str, units: int = 1, operation: int | None = None) -> BillLine:
    return BillLine(
        parent=parent, component=component, quantity_milli=units * MILLI, operation=operation
    )


def stock(point: str, part: str, units: int = 1) -> Stock:
    return Stock(point=point, part=part, quantity_milli=units * MILLI)


def line(units: int = 1, order: str = "O1", number: str = "1", **more: Any) -> PartsOrder:
    fields = {"part": "E", "ordered": ORDERED, "destination": "US-NV", "promised": AS_OF} | more
    return PartsOrder(order=order, line=number, quantity_milli=units * MILLI, **fields)


def delivery(point: str, cost: int = 0) -> Delivery:
    return Delivery(point=point, destination="US", days=2, cost_micro=cost * MICRO)


def downtime(opens: int, closes: int, out: int = 1) -> Downtime:
    """Of W on Monday morning, between two hours of the clock."""
    return Downtime(
        work_centre="W",
        starts=OPENING.replace(hour=opens),
        ends=OPENING.replace(hour=closes),
        stations=out,
    )


def shop(*builds: Build, stations: int = 1, **tables: Any) -> Dataset:
    """Machines M and N, a frame F and a kit K that can be made; engines E and E2 that cannot."""
    made = {"M", "N", "F", "K"}
    return Dataset(
        **{
            "points": (Point(point="A"), Point(point="B")),
            "parts": tuple(
                Part(part=part, make=part in made, weight_g=50_000)
                for part in ("M", "N", "F", "K", "E", "E2")
            ),
            "suppliers": (Supplier(supplier="S"),),
            "work_centres": tuple(
                WorkCentre(work_centre=name, point="A", stations=stations)
                for name in ("W", "V", "U")
            ),
            "routings": (step("M", 10, "W", 60),),
            "builds": builds,
        }
        | tables
    )


ENGINE = (bill("M", "E"),)
COMING = Purchase(
    order="P",
    line="1",
    part="E",
    supplier="S",
    point="A",
    quantity_milli=MILLI,
    ordered=ORDERED,
    due=THURSDAY,
)
STAND_IN = Alternate(part="E", alternate="E2", approved=True)
TUESDAYS = Lane(origin="B", destination="A", days=2, weekdays=("Tue",))
"""what leaves on 03-03 is usable on Thursday 03-05"""
HURRIED = Source(
    part="E",
    supplier="S",
    point="A",
    lead_days=10,
    expedite_days=5,
    expedite_cost_micro=900 * MICRO,
)
"""there on Thursday 03-12, or expedited on Saturday 03-07, usable on Monday 03-09"""
BY_MONDAY = date(2026, 3, 9)
SHELVES = (delivery("A"), delivery("B"))


def late_cost(*minutes: int) -> Fraction:
    """Cost of builds that are so many minutes late."""
    return sum((Fraction(1000 * late, 480) for late in minutes), Fraction(0))

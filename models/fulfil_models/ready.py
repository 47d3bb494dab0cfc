"""When is something that was asked for ready?

A build on the day on which it ships; a line of a parts order on the day on which the last of it
arrives, since what ships first from far away may come last. Only of a line that is promised by the
day on which it ships, that day counts.
"""

from __future__ import annotations

from collections.abc import Container, Iterable
from datetime import date

from fulfil_models.plan import Plan, PlannedBuild, Shipment
from fulfil_models.problem import carrier_day
from fulfil_models.tables import PartsOrder

LineKey = tuple[str, str]
"""order and line of a parts order"""


def is_to_ship(row: PartsOrder) -> bool:
    """Whether a line is promised by the day on which it ships (contract rule 10)."""
    return row.promised is not None


def line_ready(ships: date, carrier_days: int, *, to_ship: bool = False) -> date:
    """The day that counts of a line that ships on a day. `to_ship`: as of `is_to_ship`."""
    return ships if to_ship else carrier_day(ships, carrier_days)


def last_ready(
    builds: Iterable[PlannedBuild],
    shipments: Iterable[Shipment],
    to_ship: Container[LineKey] = frozenset(),
) -> date:
    """The day on which the last of several builds and shipments is ready.

    `to_ship`: lines of which the day of shipping counts. Raises ValueError where there are none.
    """
    days = [row.ships for row in builds]
    days += [row.ships if (row.order, row.line) in to_ship else row.arrives for row in shipments]
    return max(days)


def ready(plan: Plan) -> date:
    """The day on which the last build of a plan ships, or its last shipment arrives."""
    return last_ready(plan.builds, plan.shipments)


def last_ship_day(plan: Plan) -> date:
    """Day on which the last of a plan ships, wherever it goes."""
    return max([row.ships for row in plan.builds] + [row.ships for row in plan.shipments])

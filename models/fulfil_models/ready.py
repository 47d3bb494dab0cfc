"""When is something that was asked for ready?

A build on the day on which it ships; a line of a parts order on the day on which the last of it
arrives, since what ships first from far away may come last.
"""

from __future__ import annotations

from datetime import date

from fulfil_models.plan import Plan
from fulfil_models.problem import carrier_day

LineKey = tuple[str, str]
"""order and line of a parts order"""


def line_ready(ships: date, carrier_days: int) -> date:
    """The day on which a line is ready that ships on a day."""
    return carrier_day(ships, carrier_days)


def ready(plan: Plan) -> date:
    """The day on which the last build of a plan ships, or its last shipment arrives."""
    return max([row.ships for row in plan.builds] + [row.arrives for row in plan.shipments])


def last_ship_day(plan: Plan) -> date:
    """Day on which the last of a plan ships, wherever it goes."""
    return max([row.ships for row in plan.builds] + [row.ships for row in plan.shipments])

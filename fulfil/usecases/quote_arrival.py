"""When does what is quoted arrive where it goes to?"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fulfil_models.plan import Plan
    from fulfil_models.problem import Problem
    from fulfil_models.room import Request


def arrival_of(problem: Problem, request: Request, plan: Plan) -> tuple[date | None, int | None]:
    """When the last of a request arrives, and carrier days where they are the same for all.

    `plan` is of the request alone. None where no destination is named, or nothing delivers there.
    """
    from fulfil_models.problem import carrier_day
    from fulfil_models.promise import arrival

    if plan.shipments:
        to_line = {(row.order, row.line): row.destination for row in request.lines}
        ways = {problem.delivery(row.point, to_line[row.order, row.line]) for row in plan.shipments}
        days = {way.days for way in ways if way is not None}
        return arrival(plan.shipments), days.pop() if len(days) == 1 else None
    destination = {row.build: row.destination for row in request.builds}
    arrivals, transit = [], set()
    for row in plan.builds:
        to = destination[row.build]
        delivery = None if to is None else problem.delivery(row.point, to)
        if delivery is None:
            return None, None
        arrivals.append(carrier_day(row.ships, delivery.days))
        transit.add(delivery.days)
    return max(arrivals), transit.pop() if len(transit) == 1 else None

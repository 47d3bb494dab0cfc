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
    from fulfil_models.promise import arrival

    if plan.shipments:
        to_line = {(row.order, row.line): row.destination for row in request.lines}
        ways = {problem.delivery(row.point, to_line[row.order, row.line]) for row in plan.shipments}
        days = {way.days for way in ways if way is not None}
        return arrival(plan.shipments), days.pop() if len(days) == 1 else None
    found = list(_machines(problem, request, plan).values())
    arrivals = [row[0] for row in found if row is not None]
    transit = {row[1] for row in found if row is not None}
    if len(arrivals) < len(found):
        return None, None
    return max(arrivals), transit.pop() if len(transit) == 1 else None


def machines_arrive(problem: Problem, request: Request, plan: Plan) -> dict[str, date | None]:
    """When each build of a request arrives, as of `arrival_of`."""
    found = _machines(problem, request, plan)
    return {build: None if row is None else row[0] for build, row in found.items()}


def _machines(problem: Problem, request: Request, plan: Plan) -> dict[str, tuple[date, int] | None]:
    """Day of arrival and carrier days of each build."""
    from fulfil_models.problem import carrier_day

    destination = {row.build: row.destination for row in request.builds}
    found: dict[str, tuple[date, int] | None] = {}
    for row in plan.builds:
        to = destination[row.build]
        way = None if to is None else problem.delivery(row.point, to)
        found[row.build] = None if way is None else (carrier_day(row.ships, way.days), way.days)
    return found

"""How many days later may a build or parts order be at no harm, and what does a day after that
cost?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from fulfil_models.cells import PPM, day_of
from fulfil_models.plan import Plan
from fulfil_models.problem import Problem, carrier_day

UNPROMISED_PPM = PPM // 1000
"""weight of what was promised to nobody (contract rule 8)"""


@dataclass(frozen=True, slots=True)
class Harm:
    """`slack_days`: from its day in the plan to its promise, 0 where it is late as it is."""

    slack_days: int
    day_cost_micro: Fraction


def harms(problem: Problem, plan: Plan) -> Mapping[str, Harm]:
    """By build, or by parts order and line with a stroke between."""
    found = {}
    builds = {row.build: row for row in problem.builds}
    for row in plan.builds:
        build = builds.get(row.build)
        if build is not None:
            promised = None if build.promised is None else day_of(build.promised)
            found[row.build] = _harm(problem, promised, row.ships, build.weight_ppm)
    orders = {(row.order, row.line): row for row in problem.parts_orders}
    last: dict[tuple[str, str], date] = {}
    arrives: dict[tuple[str, str], date] = {}
    for shipment in plan.shipments:
        key = shipment.order, shipment.line
        last[key] = max(last.get(key, shipment.ships), shipment.ships)
        arrives[key] = max(arrives.get(key, shipment.arrives), shipment.arrives)
    for key, ships in last.items():
        order = orders.get(key)
        if order is None:
            continue
        due, comes = order.promised, ships
        if due is None and order.within_days is not None:
            due, comes = carrier_day(order.ordered, order.within_days), arrives[key]
        found["/".join(key)] = _harm(problem, due, comes, order.weight_ppm)
    return found


def _harm(problem: Problem, due: date | None, comes: date, weight_ppm: int) -> Harm:
    weight = UNPROMISED_PPM if due is None else weight_ppm
    slack = 0 if due is None else max(0, (due - comes).days)
    return Harm(slack, Fraction(weight * problem.settings.late_day_cost_micro, PPM))

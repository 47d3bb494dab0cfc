"""How many days later may a build or parts order be at no harm, and what does a day after that
cost?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from fulfil_models.book_entries import due_and_done, weight_of
from fulfil_models.cells import day_of
from fulfil_models.plan import Plan
from fulfil_models.problem import Problem
from fulfil_models.tables import Build, PartsOrder


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
            found[row.build] = _harm(problem, build, promised, row.ships)
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
        found["/".join(key)] = _harm(problem, order, *due_and_done(order, ships, arrives[key]))
    return found


def _harm(problem: Problem, row: Build | PartsOrder, due: date | None, done: date) -> Harm:
    slack = 0 if due is None else max(0, (due - done).days)
    return Harm(slack, weight_of(row) * problem.settings.late_day_cost_micro)

"""Plans that go on after a change of the data, looked over, and who is where before and after."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime

from fulfil_models.audit import audit
from fulfil_models.plan import Plan, Supply
from fulfil_models.planning import Workbench
from fulfil_models.problem import Problem
from fulfil_models.repair import Retimed, retimed_plan
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    Dataset,
)
from tiny_shop import SETTINGS

Slots = dict[tuple[str, int], tuple[datetime, datetime]]


def gone_on(
    data: Dataset, plan: Plan, settings: Settings = SETTINGS, frozen: Plan | None = None
) -> Retimed:
    rows = () if frozen is None else frozen.operations
    starts = {(row.job, row.operation): row.start for row in rows}
    made = retimed_plan(Workbench(Problem(data, settings, previous_starts=starts)), plan)
    if not made.unplaced and not made.unshipped:
        assert audit(data, settings, made.plan, frozen) == ()
    return made


def slots(plan: Plan) -> Slots:
    return {(row.job, row.operation): (row.start, row.end) for row in plan.operations}


def days(plan: Plan) -> dict[str, int]:
    """The day of March on which each build of the tiny shop is made."""
    assert {row.start.month for row in plan.operations} == {3}
    return {row.job: row.start.day for row in plan.operations}


def first_supply(plan: Plan, name: str) -> Supply:
    """A supply, or the one that is moved as it."""
    supplies = {row.supply: row for row in plan.supplies}
    while (before := supplies[name].from_supply) is not None:
        name = before
    return supplies[name]


def drawing(plan: Plan, is_meant: Callable[[Supply], bool]) -> set[str]:
    """Builds, and parts orders, that draw on a supply."""
    builds = {job.job: job.build for job in plan.jobs}
    found = {builds[p.job] for p in plan.pegs if is_meant(first_supply(plan, p.supply))}
    shipped = {s.order for s in plan.shipments if is_meant(first_supply(plan, s.supply))}
    return found | shipped


def kept_slots(data: Dataset, plan: Plan, names: set[str]) -> dict[tuple[str, int], int]:
    """Positions at which operations start, but for those of some builds.

    The closing of a day and the next opening are one position, and work of no length may be done
    at either.
    """
    builds = {job.job: job.build for job in plan.jobs}
    axes = Problem(data, SETTINGS).axes
    points = {row.build: row.point for row in data.builds}
    return {
        (row.job, row.operation): axes[points[builds[row.job]]].position(row.start)
        for row in plan.operations
        if builds[row.job] not in names
    }


def late_days(plan: Plan, names: set[str]) -> dict[tuple[str, str], int]:
    """Late days of the lines of all orders but some; a line may always ship sooner, with others
    for whom the same purchase is to come sooner."""
    days: dict[tuple[str, str], int] = {}
    for row in plan.shipments:
        if row.order not in names:
            key = (row.order, row.line)
            days[key] = max(days.get(key, 0), row.late_days)
    return days


def assert_kept(data: Dataset, plan: Plan, after: Plan, names: set[str]) -> None:
    """All but some builds and orders are where they were."""
    assert kept_slots(data, after, names) == kept_slots(data, plan, names)
    before, now = late_days(plan, names), late_days(after, names)
    assert now.keys() == before.keys()
    assert all(now[key] <= before[key] for key in now)


def dates(plan: Plan) -> list[tuple[str, datetime, date, int]]:
    return [(row.build, row.finish, row.ships, row.late_minutes) for row in plan.builds]

"""Reads of a stored plan only the rows that a question needs.

Every function works within the connection's transaction. A plan number of None means the newest.
Rows come in the order the plan was made in.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from itertools import islice
from operator import itemgetter
from typing import Any

import sqlalchemy as sa
from fulfil_models.plan import (
    Peg,
    PlannedBuild,
    PlannedJob,
    PlannedOperation,
    Shipment,
    Stranded,
    Supply,
)

from fulfil.store import plan_rows as rows
from fulfil.store.errors import StoreError
from fulfil.store.plan_rows import Part
from fulfil.store.plan_tables import PLAN_BUILDS, PLAN_JOBS, PLANS

Condition = sa.ColumnElement[bool]

MOST_NAMES = 10_000
"""names in one statement; SQLite takes 32,766 values and PostgreSQL 65,535"""


def number_of(connection: sa.Connection, number: int | None) -> int:
    """The number of a plan that exists.

    Raises
    ------
    StoreError
        Where there is none.
    """
    if number is None:
        newest: int | None = connection.scalar(sa.select(sa.func.max(PLANS.c.number)))
        if newest is None:
            raise StoreError("there is no plan yet", "run: fulfil plan")
        return newest
    if connection.scalar(sa.select(PLANS.c.number).where(PLANS.c.number == number)) is None:
        raise StoreError(f"there is no plan {number}", "run: fulfil plans, which lists them")
    return number


def is_late() -> Condition:
    """A build misses its promise: `fulfil_models.compare.is_late` in terms of the database."""
    late = sa.or_(PLAN_BUILDS.c.late_minutes > 0, PLAN_BUILDS.c.late_days > 0)
    return sa.and_(PLAN_BUILDS.c.promised.is_not(None), late)


def builds(
    connection: sa.Connection, number: int | None = None, names: Iterable[str] | None = None
) -> tuple[PlannedBuild, ...]:
    """Builds with their reasons and blockers: those named, or all."""
    plan = number_of(connection, number)
    names = None if names is None else list(names)

    def by_build(part: Part) -> dict[str, list[Any]]:
        build = part.table.c.build
        grouped: dict[str, list[Any]] = defaultdict(list)
        found = _found(connection, part, plan, build.in_, names, first=[build])
        for owner, *cells in found:
            grouped[owner].append(part.made(cells))
        return grouped

    reasons = by_build(rows.REASONS)
    blockers = by_build(rows.BLOCKERS)
    found = _found(connection, rows.BUILDS, plan, PLAN_BUILDS.c.build.in_, names)
    return tuple(
        rows.BUILDS.made(
            cells, reasons=tuple(reasons[cells[0]]), blockers=tuple(blockers[cells[0]])
        )
        for cells in found
    )


def jobs(
    connection: sa.Connection, number: int | None = None, of_builds: Iterable[str] | None = None
) -> tuple[PlannedJob, ...]:
    """Jobs: of some builds, or all."""
    build = rows.JOBS.table.c.build
    return _read(connection, rows.JOBS, number, lambda plan: build.in_, of_builds)


def operations(
    connection: sa.Connection, number: int | None = None, of_builds: Iterable[str] | None = None
) -> tuple[PlannedOperation, ...]:
    """Operations: of some builds (all their jobs), or all."""
    among = _job_is_of(rows.OPERATIONS.table.c.job)
    return _read(connection, rows.OPERATIONS, number, among, of_builds)


def pegs(
    connection: sa.Connection, number: int | None = None, of_builds: Iterable[str] | None = None
) -> tuple[Peg, ...]:
    """Pegs: of some builds (all their jobs), or all."""
    among = _job_is_of(rows.PEGS.table.c.job)
    return _read(connection, rows.PEGS, number, among, of_builds)


def supplies(
    connection: sa.Connection, number: int | None = None, names: Iterable[str] | None = None
) -> tuple[Supply, ...]:
    """Supplies: those named, or all."""
    supply = rows.SUPPLIES.table.c.supply
    return _read(connection, rows.SUPPLIES, number, lambda plan: supply.in_, names)


def shipments(connection: sa.Connection, number: int | None = None) -> tuple[Shipment, ...]:
    return _read(connection, rows.SHIPMENTS, number)


def stranded(connection: sa.Connection, number: int | None = None) -> tuple[Stranded, ...]:
    return _read(connection, rows.STRANDED, number)


Among = Callable[[Sequence[str]], Condition]
"""the condition that a row belongs to one of the names given"""


def _job_is_of(job: sa.ColumnElement[str]) -> Callable[[int], Among]:
    """For a plan's number: that a row's job is of one of the builds named."""

    def of_plan(plan: int) -> Among:
        in_plan = sa.select(PLAN_JOBS.c.job).where(PLAN_JOBS.c.plan == plan)
        return lambda names: job.in_(in_plan.where(PLAN_JOBS.c.build.in_(names)))

    return of_plan


def _read(
    connection: sa.Connection,
    part: Part,
    number: int | None,
    among: Callable[[int], Among] | None = None,
    names: Iterable[str] | None = None,
) -> tuple[Any, ...]:
    plan = number_of(connection, number)
    found = _found(connection, part, plan, among(plan) if among else None, names)
    return tuple([part.made(cells) for cells in found])


def _found(
    connection: sa.Connection,
    part: Part,
    plan: int,
    among: Among | None,
    names: Iterable[str] | None,
    first: Sequence[sa.ColumnElement[Any]] = (),
) -> list[Sequence[Any]]:
    """Cells of a part's rows in the plan's order, after those of the columns asked for `first`."""
    table = part.table
    statement = sa.select(table.c.row, *first, *[table.c[name] for name in part.names])
    statement = statement.where(table.c.plan == plan).order_by(table.c.row)
    if among is None or names is None:
        return [row[1:] for row in connection.execute(statement).all()]
    found: list[sa.Row[Any]] = []
    rest = iter(dict.fromkeys(names))
    while some := list(islice(rest, MOST_NAMES)):
        found += connection.execute(statement.where(among(some)))
    return [row[1:] for row in sorted(found, key=itemgetter(0))]

"""Stores plans, and reads their headers or all of one.

Every function works within the connection's transaction. A plan number of None means the newest.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa
from fulfil_models.plan import COSTS, Objective, Plan, Status

from fulfil.store import plan_parts
from fulfil.store.errors import StaleData
from fulfil.store.plan_parts import is_late, number_of
from fulfil.store.plan_rows import BLOCKERS, PARTS, REASONS, Part
from fulfil.store.plan_tables import PLAN_BUILDS, PLAN_NOTES, PLAN_TAKEN, PLANS
from fulfil.store.results import PlanHeader, PlanUses, StoredPlan
from fulfil.store.statements import insert_rows, locked_data_hash

if TYPE_CHECKING:
    from fulfil_models.taken import Taken


def save_plan(
    connection: sa.Connection,
    plan: Plan,
    *,
    input_hash: str,
    options: Mapping[str, Any],
    seconds: float,
    versions: Mapping[str, str],
    retimed_from: int | None = None,
    taken: Taken | None = None,
) -> int:
    """Stores a plan and returns its number.

    Parameters
    ----------
    retimed_from: the plan that it re-times.
    taken: what it has taken, to be at hand (`taken_text`).

    Raises
    ------
    StaleData
        Where the stored data are not those of `input_hash` (any more).
    StoreError
        Where there is no plan `retimed_from`.
    """
    if locked_data_hash(connection) != input_hash:
        raise StaleData(
            "the data were changed while the plan was made; it was not stored",
            "run: fulfil plan",
        )
    if retimed_from is not None:
        number_of(connection, retimed_from)
    header = {
        "created": datetime.now(UTC),
        "as_of": plan.as_of,
        "status": str(plan.status),
        **{name: str(getattr(plan.objective, name)) for name in COSTS},
        "bound": str(plan.bound),
        "weighted_late_minutes": str(plan.weighted_late_minutes),
        "seconds": seconds,
        "input_hash": input_hash,
        "options": _json_text(options),
        "versions": _json_text(versions),
        "retimed_from": retimed_from,
    }
    (number,) = connection.execute(sa.insert(PLANS), header).inserted_primary_key or (None,)
    if not isinstance(number, int):
        raise RuntimeError("the database gave the plan no number")
    for field, part in PARTS.items():
        _insert(connection, part, number, part.names, map(part.cells, getattr(plan, field)))
    for field, part in (("reasons", REASONS), ("blockers", BLOCKERS)):
        cells = (
            [build.build, *part.cells(row)]
            for build in plan.builds
            for row in getattr(build, field)
        )
        _insert(connection, part, number, ["build", *part.names], cells)
    notes = ((number, row, note) for row, note in enumerate(plan.notes, 1))
    insert_rows(connection, PLAN_NOTES, ("plan", "row", "note"), notes)
    if taken is not None:
        from fulfil.store.taken_text import taken_text

        connection.execute(sa.insert(PLAN_TAKEN), {"plan": number, "taken": taken_text(taken)})
    return number


def _json_text(values: Mapping[str, Any]) -> str:
    return json.dumps(dict(values), sort_keys=True, ensure_ascii=False, allow_nan=False)


def _insert(
    connection: sa.Connection,
    part: Part,
    number: int,
    names: list[str],
    cells: Iterable[list[Any]],
) -> None:
    rows = ((number, row, *of_row) for row, of_row in enumerate(cells, 1))
    insert_rows(connection, part.table, ["plan", "row", *names], rows)


def accept(connection: sa.Connection, number: int) -> None:
    """Marks a plan as the one to work by from now on."""
    number_of(connection, number)
    moment = {"accepted": datetime.now(UTC)}
    connection.execute(sa.update(PLANS).where(PLANS.c.number == number).values(moment))


def headers(connection: sa.Connection) -> list[PlanHeader]:
    """The headers of all plans, newest first."""
    return _headers(connection, sa.true())


def header(connection: sa.Connection, number: int | None = None) -> PlanHeader:
    return _headers(connection, PLANS.c.number == number_of(connection, number))[0]


def accepted_header(connection: sa.Connection) -> PlanHeader | None:
    """The header of the plan that was accepted last; None where none ever was."""
    last = sa.select(PLANS.c.number).where(PLANS.c.accepted.is_not(None))
    number = connection.scalar(last.order_by(PLANS.c.accepted.desc(), PLANS.c.number.desc()))
    return None if number is None else header(connection, number)


def _headers(connection: sa.Connection, which: sa.ColumnElement[bool]) -> list[PlanHeader]:
    count = (
        sa.select(
            PLAN_BUILDS.c.plan,
            sa.func.count().label("builds"),
            sa.func.count().filter(is_late()).label("late"),
        )
        .group_by(PLAN_BUILDS.c.plan)
        .subquery()
    )
    found = connection.execute(
        sa.select(PLANS, count.c.builds, count.c.late)
        .join_from(PLANS, count, PLANS.c.number == count.c.plan, isouter=True)
        .where(which)
        .order_by(PLANS.c.number.desc())
    )
    return [
        PlanHeader(
            number=row.number,
            created=row.created,
            as_of=row.as_of,
            status=Status(row.status),
            objective=Objective(*[Fraction(getattr(row, name)) for name in COSTS]),
            bound=Fraction(row.bound),
            weighted_late_minutes=Fraction(row.weighted_late_minutes),
            seconds=row.seconds,
            input_hash=row.input_hash,
            options=json.loads(row.options),
            versions=json.loads(row.versions),
            accepted=row.accepted,
            retimed_from=row.retimed_from,
            builds=row.builds or 0,
            late=row.late or 0,
        )
        for row in found
    ]


def stored_plan(connection: sa.Connection, number: int | None = None) -> StoredPlan:
    """A plan as it was stored, whole."""
    about = header(connection, number)
    plan = about.number
    notes = sa.select(PLAN_NOTES.c.note).where(PLAN_NOTES.c.plan == plan)
    whole = Plan(
        as_of=about.as_of,
        status=about.status,
        objective=about.objective,
        bound=about.bound,
        weighted_late_minutes=about.weighted_late_minutes,
        builds=plan_parts.builds(connection, plan),
        jobs=plan_parts.jobs(connection, plan),
        operations=plan_parts.operations(connection, plan),
        pegs=plan_parts.pegs(connection, plan),
        shipments=plan_parts.shipments(connection, plan),
        supplies=plan_parts.supplies(connection, plan),
        stranded=plan_parts.stranded(connection, plan),
        notes=tuple(connection.scalars(notes.order_by(PLAN_NOTES.c.row))),
    )
    return StoredPlan(about, whole)


def plan_uses(connection: sa.Connection, number: int) -> PlanUses:
    """Who has what in a plan."""
    return PlanUses(
        jobs=plan_parts.jobs(connection, number),
        operations=plan_parts.operations(connection, number),
        pegs=plan_parts.pegs(connection, number),
        shipments=plan_parts.shipments(connection, number),
        supplies=plan_parts.supplies(connection, number),
    )


def plan_taken(connection: sa.Connection, number: int) -> Taken | None:
    """What a plan has taken, where that was kept with it."""
    from fulfil.store.taken_text import taken_of

    text = connection.scalar(sa.select(PLAN_TAKEN.c.taken).where(PLAN_TAKEN.c.plan == number))
    return None if text is None else taken_of(text)

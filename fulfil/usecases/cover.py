"""What purchasing asks months ahead: how long do parts last, and when is the last day to order?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fulfil.errors import Refused
from fulfil.usecases.basis import Basis, basis_of, settings_at
from fulfil.usecases.held_quotes import held_today, orders_of, taken_by_holds
from fulfil.usecases.names import meant

if TYPE_CHECKING:
    from datetime import date

    from fulfil_models.cover import PartCover
    from fulfil_models.tables import Dataset, Part

    from fulfil.store.session import Store

MONTHS = 12
"""looked at unless others are asked for"""
TABLES = (
    "settings",
    "points",
    "calendars",
    "shifts",
    "closures",
    "parts",
    "suppliers",
    "sources",
    "stock",
    "purchases",
    "receipts",
    "bills",
    "routings",
    "builds",
    "build_options",
    "region_rules",
    "parts_orders",
    "demand",
    "take_rates",
    "delivered",
    "progress",
)


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked for; None where it was left open."""

    months: int = MONTHS
    weeks: bool = False
    part: str | None = None
    family: str | None = None
    point: str | None = None


@dataclass(frozen=True, slots=True)
class CoverAnswer:
    """How long parts last.

    Attributes
    ----------
    until: last day of the horizon.
    total: parts looked at; `rows` are those of them that run out, or all of a family, or the one
        that was asked for.
    cautions: of the parts that have one.
    assumed: how needs were expected.
    """

    basis: Basis
    asked: Asked
    until: date
    total: int
    rows: tuple[PartCover, ...]
    cautions: tuple[tuple[str, str | None], ...]
    assumed: tuple[str, ...]


def cover(store: Store, asked: Asked, number: int | None = None) -> CoverAnswer:
    """Of one part, of a family, or of all parts that run out within the months asked for.

    What quotes keep that are held is nobody else's.

    Raises Refused for names that are not known and for a part that nobody supplies.
    """
    from fulfil_models.cover import cover as cover_of
    from fulfil_models.demand_ahead import demand_ahead
    from fulfil_models.leadtimes import lead_times
    from fulfil_models.months import last_day
    from fulfil_models.plan_index import PlanIndex
    from fulfil_models.problem import Problem

    basis = basis_of(store, number)
    # as stated, whatever the plan believes: it tells the one account beside the other
    dataset = store.dataset(TABLES)
    asked = _meant(dataset, asked)
    wanted = _wanted(dataset, asked)
    settings = settings_at(dataset, basis)
    plan = store.plan(basis.plan).plan
    index = PlanIndex(plan)
    taken = taken_by_holds(held_today(store), dataset, orders_of(plan, basis.plan))
    problem = Problem(dataset, settings, taken=taken)
    demand = demand_ahead(problem, plan, asked.months, index=index)
    found = cover_of(
        problem,
        plan,
        demand,
        lead_times(dataset, settings, parts=wanted, with_drift=False),
        parts=wanted,
        point=asked.point,
        weeks=asked.weeks,
        with_periods=wanted is not None,
        index=index,
    )
    rows = found if wanted is not None else tuple(row for row in found if row.runs_out)
    cautions = {row.part: row.caution for row in dataset.parts}
    return CoverAnswer(
        basis=basis,
        asked=asked,
        until=last_day(demand.months[-1]),
        total=len(found),
        rows=rows,
        cautions=tuple((row.part, cautions[row.part]) for row in rows),
        assumed=demand.notes,
    )


def _meant(dataset: Dataset, asked: Asked) -> Asked:
    from dataclasses import replace

    part, family, point = asked.part, asked.family, asked.point
    if part is not None:
        part = meant("part", part, (row.part for row in dataset.parts))
    if family is not None:
        family = meant("family", family, {row.family for row in dataset.parts if row.family})
    if point is not None:
        point = meant("point", point, (row.point for row in dataset.points))
    return replace(asked, part=part, family=family, point=point)


def _wanted(dataset: Dataset, asked: Asked) -> set[str] | None:
    """The parts asked for by name or family; None for all that run out."""
    if asked.part is None and asked.family is None:
        return None
    supplied = {row.part for row in dataset.sources}

    def bought(row: Part) -> bool:
        return not row.make or row.part in supplied

    if asked.part is None:
        found = {row.part for row in dataset.parts if row.family == asked.family and bought(row)}
        if not found:
            raise Refused(
                f"all parts of the family {asked.family} are made here",
                "ask for a family of bought parts",
            )
        return found
    refuse_made(dataset, asked.part)
    return {asked.part}


def refuse_made(dataset: Dataset, part: str) -> None:
    """Raises Refused for a part that is made and that nobody supplies."""
    is_made = any(row.part == part and row.make for row in dataset.parts)
    if is_made and all(row.part != part for row in dataset.sources):
        raise Refused(
            f"{part} is made here and nobody supplies it, so there is nothing to order",
            f"`fulfil explode {part}` shows what it is made of, `fulfil shortages {part}` how it "
            "runs",
        )

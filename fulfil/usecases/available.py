"""What sales asks of a part: how much of it may be promised, and from which week on?"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from fulfil.clock import today
from fulfil.usecases.basis import (
    Basis,
    basis_of,
    planned_data,
    problem_of,
    require_data,
    settings_of,
    standing_plan,
)
from fulfil.usecases.held_quotes import Hold, held_today, orders_of
from fulfil.usecases.names import meant

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fulfil_models.available_weeks import PartAvailability
    from fulfil_models.plan import Plan
    from fulfil_models.problem import Problem
    from fulfil_models.tables import Dataset

    from fulfil.store.session import Store

TABLES = (
    "settings",
    "points",
    "calendars",
    "shifts",
    "closures",
    "parts",
    "stock",
    "purchases",
    "builds",
    "parts_orders",
)
BILL_TABLES = ("bills", "alternates", "routings", "build_options", "region_rules")
"""what it takes besides to explode builds that are in no plan"""


@dataclass(frozen=True, slots=True)
class AvailableAnswer:
    """What may be promised of a part.

    Attributes
    ----------
    basis: None where there is no plan yet: needs stand at the days they are due.
    as_of: the planning date.
    chosen: why this plan, in one sentence; empty where it was asked for by its number.
    holds: quotes that are held: what they take counts as committed.
    """

    basis: Basis | None
    as_of: date
    chosen: str
    holds: tuple[str, ...]
    found: PartAvailability


def available(
    store: Store,
    name: str,
    number: int | None = None,
    *,
    point: str | None = None,
    weeks: int = 12,
    count_new_orders: bool = False,
) -> AvailableAnswer:
    """What may be promised of a part, by week, at one point or at all.

    Commitments stand where the accepted plan draws them; where none is accepted, the newest. With
    no plan at all they stand at the days they are due: whoever sells parts before the first plan is
    better served by all needs at rough days than by no answer, if that is said.

    Parameters
    ----------
    number: a plan other than that.
    """
    from fulfil_models.available_weeks import availability

    require_data(store)
    basis, chosen = _chosen(store, number)
    holds = held_today(store)
    dataset = _dataset(store, basis, TABLES, holds)
    plan = None if basis is None else _with_holds(store, basis.plan, holds)
    name = meant("part", name, (row.part for row in dataset.parts))
    if point is not None:
        point = meant("point", point, (row.point for row in dataset.points))
    as_of = settings_of(dataset, today()).as_of if basis is None else basis.as_of
    return AvailableAnswer(
        basis=basis,
        as_of=as_of,
        chosen=chosen,
        holds=tuple(hold.name for hold in holds),
        found=availability(
            _problem(store, basis, dataset, plan, as_of, holds),
            plan,
            name,
            point,
            weeks=weeks,
            count_new_orders=count_new_orders,
        ),
    )


def _chosen(store: Store, number: int | None) -> tuple[Basis | None, str]:
    """The plan to answer from, and why that one."""
    if number is not None:
        return basis_of(store, number), ""
    standing = standing_plan(store)
    if standing is None:
        return None, "there is no plan yet"
    accepted = store.accepted_header()
    if accepted is None:
        return basis_of(store, standing), f"no plan is accepted: plan {standing} is the newest"
    newest = store.plan_header().number
    newer = f"; plan {newest} is newer" if newest > standing else ""
    is_accepted = f"plan {standing} is the accepted one"
    if accepted.number != standing:
        is_accepted = f"plan {standing} goes on with plan {accepted.number}, the accepted one"
    return basis_of(store, standing), f"{is_accepted}{newer}"


def _dataset(
    store: Store, basis: Basis | None, tables: Iterable[str], holds: tuple[Hold, ...]
) -> Dataset:
    """Tables of the data, with what is held as firm orders under the names of their quotes."""
    tables = tuple(tables)
    dataset = store.dataset(tables) if basis is None else planned_data(store, basis, tables)
    for hold in holds:
        request = hold.request
        dataset = dataclasses.replace(
            dataset,
            builds=dataset.builds + request.builds,
            parts_orders=dataset.parts_orders + request.lines,
        )
        if "build_options" in tables:
            options = dataset.build_options + request.options
            dataset = dataclasses.replace(dataset, build_options=options)
    return dataset


def _with_holds(store: Store, number: int, holds: tuple[Hold, ...]) -> Plan:
    """A plan, and beside it what is held."""
    from fulfil_models.taken import NOTHING, joined

    plan = store.plan(number).plan
    if holds:
        known = store.dataset(("stock", "purchases", "sources", "routings", "progress"))
        orders, others = orders_of(plan, number), NOTHING
        for hold in holds:
            plan = joined(plan, hold.piece(known, orders, others))
            others += hold.taken(known, orders, others)
    return plan


def _problem(
    store: Store,
    basis: Basis | None,
    dataset: Dataset,
    plan: Plan | None,
    as_of: date,
    holds: tuple[Hold, ...],
) -> Problem:
    """The data with their bills, if any firm build is in no plan and has to be exploded."""
    from fulfil_models.available_flows import missing

    settings = dataclasses.replace(settings_of(dataset, as_of), as_of=as_of)
    problem = problem_of(dataset, settings)
    builds, _ = missing(problem, plan)
    if not builds:
        return problem
    return problem_of(_dataset(store, basis, (*TABLES, *BILL_TABLES), holds), settings)

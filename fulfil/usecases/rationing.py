"""What purchasing asks: of which parts does a supplier let too few go, who gets them, who waits,
and what would help?"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fulfil.errors import Refused
from fulfil.usecases.basis import Basis, basis_of, planned_data, settings_at
from fulfil.usecases.held_quotes import held_today, orders_of, taken_by_holds
from fulfil.usecases.names import meant
from fulfil.usecases.planning import frozen_plan, problem_beside

if TYPE_CHECKING:
    from fulfil_models.one_more import Worth
    from fulfil_models.rationing import Ration
    from fulfil_models.ways_out import WayOut

    from fulfil.store.session import Store

TABLES = (
    "settings",
    "points",
    "calendars",
    "shifts",
    "closures",
    "parts",
    "alternates",
    "suppliers",
    "sources",
    "stock",
    "purchases",
    "builds",
    "parts_orders",
)
"""what the list needs; one part is gone through with all data"""


@dataclass(frozen=True, slots=True)
class RationsAnswer:
    """Rationed parts for which somebody waits or gets another, the dearest first.

    `capped` counts all parts with a monthly cap.
    """

    basis: Basis
    currency: str
    capped: int
    rations: tuple[Ration, ...]


@dataclass(frozen=True, slots=True)
class RationAnswer:
    """One rationed part: who gets it, what one more unit would save, what is cheaper than to wait.

    Attributes
    ----------
    worth: of one more unit in each month; the best found, no proven figure.
    ways: by which those who wait would ship sooner, each re-timed alone.
    """

    basis: Basis
    currency: str
    ration: Ration
    worth: tuple[Worth, ...]
    ways: tuple[WayOut, ...]


def rations(store: Store, number: int | None = None) -> RationsAnswer:
    """All parts that are rationed."""
    from fulfil_models.problem import Problem
    from fulfil_models.rationing import capped_parts
    from fulfil_models.rationing import rations as rations_of

    basis = basis_of(store, number)
    dataset = planned_data(store, basis, TABLES)
    settings = settings_at(dataset, basis)
    problem = Problem(dataset, settings)
    return RationsAnswer(
        basis=basis,
        currency=settings.currency,
        capped=len(capped_parts(problem)),
        rations=rations_of(problem, store.plan(basis.plan).plan),
    )


def ration(store: Store, name: str, number: int | None = None) -> RationAnswer:
    """One part, with what would help those who wait.

    Raises Refused for a part without a monthly cap.
    """
    from fulfil_models.columns import TABLES as EVERY_TABLE
    from fulfil_models.one_more import worth_for
    from fulfil_models.rationing import capped_parts
    from fulfil_models.rationing import rations as rations_of
    from fulfil_models.ways_out import ways_out

    basis = basis_of(store, number)
    dataset = planned_data(store, basis, EVERY_TABLE)
    name = meant("part", name, (row.part for row in dataset.parts))
    settings = settings_at(dataset, basis)
    plan = store.plan(basis.plan).plan
    before = dataclasses.replace(orders_of(plan), next_settings=settings)
    taken = taken_by_holds(held_today(store), dataset, before)
    problem, _ = problem_beside(dataset, settings, frozen_plan(store, settings), taken)
    if name not in capped_parts(problem):
        raise Refused(
            f"no supplier has a monthly cap for {name}",
            "`fulfil ration` lists the parts that are rationed; `fulfil shortages` all short ones",
        )
    plan = store.plan(basis.plan).plan
    (found,) = rations_of(problem, plan, (name,))
    return RationAnswer(
        basis=basis,
        currency=settings.currency,
        ration=found,
        worth=worth_for(problem, plan, found),
        ways=ways_out(problem, plan, (taker for taker in found.waiting if taker.cost)),
    )

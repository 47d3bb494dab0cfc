"""What sales asks: when does each build ship, and how does one of them come about?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fulfil_models.assumptions import purchases_assumed
from fulfil_models.compare import is_late
from fulfil_models.plan import Plan, PlannedBuild, Supply

from fulfil.errors import Refused
from fulfil.usecases.basis import (
    Basis,
    basis_of,
    planned_data,
    problem_of,
    refuse_unknown,
    settings_at,
)
from fulfil.usecases.names import meant

if TYPE_CHECKING:
    from fulfil_models.build_card import BuildCard
    from fulfil_models.tables import Build

    from fulfil.store.session import Store


@dataclass(frozen=True, slots=True)
class BuildsAnswer:
    """Builds of a plan.

    Attributes
    ----------
    total, late, not_promised: counts of all builds of the plan.
    builds: those asked for.
    orders: the builds' rows of the data, by build; one may have gone since the plan was made.
    narrowed: something was asked for, so that `builds` need not be all.
    assumed: what the plan took for granted, in sentences.
    """

    basis: Basis
    total: int
    late: int
    not_promised: int
    builds: tuple[PlannedBuild, ...]
    orders: Mapping[str, Build]
    narrowed: bool = False
    assumed: tuple[str, ...] = ()

    def customer(self, build: str) -> str | None:
        row = self.orders.get(build)
        return None if row is None else row.customer

    def destination(self, build: str) -> str | None:
        row = self.orders.get(build)
        return None if row is None else row.destination


@dataclass(frozen=True, slots=True)
class BuildAnswer:
    basis: Basis
    card: BuildCard


def builds(
    store: Store,
    number: int | None = None,
    *,
    late_only: bool = False,
    point: str | None = None,
    product: str | None = None,
    customer: str | None = None,
) -> BuildsAnswer:
    """Every build, by its name; only the late ones with the latest first.

    Parameters
    ----------
    customer: part of the customer's name, in capitals or not.
    """
    basis = basis_of(store, number)
    every = store.planned_builds(basis.plan)
    if point is not None:
        point = meant("point with builds", point, {row.point for row in every})
    if product is not None:
        product = meant("product", product, {row.product for row in every})
    dataset = planned_data(store, basis, ("settings", "builds", "purchases"))
    orders = {row.build: row for row in dataset.builds}
    of_customer = {
        name
        for name, row in orders.items()
        if customer is None or customer.casefold() in (row.customer or "").casefold()
    }
    chosen = [
        row
        for row in every
        if (point is None or row.point == point)
        and (product is None or row.product == product)
        and (customer is None or row.build in of_customer)
        and (not late_only or is_late(row))
    ]
    if customer is not None and not of_customer:
        names = {row.customer for row in orders.values() if row.customer}
        raise refuse_unknown("customer", customer, sorted(names))
    if late_only:
        chosen.sort(key=lambda row: (-row.late_days, -row.late_minutes, row.build))
    else:
        chosen.sort(key=lambda row: row.build)
    return BuildsAnswer(
        basis=basis,
        total=len(every),
        late=sum(map(is_late, every)),
        not_promised=sum(1 for row in every if row.promised is None),
        builds=tuple(chosen),
        orders=orders,
        narrowed=any((late_only, point, product, customer)),
        assumed=purchases_assumed(dataset, settings_at(dataset, basis)),
    )


TABLES_OF_A_BUILD = (
    "settings",
    "points",
    "parts",
    "builds",
    "build_options",
    "progress",
    "region_rules",
    "ratings",
    "alternates",
    "sources",
    "stock",
    "purchases",
)


def build(store: Store, name: str, number: int | None = None) -> BuildAnswer:
    """One build, with all that the plan says of it."""
    from fulfil_models.build_card import build_card

    basis = basis_of(store, number)
    dataset = planned_data(store, basis, TABLES_OF_A_BUILD)
    planned = store.planned_builds(basis.plan, builds=[name])
    if not planned:
        name = meant("build", name, [row.build for row in dataset.builds])
        planned = store.planned_builds(basis.plan, builds=[name])
    if not planned:
        status = next(row.status for row in dataset.builds if row.build == name)
        raise _not_planned(store, basis, name, status)
    pegs = store.plan_pegs(basis.plan, builds=[name])
    supplies: dict[str, Supply] = {}
    wanted = {peg.supply for peg in pegs}
    while wanted:
        # a transfer names the supply it draws on, which may be a transfer again
        found = store.plan_supplies(basis.plan, supplies=sorted(wanted))
        supplies |= {row.supply: row for row in found}
        wanted = {row.from_supply for row in found if row.from_supply} - set(supplies)
    header = store.plan_header(basis.plan)
    plan = Plan(
        as_of=header.as_of,
        status=header.status,
        objective=header.objective,
        bound=header.bound,
        weighted_late_minutes=header.weighted_late_minutes,
        builds=planned,
        jobs=store.plan_jobs(basis.plan, builds=[name]),
        operations=store.plan_operations(basis.plan, builds=[name]),
        pegs=pegs,
        supplies=tuple(supplies.values()),
    )
    problem = problem_of(dataset, settings_at(dataset, basis))
    return BuildAnswer(basis, build_card(problem, plan, name))


def _not_planned(store: Store, basis: Basis, name: str, status: str) -> Refused:
    for row in store.plan(basis.plan).plan.stranded:
        if row.kind == "build" and row.key == name:
            return Refused(
                f"build {name} cannot be planned: it can never get {', '.join(row.parts)}",
                "give the part a stock, a purchase, a source or an approved alternate, "
                "then `fulfil load` and `fulfil plan`",
            )
    if status == "quoted":
        return Refused(
            f"build {name} is a quotation, not planned: it has no ship date yet",
            "once ordered, set its status to firm, then `fulfil load` and `fulfil plan`",
        )
    if status != "firm":
        return Refused(
            f"build {name} is {status}: nothing of it is left to plan",
            "`fulfil builds` lists the builds that are still to ship",
        )
    return Refused(f"build {name} is not in plan {basis.plan}", "make a new one with `fulfil plan`")

"""What comes of one part, and what goes, from which shelf, purchase, job, build and parts order?

A need stands on the day on which the plan draws it; one that is in no plan on the day it is due.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from datetime import date

from fulfil_models.bill_tree import explode_build
from fulfil_models.cells import day_of
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.plan_index import PlanIndex
from fulfil_models.problem import Problem, carrier_day
from fulfil_models.stranded import line_key
from fulfil_models.tables import Build, PartsOrder, Purchase

BUILD, PARTS_ORDER = "build", "parts_order"
"""kinds of what is in no plan, as in `Stranded`"""


@dataclass(frozen=True, slots=True)
class Flows:
    """What comes of a part and what goes, in a week or in several.

    Attributes
    ----------
    purchases_milli: open purchases, in the week of the working day on which they are usable.
    made_milli: what jobs of builds yield.
    moved_in_milli, moved_out_milli: transfers of firm supply; 0 for all points together.
    new_orders_milli: orders of the plan that are not placed yet, with what is moved of them; below
        0 where more of them is moved on than comes.
    builds_milli, parts_orders_milli: what firm builds and parts orders take.
    """

    purchases_milli: int = 0
    made_milli: int = 0
    moved_in_milli: int = 0
    new_orders_milli: int = 0
    builds_milli: int = 0
    parts_orders_milli: int = 0
    moved_out_milli: int = 0

    @property
    def firm_milli(self) -> int:
        """What comes for certain, orders that are not placed yet left out."""
        return self.purchases_milli + self.made_milli + self.moved_in_milli

    @property
    def committed_milli(self) -> int:
        return self.builds_milli + self.parts_orders_milli + self.moved_out_milli

    def __add__(self, other: Flows) -> Flows:
        return Flows(*(getattr(self, row.name) + getattr(other, row.name) for row in fields(Flows)))


@dataclass(frozen=True, slots=True)
class Shelf:
    """Units on the shelf of a point: `free_milli` of them to use, `held_milli` not."""

    point: str
    free_milli: int
    held_milli: int


@dataclass(frozen=True, slots=True)
class Doubtful:
    """An open purchase line of the part that is past due or not confirmed."""

    order: str
    line: str
    point: str
    quantity_milli: int
    due: date
    counted_on: date
    past_due: bool
    confirmed: bool


@dataclass(frozen=True, slots=True)
class Unplanned:
    """A firm build or parts-order line that the plan does not have, and what it takes.

    `kind` is `build` or `parts_order`; `lacks` names parts that can never come for it.
    """

    kind: str
    who: str
    quantity_milli: int
    due: date
    lacks: tuple[str, ...] = ()


# ---- supply that is there without a plan


def shelves_of(problem: Problem, part: str, point: str | None) -> Iterator[Shelf]:
    for row in sorted(problem.dataset.stock, key=lambda r: r.point):
        if row.part == part and point in (None, row.point) and row.quantity_milli:
            held = min(row.held_milli, row.quantity_milli)
            yield Shelf(row.point, row.quantity_milli - held, held)


def _purchases(problem: Problem, part: str, point: str | None) -> Iterator[Purchase]:
    for row in sorted(problem.dataset.purchases, key=lambda r: (r.due, r.order, r.line)):
        if row.part == part and point in (None, row.point):
            yield row


def bought(problem: Problem, part: str, point: str | None) -> Iterator[tuple[date, Flows]]:
    for row in _purchases(problem, part, point):
        day = problem.settings.counted_on(row.due)
        axis = problem.axes[row.point]
        if day <= axis.open_days[-1]:
            day = axis.next_open_day(day)
        yield day, Flows(purchases_milli=row.quantity_milli)


def doubtful_lines(problem: Problem, part: str, point: str | None) -> Iterator[Doubtful]:
    for row in _purchases(problem, part, point):
        past_due = row.due < problem.as_of
        if past_due or not row.confirmed:
            yield Doubtful(
                order=row.order,
                line=row.line,
                point=row.point,
                quantity_milli=row.quantity_milli,
                due=row.due,
                counted_on=problem.settings.counted_on(row.due),
                past_due=past_due,
                confirmed=row.confirmed,
            )


# ---- what the plan makes, orders, moves and takes


def planned(
    problem: Problem, index: PlanIndex, part: str, point: str | None
) -> Iterator[tuple[date, Flows]]:
    """What a plan does with a part. Builds and lines that are no longer in the data are left out,
    with what is made for them."""
    builds = {row.build for row in problem.builds}
    lines = {(row.order, row.line) for row in problem.parts_orders}
    for supply in index.plan.supplies:
        if supply.part != part:
            continue
        here = point in (None, supply.point)
        day, quantity_milli = day_of(supply.usable), supply.quantity_milli
        if supply.kind is SupplyKind.NEW_PURCHASE and here:
            yield day, Flows(new_orders_milli=quantity_milli)
        elif supply.kind is SupplyKind.JOB and here and supply.job is not None:
            if index.jobs[supply.job].build in builds:
                yield day, Flows(made_milli=quantity_milli)
        elif supply.kind is SupplyKind.TRANSFER and point is not None:
            placed = index.root(supply).kind is not SupplyKind.NEW_PURCHASE
            if here:
                yield (
                    day,
                    Flows(moved_in_milli=quantity_milli)
                    if placed
                    else Flows(new_orders_milli=quantity_milli),
                )
            elif supply.origin == point and supply.leaves_on is not None:
                yield (
                    supply.leaves_on,
                    Flows(moved_out_milli=quantity_milli)
                    if placed
                    else Flows(new_orders_milli=-quantity_milli),
                )
    for use in index.uses_of_part.get(part, []):
        if point not in (None, index.supplies[use.supply].point):
            continue
        if use.build in builds:
            yield use.at.date(), Flows(builds_milli=use.quantity_milli)
        elif use.order is not None and (use.order, use.line) in lines:
            yield use.at.date(), Flows(parts_orders_milli=use.quantity_milli)


# ---- what is in no plan


def missing(problem: Problem, plan: Plan | None) -> tuple[list[Build], list[PartsOrder]]:
    """Firm builds and lines of parts orders that a plan does not have: all of them without one."""
    builds = set() if plan is None else {row.build for row in plan.builds}
    lines = set() if plan is None else {(row.order, row.line) for row in plan.shipments}
    return (
        [row for row in problem.builds if row.build not in builds],
        [row for row in problem.parts_orders if (row.order, row.line) not in lines],
    )


def unplanned_needs(
    problem: Problem, plan: Plan | None, part: str, point: str | None
) -> Iterator[Unplanned]:
    """Needs of what is in no plan, by the whole bill; a line of a parts order, whose point nobody
    has chosen yet, is counted at any."""
    builds, lines = missing(problem, plan)
    stranded = () if plan is None else plan.stranded
    lacks = {(row.kind, row.key): row.parts for row in stranded}
    for build in builds:
        if point not in (None, build.point):
            continue
        quantity_milli = sum(
            line.quantity_milli for line in explode_build(problem, build).lines if line.part == part
        )
        if quantity_milli:
            due = problem.as_of if build.promised is None else day_of(build.promised)
            why = lacks.get((BUILD, build.build), ())
            yield Unplanned(BUILD, build.build, quantity_milli, due, why)
    for order in lines:
        if order.part == part:
            key = line_key(order.order, order.line)
            due = order.promised or problem.as_of
            if order.promised is None and order.within_days is not None:
                due = carrier_day(order.ordered, order.within_days)
            why = lacks.get((PARTS_ORDER, key), ())
            yield Unplanned(PARTS_ORDER, key, order.quantity_milli, due, why)


def committed(one: Unplanned) -> Flows:
    if one.kind == BUILD:
        return Flows(builds_milli=one.quantity_milli)
    return Flows(parts_orders_milli=one.quantity_milli)

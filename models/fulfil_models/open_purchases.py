"""Which open purchases are past due or not confirmed, and whom would it hurt if one slipped?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from fulfil_models.held_up import held_up
from fulfil_models.moves import ForWhom, for_whom
from fulfil_models.plan import Plan, Supply, SupplyKind
from fulfil_models.plan_index import PlanIndex
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset, Purchase


@dataclass(frozen=True, slots=True)
class LateOne:
    """A build or parts-order line that waits for the purchase and is late as it is."""

    who: str
    late_days: int


@dataclass(frozen=True, slots=True)
class OpenPurchase:
    """One open purchase line as the plan counts on it.

    Attributes
    ----------
    counted_on: the day the plan takes it to arrive.
    usable_on: first day the point can use it; None where the plan draws nothing on it.
    past_due_days: calendar days from its due date to the planning date; 0 if it is not past due.
    drawn_milli: what the plan uses of it.
    needed_on: first day on which anything of it is used, or moved on; None if nothing is.
    slack_days: calendar days from the day it is usable to that; if it slips more, something waits.
    for_whom: who draws on it, in the order in which they do.
    late: those of them that wait for it and are late, though other things may hold them as long.
    """

    order: str
    line: str
    supplier: str
    part: str
    description: str | None
    unit: str
    point: str
    quantity_milli: int
    ordered: date
    due: date
    counted_on: date
    usable_on: date | None
    past_due_days: int
    confirmed: bool
    drawn_milli: int
    needed_on: date | None
    slack_days: int | None
    for_whom: tuple[ForWhom, ...]
    late: tuple[LateOne, ...]

    @property
    def doubtful(self) -> bool:
        """Its day is not to be relied on: it is past due, or the supplier has not confirmed it."""
        return self.past_due_days > 0 or not self.confirmed


def open_purchases(
    dataset: Dataset,
    settings: Settings,
    plan: Plan,
    index: PlanIndex | None = None,
    stated: Iterable[Purchase] | None = None,
) -> tuple[OpenPurchase, ...]:
    """Every open purchase line, in order of the day the plan counts on it.

    Parameters
    ----------
    dataset: with the due dates that the plan takes.
    index: of the plan, where it was made already.
    stated: the lines with the due dates that are stated; a line that is past due by those is so
        whatever day the plan counts on it. None for those of the data set.
    """
    lines = dataset.purchases if stated is None else stated
    due_of = {(line.order, line.line): line.due for line in lines}
    index = index or PlanIndex(plan)
    parts = {row.part: row for row in dataset.parts}
    of_line: defaultdict[tuple[str | None, str | None], list[Supply]] = defaultdict(list)
    for supply in plan.supplies:
        if supply.kind is SupplyKind.PURCHASE:
            of_line[supply.order, supply.line].append(supply)
    late = _late(index)
    found = []
    for row in dataset.purchases:
        due = due_of.get((row.order, row.line), row.due)
        supplies = of_line[row.order, row.line]
        uses = [use for supply in supplies for use in index.uses_of.get(supply.supply, [])]
        taken = [
            index.first_taken[supply.supply]
            for supply in supplies
            if supply.supply in index.first_taken
        ]
        needed_on = min(taken, default=None)
        usable_on = min((supply.usable.date() for supply in supplies), default=None)
        draws = for_whom(uses)
        part = parts.get(row.part)
        found.append(
            OpenPurchase(
                order=row.order,
                line=row.line,
                supplier=row.supplier,
                part=row.part,
                description=None if part is None else part.description,
                unit="ea" if part is None else part.unit,
                point=row.point,
                quantity_milli=row.quantity_milli,
                ordered=row.ordered,
                due=due,
                counted_on=settings.counted_on(row.due),
                usable_on=usable_on,
                past_due_days=max(0, (settings.as_of - due).days),
                confirmed=row.confirmed,
                drawn_milli=sum(use.quantity_milli for use in uses),
                needed_on=needed_on,
                slack_days=None
                if needed_on is None or usable_on is None
                else (needed_on - usable_on).days,
                for_whom=draws,
                late=tuple(one for supply in supplies for one in late[supply.supply]),
            )
        )
    return tuple(sorted(found, key=lambda p: (p.counted_on, p.order, p.line)))


def _late(index: PlanIndex) -> defaultdict[str, list[LateOne]]:
    """By supply: who waits for it and is late. Where the plan gives days for another reason that
    stands before it and are all the lateness there is, it is not the one to blame."""
    late: defaultdict[str, list[LateOne]] = defaultdict(list)
    for rows in held_up(index).values():
        for use, hold in rows.items():
            if hold.late_days and (hold.blamed_days or not hold.days):
                root = index.root(index.supplies[use.supply])
                late[root.supply].append(LateOne(use.who, hold.late_days))
    return late

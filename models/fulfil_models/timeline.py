"""How does the balance of one part run, day by day?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset, Purchase
from fulfil_models.uses import PlanIndex, day_of


class MovementKind(StrEnum):
    ON_HAND = "on_hand"
    PURCHASE = "purchase"
    NEW_ORDER = "new_order"
    MADE = "made"
    NEED = "need"
    SHIPMENT = "shipment"


KNOWN = (MovementKind.ON_HAND, MovementKind.PURCHASE, MovementKind.MADE)
"""what is sure to come without a new order"""


@dataclass(frozen=True, slots=True)
class Movement:
    """Units of a part that come (above 0) or go (below 0) on a day.

    Attributes
    ----------
    point: where they come in or are used.
    what: purchase order and line, supplier of a new order, job, build or parts order.
    balance_milli: at all points together, after it.
    known_milli: the same without new orders; below 0 where the plan lives on them.
    note: what to know about it, e.g. that a purchase is past due.
    """

    day: date
    kind: MovementKind
    point: str
    what: str
    quantity_milli: int
    balance_milli: int
    known_milli: int
    note: str = ""


def counted_on(purchase: Purchase, settings: Settings) -> date:
    """The day an open purchase is counted on: its due date, `overdue_days` from now if past due."""
    if purchase.due < settings.as_of:
        return settings.as_of + timedelta(settings.overdue_days)
    return purchase.due


def timeline(
    dataset: Dataset,
    settings: Settings,
    plan: Plan,
    part: str,
    index: PlanIndex | None = None,
) -> tuple[Movement, ...]:
    """All that comes and goes of a part, in order of days; on one day what comes goes first.

    Needs stand at the day on which the operation that takes them is planned to start.
    """
    if index is None:
        index = PlanIndex(plan)
    rows = [*_coming(dataset, settings, index, part), *_going(index, part)]
    balance = known = 0
    movements: list[Movement] = []
    for day, kind, point, what, quantity_milli, note in sorted(
        rows, key=lambda r: (r[0], r[4] < 0, r[1] is not MovementKind.ON_HAND, r[2], r[3])
    ):
        balance += quantity_milli
        if quantity_milli < 0 or kind in KNOWN:
            known += quantity_milli
        movements.append(Movement(day, kind, point, what, quantity_milli, balance, known, note))
    return tuple(movements)


_Row = tuple[date, MovementKind, str, str, int, str]


def _coming(dataset: Dataset, settings: Settings, index: PlanIndex, part: str) -> Iterable[_Row]:
    for stock in dataset.stock:
        if stock.part == part and stock.quantity_milli > stock.held_milli:
            free = stock.quantity_milli - stock.held_milli
            yield settings.as_of, MovementKind.ON_HAND, stock.point, "stock", free, ""
    for row in dataset.purchases:
        if row.part == part:
            notes = []
            if row.due < settings.as_of:
                notes.append(f"past due since {row.due}")
            if not row.confirmed:
                notes.append("not confirmed")
            yield (
                counted_on(row, settings),
                MovementKind.PURCHASE,
                row.point,
                f"{row.order}/{row.line} of {row.supplier}",
                row.quantity_milli,
                ", ".join(notes),
            )
    for supply in index.plan.supplies:
        if supply.part != part:
            continue
        if supply.kind is SupplyKind.NEW_PURCHASE:
            yield (
                day_of(supply.usable),
                MovementKind.NEW_ORDER,
                supply.point,
                str(supply.supplier),
                supply.quantity_milli,
                f"to be placed on {supply.place_on}{', expedited' if supply.expedited else ''}",
            )
        elif supply.kind is SupplyKind.JOB:
            yield (
                day_of(supply.usable),
                MovementKind.MADE,
                supply.point,
                str(supply.job),
                supply.quantity_milli,
                "",
            )


def _going(index: PlanIndex, part: str) -> Iterable[_Row]:
    for use in index.uses_of_part.get(part, []):
        supply = index.supplies[use.supply]
        note = f"in place of {use.called}" if use.called != part else ""
        if supply.kind is SupplyKind.TRANSFER:
            moved = f"moved from {supply.origin}, leaves {supply.leaves_on}"
            note = f"{note}, {moved}" if note else moved
        kind = MovementKind.NEED if use.build is not None else MovementKind.SHIPMENT
        yield use.at.date(), kind, supply.point, use.who, -use.quantity_milli, note


def runs_out_on(movements: Iterable[Movement]) -> date | None:
    """First day after which nothing is left of what is in hand and on order, though more is
    needed later; None if that never happens.

    New orders do not count: the question is how long one can do without placing any.
    """
    rows = list(movements)
    last_need = max((row.day for row in rows if row.quantity_milli < 0), default=None)
    for row, later in zip(rows, [*rows[1:], None], strict=True):
        if later is not None and later.day == row.day:
            continue  # the day is not over
        if row.known_milli < 0:
            return row.day
        if row.known_milli == 0 and last_need is not None and last_need > row.day:
            return row.day
    return None

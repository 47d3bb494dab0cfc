"""How does the balance of one part run, day by day, and when is nothing left?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from fulfil_models.cells import day_of
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.plan_index import PlanIndex
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset


class MovementKind(StrEnum):
    ON_HAND = "on_hand"
    PURCHASE = "purchase"
    NEW_ORDER = "new_order"
    MADE = "made"
    MOVED = "moved"
    NEED = "need"
    SHIPMENT = "shipment"


KNOWN = (MovementKind.ON_HAND, MovementKind.PURCHASE, MovementKind.MADE)
"""what is sure to come without a new order"""
USED = (MovementKind.NEED, MovementKind.SHIPMENT)
"""what is gone for good"""


@dataclass(frozen=True, slots=True)
class Movement:
    """Units of a part that come (above 0) or go (below 0) on a day.

    Attributes
    ----------
    point: where they come in or are used.
    what: purchase order and line, supplier of a new order, job, build or parts order; of a move
        the other point.
    balance_milli: at all points together and on the way between them, after it.
    known_milli: the same without new orders; below 0 where the plan lives on them.
    at_point_milli: at `point` alone, after it.
    note: what to know about it, e.g. that a purchase is past due.
    """

    day: date
    kind: MovementKind
    point: str
    what: str
    quantity_milli: int
    balance_milli: int
    known_milli: int
    at_point_milli: int
    note: str = ""


@dataclass(frozen=True, slots=True)
class Gap:
    """Days on which nothing is left though more is needed later.

    Attributes
    ----------
    starts: first day at whose end nothing is left.
    until: day on which more comes than is used up at once; None if never without a new order.
    """

    starts: date
    until: date | None


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
    rows = [*_coming(dataset, settings, index, part), *_moved(index, part), *_going(index, part)]
    balance = known = 0
    at: defaultdict[str, int] = defaultdict(int)
    movements: list[Movement] = []
    for day, kind, point, what, quantity_milli, note in sorted(
        rows, key=lambda r: (r[0], r[4] < 0, r[1] is not MovementKind.ON_HAND, r[2], r[3])
    ):
        at[point] += quantity_milli
        if kind is not MovementKind.MOVED:
            balance += quantity_milli
            known += quantity_milli if kind in USED or kind in KNOWN else 0
        movements.append(
            Movement(day, kind, point, what, quantity_milli, balance, known, at[point], note)
        )
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
                settings.counted_on(row.due),
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


def _moved(index: PlanIndex, part: str) -> Iterable[_Row]:
    for row in index.plan.supplies:
        if row.part != part or row.kind is not SupplyKind.TRANSFER:
            continue
        origin = str(row.origin)
        if row.leaves_on is not None:
            yield (
                row.leaves_on,
                MovementKind.MOVED,
                origin,
                f"to {row.point}",
                -row.quantity_milli,
                "",
            )
        yield (
            day_of(row.usable),
            MovementKind.MOVED,
            row.point,
            f"from {origin}",
            row.quantity_milli,
            "",
        )


def _going(index: PlanIndex, part: str) -> Iterable[_Row]:
    for use in index.uses_of_part.get(part, []):
        supply = index.supplies[use.supply]
        note = f"in place of {use.called}" if use.called != part else ""
        kind = MovementKind.NEED if use.build is not None else MovementKind.SHIPMENT
        yield use.at.date(), kind, supply.point, use.who, -use.quantity_milli, note


def gaps(movements: Iterable[Movement], as_of: date, point: str | None = None) -> tuple[Gap, ...]:
    """When nothing is left of what is in hand and on order, though more is needed later.

    New orders do not count: the question is how long one can do without placing any.

    Parameters
    ----------
    point: look at this point alone, with what it has and buys itself, nothing moved to or from it.
    """
    rows = [
        row
        for row in movements
        if (row.kind in KNOWN or row.kind in USED) and point in (None, row.point)
    ]
    last_need = max((row.day for row in rows if row.kind in USED), default=None)
    comes: defaultdict[date, int] = defaultdict(int)
    goes: defaultdict[date, int] = defaultdict(int)
    for row in rows:
        (comes if row.quantity_milli > 0 else goes)[row.day] += row.quantity_milli
    found: list[Gap] = []
    starts: date | None = None
    left = 0
    for day in sorted({as_of, *comes, *goes}):
        left += comes[day]
        more_came = comes[day] > 0 and left > 0
        left += goes[day]
        nothing = left < 0 or (left == 0 and last_need is not None and last_need > day)
        if nothing and starts is None:
            starts = day
        elif starts is not None and more_came and not nothing:
            found.append(Gap(starts, day))
            starts = None
    if starts is not None:
        found.append(Gap(starts, None))
    return tuple(found)

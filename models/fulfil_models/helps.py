"""What might bring a part sooner? The facts of the data, for a person to act on.

Nothing is planned here: what is listed was either weighed by the plan already (an approved
alternate, an expedited order) or is not the plan's to decide (a supplier to be pressed, held stock
to be released, an alternate to be approved).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from fulfil_models.settings import Settings
from fulfil_models.source_terms import first_arrival
from fulfil_models.tables import Dataset


class HelpKind(StrEnum):
    PAST_DUE = "past_due"
    UNCONFIRMED = "unconfirmed"
    HELD = "held"
    ALTERNATE = "alternate"
    NOT_APPROVED = "not_approved"
    EXPEDITE = "expedite"
    NEW_ORDER = "new_order"


@dataclass(frozen=True, slots=True)
class Help:
    """One thing to try for a part.

    Attributes
    ----------
    what: purchase order and line, point of held stock, alternate, or supplier.
    quantity_milli: of the purchase or the held stock.
    day: due date of a purchase, or the day an order placed as soon as may be would arrive.
    cost_micro: extra, per unit of the alternate or of what is expedited.
    note: of an alternate.
    """

    part: str
    kind: HelpKind
    what: str
    quantity_milli: int | None = None
    day: date | None = None
    cost_micro: int | None = None
    note: str | None = None


def helps_for(dataset: Dataset, settings: Settings, part: str, point: str) -> tuple[Help, ...]:
    """What might bring a part to a point sooner, the nearest at hand first."""
    return (
        *_purchases(dataset, settings, part, point),
        *_held(dataset, part),
        *_alternates(dataset, part),
        *_orders(dataset, settings, part, point),
    )


def _purchases(dataset: Dataset, settings: Settings, part: str, point: str) -> Iterator[Help]:
    rows = [row for row in dataset.purchases if (row.part, row.point) == (part, point)]
    for row in sorted(rows, key=lambda row: (row.due, row.order, row.line)):
        past = row.due < settings.as_of
        if past or not row.confirmed:
            kind = HelpKind.PAST_DUE if past else HelpKind.UNCONFIRMED
            what = f"{row.order}/{row.line} of {row.supplier}"
            yield Help(part, kind, what, row.quantity_milli, row.due)


def _held(dataset: Dataset, part: str) -> Iterator[Help]:
    for row in sorted(dataset.stock, key=lambda row: row.point):
        if row.part == part and row.held_milli:
            yield Help(part, HelpKind.HELD, row.point, min(row.held_milli, row.quantity_milli))


def _alternates(dataset: Dataset, part: str) -> Iterator[Help]:
    rows = [row for row in dataset.alternates if row.part == part]
    for row in sorted(rows, key=lambda row: (not row.approved, row.rank, row.alternate)):
        kind = HelpKind.ALTERNATE if row.approved else HelpKind.NOT_APPROVED
        cost = row.extra_cost_micro or None
        yield Help(part, kind, row.alternate, cost_micro=cost, note=row.note)


def _orders(dataset: Dataset, settings: Settings, part: str, point: str) -> Iterator[Help]:
    rows = [row for row in dataset.sources if (row.part, row.point) == (part, point)]
    for row in sorted(rows, key=lambda row: (row.rank, row.supplier)):
        arrives = first_arrival(settings, row)
        yield Help(part, HelpKind.NEW_ORDER, row.supplier, day=arrives)
        if row.expedite_days:
            hurried = first_arrival(settings, row, expedited=True)
            yield Help(
                part,
                HelpKind.EXPEDITE,
                row.supplier,
                day=hurried,
                cost_micro=row.expedite_cost_micro,
            )

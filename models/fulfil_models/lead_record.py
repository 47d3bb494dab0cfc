"""What is known of how long deliveries took: which came, which are still open, what was stated?"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from fulfil_models.tables import Dataset

Offer = tuple[str, str]
"""part and supplier"""


@dataclass(frozen=True, slots=True)
class Observed:
    """One delivery that came or is still open: of a line that came in several, each for itself.

    Attributes
    ----------
    received: the day it came; None while it is open on the planning date.
    days: calendar days from its order until it came, or until the planning date.
    late_days: calendar days past due, 0 if it came in time; None where it has no due date, or is
        open and not past due.
    """

    part: str
    supplier: str
    point: str
    order: str
    line: str
    quantity_milli: int
    ordered: date
    due: date | None
    received: date | None
    days: int
    late_days: int | None

    @property
    def completed(self) -> bool:
        return self.received is not None


@dataclass(frozen=True, slots=True)
class Record:
    """All that is known of one part from one supplier.

    Attributes
    ----------
    stated_days: lead time as stated for the point that most of the record goes to, without a record
        the longest; where nobody states one, the longest that due dates allow for; else None.
    stated_at: stated lead time by point.
    observed: in the order in which they were placed.
    """

    part: str
    supplier: str
    stated_days: int | None
    stated_at: dict[str, int]
    observed: tuple[Observed, ...]

    @property
    def completed(self) -> int:
        """Deliveries that came."""
        return sum(row.completed for row in self.observed)

    def stated_for(self, row: Observed) -> int | None:
        """Stated lead time to the point of a delivery."""
        return self.stated_at.get(row.point, self.stated_days)


def records(dataset: Dataset, as_of: date) -> dict[Offer, Record]:
    """The record of every part and supplier that sources, receipts or purchases name, in order.

    As known on the planning date `as_of`: what came after it is still open, what was ordered after
    it is not there.
    """
    stated: defaultdict[Offer, dict[str, int]] = defaultdict(dict)
    for source in dataset.sources:
        stated[source.part, source.supplier][source.point] = source.lead_days
    found: defaultdict[Offer, list[Observed]] = defaultdict(list)
    for row in _observed(dataset, as_of):
        found[row.part, row.supplier].append(row)
    return {
        (part, supplier): _record(part, supplier, stated[part, supplier], found[part, supplier])
        for part, supplier in sorted({*stated, *found})
    }


def _record(part: str, supplier: str, stated: dict[str, int], found: list[Observed]) -> Record:
    found.sort(key=lambda row: (row.ordered, row.order, row.line, row.received or date.max))
    return Record(part, supplier, _stated_days(stated, found), stated, tuple(found))


def _stated_days(stated: dict[str, int], found: Iterable[Observed]) -> int | None:
    if stated:
        at = Counter(row.point for row in found if row.point in stated)
        return stated[max(stated, key=lambda point: (at[point], stated[point], point))]
    return max(((row.due - row.ordered).days for row in found if row.due), default=None)


def _observed(dataset: Dataset, as_of: date) -> Iterable[Observed]:
    for row in dataset.receipts:
        if row.ordered <= as_of:
            received = row.received if row.received <= as_of else None
            yield Observed(
                row.part,
                row.supplier,
                row.point,
                row.order,
                row.line,
                row.quantity_milli,
                row.ordered,
                row.due,
                received,
                ((received or as_of) - row.ordered).days,
                _late_days(row.due, received, as_of),
            )
    for line in dataset.purchases:
        if line.ordered <= as_of:
            yield Observed(
                line.part,
                line.supplier,
                line.point,
                line.order,
                line.line,
                line.quantity_milli,
                line.ordered,
                line.due,
                None,
                (as_of - line.ordered).days,
                _late_days(line.due, None, as_of),
            )


def _late_days(due: date | None, received: date | None, as_of: date) -> int | None:
    if due is None or (received is None and due >= as_of):
        return None
    return max(((received or as_of) - due).days, 0)

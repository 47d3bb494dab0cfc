"""How long does a part take from its supplier by the record, and when does an open line come?

Learnt from deliveries and from what is still open: an open line has taken so long at least, and to
leave it out would make a supplier look the faster, the more of his lines are overdue. All points
together speak for a part; where unlike lead times are stated for them, each time as a ratio to the
stated one. Where a part has few deliveries its supplier's parts together speak for it, as ratios,
too; where those are few, what is stated stands.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from fractions import Fraction

from fulfil_models.lead_curve import SHARES, Curve, Ground, Shape, Share
from fulfil_models.lead_drift import Drift, Measured, Turn, turn_of
from fulfil_models.lead_record import Observed, Offer, Record, records
from fulfil_models.settings import MOST_DAYS, Settings
from fulfil_models.survival import Times, times
from fulfil_models.tables import Dataset

__all__ = [
    "SHARES",
    "Drift",
    "LeadTime",
    "LearntFrom",
    "Observed",
    "Punctuality",
    "Share",
    "SupplierRecord",
    "arrival",
    "lead_times",
    "punctuality",
    "supplier_records",
]

ENOUGH = 5
"""deliveries from which on a part, or a supplier, speaks for itself"""
AS_STATED = "as stated"
PER_CENT = 100


class LearntFrom(StrEnum):
    OWN = "own record"
    SUPPLIER = "supplier's other parts"
    STATED = "stated"


@dataclass(frozen=True, slots=True)
class Punctuality:
    """How well due dates were kept: by what came, and by what is open past its due date.

    Attributes
    ----------
    judged: deliveries that had a due date, and open lines past due.
    on_time: share of them that came by it.
    mean_days_late: calendar days, what came in time counted as 0, what is open so far.
    """

    judged: int
    on_time: Fraction | None
    mean_days_late: Fraction | None


@dataclass(frozen=True, slots=True)
class LeadTime:
    """How long a part takes from a supplier, in calendar days from order to arrival.

    All days are those to the point that most of the record goes to; `curve_to` tells of others.

    Attributes
    ----------
    stated_days: as stated for that point.
    stated_at: stated lead time by point.
    records: deliveries that came, each of a line for itself.
    still_open: open lines, which count as taking longer than they have so far.
    median_days, p80_days, p90_days: days within which 50, 80, 90 of 100 deliveries come.
    on_time, mean_days_late, judged: see `Punctuality`.
    fit: the curve the days are read from: of Kaplan and Meier, a law beyond it, or what is stated.
    at_least: percentages for which neither record nor law gives days: the longest time seen stands.
    overdue_days: a line older than all that is known is taken to come so many days after now.
    horizon_days: nothing is put off beyond so many days from now, or from its order.
    curve: None where what is stated stands.
    """

    part: str
    supplier: str
    stated_days: int | None
    records: int
    still_open: int
    learnt_from: LearntFrom
    median_days: int
    p80_days: int
    p90_days: int
    on_time: Fraction | None
    mean_days_late: Fraction | None
    fit: str
    drift: Drift | None = None
    at_least: tuple[Share, ...] = ()
    judged: int = 0
    overdue_days: int = 0
    horizon_days: int = MOST_DAYS
    curve: Curve | None = None
    stated_at: Mapping[str, int] = field(default_factory=dict)

    def curve_to(self, point: str | None) -> Curve | None:
        """How long it takes to a point, None for the one that most of the record goes to: in
        proportion to what is stated.

        None where what is stated stands. A lead time of no days is no measure: a point for which
        that is stated keeps to it, unless the record is of such a point; then it is of all alike.
        """
        stated = self.stated_days if point is None else self.stated_at.get(point, self.stated_days)
        if self.curve is None or not self.stated_days or stated == self.stated_days:
            return self.curve
        if not stated:
            return None
        return Curve(self.curve.shape, Fraction(self.curve.unit_days * stated, self.stated_days))

    def days(self, share: Share) -> int:
        """Days within which that many of 100 deliveries come."""
        return {"50": self.median_days, "80": self.p80_days, "90": self.p90_days}[share]


@dataclass(frozen=True, slots=True)
class SupplierRecord:
    """How all parts of a supplier together come, as percentages of their stated lead times.

    Attributes
    ----------
    parts: of which there is any record.
    median_percent, p80_percent, p90_percent: None where no part has a stated lead time.
    drift: its days are percent of the stated lead time, too.
    """

    supplier: str
    parts: int
    records: int
    still_open: int
    median_percent: int | None
    p80_percent: int | None
    p90_percent: int | None
    at_least: tuple[Share, ...]
    on_time: Fraction | None
    mean_days_late: Fraction | None
    drift: Drift | None


def lead_times(
    dataset: Dataset,
    settings: Settings,
    *,
    parts: Collection[str] | None = None,
    with_drift: bool = True,
) -> dict[Offer, LeadTime]:
    """Lead times of every part and supplier that sources, receipts or purchases name.

    Reads the tables `sources`, `receipts` and `purchases`, as known on the planning date.

    Parameters
    ----------
    parts: only these; None for all.
    with_drift: whether to test for drift, which takes the most time.
    """
    found = records(dataset, settings.as_of)
    pools = _Pools(found, settings.as_of)
    return {
        offer: _lead_time(record, pools, settings, with_drift)
        for offer, record in found.items()
        if parts is None or record.part in parts
    }


def supplier_records(dataset: Dataset, settings: Settings) -> dict[str, SupplierRecord]:
    """The record of every supplier over all its parts."""
    found = records(dataset, settings.as_of)
    pools = _Pools(found, settings.as_of)
    return {
        supplier: _supplier_record(supplier, rows, pools)
        for supplier, rows in pools.by_supplier.items()
    }


def arrival(
    lead: LeadTime, ordered: date, due: date, as_of: date, share: Share, point: str | None = None
) -> date:
    """When an open line comes by the record, given that it has not come by `as_of`.

    Of those deliveries alone that took longer than this one has so far, `share` of 100 have come by
    that day. It is never before `as_of`, and for a line younger than the fastest delivery it is
    `ordered` and the days of a new order. A line older than all that is known comes `overdue_days`
    after `as_of`, or when the law says so, if that is later; none is put off beyond the horizon.
    Where nothing is learnt, `due` stands, or `overdue_days` after `as_of` if that is past.

    The record knows nothing of a date agreed upon for this line alone: whoever plans takes the
    later of the two.

    Parameters
    ----------
    point: that it goes to; None for the one that most of the record goes to.
    """
    curve = lead.curve_to(point)
    if curve is None:
        return due if due >= as_of else as_of + timedelta(lead.overdue_days)
    age_days = (as_of - ordered).days
    days = curve.days_after(share, age_days, lead.overdue_days)
    days_from_now = max(0, days - age_days)
    return as_of + timedelta(min(days_from_now, lead.horizon_days))


# ---- one part of one supplier


def _lead_time(record: Record, pools: _Pools, settings: Settings, with_drift: bool) -> LeadTime:
    learnt_from, curve = _learnt(record, pools)
    found = (
        dict.fromkeys(SHARES, (record.stated_days or 0, Ground.STATED))
        if curve is None
        else {share: curve.days(share) for share in SHARES}
    )
    drift = None
    if with_drift and learnt_from is LearntFrom.OWN:
        measured, unit_days = _own(record)
        drift = turn_of(measured, settings.as_of).drift(unit_days)
    elif with_drift and curve is not None:
        drift = pools.turn(record.supplier).drift(curve.unit_days)
    kept = punctuality(record.observed)
    return LeadTime(
        part=record.part,
        supplier=record.supplier,
        stated_days=record.stated_days,
        records=record.completed,
        still_open=len(record.observed) - record.completed,
        learnt_from=learnt_from,
        median_days=found["50"][0],
        p80_days=found["80"][0],
        p90_days=found["90"][0],
        on_time=kept.on_time,
        mean_days_late=kept.mean_days_late,
        fit=AS_STATED if curve is None else curve.name(ground for _, ground in found.values()),
        drift=drift,
        at_least=_at_least(found),
        judged=kept.judged,
        overdue_days=settings.overdue_days,
        horizon_days=settings.horizon_days,
        curve=curve,
        stated_at=record.stated_at,
    )


def _own(record: Record) -> tuple[Measured, int]:
    """Its deliveries in days; where they went to points for which unlike lead times are stated, as
    ratios to those. And the days that count as one to the point that most of them went to.

    A lead time of no days is no measure: what goes to such a point is then apart from the others.
    """
    stated = [(row, record.stated_for(row)) for row in record.observed]
    if len({days for _, days in stated}) <= 1:
        return [(row, 1) for row, _ in stated], 1
    measured = bool(record.stated_days)
    return (
        [(row, days or 1) for row, days in stated if bool(days) == measured],
        record.stated_days or 1,
    )


def _learnt(record: Record, pools: _Pools) -> tuple[LearntFrom, Curve | None]:
    """What speaks for a part: its own record if it is long enough, or nothing at all is stated."""
    measured, unit_days = _own(record)
    if sum(row.completed for row, _ in measured) >= ENOUGH or record.stated_days is None:
        return LearntFrom.OWN, Curve(Shape(measured_times(measured)), unit_days)
    if record.stated_days and pools.shape(record.supplier).found.completed_count >= ENOUGH:
        return LearntFrom.SUPPLIER, Curve(pools.shape(record.supplier), record.stated_days)
    return LearntFrom.STATED, None


def _at_least(found: Mapping[Share, tuple[int, Ground]]) -> tuple[Share, ...]:
    return tuple(share for share in SHARES if found[share][1] is Ground.AT_LEAST)


def punctuality(observed: Iterable[Observed]) -> Punctuality:
    late = [row.late_days for row in observed if row.late_days is not None]
    if not late:
        return Punctuality(0, None, None)
    in_time = sum(days == 0 for days in late)
    return Punctuality(len(late), Fraction(in_time, len(late)), Fraction(sum(late), len(late)))


# ---- all parts of one supplier


class _Pools:
    """The records of every supplier together, as ratios to stated lead times."""

    def __init__(self, found: Mapping[Offer, Record], as_of: date) -> None:
        self._as_of = as_of
        self.by_supplier: defaultdict[str, list[Record]] = defaultdict(list)
        for record in found.values():
            self.by_supplier[record.supplier].append(record)
        self._measured: dict[str, Measured] = {}
        self._shapes: dict[str, Shape] = {}
        self._turns: dict[str, Turn] = {}

    def measured(self, supplier: str) -> Measured:
        if supplier not in self._measured:
            self._measured[supplier] = [
                (row, stated)
                for record in self.by_supplier[supplier]
                for row in record.observed
                if (stated := record.stated_for(row))
            ]
        return self._measured[supplier]

    def shape(self, supplier: str) -> Shape:
        if supplier not in self._shapes:
            self._shapes[supplier] = Shape(measured_times(self.measured(supplier)))
        return self._shapes[supplier]

    def turn(self, supplier: str) -> Turn:
        if supplier not in self._turns:
            self._turns[supplier] = turn_of(self.measured(supplier), self._as_of)
        return self._turns[supplier]


def measured_times(measured: Measured) -> Times:
    return times(
        [row.days / unit for row, unit in measured], [row.completed for row, _ in measured]
    )


def _supplier_record(supplier: str, rows: Sequence[Record], pools: _Pools) -> SupplierRecord:
    observed = [row for record in rows for row in record.observed]
    measured = pools.measured(supplier)
    found: dict[Share, tuple[int, Ground]] = {}
    if measured:
        curve = Curve(pools.shape(supplier), PER_CENT)
        found = {share: curve.days(share) for share in SHARES}
    kept = punctuality(observed)
    completed = sum(row.completed for row in observed)
    return SupplierRecord(
        supplier=supplier,
        parts=sum(bool(record.observed) for record in rows),
        records=completed,
        still_open=len(observed) - completed,
        median_percent=found["50"][0] if found else None,
        p80_percent=found["80"][0] if found else None,
        p90_percent=found["90"][0] if found else None,
        at_least=_at_least(found) if found else (),
        on_time=kept.on_time,
        mean_days_late=kept.mean_days_late,
        drift=pools.turn(supplier).drift(PER_CENT),
    )

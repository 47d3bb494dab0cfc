"""Is every supply what the data allows: stock, purchases, new purchases, transfers, made parts?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date, timedelta

from fulfil_models.audit_frame import Finding, Frame, clock, number
from fulfil_models.cells import WEEKDAYS
from fulfil_models.plan import Supply, SupplyKind
from fulfil_models.tables import Lane, Source


def _of(frame: Frame, kind: SupplyKind) -> Iterator[tuple[str, Supply]]:
    for supply in frame.plan.supplies:
        if supply.kind is kind:
            yield f"supply {supply.supply}", supply


def stock(frame: Frame) -> Iterator[Finding]:
    """Stock is what is on the shelf less what is held, usable from the planning date."""
    shelf = {
        (row.point, row.part): row.quantity_milli - row.held_milli for row in frame.dataset.stock
    }
    total: defaultdict[tuple[str, str], int] = defaultdict(int)
    for subject, supply in _of(frame, SupplyKind.STOCK):
        key = (supply.point, supply.part)
        total[key] += supply.quantity_milli
        there = shelf.get(key, 0)
        if total[key] > there:
            yield subject, f"counts {number(total[key])}, free on the shelf are {number(there)}"
        if supply.usable < frame.midnight:
            yield subject, f"is usable {clock(supply.usable)}, before the planning date"


def purchases(frame: Frame) -> Iterator[Finding]:
    """An open purchase is usable from the opening of its due date or of the next working day.

    Past due, it counts `overdue_days` after the planning date.
    """
    total: defaultdict[tuple[str, str], int] = defaultdict(int)
    for subject, supply in _of(frame, SupplyKind.PURCHASE):
        key = (supply.order or "", supply.line or "")
        row = frame.purchases.get(key)
        if row is None or (row.part, row.point) != (supply.part, supply.point):
            yield subject, f"is no open purchase of {supply.part} at {supply.point}"
            continue
        total[key] += supply.quantity_milli
        if total[key] > row.quantity_milli:
            yield subject, f"counts {number(total[key])}, to come are {number(row.quantity_milli)}"
        opening = frame.hours[row.point].opening(frame.due_day(row.due))
        if supply.usable < opening:
            yield subject, f"is usable {clock(supply.usable)}, it comes by {clock(opening)}"


def new_purchases(frame: Frame) -> Iterator[Finding]:
    """A new purchase is placed from the planning date on, or from the day on which orders may be
    placed if that is later, and arrives its lead time later.

    It keeps to the source's minimum and multiple; only what a source expedites comes sooner.
    """
    for subject, supply in _of(frame, SupplyKind.NEW_PURCHASE):
        source = _source(frame, supply)
        if source is None:
            yield subject, f"has no source {supply.supplier} of {supply.part} at {supply.point}"
            continue
        assert supply.place_on is not None
        assert supply.arrives_on is not None
        lead_days = source.lead_days
        if supply.expedited:
            if source.expedite_days is None:
                yield subject, f"is expedited, {source.supplier} does not expedite"
            lead_days = max(0, lead_days - (source.expedite_days or 0))
        if supply.place_on < frame.terms.as_of:
            yield subject, f"is placed {supply.place_on}, before the planning date"
        elif supply.place_on < frame.ordering_from:
            yield (
                subject,
                f"is placed {supply.place_on}, orders are placed from {frame.ordering_from} on",
            )
        if supply.arrives_on != supply.place_on + timedelta(lead_days):
            yield (
                subject,
                f"is placed {supply.place_on} and arrives {supply.arrives_on}, "
                f"it takes {lead_days} days",
            )
        opening = frame.hours[supply.point].opening(supply.arrives_on)
        if supply.usable < opening:
            yield subject, f"is usable {clock(supply.usable)}, it comes by {clock(opening)}"
        if supply.quantity_milli < source.minimum_milli:
            yield subject, f"is less than the minimum of {number(source.minimum_milli)}"
        if source.multiple_milli and supply.quantity_milli % source.multiple_milli:
            yield subject, f"is no multiple of {number(source.multiple_milli)}"


def monthly_cap(frame: Frame) -> Iterator[Finding]:
    """What arrives of a part from a supplier in a calendar month is within the cap.

    Open purchases count in the month of the day they are counted on; a month that they fill by
    themselves is no fault of the plan.
    """
    arriving: defaultdict[tuple[str, str, int, int], int] = defaultdict(int)
    for row in frame.dataset.purchases:
        day = frame.due_day(row.due)
        arriving[row.part, row.supplier, day.year, day.month] += row.quantity_milli
    caps: dict[tuple[str, str, int, int], int] = {}
    for _, supply in _of(frame, SupplyKind.NEW_PURCHASE):
        source, day = _source(frame, supply), supply.arrives_on or date.min
        key = (supply.part, supply.supplier or "", day.year, day.month)
        arriving[key] += supply.quantity_milli
        if source is not None and source.monthly_cap_milli is not None:
            caps[key] = min(source.monthly_cap_milli, caps.get(key, source.monthly_cap_milli))
    for key, cap in caps.items():
        if arriving[key] > cap:
            part, supplier, year, month = key
            yield (
                f"{part} from {supplier}",
                f"{number(arriving[key])} arrive in {year}-{month:02d}, the most is {number(cap)}",
            )


def _source(frame: Frame, supply: Supply) -> Source | None:
    return frame.sources.get((supply.part, supply.supplier or "", supply.point))


def transfers(frame: Frame) -> Iterator[Finding]:
    """A transfer moves units along a lane, on a departure day on which they are there."""
    for subject, supply in _of(frame, SupplyKind.TRANSFER):
        moved = frame.supplies[supply.from_supply or ""]
        lane = frame.lanes.get((supply.origin or "", supply.point))
        if (moved.part, moved.point) != (supply.part, supply.origin):
            yield subject, f"moves {supply.part} from {supply.origin}, {moved.supply} is not that"
            continue
        if lane is None:
            yield subject, f"has no lane from {supply.origin} to {supply.point}"
            continue
        if moved.kind is SupplyKind.JOB:
            yield subject, "moves what a job makes for its own need"
        assert supply.leaves_on is not None
        assert supply.arrives_on is not None
        if supply.quantity_milli % frame.parts[supply.part].step_milli:
            yield subject, f"moves {number(supply.quantity_milli)}, not in whole steps"
        if not _departs(frame, lane, supply.leaves_on):
            yield subject, f"leaves on {supply.leaves_on}, no departure day"
        if supply.leaves_on < max(moved.usable.date(), frame.terms.as_of):
            yield subject, f"leaves on {supply.leaves_on}, it is there from {clock(moved.usable)}"
        if supply.arrives_on != supply.leaves_on + timedelta(lane.days):
            yield (
                subject,
                f"leaves {supply.leaves_on} and arrives {supply.arrives_on}, "
                f"it takes {lane.days} days",
            )
        opening = frame.hours[supply.point].opening(supply.arrives_on)
        if supply.usable < opening:
            yield subject, f"is usable {clock(supply.usable)}, it comes by {clock(opening)}"


def _departs(frame: Frame, lane: Lane, day: date) -> bool:
    if lane.weekdays:
        return WEEKDAYS[day.weekday()] in lane.weekdays
    return frame.hours[lane.origin].is_open_on(day)


def made(frame: Frame) -> Iterator[Finding]:
    """What a job makes is usable when the job ends, at its point, for its own need alone.

    A phantom takes no time: it is usable when the last of its components is.
    """
    made_by: dict[str, str] = {}
    for subject, supply in _of(frame, SupplyKind.JOB):
        job = frame.jobs[supply.job or ""]
        point = frame.builds[job.build].point
        if (supply.part, supply.point) != (job.part, point) or job.for_job is None:
            yield subject, f"is not what job {job.job} makes"
        if supply.quantity_milli > job.quantity_milli:
            yield subject, f"counts {number(supply.quantity_milli)}, its job makes less"
        if made_by.setdefault(job.job, supply.supply) != supply.supply:
            yield subject, f"job {job.job} is counted twice"
        ready = frame.last_end(job)
        if ready is None:
            below = [
                frame.supplies[peg.supply].usable
                for (_, part) in frame.needs(job)
                for peg in frame.pegs_by_need.get((job.job, None, part), ())
            ]
            ready = max(below, default=frame.midnight)
        if supply.usable < ready:
            yield subject, f"is usable {clock(supply.usable)}, it is ready at {clock(ready)}"
    for peg in frame.plan.pegs:
        source = frame.supplies[peg.supply]
        if source.job is not None:
            job = frame.jobs[source.job]
            if (job.for_job, job.for_operation) != (peg.job, peg.operation):
                yield f"supply {source.supply}", f"fills another need, of job {peg.job}"
    for shipment in frame.plan.shipments:
        if frame.supplies[shipment.supply].kind is SupplyKind.JOB:
            yield f"supply {shipment.supply}", "is made for a build and shipped to a parts order"

"""What starts when on which station, and are its parts there?

A station number is a convenience of the reader: the plan says how many stations an operation
holds, not which. Numbers are dealt out in order of start, the lowest free ones first, so that no
station has two operations at once. That always works out: operations and downtime of a work centre
never need more stations at once than it has, and intervals dealt in order of start never need more.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from fulfil_models.calendar import Axis, make_axis
from fulfil_models.plan import Peg, Plan, PlannedOperation, Supply, SupplyKind
from fulfil_models.plan_index import PlanIndex, midnight
from fulfil_models.tables import Dataset, Downtime, Purchase, WorkCentre


class Readiness(StrEnum):
    RUNNING = "running"
    CLEAR = "clear"
    WAITING = "waiting"


@dataclass(frozen=True, slots=True)
class Wait:
    """Something an operation needs that is not in hand.

    Attributes
    ----------
    job: that makes it, for a part made for this need.
    work_centre: where that job is worked last.
    due: of a purchase, the day it is due.
    past_due: that day was before the planning date, and `until` is an assumption.
    confirmed: of a purchase, whether the supplier has confirmed that day.
    """

    part: str
    used: str
    quantity_milli: int
    kind: SupplyKind
    supply: str
    until: datetime
    job: str | None = None
    order: str | None = None
    line: str | None = None
    origin: str | None = None
    work_centre: str | None = None
    due: date | None = None
    past_due: bool = False
    confirmed: bool | None = None


@dataclass(frozen=True, slots=True)
class QueueEntry:
    """One operation in the queue of a work centre.

    Attributes
    ----------
    stations: numbers of the stations it holds, counted from 1; empty for work of no length.
    part, quantity_milli: what the job makes.
    late_days: calendar days that the build is late.
    after: operation of the same job that comes before and is not finished; None if there is none.
    after_at, after_end: its work centre, and when it ends.
    ready: running (started), clear (all parts in hand at the point) or waiting.
    waits: what it waits for, the last to come first.
    """

    work_centre: str
    point: str
    stations: tuple[int, ...]
    start: datetime
    end: datetime
    build: str
    job: str
    operation: int
    part: str
    quantity_milli: int
    late_days: int
    after: int | None
    ready: Readiness
    waits: tuple[Wait, ...]
    caution: str | None = None
    after_at: str | None = None
    after_end: datetime | None = None

    @property
    def can_start(self) -> bool:
        """Nothing but the plan keeps it: parts in hand and the operation before done."""
        return self.ready is Readiness.CLEAR and self.after is None


def queue(
    dataset: Dataset, plan: Plan, *, work_centre: str | None = None, days: int | None = None
) -> tuple[QueueEntry, ...]:
    """Operations that start within some days, by work centre and start.

    Parameters
    ----------
    work_centre: this one alone; None for all.
    days: calendar days from the planning date, that day included; None for the whole plan.
    """
    index = PlanIndex(plan)
    centres = {row.work_centre: row for row in dataset.work_centres}
    stations = _stations(dataset, plan, index, centres, work_centre)
    cautions = {row.part: row.caution for row in dataset.parts if row.caution}
    started = {(row.build, row.operation) for row in dataset.progress if row.started is not None}
    purchases = {(line.order, line.line): line for line in dataset.purchases}
    end = None if days is None else midnight(plan.as_of + timedelta(days))
    entries: list[QueueEntry] = []
    for row in plan.operations:
        if work_centre is not None and row.work_centre != work_centre:
            continue
        if end is not None and row.start >= end:
            continue
        job = index.jobs[row.job]
        waits = _waits(index, purchases, row.job, row.operation)
        running = (row.job, row.operation) in started and job.for_job is None
        before = [r for r in index.operations_of[row.job] if r.operation < row.operation]
        entries.append(
            QueueEntry(
                work_centre=row.work_centre,
                point=_point(centres, index, row),
                stations=stations.get((row.job, row.operation), ()),
                start=row.start,
                end=row.end,
                build=job.build,
                job=row.job,
                operation=row.operation,
                part=job.part,
                quantity_milli=job.quantity_milli,
                late_days=index.builds[job.build].late_days if job.build in index.builds else 0,
                after=before[-1].operation if before else None,
                after_at=before[-1].work_centre if before else None,
                after_end=before[-1].end if before else None,
                ready=Readiness.RUNNING
                if running
                else (Readiness.WAITING if waits else Readiness.CLEAR),
                waits=() if running else waits,
                caution=cautions.get(job.part),
            )
        )
    return tuple(sorted(entries, key=lambda e: (e.work_centre, e.start, e.stations, e.job)))


def _point(centres: Mapping[str, WorkCentre], index: PlanIndex, row: PlannedOperation) -> str:
    centre = centres.get(row.work_centre)
    if centre is not None:
        return centre.point
    build = index.builds.get(index.jobs[row.job].build)
    return "" if build is None else build.point


def next_start(plan: Plan, after: date, work_centre: str | None = None) -> PlannedOperation | None:
    """The first operation that starts on a day or later; None where nothing does."""
    rows = [
        row
        for row in plan.operations
        if row.start >= midnight(after) and work_centre in (None, row.work_centre)
    ]
    return min(rows, key=lambda row: (row.start, row.job, row.operation), default=None)


Purchases = Mapping[tuple[str, str], Purchase]
"""open purchase lines by order and line"""


def _waits(index: PlanIndex, purchases: Purchases, job: str, operation: int) -> tuple[Wait, ...]:
    """What an operation draws on that is not on the shelf, phantoms looked through."""
    waits: list[Wait] = []
    todo = [peg for peg in index.pegs_of.get(job, []) if peg.operation == operation]
    while todo:
        peg = todo.pop()
        supply = index.supplies[peg.supply]
        if supply.kind is SupplyKind.STOCK:
            continue
        if supply.job is not None and supply.job not in index.operations_of:
            todo += index.pegs_of.get(supply.job, [])  # a phantom: as ready as its components
            continue
        waits.append(_wait(index, purchases, peg, supply))
    return tuple(sorted(waits, key=lambda w: (w.until, w.part, w.supply), reverse=True))


def _wait(index: PlanIndex, purchases: Purchases, peg: Peg, supply: Supply) -> Wait:
    line = purchases.get((supply.order or "", supply.line or ""))
    made = index.operations_of[supply.job][-1] if supply.job is not None else None
    return Wait(
        part=peg.part,
        used=peg.used,
        quantity_milli=peg.quantity_milli,
        kind=supply.kind,
        supply=supply.supply,
        until=peg.usable,
        job=supply.job,
        order=supply.order,
        line=supply.line,
        origin=supply.origin,
        work_centre=None if made is None else made.work_centre,
        due=None if line is None else line.due,
        past_due=line is not None and line.due < index.plan.as_of,
        confirmed=None if line is None else line.confirmed,
    )


# ---- station numbers


def _stations(
    dataset: Dataset,
    plan: Plan,
    index: PlanIndex,
    centres: Mapping[str, WorkCentre],
    only: str | None,
) -> dict[tuple[str, int], tuple[int, ...]]:
    """Station numbers of every operation, over the whole plan so that they stay put."""
    used: dict[tuple[str, int], int] = {
        (row.part, row.operation): row.stations for row in dataset.routings
    }
    by: defaultdict[str, list[PlannedOperation]] = defaultdict(list)
    for row in plan.operations:
        if only is None or row.work_centre == only:
            by[row.work_centre].append(row)
    down: defaultdict[str, list[Downtime]] = defaultdict(list)
    for out in dataset.downtime:
        down[out.work_centre].append(out)
    axes: dict[str, Axis] = {}
    found: dict[tuple[str, int], tuple[int, ...]] = {}
    for name, rows in sorted(by.items()):
        centre = centres.get(name)
        if centre is None:
            continue
        axis = _axis(dataset, plan, centre.point, axes)
        intervals = [
            Interval(
                axis.position(row.start),
                axis.position(row.end),
                used.get((index.jobs[row.job].part, row.operation), 1),
                (row.job, row.operation),
            )
            for row in rows
        ]
        intervals += [
            Interval(axis.position(out.starts), axis.position(out.ends), out.stations, None)
            for out in down[name]
        ]
        found |= deal_stations(intervals, centre.stations)
    return found


def _axis(dataset: Dataset, plan: Plan, point: str, axes: dict[str, Axis]) -> Axis:
    """Working time of a point as far as the plan goes; downtime while it is closed has no length
    on it."""
    calendar = next((row.calendar for row in dataset.points if row.point == point), "standard")
    if calendar not in axes:
        last = max((row.end.date() for row in plan.operations), default=plan.as_of)
        axes[calendar] = make_axis(
            calendar,
            plan.as_of,
            _days(plan.as_of, last),
            dataset.calendars,
            dataset.shifts,
            dataset.closures,
        )
    return axes[calendar]


def _days(first: date, last: date) -> int:
    # a year more than needed, so that a long shutdown right at the start leaves something open
    return max((last - first).days, 0) + 366


@dataclass(frozen=True, slots=True)
class Interval:
    """Stations held from one position to another; `key` is None for downtime."""

    start: int
    end: int
    stations: int
    key: tuple[str, int] | None


def deal_stations(
    intervals: Sequence[Interval], stations: int
) -> dict[tuple[str, int], tuple[int, ...]]:
    """Numbers of the stations that each operation holds.

    Downtime takes the highest numbers free, operations the lowest. Where more are wanted at once
    than there are, which no checked plan does, an operation is given those that are left.
    """
    free_from = [0] * stations
    dealt: dict[tuple[str, int], tuple[int, ...]] = {}
    for interval in sorted(
        intervals, key=lambda i: (i.start, i.key is not None, i.key or ("", 0), i.end)
    ):
        if interval.end <= interval.start:
            if interval.key is not None:
                dealt[interval.key] = ()
            continue
        free = [number for number in range(stations) if free_from[number] <= interval.start]
        count = min(interval.stations, len(free))
        taken = free[:count] if interval.key is not None else free[len(free) - count :]
        for number in taken:
            free_from[number] = interval.end
        if interval.key is not None:
            dealt[interval.key] = tuple(number + 1 for number in taken)
    return dealt

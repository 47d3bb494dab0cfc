"""Is every operation in working time, long enough, in order, on a free station?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime, time, timedelta

from fulfil_models.audit_frame import Finding, Frame, clock
from fulfil_models.cells import MILLI
from fulfil_models.plan import PlannedJob, PlannedOperation
from fulfil_models.tables import RoutingStep


def _steps(frame: Frame) -> Iterator[tuple[PlannedJob, RoutingStep, PlannedOperation]]:
    """Each planned operation with its job and the step of the routing it is."""
    for job in frame.plan.jobs:
        planned = frame.operations.get(job.job, {})
        for step in frame.steps_left(job):
            operation = planned.get(step.operation)
            if operation is not None:
                yield job, step, operation


def _is_started(frame: Frame, job: PlannedJob, operation: int) -> bool:
    return frame.done(job).started == operation


def _name(operation: PlannedOperation) -> str:
    return f"operation {operation.job} {operation.operation}"


def minutes_needed(step: RoutingStep, units_milli: int) -> int:
    """Whole working minutes of an operation: setup and minutes x units, rounded down."""
    return (step.setup_milli * MILLI + step.minutes_milli * units_milli) // (MILLI * MILLI)


def working_time(frame: Frame) -> Iterator[Finding]:
    """Work starts and ends while the point is open, and not before the planning date.

    What was started earlier stays as it was recorded.
    """
    for job, _, operation in _steps(frame):
        hours = frame.hours_of(job)
        start, end = operation.start, operation.end
        started = _is_started(frame, job, operation.operation)
        if end < start:
            yield _name(operation), f"ends at {clock(end)}, before it starts"
        if start < frame.midnight and not started:
            yield _name(operation), f"starts at {clock(start)}, before the planning date"
        if start == end:
            if not (started or hours.may_start(start) or hours.may_end(start)):
                yield _name(operation), f"is at {clock(start)}, when its point is closed"
            continue
        if not (started or hours.may_start(start)):
            yield _name(operation), f"starts at {clock(start)}, when its point is closed"
        if not (hours.may_end(end) or (started and hours.may_start(end))):
            yield _name(operation), f"ends at {clock(end)}, when its point is closed"


def duration(frame: Frame) -> Iterator[Finding]:
    """Work takes setup + minutes x units of working time, without a break.

    What was started earlier and should be over, but is not recorded as finished, ends at the
    opening of the planning date.
    """
    for job, step, operation in _steps(frame):
        hours = frame.hours_of(job)
        needed = minutes_needed(step, job.quantity_milli)
        if _is_started(frame, job, operation.operation):
            needed = max(needed, hours.before_as_of(operation.start))
        taken = hours.worked_before(operation.end) - hours.worked_before(operation.start)
        if taken != needed:
            yield _name(operation), f"takes {taken} working minutes, it needs {needed}"


def earliest(frame: Frame) -> Iterator[Finding]:
    """No operation of a build starts before the build's `earliest`."""
    for job, _, operation in _steps(frame):
        day = frame.builds[job.build].earliest
        if day is None or _is_started(frame, job, operation.operation):
            continue
        if operation.start < datetime.combine(day, time.min):
            yield (
                _name(operation),
                f"starts at {clock(operation.start)}, its build not before {day}",
            )


def sequence(frame: Frame) -> Iterator[Finding]:
    """Operations of a job run in ascending order, each after the one before has ended."""
    ended: dict[str, datetime] = {}
    for job, _, operation in _steps(frame):
        before = ended.get(job.job, frame.done(job).finished)
        started = _is_started(frame, job, operation.operation)
        if before is not None and operation.start < before and not started:
            yield _name(operation), f"starts before {clock(before)}, when the one before it ends"
        ended[job.job] = operation.end


Busy = tuple[int, int, int, bool]
"""from, to (positions), stations, whether the planner could have put it elsewhere"""


def busy(frame: Frame) -> dict[str, list[Busy]]:
    """What holds stations of each work centre: operations that take time, and downtime."""
    held: defaultdict[str, list[Busy]] = defaultdict(list)
    for job, step, operation in _steps(frame):
        hours = frame.hours_of(job)
        start, end = hours.position(operation.start), hours.position(operation.end)
        if start < end:
            free = not _is_started(frame, job, operation.operation)
            held[operation.work_centre].append((start, end, step.stations, free))
    for row in frame.dataset.downtime:
        hours = frame.hours[frame.work_centres[row.work_centre].point]
        start, end = hours.position(row.starts), hours.position(row.ends)
        if start < end:
            held[row.work_centre].append((start, end, row.stations, False))
    return held


def stations(frame: Frame) -> Iterator[Finding]:
    """Running operations and downtime never hold more stations than a work centre has.

    Started work and downtime may clash among themselves: no plan could mend that.
    """
    for name, held in busy(frame).items():
        most = frame.work_centres[name].stations
        events = sorted(
            [(end, 0, -count, -free) for _, end, count, free in held]
            + [(start, 1, count, int(free)) for start, _, count, free in held]
        )
        load = free_running = 0
        for position, _, count, free in events:
            load += count
            free_running += free
            if load > most and free_running:
                yield (
                    f"work centre {name}",
                    f"holds {load} stations of {most}, {position} working minutes from now",
                )
                break


def progress(frame: Frame) -> Iterator[Finding]:
    """Finished operations are gone, with what they consumed; started ones stay where they are.

    A started operation keeps its recorded start (and its work centre, as every operation does).
    Its parts are taken to have been issued when it was started: neither a finished nor a started
    operation has pegs, or jobs that make something for it.
    """
    for job in frame.plan.jobs:
        done = frame.done(job)
        planned = frame.operations.get(job.job, {})
        for name in sorted(done.gone & planned.keys()):
            yield f"operation {job.job} {name}", "is finished and still planned"
        if done.started is not None and done.started in planned and done.at is not None:
            start = planned[done.started].start
            if start != done.at:
                yield (
                    f"operation {job.job} {done.started}",
                    f"was started at {clock(done.at)} and is planned at {clock(start)}",
                )
        if job.for_job is not None:
            above = frame.jobs[job.for_job]
            if job.for_operation in frame.done(above).issued:
                yield f"job {job.job}", "makes what has been issued already"
    for peg in frame.plan.pegs:
        if peg.operation in frame.done(frame.jobs[peg.job]).issued:
            yield f"peg {peg.job} {peg.operation} {peg.part}", "is of parts issued already"


def freeze(frame: Frame) -> Iterator[Finding]:
    """What the plan before starts within the freeze keeps its slot, unless it no longer can.

    Judged leniently: a moved operation is reported only if, with everything else as it is in the
    new plan, its old slot would still do.
    """
    if frame.previous is None or frame.terms.freeze_days == 0:
        return
    until = frame.midnight + timedelta(frame.terms.freeze_days)
    before = {
        (old.job, old.operation): old
        for old in frame.previous.operations
        if frame.midnight <= old.start < until
    }
    held: dict[str, list[Busy]] = {}
    for job, step, operation in _steps(frame):
        old = before.get((operation.job, operation.operation))
        if old is None or old.start == operation.start or frame.done(job).started == step.operation:
            continue
        held = held or busy(frame)
        if _slot_would_do(frame, job, step, operation, old.start, held):
            yield (
                _name(operation),
                f"was frozen at {clock(old.start)} and is moved to {clock(operation.start)}",
            )


def _slot_would_do(
    frame: Frame,
    job: PlannedJob,
    step: RoutingStep,
    operation: PlannedOperation,
    slot: datetime,
    held: dict[str, list[Busy]],
) -> bool:
    """Whether an operation could start at a moment with everything else left as planned."""
    hours = frame.hours_of(job)
    start = hours.position(slot)
    end = start + minutes_needed(step, job.quantity_milli)
    day = frame.builds[job.build].earliest
    if not hours.may_start(slot) or (day is not None and slot.date() < day):
        return False
    planned = frame.operations[job.job]
    ended = [frame.done(job).finished, *(o.end for n, o in planned.items() if n < step.operation)]
    if any(moment is not None and slot < moment for moment in ended):
        return False
    follows = [o.start for n, o in planned.items() if n > step.operation]
    if job.for_job is not None:
        needed_at = frame.moment(job.for_job, job.for_operation)
        follows += [needed_at] if needed_at is not None else []
    if any(hours.position(moment) < end for moment in follows):
        return False
    if any(slot < usable for usable in _arrivals(frame, job.job, step.operation)):
        return False
    # Its own present stay is taken out once; whatever else is there stays.
    others = list(held.get(operation.work_centre, ()))
    own = (hours.position(operation.start), hours.position(operation.end), step.stations, True)
    if own in others:
        others.remove(own)
    moments = [start, *(s for s, _, _, _ in others if start < s < end)]
    most = frame.work_centres[operation.work_centre].stations
    return all(
        step.stations + sum(n for s, e, n, _ in others if s <= moment < e) <= most
        for moment in moments
    )


def _arrivals(frame: Frame, job_id: str, operation: int | None) -> Iterator[datetime]:
    """When what an operation needs is usable, phantoms below it included."""
    for peg in frame.pegs_at.get((job_id, operation), ()):
        yield peg.usable
    for job in frame.jobs_for.get((job_id, operation), ()):
        if job.part not in frame.routings:
            yield from _arrivals(frame, job.job, None)

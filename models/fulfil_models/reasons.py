"""Why does a build ship when it does? The chain that holds its last operation, walked back.

Every operation of the chain is explained by what lets it start no sooner: the operation before, the
queue of its work centre, the arrival of a part, the end of the job that makes one, or a date before
which nothing may start. A plan may start what is in time later than that; it is said where it does.
"""

from __future__ import annotations

from datetime import datetime

from fulfil_models.book import Task
from fulfil_models.plan import BlockerKind, Reason
from fulfil_models.retiming import Retimer, Timing, Wait
from fulfil_models.waits import Teller


def chain_of(retimer: Retimer, teller: Teller, task: Task, timing: Timing) -> tuple[Reason, ...]:
    """The reasons for a build's date, from its last operation back.

    Parameters
    ----------
    timing: of the build timed again with nothing waived.
    """
    reasons: list[Reason] = []
    told: set[tuple[str, int]] = set()
    for wait in timing.waits:
        job, place = wait.job, wait.place
        timed = place >= 0 and bool(job.operations)
        why = _why(retimer, teller, wait)
        if timed and (job.name, place) not in told:
            # the first link of an operation is the one that it starts with
            told.add((job.name, place))
            planned = retimer.decisions.starts[job.name][place]
            if planned // retimer.cell > wait.until:
                why += f" (planned for {_moment(task, planned):%Y-%m-%d %H:%M})"
        number = job.operations[place].number if timed else None
        at = _moment(task, wait.until * retimer.cell)
        reasons.append(Reason(job.name, number, wait.kind, wait.what, at, why))
    return tuple(reasons)


def _why(retimer: Retimer, teller: Teller, wait: Wait) -> str:
    if wait.kind is BlockerKind.PART and wait.need is not None:
        return teller.part(wait.need)[0]
    if wait.kind is BlockerKind.WORK_CENTRE:
        span = (wait.since * retimer.cell, wait.until * retimer.cell)
        return teller.station(wait.job, wait.place, *span)[0]
    if wait.kind is BlockerKind.EARLIEST:
        return f"not to be started before {_earliest(wait.job.task)}"
    return _work(wait)


def _work(wait: Wait) -> str:
    job = wait.job
    if wait.need is not None:
        return f"{wait.what} is made for it, done then"
    operation = job.operations[wait.place] if job.operations else None
    if operation is not None and operation.pinned is not None:
        return "was started then" if operation.started else "keeps its slot in the freeze"
    if wait.place > 0:
        return f"follows operation {job.operations[wait.place - 1].number}"
    return "the planning date"


def _earliest(task: Task) -> str:
    """The date or moment before which a build does not go on, in words."""
    done = task.finished
    if done is not None and task.earliest == task.axis.position(done):
        return f"{done:%Y-%m-%d %H:%M}, when its last finished operation was done"
    return str(task.build.earliest)


def _moment(task: Task, position: int) -> datetime:
    return task.axis.start_moment(position)

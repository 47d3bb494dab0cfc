"""Is every need filled, with the right part, by units that are there in time?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime

from fulfil_models.audit_frame import Finding, Frame, clock, line_key, number
from fulfil_models.plan import Peg


def _subject(job: str, operation: int | None, part: str) -> str:
    where = job if operation is None else f"{job} {operation}"
    return f"need {where} {part}"


def needs(frame: Frame) -> Iterator[Finding]:
    """Each need is filled to its exact quantity, and nothing is issued that is not needed.

    A need filled with more than one part, or with one that may not stand in, is a matter of
    `alternates` alone.
    """
    unmet = {
        (job.job, operation, part): milli
        for job in frame.plan.jobs
        for (operation, part), milli in frame.needs(job).items()
    }
    for key, pegs in frame.pegs_by_need.items():
        job, operation, part = key
        for peg in pegs:
            if peg.quantity_milli <= 0:
                yield _subject(*key), f"draws {number(peg.quantity_milli)}"
            elif peg.quantity_milli % frame.parts[peg.used].step_milli:
                yield _subject(*key), f"draws {number(peg.quantity_milli)}, not in whole steps"
        milli = unmet.pop(key, None)
        if milli is None:
            if operation not in frame.done(frame.jobs[job]).issued:
                yield _subject(*key), "is filled and is none"
            continue
        used = {peg.used for peg in pegs}
        if len(used) > 1 or not frame.may_fill(part, pegs[0].used):
            continue
        wanted = frame.wanted(part, pegs[0].used, milli)
        got = sum(peg.quantity_milli for peg in pegs)
        if got != wanted:
            yield (
                _subject(*key),
                f"gets {number(got)} of {pegs[0].used} and needs {number(wanted)}",
            )
    for key, milli in unmet.items():
        yield _subject(*key), f"of {number(milli)} is not filled"


def alternates(frame: Frame) -> Iterator[Finding]:
    """A need is filled wholly by the part or wholly by one approved alternate."""
    filled: defaultdict[tuple[str, str], set[str]] = defaultdict(set)
    for key, pegs in frame.pegs_by_need.items():
        filled[_subject(*key), key[2]].update(peg.used for peg in pegs)
    for (order, line), shipments in frame.shipments_by_line.items():
        part = frame.lines[order, line].part
        filled[f"line {line_key(order, line)}", part].update(s.used for s in shipments)
    for (subject, part), used in filled.items():
        for other in sorted(used):
            if not frame.may_fill(part, other):
                yield subject, f"{other} is no approved alternate of {part}"
        if len(used) > 1:
            yield subject, f"is filled by {' and '.join(sorted(used))}"


def pegs(frame: Frame) -> Iterator[Finding]:
    """A peg says of its supply what the supply says of itself, and it is at the build's point."""
    for peg in frame.plan.pegs:
        supply = frame.supplies[peg.supply]
        if supply.part != peg.used:
            yield _peg_subject(peg), f"uses {peg.used} from a supply of {supply.part}"
        point = frame.builds[frame.jobs[peg.job].build].point
        if not supply.point == peg.point == point:
            yield _peg_subject(peg), f"is at {point}, its supply at {supply.point}"
        if peg.usable != supply.usable:
            yield (
                _peg_subject(peg),
                f"is usable {clock(peg.usable)}, its supply {clock(supply.usable)}",
            )


def in_time(frame: Frame) -> Iterator[Finding]:
    """What an operation needs is usable when it starts; a phantom's parts when its parent does.

    What is said to be issued to an operation that has its parts already is a matter of `progress`.
    """
    moments: dict[tuple[str, int | None], datetime | None] = {}
    for peg in frame.plan.pegs:
        key = (peg.job, peg.operation)
        if peg.operation in frame.done(frame.jobs[peg.job]).issued:
            continue
        if key not in moments:
            moments[key] = frame.moment(*key)
        start = moments[key]
        usable = frame.supplies[peg.supply].usable
        if start is not None and usable > start:
            yield _peg_subject(peg), f"is usable at {clock(usable)} and used at {clock(start)}"


def drawn(frame: Frame) -> Iterator[Finding]:
    """No unit is used twice, and there is no such thing as less than none.

    So nothing can be moved in a circle either: some supply of it would have to be more than it is.
    """
    for supply in frame.plan.supplies:
        if supply.quantity_milli <= 0:
            yield f"supply {supply.supply}", f"is {number(supply.quantity_milli)}"
    for name, milli in frame.drawn.items():
        there = frame.supplies[name].quantity_milli
        if milli > there:
            yield f"supply {name}", f"is {number(there)}, {number(milli)} are drawn from it"


def _peg_subject(peg: Peg) -> str:
    where = peg.job if peg.operation is None else f"{peg.job} {peg.operation}"
    return f"peg {where} {peg.part} from {peg.supply}"

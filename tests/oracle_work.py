"""What the oracle decides, and the operations that follow from it."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from fulfil_models.audit_frame import Frame
from fulfil_models.audit_time import minutes_needed
from fulfil_models.tables import Build, PartsOrder
from oracle_slots import Work
from oracle_supply import Way


@dataclass(frozen=True)
class Wanted:
    """A need of a job, or a line of a parts order."""

    part: str
    milli: int
    build: Build | None = None
    job: str = ""
    operation: int | None = None
    at: tuple[str, int | None] = ("", None)
    """the operation, of this job or one above a phantom, at whose start it is needed"""
    line: PartsOrder | None = None


@dataclass(frozen=True)
class Draw:
    wanted: Wanted
    used: str
    milli: int
    way: Way | None
    """None for what is made"""
    job: str = ""


@dataclass
class Made:
    """A job of the plan."""

    build: Build
    part: str
    milli: int
    above: Wanted | None


@dataclass
class Best:
    """The least cost found, in the currency, and the decisions that make it."""

    cost: Fraction
    draws: tuple[Draw, ...] = ()
    jobs: dict[str, Made] = field(default_factory=dict)
    starts: dict[tuple[str, int], int] = field(default_factory=dict)


def work_of(
    frame: Frame,
    build: Build,
    jobs: dict[str, Made],
    releases: dict[tuple[str, int | None], int],
    rate: int,
) -> list[Work]:
    """The operations of a build's jobs, with what each has to wait for.

    `rate` is the cost of a late minute of the build.
    """
    hours = frame.hours[build.point]
    least = hours.position(hours.opening(build.earliest)) if build.earliest else 0
    due = hours.due(build.promised, frame.points[build.point].cutoff)
    made: list[Work] = []
    last: dict[str, tuple[str, int]] = {}
    for name, job in jobs.items():
        if job.build is not build:
            continue
        before: tuple[str, int] | None = None
        for step in frame.routings.get(job.part, []):
            key = (name, step.operation)
            made.append(
                Work(
                    key,
                    step.work_centre,
                    minutes_needed(step, job.milli),
                    step.stations,
                    max(least, releases.get(key, 0)),
                    {before} if before else set(),
                    due,
                    rate if job.above is None else 0,
                )
            )
            before = key
        if before is not None:
            last[name] = before
    by_key = {work.key: work for work in made}
    for work in made:
        work.counts = work.counts if last.get(work.key[0]) == work.key else 0
    for name, key in last.items():
        above = jobs[name].above
        if above is not None:
            by_key[above.at].after.add(key)  # type: ignore[index]
    return made


def stations_of(frame: Frame) -> dict[str, tuple[int, list[tuple[int, int, int]]]]:
    """Stations of each work centre, and when how many are out of use."""
    out: dict[str, tuple[int, list[tuple[int, int, int]]]] = {
        name: (row.stations, []) for name, row in frame.work_centres.items()
    }
    for row in frame.dataset.downtime:
        hours = frame.hours[frame.work_centres[row.work_centre].point]
        start, end = hours.position(row.starts), hours.position(row.ends)
        if start < end:
            out[row.work_centre][1].append((start, end, row.stations))
    return out

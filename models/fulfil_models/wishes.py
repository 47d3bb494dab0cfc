"""Who may call for a part, where, and by when?

A wish is no need: what is wished for through an alternate, or for something that may be made, may
never be drawn. It tells who should not go without.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date, datetime

from fulfil_models.cells import MILLI, day_of
from fulfil_models.explosion import JobNeed, job_needs
from fulfil_models.potential import alternate_quantity, makeable_at
from fulfil_models.problem import Problem, carrier_day
from fulfil_models.tables import Build, PartsOrder


@dataclass(frozen=True, slots=True)
class Wish:
    """Units of a part that a build, or a line of a parts order, may call for.

    Attributes
    ----------
    places: points at which they can be used, each with the days from there to the customer.
    due: the day by which; the last of all days where nothing is promised.
    stand_in: whether the units would stand in for another part.
    """

    places: tuple[tuple[str, int], ...]
    due: date
    quantity_milli: int
    stand_in: bool


def wishes_for(problem: Problem, parts: Collection[str]) -> dict[str, list[Wish]]:
    """All wishes for some parts, through bills and alternates."""
    found: dict[str, list[Wish]] = {part: [] for part in parts}
    cache: dict[tuple[str, int, date], list[JobNeed]] = {}
    for build in problem.builds:
        here = ((build.point, 0),)
        for used, milli, stand_in in _calls_of(problem, build, cache):
            if used in found:
                found[used].append(Wish(here, _due_of(build.promised), milli, stand_in))
    for row in problem.parts_orders:
        deliveries = ((point, problem.delivery(point, row.destination)) for point in problem.points)
        places = tuple((point, d.days) for point, d in deliveries if d is not None)
        for used, milli, stand_in in _stand_ins(problem, row.part, row.quantity_milli, False):
            if used in found:
                found[used].append(Wish(places, _due_of_line(row), milli, stand_in))
    return found


def _due_of(promised: date | datetime | None) -> date:
    return date.max if promised is None else day_of(promised)


def _due_of_line(row: PartsOrder) -> date:
    if row.promised is None and row.within_days is not None:
        return carrier_day(row.ordered, row.within_days)
    return _due_of(row.promised)


def _stand_ins(
    problem: Problem, part: str, quantity_milli: int, stand_in: bool
) -> Iterator[tuple[str, int, bool]]:
    """The part and its approved alternates, with what is called for of each."""
    yield part, quantity_milli, stand_in
    for row in problem.alternates.get(part, ()):
        yield row.alternate, alternate_quantity(problem, row, quantity_milli)[0], True


def _calls_of(
    problem: Problem, build: Build, cache: dict[tuple[str, int, date], list[JobNeed]]
) -> Iterator[tuple[str, int, bool]]:
    """Every part that a build may still call for, at any depth: quantity, and whether it would
    stand in for another part or go into one that does."""
    gone = _issued(problem, build)
    stack: list[tuple[str, int, bool, tuple[str, ...]]] = [
        (need.component, need.quantity_milli, False, (build.product,))
        for need in job_needs(problem, build.product, MILLI, build=build)
        if need.operation not in gone
    ]
    while stack:
        called, wanted, below, within = stack.pop()
        for used, milli, stand_in in _stand_ins(problem, called, wanted, below):
            yield used, milli, stand_in
            made = problem.parts[used].make and used not in within
            if not made or not makeable_at(problem, used, build.point):
                continue
            key = (used, milli, build.ordered)
            if key not in cache:
                cache[key] = job_needs(problem, used, milli, ordered=build.ordered)
            stack += [
                (need.component, need.quantity_milli, stand_in, (*within, used))
                for need in cache[key]
            ]


def _issued(problem: Problem, build: Build) -> set[int | None]:
    """Operations of a build whose parts are gone: those started or finished, and all before."""
    numbers = [step.operation for step in problem.routings.get(build.product, ())]
    gone: set[int | None] = set()
    for place, number in enumerate(numbers):
        row = problem.progress.get((build.build, number))
        if row is not None and (row.started is not None or row.finished is not None):
            gone.update(numbers[: place + 1])
    return gone

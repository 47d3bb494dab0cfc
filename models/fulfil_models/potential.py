"""How much could ever be drawn of a part, if every need took all that it may?

What stock covers of that is plentiful: never a question to a planner.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from fractions import Fraction

from fulfil_models.cells import MICRO, MILLI, PPM
from fulfil_models.explosion import JobNeed, job_needs, round_up
from fulfil_models.problem import Problem
from fulfil_models.tables import Alternate, Build


def potential_draws(problem: Problem) -> dict[str, int]:
    """For each part, the most that all builds and lines together could ever draw of it."""
    most: defaultdict[str, int] = defaultdict(int)
    cache: dict[tuple[str, int, date], list[JobNeed]] = {}

    def draw(part: str, quantity_milli: int, build: Build) -> None:
        stack: list[tuple[str, int, tuple[str, ...]]] = [(part, quantity_milli, (build.product,))]
        while stack:
            called, wanted, within = stack.pop()
            for used, units in _stand_ins(problem, called, wanted):
                most[used] += units
                made = problem.parts[used].make and used not in within
                if made and makeable_at(problem, used, build.point):
                    key = (used, units, build.ordered)
                    if key not in cache:
                        cache[key] = job_needs(problem, used, units, ordered=build.ordered)
                    stack += [
                        (need.component, need.quantity_milli, (*within, used))
                        for need in cache[key]
                    ]

    for build in problem.builds:
        for need in job_needs(problem, build.product, MILLI, build=build):
            draw(need.component, need.quantity_milli, build)
    for row in problem.parts_orders:
        for used, units in _stand_ins(problem, row.part, row.quantity_milli):
            most[used] += units
    return most


def _stand_ins(problem: Problem, part: str, quantity_milli: int) -> Iterator[tuple[str, int]]:
    yield part, quantity_milli
    for alternate in problem.alternates.get(part, ()):
        yield alternate.alternate, alternate_quantity(problem, alternate, quantity_milli)[0]


def alternate_quantity(
    problem: Problem, alternate: Alternate, quantity_milli: int
) -> tuple[int, Fraction]:
    """Units of an alternate that stand in for a need, in whole steps, and their extra cost."""
    step = problem.parts[alternate.alternate].step_milli
    units_milli = round_up(Fraction(quantity_milli * alternate.ratio_ppm, PPM), step)
    return units_milli, Fraction(alternate.extra_cost_micro * units_milli, MICRO * MILLI)


def makeable_at(problem: Problem, part: str, point: str) -> bool:
    """Whether a make part can be made at a point: all its work centres stand there."""
    if part not in problem.bills and part not in problem.routings:
        return False
    return all(
        problem.work_centres[step.work_centre].point == point
        for step in problem.routings.get(part, ())
    )

"""What is to be minded in a quote: ratings of what stands in, local rules, cautions of parts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fulfil_models.fit import FitCheck
    from fulfil_models.forward import Forward
    from fulfil_models.measures import Measure
    from fulfil_models.plan import Peg, Plan
    from fulfil_models.problem import Problem
    from fulfil_models.room import Request


def fits_of_offer(problem: Problem, offer: Forward) -> tuple[FitCheck, ...]:
    """What ratings say of alternates and of the other option in the builds of an offer."""
    from fulfil_models.fit import check_fit, contents_of, fit_checks, ratings_by_part
    from fulfil_models.forward import Lever

    ratings = ratings_by_part(problem.dataset.ratings)
    by_build = _pegs_by_build(offer.plan)
    found: list[FitCheck] = []
    for build in offer.request.builds:
        pegs = by_build[build.build]
        found += fit_checks(ratings, build.build, pegs)
        if offer.lever is Lever.OPTION and any(peg.used == offer.by for peg in pegs):
            check = check_fit(ratings, build.build, offer.what, offer.by, contents_of(pegs))
            found += [check] if check is not None else []
    return tuple(found)


def fits_of_options(problem: Problem, request: Request, plan: Plan) -> tuple[FitCheck, ...]:
    """What ratings say of options that are asked for in the place of others of their family.

    `plan` is of the request alone.
    """
    from fulfil_models.fit import check_fit, contents_of, ratings_by_part

    ratings = ratings_by_part(problem.dataset.ratings)
    by_build = _pegs_by_build(plan)
    found: list[FitCheck | None] = []
    for build in request.builds:
        amounts: defaultdict[str, int] = defaultdict(int)
        for row in request.options:
            if row.build == build.build:
                amounts[row.component] += row.quantity_milli
        contents = contents_of(by_build[build.build])
        found += [
            check_fit(ratings, build.build, called, used, contents)
            for called, left in amounts.items()
            for used, taken in amounts.items()
            if left < 0 < taken and _is_one_family(problem, called, used)
        ]
    return tuple(check for check in found if check is not None)


def fits_of_measures(
    problem: Problem, plan: Plan, measures: Iterable[Measure]
) -> tuple[FitCheck, ...]:
    """What ratings say of the alternates among what a plan does for its builds."""
    from fulfil_models.fit import fit_checks, ratings_by_part
    from fulfil_models.measures import MeasureKind

    ratings = ratings_by_part(problem.dataset.ratings)
    by_build = _pegs_by_build(plan)
    return tuple(
        check
        for measure in measures
        if measure.kind is MeasureKind.ALTERNATE
        for build in measure.takers
        for check in fit_checks(ratings, build, by_build.get(build, ()))
        if (check.called, check.used) == (measure.what, measure.by)
    )


def regional(problem: Problem, request: Request) -> tuple[tuple[str, str], ...]:
    """(component, note) of parts that local rules commonly require where a request goes to."""
    rows = [
        (rule.component, rule.note)
        for build in request.builds
        for rule in problem.dataset.region_rules
        if rule.family == problem.parts[build.product].family
        and (build.destination or "").startswith(rule.region)
    ]
    return tuple(dict.fromkeys(rows))


def cautions(problem: Problem, plan: Plan, besides: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """(part, caution) of what a plan makes or sends, and of parts that may be used besides."""
    names = [row.product for row in plan.builds]
    used = {peg.used for peg in plan.pegs} | {row.used for row in plan.shipments}
    names += sorted(used.union(besides))
    rows = (problem.parts[name] for name in dict.fromkeys(names))
    return tuple((row.part, row.caution) for row in rows if row.caution)


def _is_one_family(problem: Problem, part: str, other: str) -> bool:
    family = problem.parts[part].family
    return family is not None and family == problem.parts[other].family


def _pegs_by_build(plan: Plan) -> defaultdict[str, list[Peg]]:
    build_of = {job.job: job.build for job in plan.jobs}
    pegs: defaultdict[str, list[Peg]] = defaultdict(list)
    for peg in plan.pegs:
        pegs[build_of[peg.job]].append(peg)
    return pegs

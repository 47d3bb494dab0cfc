"""What is to be minded in a quote: ratings of what stands in, local rules, cautions of parts, and
purchases whose day is not to be relied on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fulfil_models.fit import FitCheck
    from fulfil_models.forward import Forward
    from fulfil_models.measures import Measure
    from fulfil_models.plan import Peg, Plan
    from fulfil_models.problem import Problem
    from fulfil_models.room import Request
    from fulfil_models.tables import Build, RegionRule


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
    found = [
        check_fit(ratings, build, called, used, contents_of(by_build[build]))
        for build, called, used in _swapped_options(problem, request)
    ]
    return tuple(check for check in found if check is not None)


def _swapped_options(problem: Problem, request: Request) -> list[tuple[str, str, str]]:
    """(build, part, part): an option that is left out, and one of its family that is asked for."""
    found = []
    for build in request.builds:
        amounts: defaultdict[str, int] = defaultdict(int)
        for row in request.options:
            if row.build == build.build:
                amounts[row.component] += row.quantity_milli
        found += [
            (build.build, called, used)
            for called, left in amounts.items()
            for used, taken in amounts.items()
            if left < 0 < taken and _is_one_family(problem, called, used)
        ]
    return found


def needs_approval(problem: Problem, asked: Request, request: Request, plan: Plan) -> bool:
    """Whether something stands in for something else in what is offered.

    Parameters
    ----------
    asked: what was asked for.
    request, plan: what is offered for that.
    """
    from fulfil_models.measures import MeasureKind, measures

    products = {build.build: build.product for build in asked.builds}
    return (
        any(row.kind is MeasureKind.ALTERNATE for row in measures(plan))
        or any(products[build.build] != build.product for build in request.builds)
        or bool(_swapped_options(problem, request))
    )


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


@dataclass(frozen=True, slots=True)
class Required:
    """A part that local rules commonly require, and that is built in for that.

    Attributes
    ----------
    besides_milli: of the same part, what is asked for as an option besides.
    """

    component: str
    note: str
    quantity_milli: int
    besides_milli: int


def regional(problem: Problem, request: Request) -> tuple[Required, ...]:
    """Parts that local rules commonly require where a request goes to."""
    rows = [
        Required(
            rule.component,
            rule.note,
            rule.quantity_milli,
            sum(
                row.quantity_milli
                for row in request.options
                if (row.build, row.component) == (build.build, rule.component)
            ),
        )
        for build in request.builds
        for rule in _rules(problem, build)
        if (build.destination or "").startswith(rule.region)
    ]
    return tuple(dict.fromkeys(rows))


def without_region(problem: Problem, requests: Iterable[Request]) -> tuple[str, ...]:
    """Destinations of which no region is known, of machines for which some regions have rules."""
    return tuple(
        dict.fromkeys(
            build.destination
            for request in requests
            for build in request.builds
            if build.destination and build.destination[0].isdigit() and _rules(problem, build)
        )
    )


def _rules(problem: Problem, build: Build) -> list[RegionRule]:
    """Rules of all regions for machines like a build."""
    family = problem.parts[build.product].family
    return [rule for rule in problem.dataset.region_rules if rule.family == family]


@dataclass(frozen=True, slots=True)
class Doubt:
    """An open purchase line that something counts on, and whose day is not to be relied on."""

    order: str
    line: str
    part: str
    due: date
    past_due: bool
    confirmed: bool


def doubts(problem: Problem, plan: Plan) -> tuple[Doubt, ...]:
    """Open purchase lines, past due or not confirmed, that a plan draws on, by their names.

    What is kept for others, and orders that nobody has placed yet, are not among them.
    """
    from fulfil_models.taken import ORDERED

    supplies = {supply.supply: supply for supply in plan.supplies}
    names: set[tuple[str | None, str | None]] = set()
    for drawn in {*(peg.supply for peg in plan.pegs), *(row.supply for row in plan.shipments)}:
        supply = supplies[drawn]
        while supply.from_supply is not None:
            supply = supplies[supply.from_supply]
        names.add((supply.order, supply.line))
    return tuple(
        Doubt(row.order, row.line, row.part, row.due, row.due < problem.as_of, row.confirmed)
        for row in sorted(problem.dataset.purchases, key=lambda row: (row.order, row.line))
        if (row.order, row.line) in names
        and row.line != ORDERED
        and (row.due < problem.as_of or not row.confirmed)
    )


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

"""From which points can units come to where they are wanted?

What is firm is taken at a point that is known. What is expected names none: it is taken where the
work centres stand that use it, a spare part where it is delivered from, and bought for one point.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from functools import cached_property

from fulfil_models.demand_ahead import DemandAhead
from fulfil_models.explosion import low_level_codes
from fulfil_models.problem import Problem
from fulfil_models.stranded import Reach

Points = frozenset[str]


class BuyingReach:
    """Points that send, by lanes end to end, to where a part is wanted.

    `homes`: by part, the point that it is bought for where nobody says which.
    """

    def __init__(self, problem: Problem, demand: DemandAhead, homes: Mapping[str, str]) -> None:
        self._problem, self._demand, self.homes = problem, demand, homes
        self._origins = Reach(problem).origins

    def sending_to(self, points: Iterable[str]) -> Points:
        """Points from which units can come to any of these, which are among them."""
        return frozenset[str]().union(
            *(self._origins.get(point, frozenset({point})) for point in points)
        )

    def for_expected(self, part: str) -> Points:
        """Points from which units serve what is expected of a part."""
        home = self.homes.get(part)
        return self.sending_to(self._taken_at[part] | ({home} if home is not None else set()))

    @cached_property
    def _taken_at(self) -> defaultdict[str, set[str]]:
        """By part: the points at which it is taken for what is expected."""
        problem, products = self._problem, self._demand.products
        into: defaultdict[str, set[str]] = defaultdict(set)
        for rate in problem.dataset.take_rates:
            into[rate.product].add(rate.component)
        for parent, lines in problem.bills.items():
            into[parent].update(line.component for line in lines)
        delivering = {row.point for row in problem.dataset.deliveries}
        found: defaultdict[str, set[str]] = defaultdict(set)
        wanted = set(products)
        codes = low_level_codes(problem)
        for part in sorted(codes, key=lambda name: codes[name]):
            if part not in wanted:
                continue
            steps = problem.routings.get(part, ())
            made_at = {problem.work_centres[step.work_centre].point for step in steps}
            if not steps:  # with what it goes into; where that is nothing, anywhere
                made_at = found[part] or set(problem.points)
            for component in into[part]:
                found[component] |= made_at
            wanted |= into[part]
            if part in products:
                found[part] |= delivering
        return found

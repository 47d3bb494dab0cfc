"""What can never come? Builds and parts orders for which some part has no supply at all, ever.

A part can come to a point if it is or will be on the shelf there (stock that is not held, an open
purchase, a source that can deliver within the horizon), if it is so at a point from which lanes
lead there, if an approved alternate can come or be made, or if it can be made there: all work
centres of its routing stand at the point and all its components can come. How much there is plays
no part in it.

Everything is worked out in time linear in the rows of the data set, once for each assembling
point and each span of order dates between which no bill line changes.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

from fulfil_models.cells import MILLI
from fulfil_models.explosion import in_effect, job_needs
from fulfil_models.plan import Stranded
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.source_terms import can_order, first_arrival
from fulfil_models.tables import Build, Dataset, PartsOrder


def stranded(dataset: Dataset, settings: Settings) -> tuple[Stranded, ...]:
    """Firm builds and lines of parts orders that can never be filled, and what they lack.

    The data set must be sound: every name known, no bill in a circle. The key of a line of a parts
    order is its `line_key`.
    """
    reach = Reach(Problem(dataset, settings))
    lines = [
        Stranded("parts_order", line_key(order, line), (state.part,))
        for (order, line), state in reach.lines_without_way.items()
    ]
    builds = [Stranded("build", name, lacks) for name, lacks in reach.builds_lacking.items()]
    return (*builds, *lines)


def line_key(order: str, line: str) -> str:
    """A parts-order line in one word that no other line has: `order/line`.

    A stroke within the line is written `~1` and a tilde `~0`, as in RFC 6901, so that the last
    stroke is always the one between order and line.
    """
    return f"{order}/{line.replace('~', '~0').replace('/', '~1')}"


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Keys of what `stranded` names, as planning leaves it out."""

    builds: frozenset[str]
    lines: frozenset[tuple[str, str]]


def left_out(dataset: Dataset, settings: Settings) -> LeftOut:
    """What can never be filled, by its keys: builds, and (order, line) of parts orders."""
    reach = Reach(Problem(dataset, settings))
    return LeftOut(frozenset(reach.builds_lacking), frozenset(reach.lines_without_way))


@dataclass(frozen=True, slots=True)
class NoWay:
    """A line of a parts order that nothing can fill.

    `delivering` are the points that deliver to its destination, `holding` those where the part or
    an approved alternate is or will be.
    """

    part: str
    delivering: tuple[str, ...]
    holding: tuple[str, ...]


class Reach:
    """Which parts can come to which points."""

    def __init__(self, problem: Problem) -> None:
        self._problem = problem

    # ---- shelves and lanes

    @cached_property
    def shelves(self) -> dict[str, frozenset[str]]:
        """Points where each part is or will be on the shelf without being moved or made."""
        data = self._problem.dataset
        points: defaultdict[str, set[str]] = defaultdict(set)
        for stock in data.stock:
            if stock.quantity_milli > stock.held_milli:
                points[stock.part].add(stock.point)
        for purchase in data.purchases:
            points[purchase.part].add(purchase.point)
        settings = self._problem.settings
        last = settings.as_of + timedelta(settings.horizon_days)
        for source in data.sources:
            if can_order(source) and first_arrival(settings, source, expedited=True) <= last:
                points[source.part].add(source.point)
        return {part: frozenset(names) for part, names in points.items()}

    @cached_property
    def origins(self) -> dict[str, frozenset[str]]:
        """For each point, the points from which lanes lead there, itself among them."""
        into: defaultdict[str, list[str]] = defaultdict(list)
        for lane in self._problem.lanes:
            into[lane.destination].append(lane.origin)
        found = {}
        for point in self._problem.points:
            seen = {point}
            stack = [point]
            while stack:
                for origin in into.get(stack.pop(), ()):
                    if origin not in seen:
                        seen.add(origin)
                        stack.append(origin)
            found[point] = frozenset(seen)
        return found

    def comes(self, part: str, point: str) -> bool:
        """Whether a part can come to a point without being made there."""
        return not self.shelves.get(part, frozenset()).isdisjoint(self.origins[point])

    def makeable(self, part: str, point: str) -> bool:
        """Whether a part is made, and all work centres of its routing stand at the point."""
        problem = self._problem
        if not problem.parts[part].make:
            return False
        routing = problem.routings.get(part, ())
        if not routing and part not in problem.bills:
            return False
        return all(problem.work_centres[step.work_centre].point == point for step in routing)

    # ---- builds

    @cached_property
    def builds_lacking(self) -> dict[str, tuple[str, ...]]:
        """Firm builds that can never be finished, each with the parts it lacks for ever.

        Of a component that is made, the parts that it in turn lacks are named.
        """
        groups: defaultdict[tuple[str, int], list[Build]] = defaultdict(list)
        for build in self._problem.builds:
            groups[build.point, bisect_right(self._changes, build.ordered)].append(build)
        lacking = {}
        for (point, _), builds in groups.items():
            needs = {build.build: self._needs(build) for build in builds}
            called = {part for parts in needs.values() for part in parts}
            span = _Span(self, self._problem, point, builds[0].ordered, called)
            for name, parts in needs.items():
                lacks = span.lacks(parts)
                if lacks:
                    lacking[name] = lacks
        return dict(sorted(lacking.items()))

    @cached_property
    def _changes(self) -> list[date]:
        """Days from which another set of bill lines is in effect."""
        lines = self._problem.dataset.bills
        starts = {line.starts for line in lines if line.starts is not None}
        ends = {line.ends + timedelta(1) for line in lines if line.ends is not None}
        return sorted(starts | ends)

    def _needs(self, build: Build) -> list[str]:
        """Parts that a build still needs: not those of operations that are done or under way."""
        return [
            need.component
            for need in job_needs(self._problem, build.product, MILLI, build=build)
            if (build.build, need.operation) not in self._problem.begun
        ]

    # ---- parts orders

    @cached_property
    def lines_without_way(self) -> dict[tuple[str, str], NoWay]:
        """Lines of parts orders that nothing can fill."""
        found = {}
        for row in self._problem.parts_orders:
            state = self._way(row)
            if state is not None:
                found[row.order, row.line] = state
        return found

    def _way(self, row: PartsOrder) -> NoWay | None:
        delivering = self.delivering(row.destination)
        choices = [row.part, *(a.alternate for a in self._problem.alternates.get(row.part, ()))]
        if any(self.comes(part, point) for part in choices for point in delivering):
            return None
        none = frozenset[str]()
        holding = none.union(*(self.shelves.get(part, none) for part in choices))
        return NoWay(row.part, delivering, tuple(sorted(holding)))

    def delivering(self, destination: str) -> tuple[str, ...]:
        """Points that deliver to a destination."""
        found: set[str] = set()
        for length in range(len(destination) + 1):
            found |= self._deliveries.get(destination[:length], set())
        return tuple(sorted(found))

    @cached_property
    def _deliveries(self) -> dict[str, set[str]]:
        """Points that deliver to each beginning of a destination."""
        points: defaultdict[str, set[str]] = defaultdict(set)
        for row in self._problem.dataset.deliveries:
            points[row.destination].add(row.point)
        return dict(points)


class _Span:
    """Which parts can be had for builds at one point that are ordered while the same bill lines
    are in effect.

    A part is *had* if it comes or is made; a need for it is *filled* if it or an approved
    alternate is had. Both spread upwards from what lies on shelves.
    """

    def __init__(
        self, reach: Reach, problem: Problem, point: str, ordered: date, called: Iterable[str]
    ) -> None:
        self._reach = reach
        self._problem = problem
        self._point = point
        self._ordered = ordered
        self._had: set[str] = set()
        self._filled: set[str] = set()
        self._components: dict[str, frozenset[str]] = {}
        """of parts that do not come but could be made here"""
        self._spread(called)

    def lacks(self, called: Iterable[str]) -> tuple[str, ...]:
        """What is missing at the bottom of needs that cannot be filled, in order of name."""
        missing: set[str] = set()
        stack = [part for part in called if part not in self._filled]
        seen = set(stack)
        while stack:
            part = stack.pop()
            if part not in self._components:
                missing.add(part)
                continue
            below = {c for c in self._components[part] if c not in self._filled} - seen
            stack += below
            seen |= below
        return tuple(sorted(missing))

    def _spread(self, called: Iterable[str]) -> None:
        makes: defaultdict[str, list[str]] = defaultdict(list)
        stands_in: defaultdict[str, list[str]] = defaultdict(list)
        waiting: dict[str, int] = {}
        had: list[str] = []
        for part in self._below(called, stands_in):
            if self._reach.comes(part, self._point):
                had.append(part)
            elif part in self._components:
                waiting[part] = len(self._components[part])
                for component in self._components[part]:
                    makes[component].append(part)
                if not waiting[part]:
                    had.append(part)
        self._had.update(had)
        while had:
            part = had.pop()
            for filled in (part, *stands_in.get(part, ())):
                if filled in self._filled:
                    continue
                self._filled.add(filled)
                for parent in makes.get(filled, ()):
                    waiting[parent] -= 1
                    if not waiting[parent] and parent not in self._had:
                        self._had.add(parent)
                        had.append(parent)

    def _below(
        self, called: Iterable[str], stands_in: defaultdict[str, list[str]]
    ) -> Iterator[str]:
        """Every part that the calls could lead to: themselves, alternates, components."""
        stack = sorted(set(called))
        seen = set(stack)
        while stack:
            part = stack.pop()
            following = set()
            for row in self._problem.alternates.get(part, ()):
                stands_in[row.alternate].append(part)
                following.add(row.alternate)
            makeable = self._reach.makeable(part, self._point)
            if makeable and not self._reach.comes(part, self._point):
                lines = self._problem.bills.get(part, ())
                self._components[part] = frozenset(
                    line.component for line in lines if in_effect(line, self._ordered)
                )
                following |= self._components[part]
            yield part
            stack += following - seen
            seen |= following

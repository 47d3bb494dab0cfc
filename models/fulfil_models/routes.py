"""By which ways do units get from point to point, and when? (contract rule 5)

A `Route` is one lane or several end to end, with every departure and the moment from which what
leaves with it is usable at the other end.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from itertools import pairwise

from fulfil_models.cells import WEEKDAYS
from fulfil_models.problem import Problem
from fulfil_models.tables import Lane

MOST_LEGS = 4


@dataclass(frozen=True)
class Route:
    """A way to move units: lanes end to end, with every departure and its arrival."""

    index: int
    legs: tuple[Lane, ...]
    departures: tuple[date, ...]
    arrivals: tuple[int, ...]
    """position on the destination's axis from which each departure's units are usable"""

    @property
    def origin(self) -> str:
        return self.legs[0].origin

    @property
    def destination(self) -> str:
        return self.legs[-1].destination

    @cached_property
    def cost_per_kg_micro(self) -> int:
        return sum(lane.cost_per_kg_micro for lane in self.legs)

    @cached_property
    def cost_per_move_micro(self) -> int:
        return sum(lane.cost_per_move_micro for lane in self.legs)

    def last_departure(self, position: int) -> int:
        """Index of the last departure usable at a position; -1 if none is."""
        return bisect_right(self.arrivals, position) - 1

    def first_departure(self, day: date) -> int:
        """Index of the first departure on or after a day; the number of departures if none is."""
        return bisect_left(self.departures, day)


@dataclass(frozen=True)
class Routes:
    """Every route worth taking, and the lanes whose departures others may still share."""

    kept: tuple[Route, ...]
    undercut: frozenset[tuple[str, str]]
    """lanes kept in place of a longer way that could cost less by sharing its departures"""


def find_routes(problem: Problem) -> Routes:
    """Routes of up to four lanes, less those that a shorter one beats in every way."""
    by_origin: defaultdict[str, list[Lane]] = defaultdict(list)
    for lane in problem.lanes:
        by_origin[lane.origin].append(lane)
    frontier: list[tuple[Lane, ...]] = [(lane,) for lane in problem.lanes]
    kept: list[Route] = []
    undercut: set[tuple[str, str]] = set()
    for _ in range(MOST_LEGS):
        for path in frontier:
            route = make_route(problem, len(kept), path)
            winner = next((other for other in kept if _beats(other, route)), None)
            if winner is not None and winner.cost_per_move_micro:
                undercut.update((leg.origin, leg.destination) for leg in winner.legs)
            elif route.departures and winner is None:
                kept.append(route)
        frontier = [
            (*path, lane)
            for path in frontier
            for lane in by_origin[path[-1].destination]
            if lane.destination not in {leg.origin for leg in path}
        ]
    return Routes(tuple(kept), frozenset(undercut))


def make_route(problem: Problem, index: int, legs: tuple[Lane, ...]) -> Route:
    """The route over some lanes: each next one leaves on its first departure day on which the
    units are usable where it starts."""
    departures, arrivals = [], []
    axes = problem.axes
    for day in departure_days(problem, legs[0]):
        arrives = day + timedelta(legs[0].days)
        for before, lane in pairwise(legs):
            if arrives > axes[before.destination].open_days[-1]:
                break
            usable = axes[before.destination].next_open_day(arrives)
            arrives = next_departure(problem, lane, usable) + timedelta(lane.days)
        axis = axes[legs[-1].destination]
        if arrives > min(axes[lane.destination].open_days[-1] for lane in legs):
            break
        departures.append(day)
        arrivals.append(axis.opening(arrives))
    return Route(index, legs, tuple(departures), tuple(arrivals))


def _beats(route: Route, other: Route) -> bool:
    """Whether a route is no dearer than another and, from every departure day, no slower."""
    if (route.origin, route.destination) != (other.origin, other.destination):
        return False
    if (
        route.cost_per_kg_micro > other.cost_per_kg_micro
        or route.cost_per_move_micro > other.cost_per_move_micro
    ):
        return False
    for day, arrival in zip(other.departures, other.arrivals, strict=True):
        index = route.first_departure(day)
        if index == len(route.departures) or route.arrivals[index] > arrival:
            return False
    return True


def departs(problem: Problem, lane: Lane, day: date) -> bool:
    """Whether a lane has a departure on a day (contract rule 5)."""
    if lane.weekdays:
        return WEEKDAYS[day.weekday()] in lane.weekdays
    return problem.axes[lane.origin].is_open(day)


def next_departure(problem: Problem, lane: Lane, day: date) -> date:
    """First departure on or after a day. Raises ValueError where there is none within a year."""
    for later in range(400):
        if departs(problem, lane, day + timedelta(later)):
            return day + timedelta(later)
    raise ValueError(f"lane {lane.origin} to {lane.destination} never departs after {day}")


def departure_days(problem: Problem, lane: Lane) -> Iterable[date]:
    """Every departure of a lane that the axis of its origin covers."""
    open_days = problem.axes[lane.origin].open_days
    if not lane.weekdays:
        yield from open_days
        return
    day, last = problem.as_of, open_days[-1] - timedelta(400)
    while day <= last:
        if WEEKDAYS[day.weekday()] in lane.weekdays:
            yield day
        day += timedelta(1)

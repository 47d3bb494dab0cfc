"""By which ways do units get from point to point, and when? (contract rule 5)

A `Route` is one lane or several end to end, with every departure and the moment from which what
leaves with it is usable at the other end.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property
from math import gcd

from fulfil_models.cells import WEEKDAYS
from fulfil_models.problem import Problem
from fulfil_models.tables import Lane

MOST_LEGS = 4
"""lanes end to end in one way"""


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

    def first_departure(self, day: date) -> int:
        """Index of the first departure on or after a day; the number of departures if none is."""
        return bisect_left(self.departures, day)


@dataclass(frozen=True)
class Routes:
    """Every route worth taking, and the lanes whose departures others may still share."""

    kept: tuple[Route, ...]
    undercut: frozenset[tuple[str, str]]
    """lanes kept in place of a longer way that could cost less by sharing its departures"""
    _arrivals: dict[int, tuple[tuple[int, ...], ...]] = field(default_factory=dict, repr=False)

    @cached_property
    def divisor(self) -> int:
        """Greatest common divisor of all arrivals, 0 without any."""
        return gcd(*(position for route in self.kept for position in route.arrivals))

    @cached_property
    def departures(self) -> tuple[tuple[int, ...], ...]:
        """Of every route, its departures as ordinals of days."""
        return tuple(tuple(day.toordinal() for day in route.departures) for route in self.kept)

    def arrivals(self, cell: int) -> tuple[tuple[int, ...], ...]:
        """Of every route, the cell of so many minutes with which each departure arrives."""
        if cell not in self._arrivals:
            self._arrivals[cell] = tuple(
                tuple(position // cell for position in route.arrivals) for route in self.kept
            )
        return self._arrivals[cell]


@dataclass(frozen=True, slots=True)
class _Way:
    """Lanes end to end: each departure, and the day on which its units are at the other end."""

    legs: tuple[Lane, ...]
    departures: list[date]
    arrives: list[date]


def find_routes(problem: Problem) -> Routes:
    """Routes of up to four lanes, less those that a shorter one beats in every way.

    A way that is beaten is not gone on from: whatever would follow, the way that beats it can be
    followed by, too, or calls at that point before. So `undercut` need not have what would follow,
    either: it is paid for in both cases.
    """
    legs = _Legs(problem)
    by_origin: defaultdict[str, list[Lane]] = defaultdict(list)
    for lane in problem.lanes:
        by_origin[lane.origin].append(lane)
    frontier = [legs.first(lane) for lane in problem.lanes]
    kept: list[Route] = []
    between: defaultdict[tuple[str, str], list[Route]] = defaultdict(list)
    undercut: set[tuple[str, str]] = set()
    for _ in range(MOST_LEGS):
        gone_on_from: list[_Way] = []
        for way in frontier:
            route = legs.route(len(kept), way)
            rivals = between[route.origin, route.destination]
            winner = next((other for other in rivals if _beats(other, route)), None)
            if winner is not None and winner.cost_per_move_micro:
                undercut.update((leg.origin, leg.destination) for leg in winner.legs)
            elif route.departures and winner is None:
                kept.append(route)
                rivals.append(route)
                gone_on_from.append(way)
        frontier = [
            legs.followed(way, lane)
            for way in gone_on_from
            for lane in by_origin[way.legs[-1].destination]
            if lane.destination not in {leg.origin for leg in way.legs}
        ]
    return Routes(tuple(kept), frozenset(undercut))


class _Legs:
    """Puts lanes end to end; when units of a day leave on a lane is looked up once for all ways."""

    def __init__(self, problem: Problem) -> None:
        self._problem = problem
        self._there: dict[Lane, dict[date, date]] = defaultdict(dict)
        """by lane and day that units come to its origin: when they are at its destination"""
        self._positions: dict[str, dict[date, int]] = defaultdict(dict)

    def first(self, lane: Lane) -> _Way:
        """A lane alone."""
        last = self._last(lane)
        days = list(departure_days(self._problem, lane))
        arrives = [day + timedelta(lane.days) for day in days]
        count = bisect_right(arrives, last)
        return _Way((lane,), days[:count], arrives[:count])

    def followed(self, way: _Way, lane: Lane) -> _Way:
        """A way and a lane after it: it leaves on its first departure day on which the units are
        usable where it starts."""
        legs = (*way.legs, lane)
        last = min(map(self._last, legs))
        known, axis = self._there[lane], self._problem.axes[lane.origin]
        arrives: list[date] = []
        for day in way.arrives:
            there = known.get(day)
            if there is None:
                leaves = next_departure(self._problem, lane, axis.next_open_day(day))
                there = known[day] = leaves + timedelta(lane.days)
            if there > last:
                break
            arrives.append(there)
        return _Way(legs, way.departures[: len(arrives)], arrives)

    def route(self, index: int, way: _Way) -> Route:
        destination = way.legs[-1].destination
        known, axis = self._positions[destination], self._problem.axes[destination]
        for day in way.arrives:
            if day not in known:
                known[day] = axis.opening(day)
        arrivals = tuple([known[day] for day in way.arrives])
        return Route(index, way.legs, tuple(way.departures), arrivals)

    def _last(self, lane: Lane) -> date:
        """Last day that is known of where a lane ends."""
        return self._problem.axes[lane.destination].open_days[-1]


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

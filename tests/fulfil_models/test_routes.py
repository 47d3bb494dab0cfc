"""When do units leave a point, and from when are they usable at the next? By hand.

The planning date is Monday 2026-03-02; all points keep the standard calendar, 480 minutes a day.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import date, timedelta
from itertools import islice, pairwise, permutations
from random import Random

import pytest
from fulfil_models.problem import Problem
from fulfil_models.routes import Route, Routes, departure_days, find_routes, next_departure
from fulfil_models.tables import Calendar, Closure, Lane, Point
from tiny_shop import DAY, lane, march, problem_of, shop

POINTS = (Point(point="A"), Point(point="B"), Point(point="C"))


def of(*lanes: Lane, closures: tuple[Closure, ...] = ()) -> Problem:
    """All points keep one calendar, but B has one of its own, which the closures are of."""
    points = (POINTS[0], Point(point="B", calendar="of-b"), POINTS[2])
    return problem_of(
        shop(
            points=points,
            lanes=lanes,
            calendars=(Calendar(calendar="of-b"),),
            closures=closures,
        )
    )


def closed_at_b(day: date) -> Closure:
    return Closure(calendar="of-b", day=day)


def only(found: Routes) -> Route:
    (route,) = found.kept
    return route


def starts(route: Route, count: int = 3) -> list[tuple[date, int]]:
    """First departures and the working days before the opening at which each is usable."""
    return [
        (leaves, position // DAY)
        for leaves, position in islice(zip(route.departures, route.arrivals, strict=True), count)
    ]


# ---- one lane


def test_a_lane_leaves_on_its_weekdays_and_takes_calendar_days() -> None:
    """Tuesday the 3rd to Thursday the 5th, three working days on; then week by week."""
    route = only(find_routes(of(lane("B", "A", 2, weekdays=("Tue",)))))
    assert starts(route) == [(march(3), 3), (march(10), 8), (march(17), 13)]
    assert all(position % DAY == 0 for position in route.arrivals)


def test_a_lane_without_weekdays_leaves_on_every_day_its_origin_is_open() -> None:
    """Not on Tuesday, when B is closed; what leaves on Friday comes on Saturday, so on Monday."""
    route = only(find_routes(of(lane("B", "A", 1), closures=(closed_at_b(march(3)),))))
    assert starts(route, 5) == [
        (march(2), 1),
        (march(4), 3),
        (march(5), 4),
        (march(6), 5),
        (march(9), 6),
    ]


def test_units_are_usable_on_the_next_day_that_the_destination_is_open() -> None:
    """From A on Tuesday to B on Wednesday, which is closed at B: Thursday, two open days on."""
    route = only(
        find_routes(of(lane("A", "B", 1, weekdays=("Tue",)), closures=(closed_at_b(march(4)),)))
    )
    assert starts(route, 1) == [(march(3), 2)]


def test_a_weekday_counts_though_the_origin_is_closed() -> None:
    problem = of(lane("B", "A", 1, weekdays=("Tue",)), closures=(closed_at_b(march(3)),))
    assert next(iter(departure_days(problem, problem.lanes[0]))) == march(3)


def test_a_lane_of_no_days_is_there_at_once() -> None:
    assert starts(only(find_routes(of(lane("B", "A", 0)))), 2) == [(march(2), 0), (march(3), 1)]


def test_which_departure_is_first_for_a_day() -> None:
    route = only(find_routes(of(lane("B", "A", 2, weekdays=("Tue", "Fri")))))
    # Tuesday 3 to Thursday 5 (position 1440); Friday 6 to Sunday 8, so Monday 9 (position 2400)
    assert starts(route, 2) == [(march(3), 3), (march(6), 5)]
    assert [route.first_departure(march(day)) for day in (2, 3, 4, 6, 7)] == [0, 0, 1, 1, 2]


def test_the_next_departure_of_a_lane() -> None:
    problem = of(lane("B", "A", 2, weekdays=("Tue",)), lane("C", "A", 1))
    by_origin = {row.origin: row for row in problem.lanes}
    assert next_departure(problem, by_origin["B"], march(3)) == march(3)
    assert next_departure(problem, by_origin["B"], march(4)) == march(10)
    assert next_departure(problem, by_origin["C"], march(7)) == march(9)


def test_a_lane_whose_origin_is_never_open_again_has_no_next_departure() -> None:
    problem = of(lane("C", "A", 1))
    beyond = problem.axes["C"].open_days[-1] + timedelta(1)
    with pytest.raises(ValueError, match="lane C to A never departs after"):
        next_departure(problem, problem.lanes[0], beyond)


# ---- lanes end to end


def test_a_second_lane_leaves_on_its_first_departure_once_the_units_are_usable() -> None:
    """C to B: Friday the 6th, there on Saturday, usable on Monday the 9th. B to A: Tuesday the
    10th, there on Thursday the 12th, eight working days on."""
    problem = of(lane("C", "B", 1, weekdays=("Fri",)), lane("B", "A", 2, weekdays=("Tue",)))
    found = {(r.origin, r.destination): r for r in find_routes(problem).kept}
    assert set(found) == {("C", "B"), ("B", "A"), ("C", "A")}
    assert starts(found["C", "A"], 2) == [(march(6), 8), (march(13), 13)]


def test_units_that_come_on_a_closed_day_miss_the_departure_of_that_day() -> None:
    """C to B: Friday the 6th to Saturday, usable on Monday. B to A leaves on Saturdays: not on the
    7th but on the 14th, there on Sunday, so on Monday the 16th, ten working days on."""
    problem = of(lane("C", "B", 1, weekdays=("Fri",)), lane("B", "A", 1, weekdays=("Sat",)))
    found = {(r.origin, r.destination): r for r in find_routes(problem).kept}
    assert starts(found["C", "A"], 1) == [(march(6), 10)]


def test_costs_of_lanes_add_up() -> None:
    problem = of(lane("C", "B", 1, move=50, kg=0.5), lane("B", "A", 1, move=70, kg=2))
    route = next(r for r in find_routes(problem).kept if len(r.legs) == 2)
    assert route.cost_per_move_micro == 120_000_000
    assert route.cost_per_kg_micro == 2_500_000


def test_a_route_never_comes_back_to_a_point() -> None:
    found = find_routes(of(lane("A", "B", 1), lane("B", "A", 1), lane("B", "C", 1))).kept
    ways = {(*(leg.origin for leg in r.legs), r.destination) for r in found}
    assert ways == {("A", "B"), ("B", "A"), ("B", "C"), ("A", "B", "C")}


@pytest.mark.parametrize(
    ("days", "move", "kept"),
    [
        (2, 0, False),  # as fast as over B, and as cheap
        (2, 10, True),  # as fast but dearer by departure
        (3, 0, True),  # slower
    ],
)
def test_a_longer_way_goes_where_a_shorter_one_is_no_slower_and_no_dearer(
    days: int, move: int, kept: bool
) -> None:
    every_day = ("Mon", "Tue", "Wed", "Thu", "Fri")
    found = find_routes(
        of(
            lane("C", "B", 1, weekdays=every_day),
            lane("B", "A", 1, weekdays=every_day),
            lane("C", "A", days, move=move, weekdays=every_day),
        )
    )
    assert any(len(route.legs) == 2 for route in found.kept) is kept
    assert found.undercut == frozenset()


def test_a_way_that_is_let_go_may_still_have_shared_its_departures() -> None:
    """The direct lane at 100 beats C-B-A at 60 + 60; but where B-A is used anyhow, going over B
    would cost 60 more only: the bound must not count the direct lane's 100."""
    found = find_routes(
        of(lane("C", "B", 1, move=60), lane("B", "A", 1, move=60), lane("C", "A", 1, move=100))
    )
    assert all(len(route.legs) == 1 for route in found.kept)
    assert found.undercut == {("C", "A")}


# ---- against all ways there are


def every_way(problem: Problem) -> Iterator[tuple[Lane, ...]]:
    """Up to four lanes end to end that call at no point twice, the shorter ones first."""
    by_ends = {(row.origin, row.destination): row for row in problem.lanes}
    for calls in range(2, 6):
        for points in permutations(sorted(problem.points), calls):
            if all(ends in by_ends for ends in pairwise(points)):
                yield tuple(by_ends[ends] for ends in pairwise(points))


def leaves_on(problem: Problem, leg: Lane, day: date) -> bool:
    if leg.weekdays:
        return day.strftime("%a") in leg.weekdays
    return problem.axes[leg.origin].is_open(day)


def there(problem: Problem, legs: tuple[Lane, ...]) -> dict[date, date]:
    """By departure: the day on which units are usable at the end, walked day by day."""
    axes, found = problem.axes, {}
    last = min(axes[leg.destination].open_days[-1] for leg in legs)
    for leaves in departure_days(problem, legs[0]):
        day = leaves
        for leg in legs:
            while not leaves_on(problem, leg, day):
                day += timedelta(1)
            arrives = day + timedelta(leg.days)
            if arrives > last:
                return found
            day = arrives
            while not axes[leg.destination].is_open(day):
                day += timedelta(1)
        found[leaves] = day
    return found


def random_lanes(seed: int) -> Problem:
    """Two to five points on three calendars; lanes between most of them."""
    random = Random(seed)
    calendars = ("standard", "of-b", "of-c")
    points = [Point(point=f"P{i}", calendar=random.choice(calendars)) for i in range(5)]
    lanes = [
        lane(
            origin.point,
            destination.point,
            random.randint(0, 4),
            move=random.choice((0, 10, 20, 30, 60)),
            kg=random.choice((0, 0.5, 1)),
            weekdays=random.choice(((), (), ("Tue",), ("Mon", "Thu"), ("Sat",))),
        )
        for origin, destination in permutations(points[: random.randint(2, 5)], 2)
        if random.random() < 0.8
    ]
    closures = {
        (random.choice(calendars[1:]), march(2) + timedelta(random.randint(0, 300)))
        for _ in range(random.randint(0, 40))
    }
    return problem_of(
        shop(
            points=(POINTS[0], *points),
            lanes=tuple(lanes),
            calendars=tuple(Calendar(calendar=name) for name in calendars[1:]),
            closures=tuple(Closure(calendar=name, day=day) for name, day in sorted(closures)),
        ),
        horizon_days=30,
    )


def no_slower(route: dict[date, date], other: dict[date, date]) -> bool:
    """Whether what leaves on or after every departure of another is there no later."""
    return all(
        any(leaves >= day and comes <= arrives for leaves, comes in route.items())
        for day, arrives in other.items()
    )


@pytest.mark.parametrize("seed", range(30))
def test_every_way_is_kept_or_beaten_by_one_that_is(seed: int) -> None:
    """What a way in a plan costs at least is what the bound counts for the one kept in its place:
    nothing for lanes that are undercut, and else only what the way itself pays for."""
    problem = random_lanes(seed)
    found = find_routes(problem)
    kept = {route.legs: there(problem, route.legs) for route in found.kept}
    for route in found.kept:
        opening = problem.axes[route.destination].opening
        days = kept[route.legs]
        assert (tuple(days), tuple(map(opening, days.values()))) == (
            route.departures,
            route.arrivals,
        )
    for legs in every_way(problem):
        days = there(problem, legs)
        if not days or legs in kept:
            continue
        assert any(
            (route.origin, route.destination) == (legs[0].origin, legs[-1].destination)
            and route.cost_per_kg_micro <= sum(leg.cost_per_kg_micro for leg in legs)
            and all(
                leg in legs
                or not leg.cost_per_move_micro
                or (leg.origin, leg.destination) in found.undercut
                for leg in route.legs
            )
            and no_slower(kept[route.legs], days)
            for route in found.kept
        ), [(leg.origin, leg.destination) for leg in legs]


@pytest.mark.parametrize("alike", [True, False])
def test_many_points_with_lanes_from_each_to_each(alike: bool) -> None:
    """36,090 ways between 10 points. It took two minutes to put all of them together."""
    random = Random(1)
    points = [Point(point=f"P{i}") for i in range(10)]
    lanes = (
        lane(a.point, b.point, 2, move=10, weekdays=("Tue",))
        if alike
        else lane(a.point, b.point, random.randint(1, 5), move=random.randint(1, 100))
        for a, b in permutations(points, 2)
    )
    problem = problem_of(shop(points=(POINTS[0], *points), lanes=tuple(lanes)))
    assert problem.axes  # made before the clock runs
    began = time.process_time()
    found = find_routes(problem)
    assert time.process_time() - began < 10
    direct = {(route.origin, route.destination) for route in found.kept if len(route.legs) == 1}
    assert len(direct) == 90
    assert (len(found.kept) == 90) is alike

"""A search that begins with a plan that stands: it ends with none that is worse, and keeps the
promises that are to be kept."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from books import PLAIN, Shape, random_book, settings_of
from fulfil_models.cells import MILLI
from fulfil_models.compare import is_late
from fulfil_models.plan import Plan
from fulfil_models.planning import Effort, Outcome, Workbench, finished, search_plan
from fulfil_models.problem import Problem
from fulfil_models.repair import Stands, stands
from fulfil_models.sketch import Sketch
from fulfil_models.tables import Dataset, Point, RoutingStep
from tiny_shop import DAY, SETTINGS, build, delivery, march, order, shop, stock

SHAPE = Shape(builds=14, operations=3)
SHORTEST = Effort(seconds=0.0)
SHORT = Effort(seconds=0.1)


def bench_of(data: Dataset) -> Workbench:
    return Workbench(Problem(data, settings_of(data)))


def searched(data: Dataset, effort: Effort = SHORT) -> Plan:
    bench = bench_of(data)
    return finished(bench, search_plan(bench, effort))


def cost(data: Dataset, effort: Effort, known: Sketch | None = None) -> Fraction:
    bench = bench_of(data)
    return finished(bench, search_plan(bench, effort, known=known)).objective.total


def keeping(data: Dataset, there: Stands) -> tuple[Plan, Outcome]:
    """A plan of some data that begins with another, and keeps what that keeps."""
    problem = Problem(data, settings_of(data), kept_builds=there.builds, kept_lines=there.lines)
    bench = Workbench(problem)
    outcome = search_plan(bench, SHORT, known=there.sketch)
    return finished(bench, outcome), outcome


def standing(data: Dataset, plan: Plan) -> Stands:
    return stands(bench_of(data), plan)


# ---- no worse


@pytest.mark.parametrize("seed", [2, 4, 6])
def test_as_good_as_what_stands(seed: int) -> None:
    data = random_book(seed, SHAPE)
    good = searched(data, Effort(seconds=1.0))
    assert cost(data, SHORTEST) > good.objective.total  # so short a search does not find it
    assert cost(data, SHORTEST, standing(data, good).sketch) <= good.objective.total


def test_of_a_plan_between_the_cells_of_the_book_the_promises_alone_are_known() -> None:
    # by half days a machine of a day and a half ends at noon; now all work is in whole days
    def with_work(minutes: int) -> Dataset:
        step = RoutingStep(
            part="MACHINE", operation=10, work_centre="CELL", minutes_milli=minutes * MILLI
        )
        builds = build("B1", march(3)), build("B2", march(6))
        return shop(builds=builds, stock=(stock(2),), routings=(step,))

    halves = Workbench(Problem(with_work(DAY * 3 // 2), SETTINGS))
    before = finished(halves, search_plan(halves, SHORT))
    assert stands(halves, before).sketch is not None
    since = stands(Workbench(Problem(with_work(DAY), SETTINGS)), before)
    assert since.sketch is None
    assert since.builds == {"B1", "B2"}


# ---- what is kept

B1 = build("B1", march(2))
BEFORE = shop(builds=(B1, build("B2", march(3))), stock=(stock(2),))
SINCE = replace(BEFORE, builds=(B1, build("B2", march(2), weight_ppm=2_000_000)))
"""both are due on the 2nd, and one can be made then: B2 weighs twice as much, and went second"""


def test_weighed_the_cheaper_promise_is_broken() -> None:
    there = standing(SINCE, searched(BEFORE))
    assert there.sketch is not None
    assert there.sketch.cost == pytest.approx(2000)
    assert cost(SINCE, SHORT, there.sketch) == 1000


def test_what_was_kept_is_kept_whatever_that_costs() -> None:
    there = standing(SINCE, searched(BEFORE))
    assert there.builds == {"B1"}
    made, outcome = keeping(SINCE, there)
    assert {row.build: row.late_days for row in made.builds} == {"B1": 0, "B2": 1}
    # it costs what it costs, and the bound is that of all plans
    assert made.objective.total == 2000
    assert outcome.bound <= 1000


def test_a_promise_for_a_closed_day_is_kept_by_its_ship_day() -> None:
    # what is done by noon ships that day. B1 was for Friday and is for Saturday now: done on Friday
    # evening it costs nothing and ships on Monday, and the four others before it are in time
    points = (Point(point="A", cutoff=12 * 60), Point(point="B"))
    friday, saturday = build("B1", march(6)), build("B1", march(7))
    before = shop(points=points, builds=(friday,), stock=(stock(5),))
    others = tuple(build(f"C{day}", march(day)) for day in (3, 4, 5, 6))
    since = replace(before, builds=(saturday, *others))
    weighed = searched(since)
    assert weighed.objective.total == 0
    assert {row.build: row.late_days for row in weighed.builds}["B1"] == 2
    there = standing(since, searched(before))
    assert "B1" in there.builds
    made, _ = keeping(since, there)
    assert {row.build: row.late_days for row in made.builds}["B1"] == 0
    assert made.objective.total > 0


def test_so_is_the_promise_of_a_line() -> None:
    # S1/1 takes the only engine of the 2nd to be in time; B1 without it is late, at ten times that
    lines = (order("S1", 1, march(2)),)
    before = shop(parts_orders=lines, stock=(stock(1),), deliveries=(delivery("A"),))
    there = standing(before, searched(before))
    assert (there.builds, there.lines) == (frozenset(), {("S1", "1")})
    heavy = build("B1", march(2), weight_ppm=10_000_000)
    more = purchases_later(replace(before, builds=(heavy,)))
    weighed = searched(more)
    assert [row.late_days for row in weighed.shipments] == [7]
    kept = standing(more, searched(before))
    made, _ = keeping(more, kept)
    assert [row.late_days for row in made.shipments] == [0]
    assert made.objective.total > weighed.objective.total


def purchases_later(data: Dataset) -> Dataset:
    from tiny_shop import purchase

    return replace(data, purchases=(purchase("P1", march(9)),))


@pytest.mark.parametrize("seed", range(8))
def test_on_random_books_all_is_kept_and_the_bound_holds_for_every_plan(seed: int) -> None:
    data = random_book(seed, SHAPE)
    poor = searched(data, SHORTEST)
    made, outcome = keeping(data, standing(data, poor))
    before = {row.build for row in poor.builds if row.promised and not is_late(row)}
    assert not [row.build for row in made.builds if row.build in before and is_late(row)]
    assert made.objective.total <= poor.objective.total
    best = min(made.objective.total, cost(data, Effort(seconds=0.5)))
    assert outcome.bound <= best * Fraction(1_000_001, 1_000_000)


def test_a_promise_that_is_dear_to_keep_does_not_raise_the_bound() -> None:
    # 24 builds for too few stations: one is in time, and to keep it so costs 5 % of all lateness
    data = random_book(5, replace(PLAIN, builds=24, operations=3, stations=True))
    before = searched(data, SHORTEST)
    late = {row.build for row in before.builds if is_late(row)}
    weighty = tuple(
        replace(row, weight_ppm=5_000_000 if row.build in late else 1_000_000)
        for row in data.builds
    )
    since = replace(data, builds=weighty)
    made, outcome = keeping(since, standing(since, before))
    best = cost(since, SHORT)
    assert made.objective.total > best * Fraction(105, 100)
    assert best * Fraction(95, 100) < outcome.bound <= best

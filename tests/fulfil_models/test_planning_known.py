"""A search that begins with a plan that stands ends with none that is worse."""

from __future__ import annotations

from fractions import Fraction

import pytest
from books import Shape, random_book, settings_of
from fulfil_models.cells import MILLI
from fulfil_models.planning import Effort, Workbench, finished, search_plan
from fulfil_models.problem import Problem
from fulfil_models.repair import standing_sketch
from fulfil_models.sketch import Sketch
from fulfil_models.tables import Dataset, RoutingStep
from tiny_shop import DAY, SETTINGS, build, march, shop, stock

SHAPE = Shape(builds=14, operations=3)
SHORTEST = Effort(seconds=0.0)


def bench_of(data: Dataset) -> Workbench:
    return Workbench(Problem(data, settings_of(data)))


def cost(data: Dataset, effort: Effort, known: Sketch | None = None) -> Fraction:
    bench = bench_of(data)
    return finished(bench, search_plan(bench, effort, known=known)).objective.total


@pytest.mark.parametrize("seed", [2, 4, 6])
def test_as_good_as_what_stands(seed: int) -> None:
    data = random_book(seed, SHAPE)
    bench = bench_of(data)
    good = finished(bench, search_plan(bench, Effort(seconds=1.0)))
    known = standing_sketch(bench_of(data), good)
    assert cost(data, SHORTEST) > good.objective.total  # so short a search does not find it
    assert cost(data, SHORTEST, known) <= good.objective.total


def test_better_than_what_stands_where_that_can_be() -> None:
    # both are due on the 2nd, and one can be made then: B2 weighs twice as much, and went second
    late = build("B1", march(2)), build("B2", march(2), weight_ppm=2_000_000)
    told = shop(builds=(late[0], build("B2", march(3))), stock=(stock(2),))
    data = shop(builds=late, stock=(stock(2),))
    first = Workbench(Problem(told, SETTINGS))
    before = finished(first, search_plan(first, Effort(seconds=0.1)))
    assert [row.job for row in sorted(before.operations, key=lambda r: r.start)] == ["B1", "B2"]
    bench = Workbench(Problem(data, SETTINGS))
    known = standing_sketch(bench, before)
    assert known is not None
    assert known.cost == pytest.approx(2000)
    made = finished(bench, search_plan(bench, Effort(seconds=0.1), known=known))
    assert made.objective.total == 1000


def test_a_plan_between_the_cells_of_the_book_is_not_begun_with() -> None:
    # by half days a machine of two days began at noon; now all work is in whole days
    def with_work(minutes: int) -> Dataset:
        step = RoutingStep(
            part="MACHINE", operation=10, work_centre="CELL", minutes_milli=minutes * MILLI
        )
        builds = build("B1", march(3)), build("B2", march(6))
        return shop(builds=builds, stock=(stock(2),), routings=(step,))

    halves = Workbench(Problem(with_work(DAY * 3 // 2), SETTINGS))
    before = finished(halves, search_plan(halves, Effort(seconds=0.1)))
    assert standing_sketch(halves, before) is not None
    assert standing_sketch(Workbench(Problem(with_work(DAY), SETTINGS)), before) is None

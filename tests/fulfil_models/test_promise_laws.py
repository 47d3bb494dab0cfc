"""The earliest date beside a plan, on random books: it makes a plan, and none is earlier."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import pytest
from beside_books import broken, listed, reduced
from books import Shape, books, random_book, settings_of
from fulfil_models.audit_hours import carrier_days_after
from fulfil_models.audit_time import minutes_needed
from fulfil_models.cells import MILLI
from fulfil_models.compiled import Compiled
from fulfil_models.problem import Problem
from fulfil_models.promise import (
    Question,
    arrival,
    by_whatever,
    plainly,
)
from fulfil_models.room import Request, Room, beside
from fulfil_models.slots import covers_every_plan, prove
from fulfil_models.stranded import stranded
from fulfil_models.tables import Dataset
from fulfil_models.taken import NOTHING, joined, taken_by
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from oracle import Oracle, Unsupported
from questions import (
    answer,
    random_beside,
    with_request,
)

SHAPES = (
    Shape(points=1),
    Shape(points=2),
    Shape(points=3, builds=2),
    Shape(points=3, builds=1),
    Shape(points=2, caps=False, purchases=False),
)


@pytest.mark.parametrize("seed", range(40))
def test_the_plan_and_what_is_put_beside_it_are_a_plan(seed: int) -> None:
    found = random_beside(seed, SHAPES[seed % len(SHAPES)])
    if found is None:
        pytest.skip("a list schedule leaves something out")
    room, data = found.room(), with_request(found.rest, found.request)
    for allowed in (plainly, by_whatever):
        plan = answer(room, found.request, allowed)
        assert plan is not None
        whole = joined(found.before, plan)
        assert broken(data, whole, found.settings) == []
        assert whole.builds[: len(found.before.builds)] == found.before.builds


@pytest.mark.parametrize("seed", range(200, 240))
def test_with_everything_allowed_it_is_no_later(seed: int) -> None:
    found = random_beside(seed, SHAPES[seed % len(SHAPES)])
    if found is None:
        pytest.skip("a list schedule leaves something out")
    question = Question(found.room(), found.request)
    plain, free = question.earliest(), question.earliest(by_whatever)
    assert plain is not None
    assert free is not None
    assert question.ready(free) <= question.ready(plain)


def first_finishes(seed: int, shape: Shape) -> Iterator[tuple[int, int]]:
    """Working minutes to the finish of a build as it is answered, and by trying everything: every
    order of its operations, each in every slot that could be of use, every lot by every way.

    Of a random book beside a plan, and in the empty shop. What others took is in plain rows to the
    search. What is done by the first cut-off counts as done then: it makes no difference.
    """
    found = random_beside(seed, shape)
    if found is None:
        return
    settings, (asked,) = found.settings, found.request.builds
    urgent = replace(asked, promised=settings.as_of, weight_ppm=10**12)
    for room in (found.room(), Room(found.rest, settings)):
        left = reduced(found.rest, room.problem.taken)
        options = found.request.options
        oracle = Oracle(
            replace(left, builds=(urgent,), build_options=options, parts_orders=()), settings
        )
        hours = oracle.frame.hours[asked.point]
        due = hours.due(urgent.promised, oracle.frame.points[asked.point].cutoff)
        last = oracle.frame.routings[asked.product][-1]
        best = oracle.solve().starts[asked.build, last.operation] + minutes_needed(last, MILLI)
        plan = answer(room, found.request, by_whatever)
        assert plan is not None
        yield max(due, hours.position(plan.builds[0].finish)), max(due, best)


@pytest.mark.parametrize("seed", range(1000, 1060))
def test_trying_everything_finds_no_earlier_date(seed: int) -> None:
    found = list(first_finishes(seed, replace(SHAPES[seed % len(SHAPES)], made=False)))
    if not found:
        pytest.skip("a list schedule leaves something out")
    for mine, best in found:
        assert mine == best


def test_with_made_parts_an_earlier_date_is_seldom_missed() -> None:
    """Where jobs for made parts want the stations, or the parts, of the build's own operations, the
    order of these is not tried out: the date may be later than it must, and is never sooner."""
    tried = later = 0
    for seed in range(1000, 1060):
        for mine, best in first_finishes(seed, SHAPES[seed % len(SHAPES)]):
            assert mine >= best
            tried, later = tried + 1, later + (mine > best)
    assert tried > 100
    assert later * 50 <= tried


@pytest.mark.parametrize("split", [False, True])
@pytest.mark.parametrize("seed", range(2000, 2040))
def test_trying_everything_finds_no_earlier_arrival(seed: int, split: bool) -> None:
    shape = Shape(points=1 + seed % 3, builds=1 + seed % 2)
    data = random_book(seed, shape)
    (line,) = data.parts_orders
    settings = settings_of(data)
    rest = replace(data, parts_orders=())
    before = None if stranded(data, settings) else listed(rest, settings)
    if before is None:
        pytest.skip("a list schedule leaves something out")
    taken = taken_by(before, rest)
    asked = replace(line, within_days=0, promised=None, ordered=settings.as_of, split=split)
    urgent = replace(asked, weight_ppm=10**12)
    alone = replace(
        reduced(rest, taken), builds=(), build_options=(), parts_orders=(urgent,), progress=()
    )
    try:
        oracle = Oracle(alone, settings)
    except Unsupported:
        pytest.skip("delivery costs beside lanes")
    arrives = []
    for draw in oracle.solve().draws:
        assert draw.way is not None
        delivery = oracle.frame.delivery(draw.way.point, line.destination)
        assert delivery is not None
        ships = oracle.frame.hours[draw.way.point].first_shipping_day(draw.way.usable)
        arrives.append(carrier_days_after(ships, delivery.days))
    plan = answer(Room(rest, settings, taken), Request(lines=(asked,)), by_whatever)
    assert plan is not None
    assert arrival(plan.shipments) == max(arrives)
    assert broken(with_request(rest, Request(lines=(asked,))), joined(before, plan), settings) == []


@pytest.mark.parametrize("seed", range(100, 140))
def test_the_whole_model_finds_no_earlier_finish(seed: int) -> None:
    found = random_beside(seed, Shape(points=1 + seed % 2))
    if found is None:
        pytest.skip("a list schedule leaves something out")
    room, taken = found.room(), found.taken
    (asked,) = found.request.builds
    urgent = replace(asked, promised=found.settings.as_of, weight_ppm=10**10)
    request = replace(found.request, builds=(urgent,))
    problem = Problem(beside(found.rest, taken, request), found.settings, taken=taken)
    question = Question(room, request)
    solution = question.earliest(by_whatever)
    assert solution is not None
    compiled = Compiled(question.book)
    if not covers_every_plan(compiled):
        pytest.skip("a book that the whole model does not cover")
    assert question.book.problem.dataset.builds == problem.dataset.builds
    (placement,) = solution.placed
    assert placement is not None
    proof = prove(compiled, solution, 20.0, 20.0)
    (task,) = compiled.tasks
    least = Fraction(proof.bound) / Fraction(task.rate) + task.due
    assert placement.finish < max(least, task.due) + 1


@given(data=books(parts_orders=False))
@hypothesis_settings(max_examples=40, deadline=None)
def test_several_at_once_are_a_plan(data: Dataset) -> None:
    """All builds of a book as one request, each behind the other."""
    settings = settings_of(data)
    rest = replace(data, builds=(), build_options=())
    builds = tuple(replace(row, promised=None) for row in data.builds)
    request = Request(builds, data.build_options)
    plan = answer(Room(rest, settings, NOTHING), request)
    if stranded(data, settings):
        return
    assert plan is not None
    assert broken(with_request(rest, request), plan, settings) == []

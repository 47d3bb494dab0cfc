"""The allocation model of long books, where late draws are grouped and whole numbers are asked for
only where they are missed. Small books are made to count as long, with wide spans, so that their
least cost is known: from the model that tells all draws apart, or from a search through everything.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from functools import cache

import pytest
import tiny_shop
from bench_books import repeated
from books import Shape, books, random_book, settings_of
from demo_scenario import AS_OF, demo
from fulfil_models import allocation_needs, allocation_rounds, planning
from fulfil_models.allocation import Allocation, Builder
from fulfil_models.allocation_needs import MANY_LATE_DRAWS, is_long, late_draws, spans
from fulfil_models.allocation_rounds import solve_in_rounds
from fulfil_models.audit import audit
from fulfil_models.book import Book
from fulfil_models.guidance import guidance
from fulfil_models.plan import Plan, Status
from fulfil_models.planning import Effort, Workbench, finished, search_plan
from fulfil_models.problem import Problem
from fulfil_models.settings import parse_settings
from fulfil_models.solving import LinearAnswer, LinearModel, solve_linear
from fulfil_models.tables import Dataset
from hypothesis import given
from hypothesis import settings as effort
from oracle import optimum
from tiny_shop import DAY, book_of, build, engines, march, purchase, shop

WIDE = 3.0
"""spans whose dearest draw costs four times as much as the cheapest"""
ALWAYS, NEVER = -1, 10**9


@contextmanager
def long_from(draws: int, span: float = allocation_needs.SPAN) -> Iterator[None]:
    """Books are long from so many late draws on, with spans that wide."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(allocation_needs, "MANY_LATE_DRAWS", draws)
        patch.setattr(allocation_needs, "MOST_LATE_DRAWS", draws)
        patch.setattr(allocation_needs, "SPAN", span)
        yield


def book_from(data: Dataset) -> Book:
    return Book(Problem(data, parse_settings(data.settings, AS_OF)))


def least(book: Book) -> float | None:
    """Least cost of a book in the model; None if not everything can be supplied."""
    answer = solve_linear(Builder(book).build().model, gap=0.0, seconds=20)
    if answer.status is Status.INFEASIBLE:
        return None
    assert answer.status is Status.OPTIMAL
    return answer.objective


def draws_of(allocation: Allocation) -> int:
    return sum(len(draws) for draws in allocation.draws.values())


# ---- which draws are one


@pytest.mark.parametrize(
    ("costs", "end", "widening", "expected"),
    [
        # the last that costs nothing, then every one of its own
        ([0, 0, 1, 2, 3], 4, None, [(1, 1), (2, 2), (3, 3), (4, 4)]),
        # 1, 2 | 3, 4, 5, 6 | 7 (the last, alone)
        ([0, 1, 2, 3, 4, 5, 6, 7], 7, 2.0, [(0, 0), (1, 2), (3, 6), (7, 7)]),
        # nothing is in time: the first of all is late already
        ([4, 5, 6, 9], 3, 1.5, [(0, 2), (3, 3)]),
        # the last node stands alone even where it costs no more
        ([0, 8, 8, 8], 3, 1.125, [(0, 0), (1, 2), (3, 3)]),
        # 8 | 9 is an eighth more, 10 is not
        ([8, 9, 10, 90], 3, 1.125, [(0, 1), (2, 2), (3, 3)]),
        # everything is in time
        ([0, 0, 0], 2, 1.125, [(2, 2)]),
    ],
)
def test_draws_that_cost_about_the_same_are_one(
    costs: list[float], end: int, widening: float | None, expected: list[tuple[int, int]]
) -> None:
    assert list(spans(costs, end, widening)) == expected


def test_a_need_has_few_draws_however_long_it_could_wait() -> None:
    """From the n-th late node on a span holds n / 8 more: some 8 + ln(n / 8) / ln(9 / 8) spans."""
    for count, most in ((100, 40), (1_000, 60), (10_000, 80)):
        costs = [float(node) for node in range(count + 1)]
        assert len(list(spans(costs, count, 1.125))) <= most


# ---- what it costs


def waiting_for_four() -> Dataset:
    """Two builds due on Monday; an engine comes on Wednesday, Friday, Monday and Tuesday: late by
    2, 4, 5 and 6 working days."""
    days = (4, 6, 9, 10)
    return shop(
        builds=(build("B1", march(2)), build("B2", march(2))),
        purchases=tuple(purchase(f"P{day}", march(day)) for day in days),
    )


def test_a_draw_costs_what_the_first_of_its_span_costs() -> None:
    """One takes Wednesday's, the other Friday's: 2000 + 4000. In one span up to 8000, of which the
    last node, on Tuesday, is no part, both cost 2000."""
    book = book_of(waiting_for_four())
    with long_from(ALWAYS, WIDE):
        assert least(book) == pytest.approx(4000)
    with long_from(NEVER):
        assert least(book) == pytest.approx(6000)


def test_the_advice_tells_apart_what_a_span_does_not() -> None:
    """Both draw from Monday's node; who comes first gets Wednesday's engine, the other Friday's."""
    book = book_of(waiting_for_four())
    with long_from(ALWAYS, WIDE):
        allocation = Builder(book).build()
        answer = solve_linear(allocation.model, gap=0.0, seconds=20)
        advice = guidance(book, allocation, answer, cell=60)
    # working days from Monday 2 March: Wednesday 2, Friday 4, Monday the 9th 5
    assert sorted(allocation.releases(answer).values()) == [5 * DAY, 5 * DAY]
    assert sorted(advice.releases.values()) == [2 * DAY, 4 * DAY]
    assert sorted(advice.late.values()) == pytest.approx([16.0, 16.0])  # as the model has it


def test_the_latest_of_several_units_counts_in_a_chain_too() -> None:
    """Three engines on Wednesday, Friday and Monday: late by the last of them, 5 days. Every node
    is one of its own (a span of nothing), so nothing but the chain differs."""
    data = replace(waiting_for_four(), bills=(engines(3),), builds=(build("B1", march(2)),))
    with long_from(ALWAYS, 0.0):
        assert least(book_of(data)) == pytest.approx(5000)


def test_grouping_takes_no_more_off_than_it_may() -> None:
    """Drawn as in the grouped model, but paid in full, no draw costs more than 1 + span times as
    much: grouped <= ungrouped <= (1 + span) x grouped. And it does group, and does take off."""
    fewer = lower = 0
    for seed in range(40):
        data = random_book(seed, Shape(points=1 + seed % 3))
        book = Book(Problem(data, settings_of(data)))
        with long_from(NEVER):
            full, all_draws = least(book), draws_of(Builder(book).build())
        with long_from(ALWAYS, WIDE):
            grouped, draws = least(book), draws_of(Builder(book).build())
        with long_from(ALWAYS, 0.0):
            chained = least(book)
        assert (full is None) == (grouped is None) == (chained is None)
        if full is None or grouped is None:
            continue
        assert grouped <= full + 1e-6
        assert full <= (1 + WIDE) * grouped + 1e-6
        assert chained == pytest.approx(full, abs=1e-6)
        fewer += draws < all_draws
        lower += grouped < full - 1e-6
    assert fewer >= 10
    assert lower >= 3


@effort(max_examples=20, deadline=None)
@given(books())
def test_a_plan_of_a_long_book_is_valid_and_its_bound_is_true(data: Dataset) -> None:
    """Also the bound of the model alone, before anything else raises it."""
    with long_from(ALWAYS, WIDE):
        bench = Workbench(Problem(data, settings_of(data)))
        found = planning.allocate(bench, 20.0)
        plan: Plan = finished(bench, search_plan(bench, Effort(seconds=0.4)))
    assert audit(data, settings_of(data), plan) == ()
    best = optimum(data, settings_of(data))
    assert found.bound <= float(best) + 1e-6
    assert plan.bound <= best <= plan.objective.total


# ---- which books are long, and how they grow


def test_the_demo_is_not_long_and_has_every_draw() -> None:
    book = book_from(demo())
    allocation = Builder(book).build()
    assert 1_000 < late_draws(book, allocation.networks) < MANY_LATE_DRAWS
    assert not is_long(book, allocation.networks)
    with long_from(NEVER):
        assert Builder(book).build().model == allocation.model


@cache
def entries(times: int, most_draws: int) -> int:
    """Entries of a book so many times in time: 40 machines of two engines, one a week, and two
    engines a week, one by one, a month later than they are wanted."""
    weeks = [tiny_shop.AS_OF + timedelta(7 * week) for week in range(40)]
    data = shop(
        bills=(engines(2),),
        builds=tuple(build(f"B{week}", day) for week, day in enumerate(weeks)),
        purchases=tuple(
            purchase(f"P{week}-{number}", day + timedelta(28))
            for week, day in enumerate(weeks)
            for number in range(2)
        ),
    )
    book = book_of(
        repeated(data, times, 280, tiny_shop.AS_OF), horizon_days=730 + 280 * (times - 1)
    )
    with long_from(most_draws):
        return len(Builder(book).build().model.entry_row)


def growth(most_draws: int) -> float:
    """What each of the third and fourth copy adds, over what the second adds."""
    one, two, four = (entries(times, most_draws) for times in (1, 2, 4))
    return (four - two) / 2 / (two - one)


def test_entries_of_a_long_book_grow_as_the_book_does() -> None:
    """Were they to grow as its square, it would be (16 - 4) / 2 / (4 - 1) = 2; as its cube, as
    those of needs of several units do where draws are told apart, (64 - 8) / 2 / (8 - 1) = 4. Above
    1 are the spans of nodes further off, each of which is an eighth longer than the one before.
    """
    assert growth(ALWAYS) < 1.3
    assert growth(NEVER) > 3
    assert entries(4, ALWAYS) < entries(4, NEVER) / 20


# ---- whole numbers where they are missed


def triangle_and_more() -> LinearModel:
    """Two of three must be chosen where any two of them need one (halves would do: 1.5 in place of
    2), one of a pair that comes out whole by itself (1), and a number above 0.5 (0.5 or 1)."""
    model = LinearModel()
    a, b, c = (model.binary(1.0) for _ in range(3))
    for one, other in ((a, b), (b, c), (a, c)):
        model.row([(one, 1.0), (other, 1.0)], 1.0, 2.0)
    d, e = model.binary(1.0), model.binary(2.0)
    model.row([(d, 1.0), (e, 1.0)], 1.0, 1.0)
    f = model.variable(0.0, 9.0, integer=True, cost=1.0)
    model.row([(f, 1.0)], 0.5, 9.0)
    return model


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[list[bool]]:
    """By round: of which columns whole numbers are asked."""
    rounds: list[list[bool]] = []

    def look(model: LinearModel, **limits: object) -> LinearAnswer:
        rounds.append(list(model.integer))
        return solve_linear(model, gap=0.0, seconds=5.0)

    monkeypatch.setattr(allocation_rounds, "solve_linear", look)
    return rounds


def test_whole_numbers_are_asked_for_where_they_are_missed(asked: list[list[bool]]) -> None:
    answer = solve_in_rounds(triangle_and_more(), gap=0.0, seconds=10.0)
    assert answer.status is Status.OPTIMAL
    assert answer.objective == answer.bound == pytest.approx(2 + 1 + 1)
    assert asked == [[False] * 6, [True, True, True, False, False, True]]


def test_a_bound_is_kept_where_numbers_stay_broken(
    asked: list[list[bool]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(allocation_rounds, "ROUNDS", 1)
    answer = solve_in_rounds(triangle_and_more(), gap=0.0, seconds=10.0)
    assert answer.status is Status.UNKNOWN
    assert answer.bound == pytest.approx(1.5 + 1 + 0.5)
    assert answer.objective == float("inf")
    assert len(answer.values) == 6


def test_what_cannot_be_is_said_to_be_so() -> None:
    model = triangle_and_more()
    model.row([(0, 1.0)], 2.0, 2.0)
    assert solve_in_rounds(model, gap=0.0, seconds=10.0).status is Status.INFEASIBLE


def test_rounds_find_the_least_cost_of_the_whole_model() -> None:
    for seed in range(25):
        data = random_book(seed, Shape(points=1 + seed % 3))
        book = Book(Problem(data, settings_of(data)))
        answer = solve_in_rounds(Builder(book).build().model, gap=0.0, seconds=20)
        whole = least(book)
        if whole is None:
            assert answer.status is Status.INFEASIBLE
        else:
            assert answer.bound <= whole + 1e-6
            if answer.status is Status.OPTIMAL:
                assert answer.objective == pytest.approx(whole, abs=1e-6)

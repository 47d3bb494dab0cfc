"""Explosion and netting take time in proportion to the rows of bills: ten times the rows, ten
times the work. The books are the demo with so many times the parts that are made, each with a bill
of its own."""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable, Iterator
from functools import cache
from types import FrameType
from typing import Any

import pytest
from bench_books import firm, repeated, weeks_of_promises, widened
from demo_scenario import AS_OF, demo
from fulfil_models.book import Book
from fulfil_models.checking import check
from fulfil_models.explosion import low_level_codes, total_needs
from fulfil_models.problem import Problem
from fulfil_models.reading import Origins
from fulfil_models.settings import parse_settings

Work = Callable[[Problem], object]


def codes(problem: Problem) -> dict[str, int]:
    """Low-level codes of all parts."""
    return low_level_codes(problem)


def explosion(problem: Problem) -> dict[str, int]:
    """Total needs of one of each build's product, through all levels."""
    demand: dict[str, int] = {}
    for build in problem.dataset.builds:
        demand[build.product] = demand.get(build.product, 0) + 1000
    return total_needs(problem, demand)


def netting(problem: Problem) -> Book:
    """Every need of every build with the supplies that can fill it; what the shelf covers drops."""
    return Book(problem)


RUNS = 6
WORKS: list[Work] = [codes, explosion, netting]


@cache
def problem_of(times: int) -> Problem:
    """The demo so many times; work begun there, which ties builds to slots, is left out."""
    dataset = widened(demo(), times)
    problem = Problem(dataset, parse_settings(dataset.settings, AS_OF))
    assert len(problem.dataset.bills) == times * len(demo().bills)
    return problem


def fresh(times: int) -> Problem:
    """The same problem with nothing looked up in it yet."""
    problem = problem_of(times)
    return Problem(problem.dataset, problem.settings)


def steps_of(work: Work, problem: Problem) -> int:
    """Lines of the models that run for a piece of work, each turn of a loop counted."""
    steps = 0

    def look(frame: FrameType, event: str, argument: Any) -> Any:
        nonlocal steps
        if event == "call" and "fulfil_models" not in frame.f_code.co_filename:
            return None
        steps += event == "line"
        return look

    before = sys.gettrace()
    sys.settrace(look)
    try:
        work(problem)
    finally:
        sys.settrace(before)
    return steps


def seconds_of(work: Work, times: int) -> float:
    """Seconds of the processor, which other programs do not take from."""
    problem = fresh(times)
    began = time.process_time()
    work(problem)
    return time.process_time() - began


@pytest.fixture(autouse=True, scope="module")
def _large_books() -> Iterator[None]:
    """They are let go afterwards."""
    yield
    problem_of.cache_clear()


@pytest.mark.parametrize("work", WORKS)
def test_each_further_copy_of_the_bills_costs_the_same_steps(work: Work) -> None:
    """What a copy adds from the 4th to the 10th is what one adds from the 1st to the 4th, within a
    tenth; for work that grows as the square it would be 14 / 5 = 2.8 times as much."""
    one, four, ten = (steps_of(work, fresh(times)) for times in (1, 4, 10))
    early, late = (four - one) / 3, (ten - four) / 6
    assert early > 0
    assert late <= 1.1 * early


@pytest.mark.slow
@pytest.mark.parametrize(("work", "few"), [(explosion, 20), (netting, 2)])
def test_ten_times_the_rows_take_less_than_twenty_times_as_long(work: Work, few: int) -> None:
    """Also what runs below the lines that are counted, on books large enough to be timed. Other
    programs make it slower, never faster: the best of some runs counts."""
    little, much = min(seconds_of(work, few) for _ in range(3)), math.inf
    for _ in range(RUNS):
        much = min(much, seconds_of(work, 10 * few))
        if much < 20 * little:
            return
    pytest.fail(f"{much / little:.1f} times as long")


# ---- the books themselves


def test_a_widened_book_needs_exactly_as_much_more() -> None:
    once, thrice = explosion(fresh(1)), explosion(fresh(3))
    assert sum(once.get(part.part, 0) for part in demo().parts) > 0
    for part in demo().parts:
        copies = [part.part, f"{part.part}~1", f"{part.part}~2"]
        assert sum(thrice.get(copy, 0) for copy in copies) == 3 * once.get(part.part, 0)


def test_a_repeated_book_is_sound_and_each_copy_is_as_scarce() -> None:
    shift = weeks_of_promises(demo(), AS_OF)
    assert shift % 7 == 0
    book = repeated(demo(), 3, shift, AS_OF)
    findings = check(book, Origins(), AS_OF)
    assert [finding.text() for finding in findings if finding.is_error] == []
    assert len(firm(book)) == 3 * len(firm(demo()))
    # what can ever be had of an engine without a new order: three times as much as in the demo
    part = "ENG-014D"

    def there(rows: Any) -> int:
        return sum(
            row.quantity_milli - getattr(row, "held_milli", 0) for row in rows if row.part == part
        )

    before = there(demo().stock) + there(demo().purchases)
    assert there(book.stock) + there(book.purchases) == 3 * before
    assert there(book.stock) == there(demo().stock)


@pytest.mark.parametrize(("times", "shift"), [(0, 7), (2, 8), (2, -7), (40, 364)])
def test_a_book_that_cannot_be_repeated_so_is_refused(times: int, shift: int) -> None:
    with pytest.raises(ValueError, match=r"whole weeks|ahead"):
        repeated(demo(), times, shift, AS_OF)

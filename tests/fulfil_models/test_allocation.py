"""The allocation model: each rule alone, on shops whose best sharing-out is worked out by hand.

Every case is solved twice: with all rules, and with one left out. Were that rule broken, the first
figure would be the second.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from allocation_cases import (
    CASES,
    MONDAY,
    ONE_NOW_ONE_ON_WEDNESDAY,
    TWO_BUILDS,
    WEDNESDAY,
    Case,
    least,
    solved,
)
from fulfil_models.allocation import RULES
from fulfil_models.book import Need
from tiny_shop import (
    DAY,
    book_of,
    build,
    hurried,
    lane,
    march,
    purchase,
    shop,
    source,
    stock,
)


@pytest.mark.parametrize("case", [pytest.param(c, id=f"{c.rule.__name__}-{c.what}") for c in CASES])
def test_a_rule_makes_the_figure_that_it_must(case: Case) -> None:
    assert least(case.data) == pytest.approx(case.cost, abs=1e-6)
    assert least(case.data, without=case.rule) == pytest.approx(case.without, abs=1e-6)


def test_every_rule_has_a_case() -> None:
    assert {case.rule for case in CASES} == set(RULES)


# ---- the terms of the objective


@pytest.mark.parametrize(
    ("cost", "expected"),
    [
        # ordered today the engine comes on Thursday the 12th, expedited on Thursday the 5th
        (100, 100),  # cheaper than five working days
        (6000, 5000),  # dearer
    ],
)
def test_expediting_is_weighed_against_lateness(cost: int, expected: float) -> None:
    data = shop(builds=(build("B1", march(5)),), sources=(hurried(10, 7, cost),))
    assert least(data) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("move", "expected"),
    [
        (150, 170),  # 150 and 40 kg at 0.50: on time on Wednesday
        (5000, 3000),  # the engine due at A on Monday the 9th is three days late
    ],
)
def test_a_move_is_weighed_against_lateness(move: int, expected: float) -> None:
    data = shop(
        builds=(build("B1", WEDNESDAY),),
        stock=(stock(1, "B"),),
        purchases=(purchase("P1", march(9)),),
        lanes=(lane("B", "A", 2, move=move, kg=0.5),),
    )
    assert least(data) == pytest.approx(expected)


def test_what_is_expedited_elsewhere_may_be_moved() -> None:
    """At B the engine of 1 April comes on the 10th of March for 100; from there to A, due on the
    11th, in a day and for 20 (40 kg at 0.50)."""
    data = shop(
        builds=(build("B1", march(11)),),
        sources=(replace(hurried(30, 22, 100), point="B"),),
        lanes=(lane("B", "A", 1, kg=0.5),),
    )
    assert least(data) == pytest.approx(120)


def test_a_build_is_late_for_its_own_work_whatever_it_draws() -> None:
    """One day of work from Monday on, due before that day: late by the whole of it."""
    data = shop(builds=(build("B1", march(1)),), stock=(stock(1),))
    assert least(data) == pytest.approx(1000)


def test_a_build_without_a_promise_counts_a_thousandth() -> None:
    """Its engine comes on Wednesday: three days from the planning date to its end, at 0.001."""
    data = shop(builds=(build("B1", None),), purchases=(purchase("P1", WEDNESDAY),))
    assert least(data) == pytest.approx(3.0)


def test_stations_cost_nothing_here() -> None:
    """Three builds that want the one station on the same day: none of the model's business."""
    three = tuple(build(name, MONDAY) for name in ("B1", "B2", "B3"))
    assert least(shop(builds=three, stock=(stock(3),))) == 0


def test_departures_on_several_days_are_paid_once() -> None:
    """A relaxation: engines that reach B on Monday and on Thursday need two departures to be in
    time, 300; the model asks for one."""
    data = shop(
        builds=(build("B1", WEDNESDAY), build("B2", march(9))),
        stock=(stock(1, "B"),),
        purchases=(purchase("P1", march(5), point="B"),),
        lanes=(lane("B", "A", 2, move=150),),
    )
    assert least(data) == pytest.approx(150)


def test_a_part_without_limit_in_time_is_no_question() -> None:
    """Nothing is drawn where a source delivers before it is needed."""
    data = shop(builds=(build("B1", march(20)),), sources=(source(10),))
    allocation, answer = solved(data)
    assert allocation.draws == {}
    assert answer.objective == 0


# ---- prices in place of lateness


def test_a_price_of_starting_stands_in_for_lateness() -> None:
    """10 a day of waiting: two days for the engine of Wednesday."""
    data = shop(builds=(build("B1", MONDAY),), purchases=(purchase("P1", WEDNESDAY),))
    _, answer = solved(data, price=lambda need, position: 10.0 * position / DAY)
    assert answer.objective == pytest.approx(20.0)


def test_a_base_is_paid_in_any_case() -> None:
    """What the build pays with nothing short, 15, is part of the 20 that its engine makes it pay;
    a base of 35 is not."""
    data = shop(builds=(build("B1", march(20)),), purchases=(purchase("P1", WEDNESDAY),))

    def price(need: Need, position: int) -> float:
        return 10.0 * position / DAY

    assert solved(data, price=price, bases={0: 15.0})[1].objective == pytest.approx(20.0)
    assert solved(data, price=price, bases={0: 35.0})[1].objective == pytest.approx(35.0)


# ---- reading the answer


def test_the_answer_says_when_each_need_draws_and_how_late_each_build_is() -> None:
    light = replace(TWO_BUILDS[1], weight_ppm=500_000)
    data = shop(builds=(TWO_BUILDS[0], light), **ONE_NOW_ONE_ON_WEDNESDAY)
    allocation, answer = solved(data)
    first, second = (task.root.operations[0].needs[0] for task in book_of(data).tasks)
    assert allocation.releases(answer) == {first.index: 0, second.index: 2 * DAY}
    late = allocation.late_cells(answer, book_of(data), cell=60)
    assert late == pytest.approx({0: 0.0, 1: 16.0})  # two days of 480 minutes, in hours

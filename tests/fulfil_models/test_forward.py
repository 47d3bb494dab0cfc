"""What brings a promise forward, by hand and as a law: dates and costs computed anew, all plans.

By hand on the tiny shop: a machine is a whole day's work on the only station, from Monday 03-02 on;
B1 of the plan takes Monday and the engine on the shelf, and another engine comes in three weeks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from beside_books import broken
from books import Shape
from fulfil_models.cells import MICRO, MILLI, PPM
from fulfil_models.forward import Lever, brought_forward, worth_telling
from fulfil_models.kept_open import held
from fulfil_models.plan import Plan
from fulfil_models.promise import Question, extra_cost
from fulfil_models.ready import ready
from fulfil_models.room import Request
from fulfil_models.tables import (
    BillLine,
    Dataset,
    Part,
    TakeRate,
)
from fulfil_models.taken import joined, moves_of
from questions import (
    QUOTED,
    Beside,
    ask_builds,
    asked_line,
    forward,
    random_beside,
    told,
    with_request,
)
from tiny_shop import (
    build,
    engines,
    hurried,
    lane,
    march,
    purchase,
    shop,
    source,
    stand_in,
    stock,
)

B1 = build("B1", march(2))


# ---- an alternate, expediting, a transfer


def test_what_would_bring_it_forward_and_at_what_cost() -> None:
    data = shop(
        builds=(B1,),
        stock=(stock(1), stock(1, "B"), stock(1, part="ENGINE2")),
        sources=(hurried(21, 14, 900),),
        alternates=(stand_in(100),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    asked = ask_builds(data)
    # a new engine takes 21 days: 03-23; in 7 days, by 03-09, it costs 900 more; the one at B comes
    # on 03-04; the alternate is on the shelf for 100, and Monday is taken
    assert (asked.ships, extra_cost(asked.plan)) == (march(23), 0)
    assert told(asked) == [
        (Lever.ALTERNATE, "ENGINE2", march(3), 100),
        (Lever.TRANSFER, "B", march(4), 50),
        (Lever.EXPEDITE, "S", march(9), 900),
    ]
    found = forward(asked)
    assert [row.days_sooner for row in found] == [20, 19, 14]
    assert {row.what for row in found} == {"ENGINE"}
    assert {row.arrives for row in found} == {None}
    assert {row.request for row in found} == {asked.question.request}


def test_of_too_many_those_are_told_that_no_other_beats() -> None:
    data = shop(
        builds=(B1,),
        stock=(stock(1), stock(1, "B"), stock(1, part="ENGINE2")),
        sources=(hurried(21, 14, 900),),
        alternates=(stand_in(100),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    found = forward(ask_builds(data))
    # 03-03 for 100, 03-04 for 50; 03-09 for 900 is beaten by both
    assert [row.by for row in worth_telling(found, 3)] == ["ENGINE2", "B", "S"]
    assert [row.by for row in worth_telling(found, 2)] == ["ENGINE2", "B"]
    cheap = [found[0], replace(found[1], cost=found[0].cost), replace(found[2], cost=Fraction(7))]
    assert [row.by for row in worth_telling(cheap, 2)] == ["ENGINE2", "S"]
    assert worth_telling([], 2) == []


def test_a_departure_that_the_plan_pays_for_costs_nothing_again() -> None:
    # B2, due on 03-06, has an engine that leaves B on Tuesday 03-03 for 50; so may this one's.
    # Where a kilogram costs 10 as well, its 40 kg cost 400
    def at(weekday: str, kg: int = 0) -> Dataset:
        return shop(
            builds=(B1, build("B2", march(6))),
            stock=(stock(1), stock(2, "B")),
            sources=(source(21),),
            lanes=(lane("B", "A", 3, move=50, kg=kg, weekdays=(weekday,)),),
        )

    assert told(ask_builds(at("Tue"))) == [(Lever.TRANSFER, "B", march(9), 0)]
    assert told(ask_builds(at("Tue", kg=10))) == [(Lever.TRANSFER, "B", march(9), 400)]
    # a hold may end, and its moves with it, so nobody counts on them
    alone = replace(at("Tue"), builds=(B1,))
    (row,) = forward(ask_builds(alone))
    assert (row.by, row.cost, len(moves_of(row.plan))) == ("B", 50, 1)
    assert held(row.plan, alone, "Q7:", own=True).moves == frozenset()


def test_an_order_for_another_point_may_be_moved_on() -> None:
    data = shop(
        builds=(B1,),
        stock=(stock(1),),
        sources=(source(21), source(8, point="B")),
        lanes=(lane("B", "A", 2, move=50),),
    )
    # it is at B on Tuesday 03-10, and here on 03-12
    assert told(ask_builds(data)) == [(Lever.TRANSFER, "B", march(12), 50)]


def test_what_is_moved_over_two_lanes_is_told_from_where_it_lies() -> None:
    data = shop(
        points=(*shop().points, replace(shop().points[0], point="C")),
        builds=(B1,),
        stock=(stock(1), stock(1, "C")),
        sources=(source(21),),
        lanes=(lane("C", "B", 1, move=10), lane("B", "A", 1, move=20)),
    )
    # at B on Tuesday, here on Wednesday
    assert told(ask_builds(data)) == [(Lever.TRANSFER, "C", march(4), 30)]


def test_nothing_is_told_that_brings_nothing() -> None:
    data = shop(
        builds=(B1,),
        stock=(stock(1),),
        purchases=(purchase("P", march(9)),),
        # each of them is here on 03-09 at the soonest
        sources=(hurried(21, 14, 900),),
        lanes=(lane("B", "A", 7),),
        alternates=(stand_in(100),),
    )
    more = (
        stock(1, "B"),
        stock(1, part="ENGINE2", held=1),
    )
    asked = ask_builds(replace(data, stock=(stock(1), *more)))
    assert asked.ships == march(9)
    assert told(asked) == []


def test_an_alternate_that_is_not_there_is_not_told_for_what_something_else_brings() -> None:
    data = shop(
        builds=(B1,),
        stock=(stock(1), stock(1, "B")),
        sources=(source(21),),
        alternates=(stand_in(100),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    assert told(ask_builds(data)) == [(Lever.TRANSFER, "B", march(4), 50)]


def test_work_alone_is_not_brought_forward() -> None:
    data = shop(
        builds=(B1,),
        stock=(stock(2), stock(1, "B"), stock(1, part="ENGINE2")),
        alternates=(stand_in(0),),
        lanes=(lane("B", "A", 1),),
    )
    asked = ask_builds(data)
    assert asked.ships == march(3)
    assert told(asked) == []


def test_a_machine_of_two_engines_takes_one_from_here_and_one_from_there() -> None:
    data = shop(
        bills=(engines(2),),
        stock=(stock(1), stock(1, "B")),
        sources=(hurried(21, 14, 900),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    # one is moved, or one expedited; to do both brings no more
    assert told(ask_builds(data)) == [
        (Lever.TRANSFER, "B", march(4), 50),
        (Lever.EXPEDITE, "S", march(9), 900),
    ]


# ---- together


def lamps(**tables: Any) -> Dataset:
    """A machine takes a lamp besides; of lamps as of engines none is left."""
    base = shop(
        parts=(*shop().parts, Part(part="LAMP")),
        bills=(engines(1), BillLine(parent="MACHINE", component="LAMP", quantity_milli=MILLI)),
        builds=(B1,),
    )
    return replace(base, **tables)


def test_two_parts_that_only_together_bring_it_forward() -> None:
    data = lamps(
        stock=(stock(1), stock(1, part="LAMP"), stock(1, "B", part="LAMP")),
        sources=(hurried(21, 14, 900), replace(source(21), part="LAMP")),
        lanes=(lane("B", "A", 2, move=50),),
    )
    asked = ask_builds(data)
    # engine and lamp come on 03-23; the engine by 03-09 if expedited, the lamp of B on 03-04
    assert asked.ships == march(23)
    (row,) = forward(asked)
    assert (row.lever, row.what, row.ships, row.cost) == (Lever.TOGETHER, "", march(9), 950)
    assert row.by == "ENGINE expedited from S, LAMP moved from B"
    assert row.days_sooner == 14


def test_together_is_told_only_if_it_brings_more_than_the_best_alone() -> None:
    data = lamps(
        stock=(stock(1), stock(2, part="LAMP"), stock(1, "B"), stock(1, "B", part="LAMP")),
        sources=(source(21), replace(source(21), part="LAMP")),
        lanes=(lane("B", "A", 2, move=50),),
    )
    # of lamps one is left here: only the engine of B is waited for
    assert told(ask_builds(data)) == [(Lever.TRANSFER, "B", march(4), 50)]


def test_one_thing_done_twice_is_no_together() -> None:
    """Two machines get an engine each from B, on the departure of one day and of another."""
    data = shop(
        stock=(stock(1, "B"),),
        purchases=(purchase("P", march(5), point="B"),),
        sources=(source(21),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    asked = ask_builds(data, QUOTED, build("R", None))
    # 03-23 and 03-24; moved on Monday and on Thursday they are here on 03-04 and, over the
    # week-end, 03-09
    assert [row.ships for row in asked.plan.builds] == [march(23), march(24)]
    assert told(asked) == [(Lever.TRANSFER, "B", march(9), 100)]


def test_all_ways_at_once_are_not_told_where_one_does_as_well() -> None:
    """Two engines are short: B has both, and one could come from C for less."""
    data = shop(
        points=(*shop().points, replace(shop().points[0], point="C")),
        bills=(engines(2),),
        stock=(stock(2, "B"), stock(1, "C")),
        sources=(source(21),),
        lanes=(lane("B", "A", 2, move=50), lane("C", "A", 2, move=10)),
    )
    assert told(ask_builds(data)) == [(Lever.TRANSFER, "B", march(4), 50)]
    one_each = replace(data, stock=(stock(1, "B"), stock(1, "C")))
    (row,) = forward(ask_builds(one_each))
    assert (row.lever, row.by, row.ships, row.cost) == (
        Lever.TOGETHER,
        "ENGINE moved from B, ENGINE moved from C",
        march(4),
        60,
    )


def test_what_stands_in_for_two_parts_is_told_for_both_together() -> None:
    data = lamps(
        builds=(),
        stock=(stock(2, part="ENGINE2"),),
        sources=(source(21), replace(source(21), part="LAMP")),
        alternates=(stand_in(100), replace(stand_in(10), part="LAMP")),
    )
    (row,) = forward(ask_builds(data))
    assert (row.lever, row.ships, row.cost) == (Lever.TOGETHER, march(2), 110)
    assert row.by == "ENGINE2 in place of ENGINE, ENGINE2 in place of LAMP"


def test_what_is_done_for_two_machines_is_told_once() -> None:
    data = lamps(
        builds=(),
        stock=(stock(1, "B"),),
        purchases=(purchase("P", march(5), point="B"),),
        sources=(source(21), replace(hurried(21, 20, 900), part="LAMP")),
        lanes=(lane("B", "A", 2, move=50),),
    )
    asked = ask_builds(data, QUOTED, build("R", None))
    (row,) = forward(asked)
    assert (row.lever, row.ships) == (Lever.TOGETHER, march(9))
    assert row.by == "ENGINE moved from B, LAMP expedited from S"
    # engines leave B on two days, lamps come with one order
    assert row.cost == 2 * 50 + 2 * 900


# ---- several machines


def test_the_machine_that_ships_last_is_brought_forward() -> None:
    data = shop(
        stock=(stock(1), stock(1, "B")),
        sources=(source(21),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    asked = ask_builds(data, QUOTED, build("R", None))
    assert [row.ships for row in asked.plan.builds] == [march(2), march(23)]
    (row,) = forward(asked)
    assert (row.lever, row.ships, row.days_sooner) == (Lever.TRANSFER, march(4), 19)
    assert [built.ships for built in row.plan.builds] == [march(2), march(4)]


def test_where_one_alternate_is_there_the_others_keep_the_part_itself() -> None:
    data = shop(
        stock=(stock(1), stock(1, part="ENGINE2")),
        sources=(source(21),),
        alternates=(stand_in(100),),
    )
    asked = ask_builds(data, QUOTED, build("R", None))
    assert told(asked) == [(Lever.ALTERNATE, "ENGINE2", march(3), 100)]
    (row,) = forward(asked)
    assert sorted(peg.used for peg in row.plan.pegs) == ["ENGINE", "ENGINE2"]


# ---- laws, on random books


SHAPES = (Shape(points=3), Shape(points=2), Shape(points=2, made=False), Shape(points=1))


def with_motors(data: Dataset) -> Dataset:
    """A book in which engines and pumps may be exchanged for motors, of which two are at A."""
    families = {"MACHINE": "MACHINES", "ENGINE": "BOUGHT", "PUMP": "BOUGHT"}
    parts = tuple(replace(row, family=families.get(row.part)) for row in data.parts)
    return replace(
        data,
        parts=(*parts, Part(part="MOTOR", family="BOUGHT")),
        stock=(*data.stock, stock(2, part="MOTOR")),
        take_rates=(TakeRate(product="MACHINE", component="MOTOR", rate_ppm=PPM // 2),),
    )


def random_questions(seed: int) -> Iterator[tuple[Beside, Question, Plan]]:
    """A machine, and two pumps, asked for beside the plan of a random book; plainly answered."""
    found = random_beside(seed, SHAPES[seed % len(SHAPES)])
    if found is None:
        return
    found = replace(found, rest=with_motors(found.rest))
    line = replace(asked_line(2, part="PUMP"), ordered=found.settings.as_of)
    lines = Request(lines=(line,))
    for request in (found.request, lines) if found.rest.deliveries else (found.request,):
        question = Question(found.room(), request)
        solution = question.earliest()
        assert solution is not None
        yield found, question, question.plan(solution)


def added(found: Beside, piece: Plan) -> Fraction:
    """What a piece adds to the cost of the plan that it is put beside, lateness apart; departures
    that both use are paid for once."""
    lanes = {(row.origin, row.destination): row for row in found.rest.lanes}

    def paid_micro(plan: Plan) -> int:
        departures = {(row.origin, row.point, row.leaves_on) for row in plan.supplies if row.origin}
        return sum(lanes[origin or "", to].cost_per_move_micro for origin, to, _ in departures)

    both = paid_micro(joined(found.before, piece)) - paid_micro(found.before)
    return extra_cost(piece) + Fraction(both - paid_micro(piece), MICRO)


@pytest.mark.parametrize("seed", range(3000, 3040))
def test_whatever_brings_it_forward_is_a_plan_beside_the_one_that_stands(seed: int) -> None:
    for found, question, plain in random_questions(seed):
        for row in brought_forward(found.room(), question, plain):
            data = with_request(found.rest, row.request)
            assert broken(data, joined(found.before, row.plan), found.settings) == []
            assert row.days_sooner == (ready(plain) - ready(row.plan)).days > 0
            assert (row.arrives or row.ships) == ready(row.plan)
            assert row.cost == added(found, row.plan) - added(found, plain)


def test_that_law_meets_every_lever_that_its_books_have() -> None:
    met = {
        row.lever
        for seed in range(3000, 3040)
        for found, question, plain in random_questions(seed)
        for row in brought_forward(found.room(), question, plain)
    }
    assert met == set(Lever) - {Lever.POINT}

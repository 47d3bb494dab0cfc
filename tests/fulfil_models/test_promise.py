"""The earliest date beside a plan that stands: by hand, against trying everything, as a law.

By hand on the tiny shop: a machine is a whole day's work on the only station, from Monday 03-02 on.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from fractions import Fraction

import pytest
from books import Shape, random_book, settings_of
from fulfil_models.audit import audit
from fulfil_models.book import Book
from fulfil_models.compiled import Compiled
from fulfil_models.insertion import State
from fulfil_models.plan import BlockerKind, Plan
from fulfil_models.planning import Effort, plan
from fulfil_models.problem import Problem
from fulfil_models.promise import (
    Lever,
    beside,
    brought_forward,
    by_whatever,
    earliest,
    extra_cost,
)
from fulfil_models.search import Solution
from fulfil_models.slots import covers_every_plan, prove
from fulfil_models.stranded import stranded
from fulfil_models.tables import Build, Dataset
from fulfil_models.taken import NOTHING, ORDERED, Taken, joined, taken_by
from tiny_shop import (
    SETTINGS,
    build,
    delivery,
    hurried,
    lane,
    march,
    order,
    purchase,
    shop,
    source,
    stand_in,
    stock,
)

QUOTED = build("Q", None)


def taken_of(data: Dataset) -> Taken:
    return taken_by(plan(Problem(data, SETTINGS), Effort(seconds=0.2)), data)


def quote_problem(data: Dataset, taken: Taken, asked: Build = QUOTED) -> Problem:
    return Problem(beside(data, taken, [asked]), SETTINGS, taken=taken)


def ships(answer: Plan | None) -> date:
    assert answer is not None
    (row,) = answer.builds
    return row.ships


# ---- by hand


def test_it_takes_the_engine_and_the_day_that_are_left() -> None:
    data = shop(builds=(build("B1", march(2)),), stock=(stock(2),))
    assert ships(earliest(quote_problem(data, taken_of(data)))) == march(3)
    assert ships(earliest(quote_problem(data, NOTHING))) == march(2)


def test_it_waits_for_the_engine_that_nobody_holds() -> None:
    data = shop(
        builds=(build("B1", march(2)),), stock=(stock(1),), purchases=(purchase("P", march(16)),)
    )
    answer = earliest(quote_problem(data, taken_of(data)))
    assert ships(answer) == march(16)
    assert answer is not None
    rung = answer.builds[0].blockers[0]
    assert (rung.kind, rung.what, rung.ahead) == (BlockerKind.PART, "ENGINE", ("B1",))
    # on the shelf it would ship on Tuesday, 13 days sooner
    assert rung.days == 13


def test_a_queue_of_others_is_told_with_their_names() -> None:
    data = shop(builds=(build("B1", march(2)), build("B2", march(3))), stock=(stock(3),))
    answer = earliest(quote_problem(data, taken_of(data)))
    assert ships(answer) == march(4)
    assert answer is not None
    rung = answer.builds[0].blockers[0]
    assert (rung.kind, rung.what, rung.days) == (BlockerKind.WORK_CENTRE, "CELL", 2)
    assert set(rung.ahead) == {"B1", "B2"}


def test_what_an_order_of_the_plan_brings_over_is_free() -> None:
    # the least order is two engines, here on 03-12; the plan needs one
    data = shop(builds=(build("B1", march(12)),), sources=(source(10, minimum_milli=2000),))
    taken = taken_of(data)
    (bought,) = taken.orders
    assert (bought.quantity_milli, bought.line) == (2000, ORDERED)
    only = replace(beside(data, taken, [QUOTED]), sources=())
    assert ships(earliest(Problem(only, SETTINGS, taken=taken))) == march(13)
    two = [QUOTED, build("R", None)]
    assert earliest(Problem(replace(only, builds=tuple(two)), SETTINGS, taken=taken)) is None


def test_what_would_bring_it_forward_and_at_what_cost() -> None:
    data = shop(
        builds=(build("B1", march(2)),),
        stock=(stock(1), stock(1, "B"), stock(1, part="ENGINE2")),
        sources=(hurried(21, 14, 900),),
        alternates=(stand_in(100),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    problem = quote_problem(data, taken_of(data))
    plain = earliest(problem)
    # a new engine takes 21 days: 03-23; in 7 days, by 03-09, it costs 900 more; the one at B comes
    # on 03-04; the alternate is on the shelf for 100, and Monday is taken
    assert ships(plain) == march(23)
    assert plain is not None
    assert extra_cost(plain) == 0
    found = brought_forward(problem, plain)
    assert [(f.lever, f.by, f.ships, f.cost) for f in found] == [
        (Lever.ALTERNATE, "ENGINE2", march(3), 100),
        (Lever.TRANSFER, "B", march(4), 50),
        (Lever.EXPEDITE, "S", march(9), 900),
    ]
    assert [f.days_sooner for f in found] == [20, 19, 14]


def test_a_line_of_a_parts_order_takes_what_is_left() -> None:
    data = shop(
        builds=(build("B1", march(2)),),
        stock=(stock(1),),
        purchases=(purchase("P", march(16)),),
        deliveries=(delivery("A", 10),),
    )
    taken = taken_of(data)
    asked = beside(data, taken, lines=[order("S1", 1, None)])
    answer = earliest(Problem(asked, SETTINGS, taken=taken))
    assert answer is not None
    assert [(row.point, row.ships) for row in answer.shipments] == [("A", march(16))]


def test_nothing_comes_for_ever() -> None:
    data = shop(builds=(build("B1", march(2)),), stock=(stock(1),))
    assert earliest(quote_problem(data, taken_of(data))) is None


# ---- laws, on random books


def split_book(seed: int) -> tuple[Dataset, Build, Problem] | None:
    """A random book without one of its builds, that build, and the problem of the rest."""
    shape = Shape(points=1 + seed % 2)
    data = random_book(seed, shape)
    asked = replace(sorted(data.builds, key=lambda b: b.build)[-1], status="firm")
    rest = replace(data, builds=tuple(b for b in data.builds if b.build != asked.build))
    if stranded(data):
        return None
    return data, asked, Problem(rest, settings_of(data))


@pytest.mark.parametrize("seed", range(40))
def test_the_plan_and_what_is_put_beside_it_are_a_plan(seed: int) -> None:
    found = split_book(seed)
    if found is None:
        pytest.skip("a book in which something can never come")
    data, asked, rest = found
    before = plan(rest, Effort(seconds=0.1))
    taken = taken_by(before, data)
    options = [row for row in data.build_options if row.build == asked.build]
    problem = Problem(beside(data, taken, [asked], options), rest.settings, taken=taken)
    for allowed in (by_whatever, None):
        answer = earliest(problem) if allowed is None else earliest(problem, allowed)
        if answer is None:
            continue
        whole = joined(before, answer)
        broken = [v for v in audit(data, rest.settings, whole) if v.rule not in COSTS]
        assert broken == []
        assert whole.builds[: len(before.builds)] == before.builds


COSTS = {"objective", "bound"}
"""rules about the cost of the whole, which a plan and a quotation have each for themselves"""


@pytest.mark.parametrize("seed", range(100, 140))
def test_no_earlier_date_is_possible(seed: int) -> None:
    """The whole model, which tries every slot, lot and way, finds no earlier finish."""
    found = split_book(seed)
    if found is None:
        pytest.skip("a book in which something can never come")
    data, asked, rest = found
    before = plan(rest, Effort(seconds=0.1))
    taken = taken_by(before, data)
    options = [row for row in data.build_options if row.build == asked.build]
    urgent = replace(asked, promised=rest.settings.as_of, weight_ppm=10**10)
    problem = Problem(beside(data, taken, [urgent], options), rest.settings, taken=taken)
    answer = earliest(problem, by_whatever)
    if answer is None:
        pytest.skip("its parts are taken for ever")
    compiled = Compiled(Book(problem))
    if not covers_every_plan(compiled):
        pytest.skip("a book that the whole model does not cover")
    state = State(compiled)
    for task in compiled.tasks:
        task.rate = 1e6
        assert state.place(task, justify=False) is not None
    solution = Solution(tuple(state.placed), tuple(state.lines), state.cost())
    proof = prove(compiled, solution, 20.0, 20.0)
    (placement,) = state.placed
    assert placement is not None
    rate = compiled.tasks[0].task.rate * compiled.cell
    least = Fraction(proof.bound) / rate + compiled.tasks[0].due
    assert placement.finish < least + 1

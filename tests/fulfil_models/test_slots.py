"""Each rule of the whole model alone, what its bound holds for, and its way in and out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

import pytest
from books import Shape, random_book
from fulfil_models.assembly import assemble
from fulfil_models.audit import audit
from fulfil_models.cells import MICRO, MILLI, PPM
from fulfil_models.compiled import Compiled
from fulfil_models.decisions import from_solution
from fulfil_models.plan import Plan, Status
from fulfil_models.planning import Workbench, solution_of
from fulfil_models.problem import Problem
from fulfil_models.search import Solution, list_schedule
from fulfil_models.slots import RULES, Proof, Rule, WholeModel, covers_every_plan, prove
from fulfil_models.slots_reading import hint, read
from fulfil_models.solving import solve_constraints
from fulfil_models.tables import Dataset, Lane, Point, Progress
from oracle import optimum
from slots_cases import CHEAPER, NEEDS, ONE_A_MONTH, OVERDRAWN, TWO, WORK, Case
from slots_cases_orders import EXPEDITED, ORDERS
from slots_shop import (
    AS_OF,
    COMING,
    ENGINE,
    OPENING,
    SETTINGS,
    SHELVES,
    STAND_IN,
    TUESDAYS,
    WEDNESDAY,
    bill,
    build,
    delivery,
    late_cost,
    line,
    shop,
    step,
    stock,
)


@dataclass(frozen=True)
class Answer:
    """What the model takes for the best, and the plan that it makes."""

    cost: Fraction
    compiled: Compiled
    solution: Solution

    def starts(self) -> dict[str, list[int]]:
        """By job that is done: the cells at which its operations start."""
        placed = [placement for placement in self.solution.placed if placement is not None]
        return {job.job.name: cells for placement in placed for job, cells in placement.starts}

    def plan(self) -> Plan:
        book = self.compiled.book
        return assemble(book, from_solution(book, self.compiled, self.solution))


def compiled_of(book: Dataset) -> Compiled:
    return Workbench(Problem(book, SETTINGS)).compiled


def best(book: Dataset, rules: tuple[Rule, ...] = RULES) -> Answer:
    """The proven optimum of the whole model."""
    compiled = compiled_of(book)
    whole = WholeModel(compiled, rules)
    answer = solve_constraints(whole.model, deterministic=10.0, seconds=30.0)
    assert answer.status is Status.OPTIMAL
    assert answer.values is not None
    placed, lines = read(whole.v, answer.values)
    cost = Fraction(round(answer.bound), whole.scale)
    return Answer(cost, compiled, Solution(tuple(placed), tuple(lines), 0.0))


CASES = (*WORK, *NEEDS, *ORDERS, *EXPEDITED)
EACH = pytest.mark.parametrize(
    "case", [pytest.param(case, id=f"{case.rule.__name__}: {case.name}") for case in CASES]
)


@EACH
def test_the_best_plan_is_the_one_worked_out_by_hand(case: Case) -> None:
    answer = best(case.book)
    assert answer.cost == case.cost
    plan = answer.plan()
    assert audit(case.book, SETTINGS, plan) == ()
    assert plan.objective.total == case.cost


@EACH
def test_without_the_rule_the_answer_is_no_plan(case: Case) -> None:
    answer = best(case.book, case.left())
    assert answer.cost == case.without < case.cost
    if case.breaks == OVERDRAWN:
        with pytest.raises(AssertionError, match="overdrawn"):
            answer.plan()
        return
    plan = answer.plan()
    broken = {violation.rule for violation in audit(case.book, SETTINGS, plan)}
    if case.breaks == CHEAPER:
        assert broken == set()
        assert plan.objective.total > answer.cost
    else:
        assert case.breaks in broken


def test_no_rule_is_without_a_case() -> None:
    assert {case.rule for case in CASES} == set(RULES)
    assert all(len(case.left()) == len(RULES) - 1 + len(case.instead) for case in CASES)


# ---- what the rules leave free


@pytest.mark.parametrize(
    ("stations", "each", "cost"),
    [
        (1, 1, late_cost(60, 120)),
        (2, 1, late_cost(60, 60)),
        (2, 2, late_cost(60, 120)),
        (4, 2, late_cost(60, 60)),
    ],
)
def test_what_fits_side_by_side_is_not_kept_apart(stations: int, each: int, cost: Fraction) -> None:
    """Two machines of 60 minutes, each on so many of the stations."""
    book = shop(*TWO, stations=stations, routings=(step("M", 10, "W", 60, stations=each),))
    assert best(book).cost == cost


def test_started_work_stays_where_it_is() -> None:
    """B1 started on Monday at 09:00, though not meant to before Wednesday: it holds the station in
    minutes 60-120, late 120. B2 of 120 minutes does not fit before it: 120 + 120."""
    book = shop(
        build(earliest=WEDNESDAY),
        build("B2", product="N"),
        routings=(step("M", 10, "W", 60), step("N", 10, "W", 120)),
        progress=(Progress(build="B1", operation=10, started=OPENING.replace(hour=9)),),
    )
    answer = best(book)
    assert answer.cost == late_cost(120, 240)
    assert audit(book, SETTINGS, answer.plan()) == ()


def test_a_job_is_done_for_one_of_two_frames() -> None:
    """One frame on the shelf: B1 of weight 3 takes it and ends in time. That of B2 is made in 480
    minutes, and B2 ends at 540, 60 late. The other way round it would be 3 x 60."""
    book = shop(
        build(promised=AS_OF, weight_ppm=3 * PPM),
        build("B2", AS_OF),
        bills=(bill("M", "F"),),
        routings=(step("M", 10, "W", 60), step("F", 10, "V", 480)),
        stock=(stock("A", "F"),),
    )
    answer = best(book)
    assert answer.cost == late_cost(60)
    assert set(answer.starts()) == {"B1", "B2", "B2/10/F"}
    assert audit(book, SETTINGS, answer.plan()) == ()


def test_a_line_may_be_split_and_share_deliveries() -> None:
    """One engine at each point: two deliveries of 40 on Monday, or two from A on Thursday in one,
    3 days late at weight 0.02: 40 + 60. At weight 0.01 waiting is cheaper: 40 + 30."""
    for weight_ppm, cost in ((20_000, 80), (10_000, 70)):
        book = shop(
            stock=(stock("A", "E"), stock("B", "E")),
            purchases=(replace(COMING, quantity_milli=2 * MILLI),),
            parts_orders=(line(2, weight_ppm=weight_ppm),),
            deliveries=(delivery("A", 40), delivery("B", 40)),
        )
        assert best(book).cost == cost


@pytest.mark.parametrize(("extra", "cost"), [(700, 700), (3000, late_cost(1020))])
def test_an_alternate_costs_its_extra(extra: int, cost: Fraction | int) -> None:
    """The stand-in is there, the engine on Thursday: late 1440 + 60 - 480 minutes, 2125."""
    book = shop(
        build(promised=AS_OF),
        bills=ENGINE,
        stock=(stock("A", "E2"),),
        purchases=(COMING,),
        alternates=(replace(STAND_IN, extra_cost_micro=extra * MICRO),),
    )
    assert best(book).cost == cost


# ---- what its bound holds for

SECOND_POINT = replace(ONE_A_MONTH, point="B")
THREE_POINTS = (Point(point="A"), Point(point="B"), Point(point="C"))
FAR_LANE = Lane(origin="C", destination="B", days=1)
MOVED = {"lanes": (TUESDAYS,), "parts_orders": (line(),), "deliveries": SHELVES}
PAID_LANE = replace(TUESDAYS, cost_per_move_micro=50 * MICRO)
FRAMES = (bill("M", "F", 2),)
FRAME_WORK = (step("M", 10, "W", 60), step("F", 10, "V", 480))


@pytest.mark.parametrize(
    ("covered", "not_covered"),
    [
        pytest.param(
            shop(build(), points=THREE_POINTS, lanes=(TUESDAYS,)),
            shop(build(), points=THREE_POINTS, lanes=(TUESDAYS, FAR_LANE)),
            id="lanes end to end may share departures with others",
        ),
        pytest.param(
            shop(*TWO, bills=(bill("M", "F"),), routings=FRAME_WORK, stock=(stock("A", "F"),)),
            shop(build(), bills=FRAMES, routings=FRAME_WORK, stock=(stock("A", "F"),)),
            id="one frame may be made and one drawn",
        ),
        pytest.param(
            shop(stock=(stock("B", "E"),), **MOVED),
            shop(stock=(stock("B", "E"),), **{**MOVED, "lanes": (PAID_LANE,)}),
            id="what is moved before it ships may wait for others",
        ),
        pytest.param(
            shop(sources=(ONE_A_MONTH,), parts_orders=(line(2),), deliveries=(delivery("A"),)),
            shop(sources=(ONE_A_MONTH,), parts_orders=(line(2),), deliveries=(delivery("A", 40),)),
            id="what is ordered may come later to ship with others",
        ),
        pytest.param(
            shop(build(), bills=ENGINE, sources=(ONE_A_MONTH,)),
            shop(build(), bills=ENGINE, sources=(ONE_A_MONTH, SECOND_POINT)),
            id="a monthly cap may be shared by two points",
        ),
        pytest.param(
            shop(build(), bills=ENGINE, purchases=(COMING,)),
            shop(build(), bills=ENGINE, purchases=(COMING,), routings=()),
            id="a build has no work of its own",
        ),
    ],
)
def test_it_is_known_where_the_model_leaves_plans_out(
    covered: Dataset, not_covered: Dataset
) -> None:
    assert covers_every_plan(compiled_of(covered))
    assert not covers_every_plan(compiled_of(not_covered))


TINY = Shape(builds=2)


def tiny(seed: int) -> Dataset:
    """A random book; of three in a row one has a single point, one two, one three."""
    return random_book(seed, replace(TINY, points=1 + seed % 3, lanes=bool(seed % 3)))


@pytest.mark.parametrize("seed", range(40))
def test_the_optimum_is_that_of_trying_everything(seed: int) -> None:
    """Where the model does not cover every plan, its optimum is a plan that may be too dear."""
    book = tiny(seed)
    answer = best(book)
    assert audit(book, SETTINGS, answer.plan()) == ()
    if covers_every_plan(answer.compiled):
        assert answer.cost == optimum(book, SETTINGS)
    else:
        assert answer.cost >= optimum(book, SETTINGS)


def test_many_of_them_are_covered() -> None:
    assert sum(covers_every_plan(compiled_of(tiny(seed))) for seed in range(40)) >= 15


@pytest.mark.parametrize("seed", [117, 210, 529, 897])
def test_lots_are_drawn_in_whole_steps(seed: int) -> None:
    """Seeds found by chance, at which one unit was once put together from two lots."""
    book = tiny(seed)
    plan = best(book).plan()
    step_milli = {part.part: part.step_milli for part in book.parts}
    drawn = [(row.used, row.quantity_milli) for row in (*plan.pegs, *plan.shipments)]
    assert [(used, milli) for used, milli in drawn if milli % step_milli[used]] == []
    assert audit(book, SETTINGS, plan) == ()


# ---- proving

SHORT_LAST = shop(
    build(), build("B2", product="N"), routings=(step("M", 10, "W", 480), step("N", 10, "W", 120))
)
"""480 and 120 minutes: 120 + 600 late, or 480 + 600"""


def in_order(compiled: Compiled, *names: str) -> Solution:
    """The builds one after another."""
    by_name = {task.task.build.build: task for task in compiled.tasks}
    return solution_of(list_schedule(compiled, [by_name[name] for name in names], justify=False))


def test_a_worse_plan_is_improved_and_the_best_proven() -> None:
    compiled = compiled_of(SHORT_LAST)
    start = in_order(compiled, "B1", "B2")
    assert start.cost == pytest.approx(float(late_cost(480, 600)))
    proof = prove(compiled, start, seconds=30.0, deterministic=10.0)
    assert proof.bound == pytest.approx(float(late_cost(120, 600)))
    assert proof.solution is not None
    assert not proof.cut
    found = Answer(late_cost(120, 600), compiled, proof.solution)
    assert found.plan().objective.total == found.cost


def test_without_any_work_nothing_is_claimed() -> None:
    compiled = compiled_of(SHORT_LAST)
    start = in_order(compiled, "B1", "B2")
    assert prove(compiled, start, seconds=30.0, deterministic=0.0) == Proof(None, 0.0, False)


def test_a_bound_that_does_not_cover_every_plan_is_not_claimed() -> None:
    book = shop(build(), bills=FRAMES, routings=FRAME_WORK, stock=(stock("A", "F"),))
    compiled = compiled_of(book)
    proof = prove(compiled, in_order(compiled, "B1"), seconds=30.0, deterministic=10.0)
    assert proof.bound == 0
    assert proof.solution is not None


def test_what_leaves_a_build_out_is_not_taken_up() -> None:
    compiled = compiled_of(SHORT_LAST)
    start = in_order(compiled, "B1")
    assert start.placed.count(None) == 1
    assert prove(compiled, start, 30.0, 10.0) == Proof(None, 0.0, False)


def test_a_hint_says_where_every_operation_starts() -> None:
    """In cells of 120 minutes, the greatest common divisor of 480 and 120."""
    compiled = compiled_of(SHORT_LAST)
    whole = WholeModel(compiled)
    hint(whole.model, whole.v, in_order(compiled, "B2", "B1"))
    hinted = whole.model.proto.solution_hint
    starts = {name: cells[0].index for name, cells in whole.v.starts.items()}
    assert compiled.cell == 120
    assert dict(zip(hinted.vars, hinted.values, strict=True)) == {
        starts["B2"]: 0,
        starts["B1"]: 1,
    }

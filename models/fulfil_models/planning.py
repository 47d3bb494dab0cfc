"""From a problem to the best plan that a given effort finds, with a proven bound.

    allocation model ──► guided list schedule ──► insertion search (two walks) ──► bound with
    prices on stations ∥ a further walk ──► last lots ──► plan

Work is counted, never timed: the same problem, effort and seed give the same plan. What may run
side by side is handed to a `Pool`; without one it runs here, one piece after another.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any, Protocol

from fulfil_models.allocation import Builder
from fulfil_models.allocation_needs import is_long
from fulfil_models.allocation_rounds import solve_in_rounds
from fulfil_models.assembly import assemble
from fulfil_models.blockers import explain
from fulfil_models.book import Book
from fulfil_models.compiled import Compiled, all_jobs, all_needs
from fulfil_models.decisions import Decisions, from_solution
from fulfil_models.freeze import thaw
from fulfil_models.guidance import guidance
from fulfil_models.insertion import State
from fulfil_models.plan import Plan, Status
from fulfil_models.prices import priced_bound
from fulfil_models.problem import Problem
from fulfil_models.search import Search, Solution, by_due, list_schedule
from fulfil_models.sketch import Sketch, sketch, take_up
from fulfil_models.slots import prove
from fulfil_models.solving import solve_linear

ALLOCATION_GAP = 0.001
SMALL_BOOK = 160
"""books with no more operations and lines than this are put to the whole model, for a proof"""
MOST_PRICED = 400
"""builds beyond which pricing the stations takes longer than it is worth: a walk does more"""
PROVEN = 1e-7
"""share of the cost within which a bound counts as met: models compute in floating point"""


@dataclass(frozen=True, slots=True)
class Effort:
    """How hard to try.

    Attributes
    ----------
    seconds: what the effort is meant to take on two cores; limits derive from it.
    seed: of every random choice.
    counted: limits are counts of work, so that the result repeats; else searches go on until
        stopped.
    """

    seconds: float = 60.0
    seed: int = 1
    counted: bool = True

    def steps(self, book: Compiled, share: float, *, last: bool = False) -> int:
        """Steps of the search that take about this share of the seconds; a last walk goes on until
        it is stopped where work is not counted.

        Measured on two cores: some 2,400 steps a second on 60 builds, 1,800 on 200, 1,250 on 700,
        all with a dozen operations and needs to a build; 1,400 on 53 builds with 44 of them.
        """
        if last and not self.counted:
            return 1 << 40
        builds = len(book.tasks)
        to_each = _work_count(book) / max(1, builds)
        rate = 2600 / (1 + builds / 600) / (0.6 + 0.4 * to_each / 12.6)
        return max(50, int(self.seconds * share * rate))


def _work_count(book: Compiled) -> int:
    """Operations and needs of all builds and of what may be made for them."""
    return sum(
        len(job.operations) + sum(1 for _ in all_needs(job))
        for task in book.tasks
        for job in all_jobs(task.root)
    )


@dataclass(slots=True)
class Control:
    """What goes on while planning: when to stop, and what to tell."""

    stop: threading.Event = field(default_factory=threading.Event)
    better: Callable[[float], None] = lambda cost: None
    """a better cost, in the currency"""


@dataclass(frozen=True, slots=True)
class Outcome:
    """The decisions with the least cost, and the proven bound."""

    decisions: Decisions
    bound: float
    cut: bool
    """a clock stopped some of the work: another run may end elsewhere"""


class Workbench:
    """A problem with its book, made once in every process that works on it."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.book = Book(problem)
        self.compiled = thaw(self.book)
        self.control = Control()


class Pool(Protocol):
    """Runs functions of a workbench, here or in another process that has one of its own."""

    def start(self, work: Callable[..., Any], *arguments: Any) -> Future[Any]: ...


class Here:
    """A pool that does everything at once, in this process."""

    def __init__(self, bench: Workbench) -> None:
        self.bench = bench

    def start(self, work: Callable[..., Any], *arguments: Any) -> Future[Any]:
        future: Future[Any] = Future()
        future.set_result(work(self.bench, *arguments))
        return future


# ---- pieces of work, each for one process


@dataclass(frozen=True, slots=True)
class Found:
    """What a piece of work found."""

    sketch: Sketch | None
    bound: float = 0.0
    cut: bool = False


def first_plan(bench: Workbench) -> Found:
    """A list schedule by due date: a plan within a second or so."""
    state = list_schedule(bench.compiled, by_due(bench.compiled))
    return Found(sketch(solution_of(state)))


def allocate(bench: Workbench, seconds: float) -> Found:
    """The allocation model: its bound, and the list schedule that it guides."""
    allocation = Builder(bench.book).build()
    long = is_long(bench.book, allocation.networks)
    solve = solve_in_rounds if long else solve_linear
    answer = solve(allocation.model, gap=ALLOCATION_GAP, seconds=seconds, stop=bench.control.stop)
    if answer.status is Status.INFEASIBLE:
        return Found(None)  # not everything can be supplied: there is no cost to bound
    if not answer.values:
        return Found(None, max(0.0, answer.bound), answer.cut_by_clock)
    advice = guidance(bench.book, allocation, answer, bench.compiled.cell)
    compiled = bench.compiled
    states = [
        list_schedule(compiled, by_due(compiled, advice.late), advice, justify=justify)
        for justify in (False, True)
    ]
    best = min((solution_of(state) for state in states), key=rank)
    return Found(sketch(best), answer.bound, answer.cut_by_clock)


def walk(
    bench: Workbench, start: Sketch, steps: int, seed: int, most_out: int, heat: float
) -> Found:
    """One walk of the insertion search from a solution."""
    control = bench.control
    search = Search(take_up(bench.compiled, start), seed, most_out)
    solution = search.run(steps, control.stop.is_set, control.better, heat)
    return Found(sketch(solution), cut=control.stop.is_set())


def bound_with_prices(bench: Workbench, start: Sketch, seconds: float) -> Found:
    """A higher bound where stations bind, from prices that fit a good solution."""
    solution = solution_of(take_up(bench.compiled, start))
    bound, cut = priced_bound(bench.compiled.at_cost(), solution, seconds, bench.control.stop)
    return Found(None, bound, cut)


def whole(bench: Workbench, start: Sketch, seconds: float, deterministic: float) -> Found:
    """The whole model of a small book, which may prove a plan optimal."""
    compiled = bench.compiled
    proof = prove(
        compiled,
        solution_of(take_up(compiled, start)),
        seconds,
        deterministic,
        bench.control.stop.is_set,
    )
    found = None
    if proof.solution is not None:
        state = take_up(compiled, sketch(proof.solution))
        found = sketch(solution_of(state))
    return Found(found, proof.bound, proof.cut)


def solution_of(state: State) -> Solution:
    return Solution(tuple(state.placed), tuple(state.lines), state.cost())


def rank(solution: Solution) -> tuple[int, float]:
    """Solutions that leave less out are better, then cheaper ones."""
    left_out = sum(p is None for p in solution.placed) + sum(p is None for p in solution.lines)
    return left_out, solution.cost


def sketch_rank(found: Sketch) -> tuple[int, float]:
    left_out = sum(b is None for b in found.builds) + sum(b is None for b in found.lines)
    return left_out, found.cost


# ---- the course of planning


def search_plan(
    bench: Workbench,
    effort: Effort,
    pool: Pool | None = None,
    on_bound: Callable[[float], None] = lambda bound: None,
    on_first: Callable[[Decisions], None] = lambda decisions: None,
    known: Sketch | None = None,
) -> Outcome:
    """The best decisions that the effort finds, with the highest bound proven; never worse than
    those that are `known` already.

    `on_first` gets those of the list schedule, before anything else is begun: it is asked for
    within seconds, and other processes would take its time.
    """
    pool = pool or Here(bench)
    compiled, seconds, seed = bench.compiled, effort.seconds, effort.seed
    first = first_plan(bench)
    assert first.sketch is not None
    bench.control.better(first.sketch.cost)
    best, bound, cut = first.sketch, 0.0, False
    on_first(_decisions(bench, best))

    def take(found: Found) -> None:
        nonlocal best, bound, cut
        cut = cut or found.cut
        if found.sketch is not None and sketch_rank(found.sketch) < sketch_rank(best):
            best = found.sketch
            bench.control.better(best.cost)
        if found.bound > bound:
            bound = found.bound
            on_bound(bound)

    def proven() -> bool:
        return best.cost - bound <= PROVEN * max(1.0, best.cost)

    take(Found(known))
    model = pool.start(allocate, seconds * 0.5)
    warm = pool.start(walk, best, effort.steps(compiled, 0.05), seed, 6, 0.05)
    guided = model.result()
    take(guided)
    take(warm.result())
    # walks go on from the model's sharing-out even where the first walk is cheaper by then: what is
    # late for its stations is mended sooner than what is late for its parts (measured)
    start = guided.sketch or best
    operations = sum(len(job.operations) for task in bench.book.tasks for job in task.jobs())
    small = operations + len(compiled.lines) <= SMALL_BOOK
    if small and not proven():
        further = pool.start(walk, best, effort.steps(compiled, 0.1), seed + 3, 5, 0.02)
        take(pool.start(whole, best, seconds * 0.5, seconds * 0.15).result())
        take(further.result())
    if not proven():
        priced = 0 < len(compiled.tasks) <= MOST_PRICED
        # by the clock the walks end sooner, or the prices would not come to their end in time
        share = 0.38 if not priced else 0.32 if effort.counted else 0.22
        steps = effort.steps(compiled, share)
        walks = [
            pool.start(walk, start, steps, seed + number, most_out, 0.01)
            for number, most_out in enumerate((5, 4))
        ]
        for future in walks:
            take(future.result())
        last = effort.steps(compiled, 0.3 if priced else 0.45, last=True)
        ends = [pool.start(walk, best, last, seed + 7, 5, 0.004)]
        if priced:
            ends.append(pool.start(bound_with_prices, best, seconds * 0.3))
            if not effort.counted:
                take(ends.pop().result())
                ends.append(pool.start(walk, best, last, seed + 9, 4, 0.004))
        else:
            ends.append(pool.start(walk, best, last, seed + 9, 4, 0.004))
        for future in ends:
            take(future.result())
    return Outcome(_decisions(bench, best), bound, cut)


def _decisions(bench: Workbench, found: Sketch) -> Decisions:
    solution = solution_of(take_up(bench.compiled, found))
    return from_solution(bench.book, bench.compiled, solution)


def plan(problem: Problem, effort: Effort | None = None) -> Plan:
    """Plan a problem in this process, for use from a notebook."""
    bench = Workbench(problem)
    return finished(bench, search_plan(bench, effort or Effort(seconds=10.0)))


def finished(bench: Workbench, outcome: Outcome, notes: tuple[str, ...] = ()) -> Plan:
    """The plan that an outcome makes, with the reasons for its dates."""
    made = unexplained(bench, outcome.decisions, outcome.bound, notes)
    return replace(made, builds=explain(bench.compiled, outcome.decisions, made))


def unexplained(
    bench: Workbench, decisions: Decisions, bound: float = 0.0, notes: tuple[str, ...] = ()
) -> Plan:
    """The plan that decisions make, with dates alone: the reasons for them take longer."""
    return assemble(bench.book, decisions, Fraction(bound), bench.problem.stranded, notes)

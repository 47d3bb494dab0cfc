"""Make a plan: load the data, plan them in two processes, check the plan, keep it."""

from __future__ import annotations

import gc
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from importlib import metadata
from typing import TYPE_CHECKING, Any, Literal

from fulfil_models.compare import is_late
from fulfil_models.plan import Plan

from fulfil.clock import today
from fulfil.errors import Refused
from fulfil.usecases.basis import (
    Premises,
    as_planned,
    premises_of,
    settings_of,
    waiting_until,
)
from fulfil.usecases.current import go_on
from fulfil.usecases.held_quotes import Hold, held_today, keys_of, orders_before, taken_by_holds
from fulfil.usecases.plans import ACCEPTED_PLAN, HOLDS
from fulfil.usecases.worked_by import beginning

if TYPE_CHECKING:
    from fulfil_models.audit import Violation
    from fulfil_models.believing import Choice
    from fulfil_models.decisions import Decisions
    from fulfil_models.planning import Outcome, Workbench
    from fulfil_models.problem import Problem
    from fulfil_models.settings import Settings
    from fulfil_models.sketch import Sketch
    from fulfil_models.tables import Dataset
    from fulfil_models.taken import Taken

    from fulfil.store.session import Store
    from fulfil.usecases.workers import Processes

Mode = Literal["repeatable", "best"]

PATIENCE = 1.15
MOST_PATIENCE_SECONDS = 12.0
"""a repeatable search is cut after so many times its seconds, but no more than so many after them:
its work is counted to take them on two cores, and a computer that is a little slower, or busy,
shall come to the same plan"""
SEARCH_SHARE = 0.9
"""share of the seconds that the search may take; the rest explains, checks and stores"""
LIBRARIES = ("fulfil", "ortools", "numpy", "holidays")


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a search is: costs in the currency."""

    elapsed_seconds: float
    incumbent: Fraction | None
    bound: Fraction | None
    phase: str


@dataclass(frozen=True, slots=True)
class FirstPlan:
    """A plan that passed its check before the search went on from it; cost in the currency."""

    elapsed_seconds: float
    builds_in_time: int
    builds_late: int
    cost: Fraction


@dataclass(frozen=True, slots=True)
class PlanOutcome:
    """A plan that was kept, or the violations for which it was not.

    `lead_times` says whose word on them it took, `orders_from` the first day on which it places new
    purchases where that is after the planning date.
    """

    number: int
    plan: Plan
    seconds: float
    violations: tuple[Violation, ...]
    cut_by_clock: bool
    interrupted: bool
    lead_times: Choice = "stated"
    orders_from: date | None = None


class _Watch:
    """Clock, progress and interruption of one search."""

    def __init__(
        self, pool: Processes, limit: float, on_progress: Callable[[Progress], None] | None
    ) -> None:
        self.pool = pool
        self.limit = limit
        self.started = time.monotonic()
        self.on_progress = on_progress
        self.best: float | None = None
        self.bound = 0.0
        self.late = False
        self.interrupted = False

    def better(self, cost: float) -> None:
        self.best = cost if self.best is None else min(self.best, cost)

    def higher(self, bound: float) -> None:
        self.bound = max(self.bound, bound)

    def wait(self, done: threading.Event) -> None:
        """Wait for the search, telling how it goes; Ctrl-C or the limit ends it early."""
        while True:
            try:
                while not done.wait(0.1):
                    self._look()
                return
            except KeyboardInterrupt:
                self.interrupted = True
                self.pool.stop()

    def _look(self) -> None:
        elapsed = time.monotonic() - self.started
        for cost in self.pool.costs():
            self.better(cost)
        if elapsed > self.limit and not self.late:
            self.late = True
            self.pool.stop()
        if self.on_progress is not None:
            self.on_progress(
                Progress(
                    elapsed,
                    None if self.best is None else Fraction(self.best),
                    Fraction(self.bound) if self.bound else None,
                    "ending" if self.interrupted or self.late else "searching",
                )
            )


def make_plan(
    store: Store,
    *,
    seconds: float,
    seed: int,
    mode: Mode,
    on_progress: Callable[[Progress], None] | None = None,
    on_first: Callable[[FirstPlan], None] | None = None,
    lead_times: Choice = "stated",
    orders_from: date | None = None,
    keep: bool | None = None,
) -> PlanOutcome:
    """Plan the stored data and keep the plan if it passes its check.

    It is planned, and checked, with lead times and due dates as `lead_times` says, and with new
    purchases from `orders_from` on, where that is given, in place of the day of the settings.

    Where a plan is accepted, the search begins with what it has become. If that keeps every promise
    that it kept, so does the new plan; else all promises are weighed by what lateness costs.
    `keep` says so whatever it has become: to keep what it keeps still, or to weigh all.

    `on_first` is told of the first plan that passes, while the search improves it. The search is
    told to end when the seconds are well over; a plan cut so says it cannot be repeated.

    Raises NoPlan where not everything can be supplied, or some work would end beyond what calendars
    tell, Refused where `orders_from` is no day from the planning date to the horizon.
    """
    from fulfil_models.calendar import BeyondAxis

    from fulfil.errors import NoPlan

    premises = Premises(lead_times, orders_from)
    try:
        return _make_plan(store, seconds, seed, mode, on_progress, on_first, premises, keep=keep)
    except BeyondAxis as error:
        raise NoPlan(error.wrong, error.remedy) from error


def _make_plan(
    store: Store,
    seconds: float,
    seed: int,
    mode: Mode,
    on_progress: Callable[[Progress], None] | None,
    on_first: Callable[[FirstPlan], None] | None,
    premises: Premises,
    *,
    keep: bool | None,
) -> PlanOutcome:
    from fulfil_models.audit import audit
    from fulfil_models.planning import Workbench, finished, unexplained

    gc.enable()  # a search leaves much behind; see `app`
    began = time.monotonic()
    input_hash = store.data_hash()
    assert input_hash is not None
    stored = store.dataset()
    accepted = store.accepted_header()
    dataset, settings, beliefs = as_planned(stored, settings_of(stored, today()), premises)
    _refuse_day(premises, settings)
    previous = frozen_plan(store, settings)
    holds = held_today(store)
    taken = taken_by_holds(holds, dataset, orders_before(store, settings))
    problem, notes = problem_beside(dataset, settings, previous, taken)
    notes += beliefs
    if holds:
        names = ", ".join(hold.name for hold in holds)
        notes = (*notes, f"made beside what is held ({names}): the bound is that of such plans")
    bench = Workbench(problem)
    begun = beginning(store, bench, keep)
    notes += begun.notes
    if begun.builds or begun.lines:
        problem = replace(problem, kept_builds=begun.builds, kept_lines=begun.lines)
        bench = Workbench(problem)

    def look_at_first(decisions: Decisions) -> None:
        if on_first is None or decisions.unplaced or decisions.unshipped:
            return
        plan = unexplained(bench, decisions)
        if not audit(dataset, settings, plan, previous):
            on_first(_first_plan(plan, time.monotonic() - began))

    outcome, watch = _search(bench, seconds, seed, mode, on_progress, look_at_first, begun.sketch)
    _refuse_shortfall(outcome, holds)
    plan = finished(bench, outcome, notes)
    violations = audit(dataset, settings, plan, previous)
    spent = time.monotonic() - began
    taken_so = premises.lead_times, waiting_until(settings)
    if violations:
        return PlanOutcome(0, plan, spent, violations, outcome.cut, watch.interrupted, *taken_so)
    options = {
        "seconds": seconds,
        "seed": seed,
        "mode": mode,
        "cut_by_clock": watch.late,
        ACCEPTED_PLAN: None if accepted is None else accepted.number,
        **premises.options,
    }
    number, plan = _save(store, plan, stored, settings, holds, input_hash, options, spent)
    cut = watch.late and mode == "repeatable"
    return PlanOutcome(number, plan, spent, (), cut, watch.interrupted, *taken_so)


def _refuse_day(premises: Premises, settings: Settings) -> None:
    """Raises Refused for a day from which to order that is over, or beyond what is looked at."""
    day, last = premises.orders_from, settings.as_of + timedelta(settings.horizon_days)
    if day is not None and day < settings.as_of:
        raise Refused(
            f"no purchase can be placed on {day}: the planning date is {settings.as_of}",
            "name that day or a later one",
        )
    if day is not None and day > last:
        raise Refused(
            f"{day} is beyond the horizon: nothing after {last} is planned",
            f"name a day up to {last}, on which orders come too late for everything",
        )


def _save(
    store: Store,
    plan: Plan,
    dataset: Dataset,
    settings: Settings,
    holds: tuple[Hold, ...],
    input_hash: str,
    options: dict[str, Any],
    seconds: float,
) -> tuple[int, Plan]:
    """Stores a plan, re-timed beside what was held while it was searched for.

    `dataset` is as stored.
    """
    from fulfil_models.taken import taken_by

    premises = premises_of(options)
    while True:
        taken = taken_by(plan, dataset)
        with store.deciding() as desk:
            now = held_today(desk, holds)
            if set(keys_of(now)) <= set(keys_of(holds)):
                number = desk.save_plan(
                    plan,
                    input_hash=input_hash,
                    options={**options, HOLDS: keys_of(now)},
                    seconds=seconds,
                    versions={name: metadata.version(name) for name in LIBRARIES},
                    taken=taken,
                )
                return number, plan
        plan = go_on(store, "this plan", plan, dataset, settings, now, premises)
        holds = now


def _first_plan(plan: Plan, elapsed_seconds: float) -> FirstPlan:
    late = sum(map(is_late, plan.builds))
    promised = sum(row.promised is not None for row in plan.builds)
    return FirstPlan(elapsed_seconds, promised - late, late, plan.objective.total)


def _refuse_shortfall(outcome: Outcome, holds: tuple[Hold, ...]) -> None:
    """Raises NoPlan where some build or line cannot be supplied beside the others.

    What can never come for itself is left out beforehand; this is about units that several need.
    """
    from fulfil.errors import NoPlan

    left = [task.build.build for task in outcome.decisions.unplaced]
    left += [f"{line.row.order}/{line.row.line}" for line in outcome.decisions.unshipped]
    if left:
        raise NoPlan(
            f"there is not enough of some part, ever, for everything that is planned: "
            f"{len(left)} could not be supplied beside the others ({', '.join(left[:8])})",
            "add a source or an open purchase for the parts they share, or take builds or lines "
            "out; `fulfil explode BUILD` shows what a build needs and what there is"
            + ("; `fulfil holds` shows what is held" if holds else ""),
        )


def frozen_plan(store: Store, settings: Settings) -> Plan | None:
    """The plan whose frozen operations keep their slot, that worked by; None without a freeze."""
    accepted = store.accepted_header()
    if accepted is None or not settings.freeze_days:
        return None
    return store.plan(accepted.number).plan


def problem_beside(
    dataset: Dataset, settings: Settings, previous: Plan | None, taken: Taken
) -> tuple[Problem, tuple[str, ...]]:
    """The data as a problem beside what is held, without what can never be filled, with the freeze
    of a plan; and what is taken for granted."""
    from fulfil_models.assumptions import assumptions
    from fulfil_models.problem import Problem
    from fulfil_models.stranded import left_out as left_out_of
    from fulfil_models.stranded import stranded
    from fulfil_models.taken import with_orders

    left_out = left_out_of(dataset, settings)
    rows = () if previous is None else previous.operations
    problem = Problem(
        with_orders(dataset, taken),
        settings,
        left_out.builds,
        left_out.lines,
        {(row.job, row.operation): row.start for row in rows},
        stranded(dataset, settings),
        taken,
    )
    return problem, assumptions(dataset, settings)


def _search(
    bench: Workbench,
    seconds: float,
    seed: int,
    mode: Mode,
    on_progress: Callable[[Progress], None] | None,
    on_first: Callable[[Decisions], None],
    known: Sketch | None,
) -> tuple[Outcome, _Watch]:
    from fulfil_models.planning import Effort, search_plan

    from fulfil.usecases.workers import Processes

    pool = Processes(bench.problem)
    limit = seconds * SEARCH_SHARE
    if mode == "repeatable":
        limit = min(seconds * PATIENCE, seconds + MOST_PATIENCE_SECONDS)
    watch = _Watch(pool, limit, on_progress)
    bench.control.better = watch.better
    effort = Effort(seconds * SEARCH_SHARE, seed, counted=mode == "repeatable")
    done = threading.Event()
    found: list[Outcome] = []
    failed: list[BaseException] = []

    def run() -> None:
        try:
            found.append(search_plan(bench, effort, pool, watch.higher, on_first, known))
        except BaseException as error:  # noqa: BLE001 - handed on to the caller just below
            failed.append(error)
        finally:
            done.set()

    thread = threading.Thread(target=run, name="search")
    thread.start()
    try:
        watch.wait(done)
        thread.join()
    finally:
        pool.close()
    if failed:
        raise failed[0]
    return found[0], watch

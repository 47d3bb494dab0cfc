"""When does everything run, and on what lots, exactly? The whole model of a small book in CP-SAT.

All choices of the contract are in it at once: slots, alternates, jobs, lots, moves, expedited
orders, shipments of parts orders. Where it is solved to the end, the plan is proven optimal. It is
used for small books only: beyond a few hundred operations its bound says little.

    variables ──► rules of work, needs and orders ──► costs ──► solver ──► reading
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fulfil_models.compiled import Compiled, all_jobs, all_needs
from fulfil_models.plan import Status
from fulfil_models.search import Solution
from fulfil_models.slots_costs import minimise
from fulfil_models.slots_making import make_variables, single_ways
from fulfil_models.slots_needs import (
    lots_not_overdrawn,
    lots_usable,
    made_parts_ready,
    moves_paid,
    needs_filled,
)
from fulfil_models.slots_orders import (
    deliveries_paid,
    draws_ordered,
    lines_shipped,
    one_origin_unless_split,
    orders_whole,
    worst_shipment_counts,
)
from fulfil_models.slots_reading import hint, read
from fulfil_models.slots_variables import Variables
from fulfil_models.slots_work import (
    lateness,
    nothing_before_earliest,
    operations_in_order,
    stations_not_overloaded,
)
from fulfil_models.solving import solve_constraints

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

Rule = Callable[["cp_model.CpModel", Variables], None]

RULES: tuple[Rule, ...] = (
    operations_in_order,
    nothing_before_earliest,
    needs_filled,
    made_parts_ready,
    lots_usable,
    moves_paid,
    lines_shipped,
    one_origin_unless_split,
    worst_shipment_counts,
    deliveries_paid,
    lots_not_overdrawn,
    stations_not_overloaded,
    draws_ordered,
    orders_whole,
    lateness,
)
"""everything that must hold of a plan, each rule by itself, in the order the solver gets them"""


class WholeModel:
    """The whole model of a compiled book, under all rules or some.

    Attributes
    ----------
    model, v: the solver's model and its variables.
    scale: the objective is counted in 1/scale of the currency.
    """

    def __init__(self, compiled: Compiled, rules: Iterable[Rule] = RULES) -> None:
        from ortools.sat.python import cp_model

        self.model = cp_model.CpModel()
        self.v = make_variables(self.model, compiled)
        for rule in rules:
            rule(self.model, self.v)
        self.scale = minimise(self.model, self.v)


def covers_every_plan(compiled: Compiled) -> bool:
    """Whether every plan of the contract is one of the whole model, so that its bound holds.

    What the model leaves out: legs of several routes that share a departure, needs partly made and
    partly drawn, parts of orders that wait for a departure or a delivery to share, what is
    expedited at one point and moved to another, a supplier's monthly cap shared by several points
    otherwise than it is dealt out, builds without operations.
    """
    return not (
        _legs_might_be_shared(compiled)
        or _might_be_part_made(compiled)
        or _lines_might_wait(compiled)
        or _expedited_might_be_moved(compiled)
        or _caps_might_be_shared(compiled)
        or any(not task.root.operations for task in compiled.tasks)
    )


def _legs_might_be_shared(compiled: Compiled) -> bool:
    supplies = compiled.book.supplies
    return bool(supplies.undercut) or any(len(route.legs) > 1 for route in supplies.routes)


def _might_be_part_made(compiled: Compiled) -> bool:
    parts = compiled.book.problem.parts
    for task in compiled.tasks:
        for job in all_jobs(task.root):
            for need in all_needs(job):
                made = {way.job is not None for way in single_ways(need)}
                several = need.need.quantity_milli > parts[need.need.part].step_milli
                if len(made) == 2 and several:
                    return True
    return False


def _lines_might_wait(compiled: Compiled) -> bool:
    """Whether a line could pay less by a later departure than the first there is, or by a purchase
    that comes later than it could, on a day on which others ship."""
    bins = compiled.book.supplies.bins
    for line in compiled.lines:
        for outlet in line.outlets:
            if outlet.route >= 0 and outlet.move_cost:
                return True
            ordered = any(lot.source is not None for lot in bins[outlet.bin].lots)
            if outlet.delivery_cost and (outlet.route >= 0 or ordered):
                return True
    return False


def _expedited_might_be_moved(compiled: Compiled) -> bool:
    """Whether a part that is wanted at a point can be expedited where a route begins that leads
    there."""
    supplies = compiled.book.supplies
    wanted = {(outlet.used, outlet.point) for line in compiled.lines for outlet in line.outlets}
    for task in compiled.tasks:
        for job in all_jobs(task.root):
            for need in all_needs(job):
                wanted |= {(way.way.used, task.task.build.point) for way in single_ways(need)}
    return any(
        supplies.expedited(part, route.origin) or supplies.advances(part, route.origin)
        for part, point in wanted
        for route in supplies.routes_into.get(point, ())
    )


def _caps_might_be_shared(compiled: Compiled) -> bool:
    """Whether some cap is dealt out to several points beforehand, where others are possible."""
    return bool(compiled.book.supplies.shared)


@dataclass(frozen=True, slots=True)
class Proof:
    """What the whole model found.

    Attributes
    ----------
    solution: the best it found, without its cost; None if none.
    bound: no plan costs less, in the currency; 0 where the model does not cover every plan.
    cut: whether the clock ended it.
    """

    solution: Solution | None
    bound: float
    cut: bool


def prove(
    compiled: Compiled,
    solution: Solution,
    seconds: float,
    deterministic: float,
    stop: Callable[[], bool] | None = None,
) -> Proof:
    """Put a small book to the whole model, starting from a solution.

    `deterministic` limits the work, so that the result repeats; `seconds` is a cap on top of it.
    Nothing is done where the solution leaves something out.
    """
    if any(p is None for p in solution.placed) or any(p is None for p in solution.lines):
        return Proof(None, 0.0, False)
    whole = WholeModel(compiled)
    hint(whole.model, whole.v, solution)
    answer = solve_constraints(whole.model, deterministic=deterministic, seconds=seconds, stop=stop)
    if answer.status is Status.INFEASIBLE:
        return Proof(None, 0.0, answer.cut_by_clock)  # a solution is at hand: not believed
    bound = max(0.0, answer.bound) / whole.scale if covers_every_plan(compiled) else 0.0
    found = None
    if answer.values is not None:
        placed, lines = read(whole.v, answer.values)
        found = Solution(tuple(placed), tuple(lines), 0.0)
    return Proof(found, bound, answer.cut_by_clock)

"""The only place that calls a solver: limits, seeds, and what its answer means."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING

from fulfil_models.plan import Status

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

INFINITY = float("inf")


class SolverError(RuntimeError):
    """A solver refused a model, or claimed what cannot be: a fault of ours, not of the data."""


@dataclass(slots=True)
class LinearModel:
    """A mixed-integer model as columns and rows, minimised; built once, handed over in one go."""

    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    integer: list[bool] = field(default_factory=list)
    cost: list[float] = field(default_factory=list)
    row_lower: list[float] = field(default_factory=list)
    row_upper: list[float] = field(default_factory=list)
    entry_row: list[int] = field(default_factory=list)
    entry_column: list[int] = field(default_factory=list)
    entry_value: list[float] = field(default_factory=list)
    offset: float = 0.0

    def variable(
        self, lower: float = 0.0, upper: float = INFINITY, *, integer: bool = False, cost: float = 0
    ) -> int:
        self.lower.append(lower)
        self.upper.append(upper)
        self.integer.append(integer)
        self.cost.append(cost)
        return len(self.lower) - 1

    def binary(self, cost: float = 0.0) -> int:
        return self.variable(0.0, 1.0, integer=True, cost=cost)

    def row(self, terms: Iterable[tuple[int, float]], lower: float, upper: float) -> None:
        """lower <= sum of coefficient x column <= upper. A column may stand more than once."""
        number = len(self.row_lower)
        self.row_lower.append(lower)
        self.row_upper.append(upper)
        merged: dict[int, float] = {}
        for column, value in terms:
            merged[column] = merged.get(column, 0.0) + value
        for column, value in merged.items():
            if value:
                self.entry_row.append(number)
                self.entry_column.append(column)
                self.entry_value.append(value)


@dataclass(frozen=True, slots=True)
class LinearAnswer:
    """`values` is empty where no solution was found; `bound` holds in every case."""

    status: Status
    values: tuple[float, ...]
    objective: float
    bound: float
    cut_by_clock: bool


def solve_linear(
    model: LinearModel,
    *,
    gap: float,
    seconds: float,
    nodes: int | None = None,
    seed: int = 1,
    stop: threading.Event | None = None,
) -> LinearAnswer:
    """Minimise with HiGHS to a relative gap; `seconds` is a cap, not a target. With a limit of
    nodes of the search tree the same answer comes again."""
    from ortools.math_opt import model_pb2
    from ortools.math_opt.python import mathopt
    from ortools.util.python.solve_interrupter import SolveInterrupter

    proto = model_pb2.ModelProto()
    columns, rows = len(model.lower), len(model.row_lower)
    proto.variables.ids.extend(range(columns))
    proto.variables.lower_bounds.extend(model.lower)
    proto.variables.upper_bounds.extend(model.upper)
    proto.variables.integers.extend(model.integer)
    proto.objective.offset = model.offset
    for column, cost in enumerate(model.cost):
        if cost:
            proto.objective.linear_coefficients.ids.append(column)
            proto.objective.linear_coefficients.values.append(cost)
    proto.linear_constraints.ids.extend(range(rows))
    proto.linear_constraints.lower_bounds.extend(model.row_lower)
    proto.linear_constraints.upper_bounds.extend(model.row_upper)
    entries = sorted(zip(model.entry_row, model.entry_column, model.entry_value, strict=True))
    proto.linear_constraint_matrix.row_ids.extend(e[0] for e in entries)
    proto.linear_constraint_matrix.column_ids.extend(e[1] for e in entries)
    proto.linear_constraint_matrix.coefficients.extend(e[2] for e in entries)
    made = mathopt.Model.from_model_proto(proto)
    parameters = mathopt.SolveParameters(
        time_limit=timedelta(seconds=max(0.1, seconds)),
        relative_gap_tolerance=gap,
        node_limit=nodes,
        random_seed=seed,
    )
    interrupter = SolveInterrupter()
    done = threading.Event()
    if stop is not None:

        def watch() -> None:
            while not done.wait(0.1):
                if stop.is_set():
                    interrupter.interrupt()
                    return

        threading.Thread(target=watch, daemon=True).start()
    try:
        result = mathopt.solve(
            made, mathopt.SolverType.HIGHS, params=parameters, interrupter=interrupter
        )
    finally:
        done.set()
    reason = result.termination.reason
    kinds = mathopt.TerminationReason
    bound = result.termination.objective_bounds.dual_bound
    if reason == kinds.INFEASIBLE:
        return LinearAnswer(Status.INFEASIBLE, (), INFINITY, INFINITY, False)
    if reason not in (kinds.OPTIMAL, kinds.FEASIBLE, kinds.NO_SOLUTION_FOUND):
        raise SolverError(f"allocation model: {reason.name.lower()} {result.termination.detail}")
    cut = reason != kinds.OPTIMAL and result.termination.limit != mathopt.Limit.NODE
    if not result.has_primal_feasible_solution():
        return LinearAnswer(Status.UNKNOWN, (), INFINITY, bound, cut)
    found = result.variable_values()
    values = tuple(found[variable] for variable in made.variables())
    status = Status.OPTIMAL if reason == kinds.OPTIMAL else Status.FEASIBLE
    return LinearAnswer(status, values, result.objective_value(), bound, cut)


@dataclass(frozen=True, slots=True)
class ConstraintAnswer:
    """`values` by variable index, None where no solution was found."""

    status: Status
    values: tuple[int, ...] | None
    bound: float
    cut_by_clock: bool


def solve_constraints(
    model: cp_model.CpModel,
    *,
    deterministic: float,
    seconds: float,
    workers: int = 1,
    seed: int = 1,
    stop: Callable[[], bool] | None = None,
) -> ConstraintAnswer:
    """Solve with CP-SAT within a deterministic limit; `seconds` is a cap on top of it.

    Raises SolverError for an invalid model.
    """
    from ortools.sat.python import cp_model

    solver = cp_model.CpSolver()
    parameters = solver.parameters
    parameters.num_workers = workers
    parameters.random_seed = seed
    parameters.max_deterministic_time = deterministic
    parameters.max_time_in_seconds = max(0.1, seconds)
    parameters.catch_sigint_signal = False
    parameters.log_to_stdout = False
    if workers > 1:
        parameters.interleave_search = workers == 2
    done = threading.Event()
    if stop is not None:

        def watch() -> None:
            while not done.wait(0.1):
                if stop():
                    solver.stop_search()

        threading.Thread(target=watch, daemon=True).start()
    try:
        status = solver.solve(model)
    finally:
        done.set()
    if status == cp_model.MODEL_INVALID:
        raise SolverError(f"slot model: {model.validate()}")
    if status == cp_model.INFEASIBLE:
        return ConstraintAnswer(Status.INFEASIBLE, None, INFINITY, False)
    cut = status != cp_model.OPTIMAL and solver.wall_time >= seconds
    if status == cp_model.UNKNOWN:
        return ConstraintAnswer(Status.UNKNOWN, None, solver.best_objective_bound, cut)
    count = len(model.proto.variables)
    values = tuple(int(solver.value(model.get_int_var_from_proto_index(i))) for i in range(count))
    return ConstraintAnswer(
        Status.OPTIMAL if status == cp_model.OPTIMAL else Status.FEASIBLE,
        values,
        solver.best_objective_bound,
        cut,
    )

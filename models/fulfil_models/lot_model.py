"""Which orders are best where there are too many levels to try, or cash couples several parts?

A mixed-integer model of parts, solved with HiGHS to a proven gap. Each mode of each offer in each
period has a column that says whether an order of it is placed, and one for its size in its own
steps, so that orders are whole.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass

from fulfil_models.cells import MICRO
from fulfil_models.lot_levels import Order
from fulfil_models.lot_terms import NANO_PER_MICRO, Mode, Terms
from fulfil_models.plan import Status
from fulfil_models.solving import INFINITY, LinearModel, solve_linear

NANO = NANO_PER_MICRO * MICRO
"""the model counts money in the currency itself"""


@dataclass(frozen=True, slots=True)
class ModelAnswer:
    """Orders by part, None where none were found in time; `bound_nano` holds in every case.

    `proven`: no orders cost less by more than the gap.
    """

    orders: tuple[tuple[Order, ...], ...] | None
    bound_nano: float
    cut_by_clock: bool
    proven: bool


@dataclass(frozen=True, slots=True)
class _Columns:
    """The columns of one mode of one part in one period."""

    part: int
    period: int
    mode: Mode
    placed: int
    steps: int


def solve_lots(
    parts: Sequence[Terms],
    *,
    cash_nano: Sequence[int] | None = None,
    gap: float,
    seconds: float,
    nodes: int | None = None,
    stop: threading.Event | None = None,
) -> ModelAnswer:
    """Best orders of parts; the bound holds without the cost of rounding.

    Parameters
    ----------
    cash_nano: the most that may be paid for all parts in each period; orders may then come later
        than they are due, at the price of waiting.
    """
    model = LinearModel()
    columns = [
        column
        for number, terms in enumerate(parts)
        for column in _add_part(model, number, terms, waits=cash_nano is not None)
    ]
    if cash_nano is not None:
        _add_cash(model, columns, cash_nano)
    answer = solve_linear(model, gap=gap, seconds=seconds, nodes=nodes, stop=stop)
    bound = answer.bound * NANO if answer.bound > -INFINITY else 0.0
    if not answer.values:
        return ModelAnswer(None, max(0.0, bound), answer.cut_by_clock, False)
    orders: list[list[Order]] = [[] for _ in parts]
    for column in columns:
        levels = round(answer.values[column.steps]) * column.mode.step
        if levels:
            orders[column.part].append(Order(column.period, column.mode, levels))
    proven = answer.status is Status.OPTIMAL
    return ModelAnswer(tuple(map(tuple, orders)), max(0.0, bound), answer.cut_by_clock, proven)


def _add_part(model: LinearModel, number: int, terms: Terms, *, waits: bool) -> list[_Columns]:
    """Columns and rows of one part; its modes' columns are returned."""
    columns: list[_Columns] = []
    left_before: list[tuple[int, float]] = []
    for period, need in enumerate(terms.needs):
        coming: list[tuple[int, float]] = []
        for offer in terms.modes[period]:
            here = [_add_mode(model, number, period, mode) for mode in offer]
            if len(here) > 1:
                model.row([(column.placed, 1.0) for column in here], 0.0, 1.0)
            coming += [(column.steps, float(column.mode.step)) for column in here]
            columns += here
        left = [(model.variable(cost=terms.holding_nano / NANO), -1.0)]
        if waits:
            left += _add_waiting(model, terms, period)
        # what was left and what comes is what is needed and what is left
        model.row([*left_before, *coming, *left], need, need)
        left_before = [(column, -value) for column, value in left]
    return columns


def _add_waiting(model: LinearModel, terms: Terms, period: int) -> list[tuple[int, float]]:
    """Columns of what waits at the end of a period: expected, and firm."""
    due, expected = terms.due[period], terms.expected[period]
    waiting = [
        (model.variable(0.0, expected, cost=terms.short_nano / NANO), 1.0),
        (
            model.variable(
                0.0, due - expected, cost=(terms.short_nano + terms.short_firm_nano) / NANO
            ),
            1.0,
        ),
    ]
    if terms.short_fixed_nano and due:
        any_waits = model.binary(cost=terms.short_fixed_nano / NANO)
        model.row([*waiting, (any_waits, -float(due))], -INFINITY, 0.0)
    return waiting


def _add_mode(model: LinearModel, number: int, period: int, mode: Mode) -> _Columns:
    least, most = mode.least // mode.step, mode.most // mode.step
    placed = model.binary(cost=mode.fixed_nano / NANO)
    steps = model.variable(0.0, most, integer=True, cost=mode.price_nano * mode.step / NANO)
    model.row([(steps, 1.0), (placed, -float(most))], -INFINITY, 0.0)
    model.row([(steps, 1.0), (placed, -float(least))], 0.0, INFINITY)
    return _Columns(number, period, mode, placed, steps)


def _add_cash(model: LinearModel, columns: Sequence[_Columns], cash_nano: Sequence[int]) -> None:
    paid: list[list[tuple[int, float]]] = [[] for _ in cash_nano]
    for column in columns:
        mode = column.mode
        paid[column.period].append((column.placed, mode.fixed_nano / NANO))
        paid[column.period].append((column.steps, mode.price_nano * mode.step / NANO))
    for terms, cash in zip(paid, cash_nano, strict=True):
        if terms:
            model.row(terms, -INFINITY, cash / NANO)

"""Which orders are best where there are too many levels to try?

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
class PartModel:
    """The columns of one mode of one part in one period."""

    part: int
    period: int
    mode: Mode
    placed: int
    steps: int

    def paid(self) -> list[tuple[int, float]]:
        """What its columns take of the cash of its period."""
        mode = self.mode
        each = mode.price_nano * mode.step / NANO
        return [(self.placed, mode.fixed_nano / NANO), (self.steps, each)]

    def orders(self, values: Sequence[float]) -> list[Order]:
        """The order that a solution places by this mode, if any."""
        levels = round(values[self.steps]) * self.mode.step
        return [Order(self.period, self.mode, levels)] if levels else []


def solve_lots(
    parts: Sequence[Terms],
    *,
    gap: float,
    seconds: float,
    stop: threading.Event | None = None,
) -> ModelAnswer:
    """Best orders of parts, each in time; the bound holds without the cost of rounding."""
    model = LinearModel()
    columns = [
        column
        for number, terms in enumerate(parts)
        for column in add_part(model, number, terms, waits=False)
    ]
    answer = solve_linear(model, gap=gap, seconds=seconds, stop=stop)
    bound = answer.bound * NANO if answer.bound > -INFINITY else 0.0
    if not answer.values:
        return ModelAnswer(None, max(0.0, bound), answer.cut_by_clock, False)
    orders: list[list[Order]] = [[] for _ in parts]
    for column in columns:
        orders[column.part] += column.orders(answer.values)
    proven = answer.status is Status.OPTIMAL
    return ModelAnswer(tuple(map(tuple, orders)), max(0.0, bound), answer.cut_by_clock, proven)


def add_part(model: LinearModel, number: int, terms: Terms, *, waits: bool) -> list[PartModel]:
    """Columns and rows of one part; its modes' columns are returned."""
    columns: list[PartModel] = []
    left_before: list[tuple[int, float]] = []
    for period, need in enumerate(terms.needs):
        coming: list[tuple[int, float]] = []
        before = terms.due[period - 1] if period else 0
        for offer, early in zip(terms.modes[period], terms.early[period], strict=True):
            if early:
                wait = _add_waiting(model, terms, period, early) if waits else []
                model.row([*left_before, *coming, *wait], early - before, INFINITY)
            here = [_add_mode(model, number, period, mode) for mode in offer]
            if len(here) > 1:
                model.row([(column.placed, 1.0) for column in here], 0.0, 1.0)
            coming += [(column.steps, float(column.mode.step)) for column in here]
            columns += here
        left = [(model.variable(cost=terms.holding_nano / NANO), -1.0)]
        if waits:
            left += _add_waiting(model, terms, period, terms.due[period])
        # what was left and what comes is what is needed and what is left
        model.row([*left_before, *coming, *left], need, need)
        left_before = [(column, -value) for column, value in left]
    return columns


def _add_waiting(
    model: LinearModel, terms: Terms, period: int, due: int
) -> list[tuple[int, float]]:
    """Columns of what waits at the end of a period, or in it, where so much is due: expected, and
    firm."""
    expected = min(due, terms.expected[period])
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


def _add_mode(model: LinearModel, number: int, period: int, mode: Mode) -> PartModel:
    least, most = mode.least // mode.step, mode.most // mode.step
    placed = model.binary(cost=mode.fixed_nano / NANO)
    steps = model.variable(0.0, most, integer=True, cost=mode.price_nano * mode.step / NANO)
    model.row([(steps, 1.0), (placed, -float(most))], -INFINITY, 0.0)
    model.row([(steps, 1.0), (placed, -float(least))], 0.0, INFINITY)
    return PartModel(number, period, mode, placed, steps)

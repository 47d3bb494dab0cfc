"""What would each part order, and when, if cash had a price in every period?

All parts at once, by runs of periods as in `lot_runs.py`, save that an order may also come later
than some of what it covers is due, at the price of waiting: an order of a period covers the needs
of a run of periods around it. Minimum, multiple, caps, breaks' quantities, what is due within a
period and what firm needs cost beyond expected ones are left out, so that a part's cost is a bound,
and exact where its orders keep to them and nothing is firm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fulfil_models.lot_levels import Order
from fulfil_models.lot_terms import Mode, Terms

Array = npt.NDArray[Any]


@dataclass(frozen=True, slots=True)
class WaitingAnswer:
    """Least weighed costs by part, in nano-currency without that of rounding, and their orders."""

    costs: Array
    start: Array
    """by part and end of a run: where the run starts"""
    period: Array
    """by part and end of a run: when its order comes; -1 = no order"""
    mode: Array
    modes: Sequence[Sequence[Sequence[Mode]]]
    due: Array

    def orders(self, part: int) -> tuple[Order, ...]:
        found = []
        end = len(self.modes[part])
        while end:
            start, period = int(self.start[part, end]), int(self.period[part, end])
            if period >= 0:
                levels = int(self.due[part, end] - self.due[part, start])
                mode = self.modes[part][period][int(self.mode[part, end])]
                found.append(Order(period, mode, levels))
            end = start
        return tuple(reversed(found))


class WaitingRuns:
    """Parts laid out as arrays; made once, solved for many weights."""

    def __init__(self, parts: Sequence[Terms]) -> None:
        self.modes = [
            [[mode for offer in row for mode in offer] for row in terms.modes] for terms in parts
        ]
        periods = len(parts[0].due) if parts else 0
        most = max((len(row) for part in self.modes for row in part), default=0) or 1
        shape = (len(parts), periods, most)
        self.fixed: Array = np.full(shape, np.inf)
        self.price: Array = np.zeros(shape)
        for number, part in enumerate(self.modes):
            for period, row in enumerate(part):
                for place, mode in enumerate(row):
                    self.fixed[number, period, place] = mode.fixed_nano
                    self.price[number, period, place] = mode.price_nano
        self.due: Array = np.array([(0, *terms.due) for terms in parts], dtype=np.float64)
        self.due = self.due.reshape(len(parts), periods + 1)
        self.sums: Array = np.zeros((len(parts), periods + 1))
        self.sums[:, 1:] = np.cumsum(self.due[:, 1:], axis=1)
        self.holding: Array = np.array([terms.holding_nano for terms in parts], dtype=np.float64)
        self.short: Array = np.array([terms.short_nano for terms in parts], dtype=np.float64)
        self.fixed_short: Array = np.array(
            [terms.short_fixed_nano for terms in parts], dtype=np.float64
        )

    def solve(self, weights: Array) -> WaitingAnswer:
        """Least costs with what is paid in each period weighed."""
        parts, periods, _ = self.fixed.shape
        fixed = self.fixed * weights[None, :, None]
        price = self.price * weights[None, :, None]
        best: Array = np.full((parts, periods + 1), np.inf)
        best[:, 0] = 0.0
        start: Array = np.zeros((parts, periods + 1), dtype=np.int64)
        chosen: Array = np.full((parts, periods + 1), -1, dtype=np.int64)
        line: Array = np.zeros((parts, periods + 1), dtype=np.int64)
        every = np.arange(parts)
        waiting = [self._waiting(i) for i in range(periods)]
        for end in range(1, periods + 1):
            idle = self.due[:, end] == self.due[:, end - 1]
            best[idle, end] = best[idle, end - 1]
            start[:, end] = end - 1
            held = self._held(end)
            for i in range(end):
                quantity = self.due[:, end] - self.due[:, i]
                paid = fixed[:, i:end] + price[:, i:end] * quantity[:, None, None]
                lines = paid.argmin(axis=2)
                cost = np.take_along_axis(paid, lines[:, :, None], axis=2)[:, :, 0]
                cost += held[:, i:end] + waiting[i][:, : end - i]
                # of those that cost the same the latest
                place = cost.shape[1] - 1 - cost[:, ::-1].argmin(axis=1)
                total = best[:, i] + cost[every, place]
                better = (total < best[:, end]) & (quantity > 0)
                best[better, end] = total[better]
                start[better, end] = i
                chosen[better, end] = i + place[better]
                line[better, end] = lines[every, place][better]
        self._leave_out(best, start, chosen, waiting)
        return WaitingAnswer(best[:, -1].copy(), start, chosen, line, self.modes, self.due)

    def _held(self, end: int) -> Array:
        """Holding by the period of the order, if it covers up to `end` (not included)."""
        t = np.arange(end)
        between = self.sums[:, end - 1 : end] - self.sums[:, :end]
        held: Array = self.holding[:, None] * ((end - 1 - t) * self.due[:, end : end + 1] - between)
        return held

    def _waiting(self, start: int) -> Array:
        """Waiting by the period of the order, counted from `start`, if it covers from there on; the
        last, if none does."""
        short = self.due[:, start + 1 :] - self.due[:, start : start + 1]
        waiting: Array = np.zeros((len(short), short.shape[1] + 1))
        each = self.short[:, None] * short + self.fixed_short[:, None] * (short > 0)
        np.cumsum(each, axis=1, out=waiting[:, 1:])
        return waiting

    def _leave_out(
        self, best: Array, start: Array, chosen: Array, waiting: Sequence[Array]
    ) -> None:
        """Let what is needed from some period on never come, where that costs less."""
        periods = self.fixed.shape[1]
        for i in range(periods):
            total = best[:, i] + waiting[i][:, -1]
            better = total < best[:, periods]
            best[better, periods] = total[better]
            start[better, periods] = i
            chosen[better, periods] = -1

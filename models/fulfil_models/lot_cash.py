"""Who gets the cash if all parts together may not cost more than so much in a period?

A few parts are one mixed-integer model. Many are taken apart: every period's cash gets a price,
and each part is planned by itself with what it pays weighed by that. Whatever the prices are, the
parts' least costs less the price of all cash are a bound. The plans that come up are kept; the best
mix of them gives better prices, and so on. In the end each part gets one of its plans, so that the
cash suffices.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence

import numpy as np

from fulfil_models.lot_choice import Array, Orders, Plans, choose, narrowed, prices_of_cash
from fulfil_models.lot_levels import cheapest_levels, has_few_levels
from fulfil_models.lot_model import solve_lots
from fulfil_models.lot_orders import Solved, cost_of
from fulfil_models.lot_terms import Terms
from fulfil_models.lot_waiting import WaitingRuns
from fulfil_models.solving import INFINITY

FEW_MODES = 2_000
"""placed-or-not decisions up to which all parts are one model"""
ROUNDS = 90
EXACT_EVERY = 3
"""in other rounds only those parts are planned for which runs suffice"""
STEP = 0.5
"""how far prices go from the best ones so far towards those of the best mix"""
_SEARCHED = 0.7
"""share of the seconds after which no more prices are tried"""
_STILL = 2e-4
"""relative: what the best mix has to gain from one exact round to the next"""
_MARGIN = 1e-9
"""relative: what floating point may add to a bound"""


def plan_with_cash(
    parts: Sequence[Terms],
    cash_nano: Sequence[int],
    *,
    gap: float,
    seconds: float,
    stop: threading.Event | None = None,
) -> tuple[list[Solved], int]:
    """Orders of every part that keep to the cash of every period, and a bound on their whole cost.

    Parameters
    ----------
    parts: their terms, with waiting.
    """
    clock = _Clock(seconds, stop)
    # no single order costs more than the cash of its period: prices alone would not see that
    parts = [narrowed(terms, cash_nano) for terms in parts]
    rounding = sum(terms.rounding_nano for terms in parts)
    placed = sum(len(offer) for terms in parts for row in terms.modes for offer in row)
    if placed <= FEW_MODES and not clock.over(1.0):
        answer = solve_lots(parts, cash_nano=cash_nano, gap=gap, seconds=seconds / 2, stop=stop)
        if answer.orders is not None and not answer.cut_by_clock:
            orders = _affordable(answer.orders, cash_nano)
            solved = [Solved(one, 0, "in one model with cash") for one in orders]
            return solved, min(int(answer.bound_nano) + rounding, _total(parts, orders))
    return _by_prices(parts, cash_nano, gap, clock)


def _total(parts: Sequence[Terms], orders: Sequence[Orders]) -> int:
    return sum(cost_of(terms, one).total for terms, one in zip(parts, orders, strict=True))


def _affordable(orders: Sequence[Orders], cash_nano: Sequence[int]) -> list[Orders]:
    """The same orders, without those for which a tolerance of the solver took cash there is not."""
    left = list(cash_nano)
    kept = []
    for one in orders:
        mine = []
        for order in one:
            cost = order.mode.fixed_nano + order.mode.price_nano * order.levels
            if cost <= left[order.period]:
                left[order.period] -= cost
                mine.append(order)
        kept.append(tuple(mine))
    return kept


class _Clock:
    """Whether the seconds are over, or the search has been stopped."""

    def __init__(self, seconds: float, stop: threading.Event | None) -> None:
        self.ends = time.monotonic() + seconds
        self.seconds = seconds
        self.stop = stop

    def left(self) -> float:
        return self.ends - time.monotonic()

    def over(self, share: float) -> bool:
        stopped = self.stop is not None and self.stop.is_set()
        return stopped or self.left() <= self.seconds * (1 - share)


def _by_prices(
    parts: Sequence[Terms], cash_nano: Sequence[int], gap: float, clock: _Clock
) -> tuple[list[Solved], int]:
    search = _Prices(parts, cash_nano)
    cut = search.run(gap, clock)
    plans = search.plans
    chosen = choose(plans, cash_nano, gap=gap, seconds=clock.left(), stop=clock.stop).numbers
    rounding = sum(terms.rounding_nano for terms in parts)
    bound = int(search.bound * (1 - _MARGIN)) + rounding
    solved = [
        Solved(one.orders[number], 0, "by prices of cash", cut)
        for one, number in zip(plans, chosen, strict=True)
    ]
    return solved, max(0, min(bound, _total(parts, [one.orders for one in solved])))


class _Prices:
    """Prices of cash by period, as they rise to a higher bound, and the plans that come up."""

    def __init__(self, parts: Sequence[Terms], cash_nano: Sequence[int]) -> None:
        self.parts = parts
        self.cash_nano = cash_nano
        self.cash: Array = np.array(cash_nano, dtype=np.float64)
        self.plans = [Plans(terms) for terms in parts]
        self.rounding = sum(terms.rounding_nano for terms in parts)
        self.runs = WaitingRuns(parts)
        self.centre: Array = np.zeros(len(cash_nano))
        self.centre_bound = -INFINITY
        self.bound = 0.0

    def run(self, gap: float, clock: _Clock) -> bool:
        """Try prices until the best mix costs little more than the bound, or gains no more; True if
        cut short."""
        prices, last = self.centre, INFINITY
        for number in range(ROUNDS):
            if clock.over(_SEARCHED):
                return True
            exact = number % EXACT_EVERY == 0
            bound = self._evaluate(prices, exact=exact)
            self.bound = max(self.bound, bound)
            if exact and bound > self.centre_bound:
                self.centre, self.centre_bound = prices, bound
            mixed = prices_of_cash(self.plans, self.cash_nano, clock.left(), clock.stop)
            if mixed is None:
                return True
            if mixed[1] - self.rounding - self.bound <= gap / 4 * mixed[1]:
                return False
            if exact:
                if mixed[1] > last * (1 - _STILL):
                    return False
                last = mixed[1]
            prices = self.centre + STEP * (mixed[0] - self.centre)
        return False

    def _evaluate(self, prices: Array, *, exact: bool) -> float:
        """The bound that prices give; the plans behind it are added to the known ones."""
        answer = self.runs.solve(1.0 + prices)
        costs = answer.costs
        for number, (terms, plans) in enumerate(zip(self.parts, self.plans, strict=True)):
            orders = answer.orders(number)
            kept = all(order.mode.allows(order.levels) for order in orders)
            if exact and not kept and has_few_levels(terms):
                costs[number], orders = cheapest_levels(terms, list(1.0 + prices))
            plans.add(orders)
        return float(costs.sum() - prices @ self.cash)

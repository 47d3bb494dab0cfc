"""Who gets the cash if all parts together may not cost more than so much in a period?

A few parts are one mixed-integer model. Many are taken apart: every period's cash gets a price,
and each part is planned by itself with what it pays weighed by that. Whatever the prices are, the
parts' least costs less the price of all cash are a bound. The prices follow what is asked for
beyond the cash, step by step; then one plan is chosen for every part among those that came up on
the way, so that the cash suffices.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from fulfil_models.lot_levels import Order, cheapest_levels, has_few_levels
from fulfil_models.lot_model import NANO, solve_lots
from fulfil_models.lot_orders import Solved, cost_of, keeps_terms, paid_by_period
from fulfil_models.lot_terms import Terms
from fulfil_models.lot_waiting import Array, WaitingRuns
from fulfil_models.solving import INFINITY, LinearModel, solve_linear

FEW_MODES = 2_000
"""placed-or-not decisions up to which all parts are one model"""
QUICK_STEPS, EXACT_STEPS = 120, 12
"""steps of the prices: with runs alone, then with every part's terms"""
PLANS_EACH = 10
"""plans of a part that are chosen among, those that are best at the final prices"""
_SHARES = (0.25, 0.35, 0.3)
"""of the seconds: for quick steps and exact steps; at most for the choice"""
_PROGRESS, _PATIENCE = 1e-5, 3
"""relative gain that counts as one; steps without it until the steps get shorter"""
_MARGIN = 1e-9
"""relative: what floating point may add to a bound"""

Orders = tuple[Order, ...]


@dataclass(slots=True)
class _Plans:
    """Plans of one part that came up so far: what each costs, and pays in each period."""

    terms: Terms
    cost: list[int] = field(default_factory=list)
    paid: list[list[int]] = field(default_factory=list)
    orders: list[Orders] = field(default_factory=list)
    known: set[tuple[tuple[int, int, int, int], ...]] = field(default_factory=set)

    def add(self, orders: Orders) -> None:
        key = tuple((o.period, o.mode.offer, o.mode.price_nano, o.levels) for o in orders)
        if key not in self.known and keeps_terms(self.terms, orders, waits=True):
            self.known.add(key)
            self.cost.append(cost_of(self.terms, orders).total)
            self.paid.append(paid_by_period(self.terms, orders))
            self.orders.append(orders)


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
    rounding = sum(terms.rounding_nano for terms in parts)
    placed = sum(len(offer) for terms in parts for row in terms.modes for offer in row)
    if placed <= FEW_MODES:
        answer = solve_lots(parts, cash_nano=cash_nano, gap=gap, seconds=seconds, stop=stop)
        if answer.orders is not None:
            orders = _affordable(parts, answer.orders, cash_nano)
            solved = [
                Solved(one, 0, "in one model with cash", answer.cut_by_clock) for one in orders
            ]
            return solved, min(int(answer.bound_nano) + rounding, _total(parts, orders))
    return _by_prices(parts, cash_nano, gap=gap, seconds=seconds, stop=stop)


def _total(parts: Sequence[Terms], orders: Sequence[Orders]) -> int:
    return sum(cost_of(terms, one).total for terms, one in zip(parts, orders, strict=True))


def _affordable(
    parts: Sequence[Terms], orders: Sequence[Orders], cash_nano: Sequence[int]
) -> list[Orders]:
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
        self.began = time.monotonic()
        self.seconds = seconds
        self.stop = stop

    def left(self) -> float:
        return self.seconds - (time.monotonic() - self.began)

    def over(self, share: float) -> bool:
        stopped = self.stop is not None and self.stop.is_set()
        return stopped or self.left() < self.seconds * (1 - share)


def _by_prices(
    parts: Sequence[Terms],
    cash_nano: Sequence[int],
    *,
    gap: float,
    seconds: float,
    stop: threading.Event | None,
) -> tuple[list[Solved], int]:
    clock = _Clock(seconds, stop)
    plans = [_Plans(terms) for terms in parts]
    for one in plans:
        one.add(())
    cash = np.array(cash_nano, dtype=np.float64)
    search = _Prices(parts, plans, cash)
    cut = search.step(QUICK_STEPS, clock, _SHARES[0], exact=False)
    cut = search.step(EXACT_STEPS, clock, sum(_SHARES[:2]), exact=True) or cut
    chosen, whole = _choose(plans, search.best_prices, cash_nano, gap, clock)
    rounding = sum(terms.rounding_nano for terms in parts)
    bound = int(search.best_bound * (1 - _MARGIN)) + rounding
    way = "by prices of cash"
    solved = [
        Solved(one.orders[number], 0, way, cut or not whole)
        for one, number in zip(plans, chosen, strict=True)
    ]
    return solved, max(0, min(bound, _total(parts, [one.orders for one in solved])))


class _Prices:
    """Prices of cash by period, as they are stepped to a higher bound."""

    def __init__(self, parts: Sequence[Terms], plans: Sequence[_Plans], cash: Array) -> None:
        self.parts = parts
        self.plans = plans
        self.cash = cash
        self.runs = WaitingRuns(parts)
        self.best_prices: Array = np.zeros(len(cash))
        self.best_bound = -INFINITY

    def step(self, steps: int, clock: _Clock, share: float, *, exact: bool) -> bool:
        """Step the prices on from the best so far; True if the clock cut it short."""
        prices, length, idle = self.best_prices, 1.0, 0
        best = -INFINITY
        if exact:
            self.best_bound = -INFINITY
        for _ in range(steps):
            if clock.over(share) and self.best_bound > -INFINITY:
                return True
            bound, paid = self._evaluate(prices, exact=exact)
            if bound > self.best_bound:
                self.best_bound, self.best_prices = bound, prices
            idle = 0 if bound > best + abs(bound) * _PROGRESS else idle + 1
            if idle >= _PATIENCE:
                length, idle, prices = length / 2, 0, self.best_prices
            best = max(best, bound)
            prices = self._moved(prices, paid, length)
        return False

    def _moved(self, prices: Array, paid: Array, length: float) -> Array:
        """A price rises by the share in which cash is over-asked, and falls likewise."""
        over = (paid - self.cash) / np.maximum(self.cash, self.cash.mean() * 0.01 + 1.0)
        factor = np.clip(over, -1.0, 3.0) * length
        moved: Array = np.maximum(0.0, prices + (prices + 0.05) * factor)
        return moved

    def _evaluate(self, prices: Array, *, exact: bool) -> tuple[float, Array]:
        """The bound that prices give, and what is paid in each period then."""
        answer = self.runs.solve(1.0 + prices)
        costs = answer.costs
        paid = np.zeros(len(self.cash))
        for number, (terms, plans) in enumerate(zip(self.parts, self.plans, strict=True)):
            orders = answer.orders(number)
            kept = all(order.mode.allows(order.levels) for order in orders)
            if exact and not kept and has_few_levels(terms):
                costs[number], orders = cheapest_levels(terms, list(1.0 + prices))
            plans.add(orders)
            for order in orders:
                paid[order.period] += order.mode.fixed_nano + order.mode.price_nano * order.levels
        return float(costs.sum() - prices @ self.cash), paid


def _choose(
    plans: Sequence[_Plans],
    prices: Array,
    cash_nano: Sequence[int],
    gap: float,
    clock: _Clock,
) -> tuple[list[int], bool]:
    """One plan for every part so that the cash suffices; False if the clock cut it short."""
    model = LinearModel()
    paid: list[list[tuple[int, float]]] = [[] for _ in cash_nano]
    columns: list[list[tuple[int, int]]] = []
    for one in plans:
        mine = []
        for number in _best_plans(one, prices):
            column = model.binary(cost=one.cost[number] / NANO)
            mine.append((column, number))
            for period, nano in enumerate(one.paid[number]):
                if nano:
                    paid[period].append((column, nano / NANO))
        model.row([(column, 1.0) for column, _ in mine], 1.0, 1.0)
        columns.append(mine)
    for terms, cash in zip(paid, cash_nano, strict=True):
        if terms:
            model.row(terms, -INFINITY, cash / NANO)
    answer = solve_linear(model, gap=gap / 2, seconds=clock.left(), stop=clock.stop)
    if not answer.values:
        return _one_by_one(plans, prices, cash_nano), False
    chosen = [
        next(number for column, number in mine if answer.values[column] > 0.5) for mine in columns
    ]
    return _within_cash(plans, chosen, cash_nano), not answer.cut_by_clock


def _best_plans(one: _Plans, prices: Array) -> list[int]:
    """The plans of a part that are best at the prices, and that of ordering nothing (the first)."""
    costs = np.array(one.cost) + np.array(one.paid) @ prices
    return [0, *(int(n) for n in np.argsort(costs, kind="stable")[:PLANS_EACH] if n)]


def _within_cash(plans: Sequence[_Plans], chosen: list[int], cash_nano: Sequence[int]) -> list[int]:
    """The same choice, but nothing for a part for which a tolerance took cash there is not."""
    left = list(cash_nano)
    kept = []
    for one, number in zip(plans, chosen, strict=True):
        fits = all(nano <= cash for nano, cash in zip(one.paid[number], left, strict=True))
        kept.append(number if fits else 0)
        left = [cash - nano for cash, nano in zip(left, one.paid[kept[-1]], strict=True)]
    return kept


def _one_by_one(plans: Sequence[_Plans], prices: Array, cash_nano: Sequence[int]) -> list[int]:
    """For one part after the other its best plan for which there is cash."""
    left = list(cash_nano)
    chosen = []
    for one in plans:
        for number in _affordable_first(one, prices):
            if all(nano <= cash for nano, cash in zip(one.paid[number], left, strict=True)):
                break
        chosen.append(number)
        left = [cash - nano for cash, nano in zip(left, one.paid[number], strict=True)]
    return chosen


def _affordable_first(one: _Plans, prices: Array) -> Iterator[int]:
    yield from _best_plans(one, prices)[1:]
    yield 0

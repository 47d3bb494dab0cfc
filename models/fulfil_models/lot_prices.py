"""What is a unit of cash worth in each period, if all parts together have so much?

Every price of cash gives a bound: the parts' least costs with what they pay weighed by it, less the
price of all cash. Each trial also tells how the bound changes with the prices (what the parts pay
there, and what there is), so the best prices are sought as the top of these slopes, near the best
ones so far (cutting planes in a box; Kelley, "The cutting-plane method for solving convex
programs", Journal of the SIAM 8, 1960). The parts stand in groups with slopes of their own, which
needs fewer trials than one sum would. The plans that come up on the way are kept.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from fulfil_models.lot_levels import cheapest_levels, has_few_levels
from fulfil_models.lot_orders import (
    Orders,
    cost_of,
    keeps_terms,
    paid_by_period,
    short_early,
)
from fulfil_models.lot_tables import LevelTables
from fulfil_models.lot_terms import Terms
from fulfil_models.lot_waiting import WaitingRuns
from fulfil_models.solving import INFINITY, LinearModel, solve_linear

Array = npt.NDArray[Any]

MOST_PRICE = 10_000.0
"""of a unit of cash: nothing is worth more to any plan"""
ROUNDS = 80
GROUPS = 250
TABLE_LEVELS = 1_000
"""up to which a part is worked through together with others"""
_BOX = 2.0
"""how far from the best prices the next ones are sought at first"""
_STEP, _FULL_ROUNDS = 0.5, 3
"""how far prices go from the best ones so far towards the top of the slopes, and from which round
on; until then all the way"""


class Clock:
    """Whether the seconds are over, or the search has been stopped."""

    def __init__(self, seconds: float, stop: threading.Event | None) -> None:
        self.ends = time.monotonic() + seconds
        self.seconds = seconds
        self.stop = stop

    def left(self) -> float:
        stopped = self.stop is not None and self.stop.is_set()
        return 0.0 if stopped else max(0.0, self.ends - time.monotonic())

    def over(self, share: float) -> bool:
        """Whether a share of the seconds is gone."""
        return self.left() <= self.seconds * (1 - share)


@dataclass(slots=True)
class Plans:
    """Plans of one part that came up so far: what each costs, and pays in each period.

    The first is to order nothing, which needs no cash.
    """

    terms: Terms
    cost: list[int] = field(default_factory=list)
    paid: list[list[int]] = field(default_factory=list)
    orders: list[Orders] = field(default_factory=list)
    known: dict[tuple[tuple[int, int, int, int], ...], int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.add(())

    def add(self, orders: Orders) -> int | None:
        """Number of a plan, new or known; None if it does not keep to the terms."""
        key = tuple((o.period, o.mode.offer, o.mode.price_nano, o.levels) for o in orders)
        if key not in self.known:
            if not keeps_terms(self.terms, orders, waits=True):
                return None
            self.known[key] = len(self.cost)
            self.cost.append(cost_of(self.terms, orders).total)
            self.paid.append(paid_by_period(self.terms, orders))
            self.orders.append(orders)
        return self.known[key]


class PricedParts:
    """What the parts would order at any prices of cash, and what that costs at least."""

    def __init__(self, parts: Sequence[Terms]) -> None:
        self.parts = parts
        self.plans = [Plans(terms) for terms in parts]
        self.small = [n for n, terms in enumerate(parts) if terms.top < TABLE_LEVELS]
        self.large = [n for n, terms in enumerate(parts) if terms.top >= TABLE_LEVELS]
        self.tables = LevelTables([parts[number] for number in self.small])
        self.runs = WaitingRuns([parts[number] for number in self.large])

    def solve(self, prices: Array) -> tuple[Array, Array]:
        """By part the least cost with what is paid weighed, and by part and period what is paid.

        The plans behind it are added to the known ones, where they keep to the terms.
        """
        weights = 1.0 + prices
        costs: Array = np.zeros(len(self.parts))
        paid: Array = np.zeros((len(self.parts), len(prices)))
        found: list[tuple[int, Orders]] = []
        if self.small:
            costs[self.small], orders = self.tables.solve(weights)
            found += zip(self.small, orders, strict=True)
        if self.large:
            answer = self.runs.solve(weights)
            costs[self.large] = answer.costs
            for place, number in enumerate(self.large):
                one = answer.orders(place)
                if not self._is_best(number, one):
                    costs[number], one = cheapest_levels(self.parts[number], list(weights))
                found.append((number, one))
        for number, one in found:
            plan = self.plans[number].add(one)
            known = self.plans[number].paid
            paid[number] = paid_by_period(self.parts[number], one) if plan is None else known[plan]
        return costs, paid

    def _is_best(self, number: int, orders: Orders) -> bool:
        """Whether a part by runs needs no closer look, or is too large for one."""
        terms = self.parts[number]
        kept = all(order.mode.allows(order.levels) for order in orders)
        kept = kept and not short_early(terms, orders)
        return (kept and not terms.short_firm_nano) or not has_few_levels(terms)


class PriceSearch:
    """Prices of cash by period, as they rise to a higher bound."""

    def __init__(self, parts: Sequence[Terms], cash_nano: Sequence[int]) -> None:
        self.priced = PricedParts(parts)
        self.unit = float(max(1, *cash_nano))
        self.cash: Array = np.array(cash_nano, dtype=np.float64) / self.unit
        self.rounding = sum(terms.rounding_nano for terms in parts)
        self.groups: Array = np.arange(len(parts)) % GROUPS
        self.slopes: list[tuple[Array, Array]] = []
        """by trial and group: cost at prices of 0, and what is paid in each period"""
        self.prices: Array = np.zeros(len(cash_nano))
        self.best = -INFINITY
        self.box = _BOX

    @property
    def bound_nano(self) -> float:
        return max(0.0, self.best * self.unit) + self.rounding

    def run(self, gap: float, clock: Clock, share: float) -> bool:
        """Try prices until no others can raise the bound by more than a quarter of the gap; True if
        cut short."""
        prices = self.prices
        for number in range(ROUNDS):
            if clock.over(share):
                return True
            bound = self._try(prices)
            if bound > self.best:
                self._widen(prices)
                self.best, self.prices = bound, prices
            top = self._top(clock)
            if top is None:
                return True
            highest, value = top
            if (value - self.best) * self.unit <= gap / 4 * self.bound_nano:
                if not self._at_wall(highest):
                    return False
                self.box *= 2
            prices = highest
            if number >= _FULL_ROUNDS:
                prices = self.prices + _STEP * (highest - self.prices)
        return False

    def _try(self, prices: Array) -> float:
        costs, paid = self.priced.solve(prices)
        count = int(self.groups.max(initial=0)) + 1
        cost: Array = np.zeros(count)
        slope: Array = np.zeros((count, len(prices)))
        np.add.at(cost, self.groups, (costs - paid @ prices) / self.unit)
        np.add.at(slope, self.groups, paid / self.unit)
        self.slopes.append((cost, slope))
        return float(costs.sum() / self.unit - prices @ self.cash)

    def _at_wall(self, prices: Array) -> bool:
        """Whether prices lie at a wall of the box that could be moved."""
        moved = np.abs(prices - self.prices) > self.box * 0.999
        return bool((moved & (prices < MOST_PRICE)).any())

    def _widen(self, prices: Array) -> None:
        """A larger box where better prices were found far out."""
        if np.abs(prices - self.prices).max() >= self.box * _STEP * 0.99:
            self.box *= 2

    def _top(self, clock: Clock) -> tuple[Array, float] | None:
        """The prices within the box at which the slopes so far are highest, and how high; None
        without time."""
        model = LinearModel()
        walls = zip(self.prices - self.box, self.prices + self.box, self.cash, strict=True)
        prices = [
            model.variable(max(0.0, low), min(MOST_PRICE, high), cost=cash)
            for low, high, cash in walls
        ]
        count = int(self.groups.max(initial=0)) + 1
        least = [model.variable(-INFINITY, INFINITY, cost=-1.0) for _ in range(count)]
        for cost, slope in self.slopes:
            for group in range(count):
                terms = [(prices[t], -paid) for t, paid in enumerate(slope[group].tolist()) if paid]
                model.row([(least[group], 1.0), *terms], -INFINITY, float(cost[group]))
        if not clock.left():
            return None
        answer = solve_linear(model, gap=0.0, seconds=clock.left(), stop=clock.stop)
        if not answer.values or answer.cut_by_clock:
            return None
        return np.array(answer.values[: len(prices)]), -answer.objective

"""Is a choice of plans within the cash bettered by planning some parts anew?

In every turn some parts give up their plans: those that lose most against the bound, and others in
any order. They are planned one after the other, each with the cash that is there then, and keep
that if it costs less. So new plans come up; every few turns the choice is made anew among all that
are known, begun with the present one.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from fulfil_models.lot_choice import chosen_from
from fulfil_models.lot_prices import Clock, Plans
from fulfil_models.lot_within import best_within, take

Array = npt.NDArray[Any]

TURNS, IDLE_TURNS = 240, 60
"""how often at most, and in vain one after the other"""
LOSING, OTHERS = 4, 8
"""parts that give up their plans in a turn"""
AMONG_ALL = 20
"""turns after which the choice is made anew among all plans"""


class Turns:
    """A choice as it gets better.

    Parameters
    ----------
    numbers: the number of a plan for every part, within the cash.
    """

    def __init__(
        self, plans: Sequence[Plans], cash_nano: Sequence[int], prices: Array, numbers: list[int]
    ) -> None:
        self.plans = plans
        self.cash_nano = cash_nano
        self.prices = prices
        self.least = [min(self._worth(one)) for one in plans]
        self.drawn = random.Random(1)
        self._keep(numbers)

    def _keep(self, numbers: list[int]) -> None:
        self.numbers = numbers
        self.cost_nano = _cost(self.plans, numbers)
        self.left = list(self.cash_nano)
        for one, number in zip(self.plans, numbers, strict=True):
            take(self.left, one.paid[number], 1)

    def run(self, enough_nano: float, clock: Clock) -> bool:
        """Turns until the cost is low enough, or nothing is gained any more; True if cut short."""
        idle = 0
        for turn in range(1, TURNS + 1):
            if self.cost_nano <= enough_nano or idle >= IDLE_TURNS:
                return False
            if not clock.left():
                return True
            before = self.cost_nano
            if turn % AMONG_ALL:
                self._plan_anew()
            else:
                self._choose_anew(clock)
            idle = 0 if self.cost_nano < before else idle + 1
        return False

    def _plan_anew(self) -> None:
        free = self._freed()
        plans = [self.plans[place] for place in free]
        before = [self.numbers[place] for place in free]
        for one, number in zip(plans, before, strict=True):
            take(self.left, one.paid[number], -1)
        left, after = list(self.left), []
        for one in plans:
            after.append(best_within(one, 0, left, self.prices))
            take(left, one.paid[after[-1]], 1)
        saved = _cost(plans, before) - _cost(plans, after)
        found = after if saved >= 0 else before
        for place, one, number in zip(free, plans, found, strict=True):
            self.numbers[place] = number
            take(self.left, one.paid[number], 1)
        self.cost_nano -= max(0, saved)

    def _freed(self) -> list[int]:
        """Some of the parts that lose most, and some others, in any order."""
        lost = [
            self._worth(one, [number])[0] - least
            for one, number, least in zip(self.plans, self.numbers, self.least, strict=True)
        ]
        most = sorted(range(len(lost)), key=lambda place: -lost[place])[: 3 * LOSING]
        free = self.drawn.sample(most, min(len(most), LOSING))
        others = [n for n, one in enumerate(self.plans) if len(one.cost) > 1 and n not in free]
        free += self.drawn.sample(others, min(len(others), OTHERS))
        self.drawn.shuffle(free)
        return free

    def _worth(self, one: Plans, numbers: Sequence[int] | None = None) -> list[float]:
        """Of plans of a part the cost, with what they pay weighed by the prices; all if none are
        named."""
        among = range(len(one.cost)) if numbers is None else numbers
        paid = np.array([one.paid[number] for number in among], dtype=np.float64)
        costs = np.array([one.cost[number] for number in among], dtype=np.float64)
        worth: list[float] = (costs + paid @ self.prices).tolist()
        return worth

    def _choose_anew(self, clock: Clock) -> None:
        numbers = chosen_from(self.plans, self.numbers, self.cash_nano, self.prices, clock)
        if _cost(self.plans, numbers) < self.cost_nano:
            self._keep(numbers)


def _cost(plans: Sequence[Plans], numbers: Sequence[int]) -> int:
    return sum(one.cost[number] for one, number in zip(plans, numbers, strict=True))

"""Which of its plans does each part follow, so that the cash of every period suffices?

Of every part some plans are known: what each costs and pays in each period. Mixed in shares they
give prices of cash, which tell what other plans are worth looking for; chosen whole they are what
is done. The mix has as many broken parts as there are periods at most, so little is lost by
planning those anew with the cash that the others leave.
"""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from fulfil_models.lot_levels import Order, cheapest_levels, has_few_levels
from fulfil_models.lot_model import NANO
from fulfil_models.lot_orders import cost_of, keeps_terms, paid_by_period
from fulfil_models.lot_terms import Mode, Terms
from fulfil_models.solving import INFINITY, LinearModel, solve_linear

Array = npt.NDArray[Any]
Orders = tuple[Order, ...]

MOST_PRICE = 10_000.0
"""of a unit of cash: nothing is worth more to any plan"""
WHOLE = 0.999
"""share from which on a plan of the mix counts as chosen"""


TURNS, TURN_SECONDS = 60, 3.0
WAITING_FREED, OTHERS_FREED = 20, 100
"""how often, how long at most, and for how many parts the choice is made anew"""


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


def prices_of_cash(
    plans: Sequence[Plans], cash_nano: Sequence[int], seconds: float, stop: threading.Event | None
) -> tuple[Array, float] | None:
    """Prices of cash at which no known plan is better than the best mix, and what that mix costs.

    The greatest sum of least costs less the price of all cash, over all prices. None without time.
    """
    model = LinearModel()
    prices = [model.variable(0.0, MOST_PRICE, cost=cash / NANO) for cash in cash_nano]
    for one in plans:
        least = model.variable(-INFINITY, INFINITY, cost=-1.0)
        for cost, paid in zip(one.cost, one.paid, strict=True):
            weighed = [(prices[t], -nano / NANO) for t, nano in enumerate(paid) if nano]
            model.row([(least, 1.0), *weighed], -INFINITY, cost / NANO)
    answer = solve_linear(model, gap=0.0, seconds=seconds, stop=stop)
    if not answer.values or answer.cut_by_clock:
        return None
    return np.array(answer.values[: len(prices)]), -answer.objective * NANO


@dataclass(frozen=True, slots=True)
class Choice:
    """A plan for every part within the cash, and what they cost together."""

    numbers: tuple[int, ...]
    cost_nano: int


def choose(
    plans: Sequence[Plans],
    cash_nano: Sequence[int],
    *,
    gap: float,
    seconds: float,
    stop: threading.Event | None,
) -> Choice:
    """The best choice found: first from the best mix, then, if that costs much more than the mix,
    from a model of all plans that can be part of a better one."""
    ends = time.monotonic() + seconds

    def left() -> float:
        return 0.0 if stop is not None and stop.is_set() else ends - time.monotonic()

    nothing: list[int | None] = [None for _ in plans]
    every = [list(range(len(one.cost))) for one in plans]
    prices = np.zeros(len(cash_nano))
    mixed, mix = nothing, None
    if left() > 0:
        mix = prices_of_cash(plans, cash_nano, left(), stop)
    if mix is not None and left() > 0:
        prices = mix[0]
        mixed = _chosen(plans, every, cash_nano, whole=False, gap=0.0, seconds=left(), stop=stop)
    best = _choice(plans, within_cash(plans, mixed, cash_nano, prices))
    if mix is None or best.cost_nano - mix[1] <= gap / 2 * best.cost_nano:
        return best
    # a plan that costs more at the prices than the best mix leaves is in no better choice
    spare = best.cost_nano - mix[1]
    near = [
        [n for n in numbers if costs[n] <= costs.min() + spare]
        for numbers, costs in zip(every, (_weighed(one, prices) for one in plans), strict=True)
    ]
    return _improved(plans, near, best, cash_nano, mix[1] * (1 + gap / 2), left, stop)


def _improved(
    plans: Sequence[Plans],
    near: Sequence[Sequence[int]],
    best: Choice,
    cash_nano: Sequence[int],
    enough_nano: float,
    left: Callable[[], float],
    stop: threading.Event | None,
) -> Choice:
    """Choose anew for those parts that wait at the highest price and some others, all else kept, a
    number of times."""
    drawn = random.Random(1)
    numbers, tight = list(best.numbers), sum(len(row) > 1 for row in near)
    for _ in range(TURNS):
        if best.cost_nano <= enough_nano or left() <= 0 or not tight:
            break
        waits = {
            place: _waits(one, n) for place, (one, n) in enumerate(zip(plans, numbers, strict=True))
        }
        free = sorted((place for place in waits if waits[place]), key=lambda place: waits[place])
        free = free[:WAITING_FREED]
        others = [place for place, row in enumerate(near) if len(row) > 1 and place not in free]
        free += drawn.sample(others, min(len(others), OTHERS_FREED))
        spare = list(cash_nano)
        for place, (one, number) in enumerate(zip(plans, numbers, strict=True)):
            if place not in free:
                _take(spare, one.paid[number], 1)
        again = _chosen(
            [plans[place] for place in free],
            [sorted({*near[place], numbers[place]}) for place in free],
            spare,
            whole=True,
            gap=0.0,
            seconds=min(left(), TURN_SECONDS),
            stop=stop,
        )
        other = list(numbers)
        for place, choice in zip(free, again, strict=True):
            other[place] = numbers[place] if choice is None else choice
        found = _choice(plans, other)
        together = [
            sum(row)
            for row in zip(*(o.paid[n] for o, n in zip(plans, other, strict=True)), strict=True)
        ]
        if found.cost_nano < best.cost_nano and _fits(together, cash_nano):
            best, numbers = found, other
    return best


def _choice(plans: Sequence[Plans], numbers: Sequence[int]) -> Choice:
    cost = sum(one.cost[number] for one, number in zip(plans, numbers, strict=True))
    return Choice(tuple(numbers), cost)


def _weighed(one: Plans, prices: Array) -> Array:
    """What each plan of a part costs with the price of the cash it takes."""
    costs: Array = np.array(one.cost, dtype=np.float64) + np.array(one.paid) @ prices
    return costs


def _chosen(
    plans: Sequence[Plans],
    among: Sequence[Sequence[int]],
    cash_nano: Sequence[int],
    *,
    whole: bool,
    gap: float,
    seconds: float,
    stop: threading.Event | None,
) -> list[int | None]:
    """The plan of every part in the best choice, or in the best mix; None where it is broken."""
    model = LinearModel()
    paid: list[list[tuple[int, float]]] = [[] for _ in cash_nano]
    columns: list[list[tuple[int, int]]] = []
    for one, numbers in zip(plans, among, strict=True):
        mine = []
        for number in numbers:
            column = model.variable(0.0, 1.0, integer=whole, cost=one.cost[number] / NANO)
            mine.append((column, number))
            for period, nano in enumerate(one.paid[number]):
                if nano:
                    paid[period].append((column, nano / NANO))
        model.row([(column, 1.0) for column, _ in mine], 1.0, 1.0)
        columns.append(mine)
    for terms, cash in zip(paid, cash_nano, strict=True):
        if terms:
            model.row(terms, -INFINITY, cash / NANO)
    answer = solve_linear(model, gap=gap, seconds=seconds, stop=stop)
    if not answer.values:
        return [None for _ in plans]
    return [
        next((number for column, number in mine if answer.values[column] > WHOLE), None)
        for mine in columns
    ]


def within_cash(
    plans: Sequence[Plans], chosen: Sequence[int | None], cash_nano: Sequence[int], prices: Array
) -> list[int]:
    """A plan for every part: what is chosen, and for broken parts, and all that wait, the best
    there is cash left for."""
    left = list(cash_nano)
    kept: list[int] = []
    for one, number in zip(plans, chosen, strict=True):
        fits = number is not None and _fits(one.paid[number], left)
        kept.append(number if fits and number is not None else 0)
        _take(left, one.paid[kept[-1]], 1)
    waiting = [
        (_waits(one, number), place)
        for place, (one, number) in enumerate(zip(plans, kept, strict=True))
    ]
    for _, place in sorted(row for row in waiting if row[0]):
        one = plans[place]
        _take(left, one.paid[kept[place]], -1)
        kept[place] = _best_within(one, kept[place], left, prices)
        _take(left, one.paid[kept[place]], 1)
    return kept


def _fits(paid: Sequence[int], left: Sequence[int]) -> bool:
    return all(nano <= cash for nano, cash in zip(paid, left, strict=True))


def _take(left: list[int], paid: Sequence[int], sign: int) -> None:
    for period, nano in enumerate(paid):
        left[period] -= sign * nano


def _waits(one: Plans, number: int) -> float:
    """Less the price of what a plan lets wait, so that the dearest comes first."""
    return -float(cost_of(one.terms, one.orders[number]).waiting)


def _best_within(one: Plans, now: int, left: Sequence[int], prices: Array) -> int:
    """The cheapest plan of a part for which there is cash: of those that are known, and of the best
    ones at the prices of cash and at none."""
    numbers = [number for number, paid in enumerate(one.paid) if _fits(paid, left)]
    if has_few_levels(one.terms):
        modes = zip(one.terms.modes, left, strict=True)
        narrow = replace(
            one.terms,
            modes=tuple(tuple(_narrowed(offer, cash) for offer in row) for row, cash in modes),
        )
        for weights in (1.0 + prices, np.ones(len(left))):
            _, orders = cheapest_levels(narrow, list(weights))
            number = one.add(
                tuple(replace(order, mode=_widened(one.terms, order)) for order in orders)
            )
            if number is not None and _fits(one.paid[number], left):
                numbers.append(number)
    return min(numbers, key=lambda number: (one.cost[number], number), default=now)


def _narrowed(offer: Sequence[Mode], cash_nano: int) -> tuple[Mode, ...]:
    """Modes of an offer as far as cash reaches."""
    found = []
    for mode in offer:
        most = mode.most
        if mode.price_nano:
            most = min(most, (cash_nano - mode.fixed_nano) // mode.price_nano)
            most -= most % mode.step
        if most >= mode.least and mode.fixed_nano <= cash_nano:
            found.append(replace(mode, most=most))
    return tuple(found)


def _widened(terms: Terms, order: Order) -> Mode:
    """The mode of the terms that an order's narrowed mode comes from."""
    return next(
        mode
        for offer in terms.modes[order.period]
        for mode in offer
        if (mode.offer, mode.least, mode.price_nano)
        == (order.mode.offer, order.mode.least, order.mode.price_nano)
    )

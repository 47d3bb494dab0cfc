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
from collections.abc import Iterator, Sequence
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


TURNS, TURN_SECONDS = 200, 2.0
WAITING_FREED, OTHERS_FREED = 8, 24
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
    """The best choice found: first from the best mix, then, as long as that costs much more than
    the mix, by choosing anew for some parts at a time."""
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
    turns = _Turns(plans, cash_nano, prices, list(best.numbers))
    for _ in range(TURNS):
        if left() <= 0 or best.cost_nano - mix[1] <= gap / 2 * best.cost_nano:
            break
        best = turns.turn(best, min(left(), TURN_SECONDS), stop)
    return best


class _Turns:
    """Chooses anew for some parts at a time, all others kept."""

    def __init__(
        self, plans: Sequence[Plans], cash_nano: Sequence[int], prices: Array, numbers: list[int]
    ) -> None:
        self.plans = plans
        self.prices = prices
        self.numbers = numbers
        self.left = list(cash_nano)
        for one, number in zip(plans, numbers, strict=True):
            _take(self.left, one.paid[number], 1)
        self.drawn = random.Random(1)

    def turn(self, best: Choice, seconds: float, stop: threading.Event | None) -> Choice:
        """The choice after one turn, which is no worse: the parts that are freed are planned one
        after the other with the cash there is, then chosen for together."""
        free = self._freed()
        before = [self.numbers[place] for place in free]
        for place in free:
            _take(self.left, self.plans[place].paid[self.numbers[place]], -1)
        spare = list(self.left)
        one_by_one = self._planned(free)
        plans = [self.plans[place] for place in free]
        every = [list(range(len(one.cost))) for one in plans]
        chosen = _chosen(plans, every, spare, whole=True, gap=0.0, seconds=seconds, stop=stop)
        together = [n for n in chosen if n is not None]
        if len(together) < len(free) or not _fit(plans, together, spare):
            together = before
        found = min(
            (before, one_by_one, together), key=lambda numbers: _choice(plans, numbers).cost_nano
        )
        for place, number in zip(free, found, strict=True):
            self.numbers[place] = number
            _take(self.left, self.plans[place].paid[number], 1)
        saved = _choice(plans, before).cost_nano - _choice(plans, found).cost_nano
        return Choice(tuple(self.numbers), best.cost_nano - saved)

    def _freed(self) -> list[int]:
        """Some of the parts that wait at the highest price, and some others, in any order."""
        waits = [_waits(one, n) for one, n in zip(self.plans, self.numbers, strict=True)]
        dear = sorted((row for row in enumerate(waits) if row[1]), key=lambda row: row[1])
        places = [place for place, _ in dear[: 3 * WAITING_FREED]]
        free = self.drawn.sample(places, min(len(places), WAITING_FREED))
        others = [n for n, one in enumerate(self.plans) if len(one.cost) > 1 and n not in free]
        free += self.drawn.sample(others, min(len(others), OTHERS_FREED))
        self.drawn.shuffle(free)
        return free

    def _planned(self, free: Sequence[int]) -> list[int]:
        """The best plan of each part with the cash that those before it leave."""
        left, numbers = list(self.left), []
        for place in free:
            numbers.append(_best_within(self.plans[place], 0, left, self.prices))
            _take(left, self.plans[place].paid[numbers[-1]], 1)
        return numbers


def _fit(plans: Sequence[Plans], numbers: Sequence[int], cash_nano: Sequence[int]) -> bool:
    left = list(cash_nano)
    for one, number in zip(plans, numbers, strict=True):
        _take(left, one.paid[number], 1)
    return min(left) >= 0


def _choice(plans: Sequence[Plans], numbers: Sequence[int]) -> Choice:
    cost = sum(one.cost[number] for one, number in zip(plans, numbers, strict=True))
    return Choice(tuple(numbers), cost)


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
        for terms in _within(one.terms, left):
            for weights in (1.0 + prices, np.ones(len(left))):
                _, orders = cheapest_levels(terms, list(weights))
                number = one.add(
                    tuple(replace(order, mode=_widened(one.terms, order)) for order in orders)
                )
                if number is not None and _fits(one.paid[number], left):
                    numbers.append(number)
    return min(numbers, key=lambda number: (one.cost[number], number), default=now)


def _within(terms: Terms, left: Sequence[int]) -> Iterator[Terms]:
    """A part without the orders there is no cash for: with each offer alone, for which the cash is
    sure to suffice, and with all, for which it may not if two bring something in one period."""
    narrow = narrowed(terms, left)
    offers = {mode.offer for row in narrow.modes for offer in row for mode in offer}
    yield narrow
    if len(offers) > 1:
        for alone in sorted(offers):
            modes = tuple(
                tuple(offer for offer in row if offer and offer[0].offer == alone)
                for row in narrow.modes
            )
            yield replace(narrow, modes=modes)


def narrowed(terms: Terms, cash_nano: Sequence[int]) -> Terms:
    """A part without the orders that cost more than the cash of their period."""
    rows = zip(terms.modes, cash_nano, strict=True)
    modes = tuple(tuple(_narrowed(offer, cash) for offer in row) for row, cash in rows)
    return replace(terms, modes=modes)


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

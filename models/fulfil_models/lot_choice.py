"""Which of its plans does each part follow, so that the cash of every period suffices?

Of every part some plans are known. At the prices of cash, a plan is worth its cost and what it
pays; all that it costs more than the part's best one, and the price of cash that nobody takes, is
lost against the bound. Begun with the best mix of plans, in which few parts are broken, the choice
is mended by changing the plan of one part at a time: always the change that loses least, with cash
there is not at a rising price, until the cash suffices; then what costs less within it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fulfil_models.lot_prices import Clock, Plans
from fulfil_models.lot_within import within_cash
from fulfil_models.solving import INFINITY, LinearModel, solve_linear

Array = npt.NDArray[Any]

MOST_COLUMNS, MIXED = 30_000, 10_000
"""plans of all parts that are looked at, and that the best mix is of: those that lose least"""
MOST_CHANGES = 2_000
_TIMES, _PATIENCE = 2.0, 40
"""how much dearer cash there is not gets at a time, and how often"""
_LEAST_PRICE = 0.01
"""share of the highest price that cash there is not costs at least above that of its period"""


def choose(
    plans: Sequence[Plans], cash_nano: Sequence[int], prices: Array, clock: Clock
) -> list[int]:
    """The number of a plan for every part, within the cash, that lose little against the bound of
    the prices."""
    columns = _Columns.of(plans, cash_nano, prices)
    mixed = _mixed(columns, len(plans), clock)
    if mixed is None:
        return within_cash(plans, [None] * len(plans), cash_nano, prices)
    return _within(plans, columns, mixed, cash_nano, prices, clock)


def chosen_from(
    plans: Sequence[Plans],
    numbers: Sequence[int],
    cash_nano: Sequence[int],
    prices: Array,
    clock: Clock,
) -> list[int]:
    """A choice within the cash that one may lead to by changes that lose less."""
    columns = _Columns.of(plans, cash_nano, prices, numbers)
    present = np.array(numbers)[columns.part] == columns.number
    picked = np.zeros(len(plans), dtype=np.int64)
    picked[columns.part[present]] = np.flatnonzero(present)
    return _within(plans, columns, picked, cash_nano, prices, clock)


def _within(
    plans: Sequence[Plans],
    columns: _Columns,
    begun: Array,
    cash_nano: Sequence[int],
    prices: Array,
    clock: Clock,
) -> list[int]:
    picked = _mended(columns, begun, prices, clock)
    numbers = [int(columns.number[column]) for column in picked]
    return within_cash(plans, numbers, cash_nano, prices)


# ---- by changing one plan at a time


@dataclass(frozen=True, slots=True)
class _Columns:
    """Plans of all parts side by side; money in units of the largest cash of a period.

    Attributes
    ----------
    part, number: the part, and the number of the plan among its own.
    lost: what it costs more than the best of the part, what it pays weighed by the prices.
    """

    part: Array
    number: Array
    cost: Array
    paid: Array
    lost: Array
    cash: Array

    @staticmethod
    def of(
        plans: Sequence[Plans],
        cash_nano: Sequence[int],
        prices: Array,
        present: Sequence[int] | None = None,
    ) -> _Columns:
        unit = float(max(1, *cash_nano))
        part = np.repeat(np.arange(len(plans)), [len(one.cost) for one in plans])
        number = np.concatenate([np.arange(len(one.cost)) for one in plans])
        cost = np.concatenate([np.array(one.cost, dtype=np.float64) for one in plans]) / unit
        paid = np.concatenate([np.array(one.paid, dtype=np.float64) for one in plans]) / unit
        worth = cost + paid @ prices
        least = np.full(len(plans), np.inf)
        np.minimum.at(least, part, worth)
        lost = worth - least[part]
        order = np.lexsort((number, part, lost))
        # whatever is left out, every part can order nothing, or what it does now
        stays = number == (0 if present is None else np.array(present)[part])
        kept = np.union1d(order[:MOST_COLUMNS], np.flatnonzero(stays | (number == 0)))
        cash = np.array(cash_nano, dtype=np.float64) / unit
        return _Columns(part[kept], number[kept], cost[kept], paid[kept], lost[kept], cash)


def _mixed(columns: _Columns, parts: int, clock: Clock) -> Array | None:
    """By part, the column with the greatest share in the best mix; None without time."""
    model = LinearModel()
    by_loss = np.argsort(columns.lost, kind="stable")
    mixed = np.union1d(by_loss[:MIXED], np.flatnonzero(columns.number == 0))
    of_part: list[list[tuple[int, float]]] = [[] for _ in range(parts)]
    paid: list[list[tuple[int, float]]] = [[] for _ in columns.cash]
    costs = columns.cost[mixed].tolist()
    for part, cost in zip(columns.part[mixed].tolist(), costs, strict=True):
        of_part[part].append((model.variable(cost=cost), 1.0))
    places, periods = np.nonzero(columns.paid[mixed])
    amounts = columns.paid[mixed][places, periods].tolist()
    for place, period, amount in zip(places.tolist(), periods.tolist(), amounts, strict=True):
        paid[period].append((place, amount))
    for shares in of_part:
        model.row(shares, 1.0, 1.0)
    for terms, cash in zip(paid, columns.cash.tolist(), strict=True):
        if terms:
            model.row(terms, -INFINITY, cash)
    if not clock.left():
        return None
    answer = solve_linear(model, gap=0.0, seconds=clock.left(), stop=clock.stop)
    if not answer.values:
        return None
    share = np.array(answer.values)
    return mixed[[max((c for c, _ in own), key=lambda c: share[c]) for own in of_part]]


def _mended(columns: _Columns, picked: Array, prices: Array, clock: Clock) -> Array:
    """The choice after changes, each of which loses less than staying does; and, once the cash
    suffices, after changes within it that cost less."""
    picked = picked.copy()
    left = columns.cash - columns.paid[picked].sum(axis=0)
    missing = prices + _LEAST_PRICE * max(1.0, float(prices.max(initial=0.0)))
    changes = 0

    def lost(after: Array) -> Array:
        """Price of cash that nobody takes, and of that there is not."""
        price: Array = np.maximum(after * prices, -after * missing).sum(axis=-1)
        return price

    for _ in range(_PATIENCE):
        while changes < MOST_CHANGES and clock.left():
            now = picked[columns.part]
            after = left + columns.paid[now] - columns.paid
            change = lost(after) + columns.lost - columns.lost[now]
            best = int(change.argmin())
            if change[best] >= float(lost(left)) * (1 - 1e-12):
                break
            picked[columns.part[best]] = best
            left = after[best]
            changes += 1
        if left.min() >= 0:
            break
        missing = missing * _TIMES
    while left.min() >= 0 and changes < MOST_CHANGES and clock.left():
        now = picked[columns.part]
        fits = (left + columns.paid[now] - columns.paid >= 0).all(axis=1)
        change = np.where(fits, columns.cost - columns.cost[now], np.inf)
        best = int(change.argmin())
        if change[best] >= -1e-12:
            break
        left = left + columns.paid[now[best]] - columns.paid[best]
        picked[columns.part[best]] = best
        changes += 1
    return picked

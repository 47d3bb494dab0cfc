"""Which orders are best where minimum, multiple, caps and price breaks matter?

By dynamic programming over all that may have come so far, exact in whole numbers. Seen from the
end, the least cost from a level on is found for all levels at once: an order of one mode costs a
fixed sum and so much a level, so the best of its sizes is the least value in a window of levels.
Several offers in one period are gone through one after the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fulfil_models.lot_terms import Mode, Terms

Values = npt.NDArray[Any]
"""cost by level: 64-bit whole numbers, or floating point where prices are weighed"""

MOST_CELLS = 4_000_000
"""levels x offers x periods above which the tables take too much memory"""
_NEVER = 2**61
_MOST_COST = 2**60


@dataclass(frozen=True, slots=True)
class Order:
    """So many levels, by one mode, arriving in one period."""

    period: int
    mode: Mode
    levels: int


def has_few_levels(terms: Terms) -> bool:
    """Whether the tables of a part are small enough, and its costs for 64-bit whole numbers."""
    stages = sum(len(row) for row in terms.modes)
    every = [mode for row in terms.modes for offer in row for mode in offer]
    if (terms.top + 1) * (stages + 1) > MOST_CELLS:
        return False
    dearest = max((mode.price_nano for mode in every), default=0) * terms.top * 2
    fixed = max((mode.fixed_nano for mode in every), default=0) * stages
    held = terms.holding_nano * terms.top * len(terms.due)
    return dearest + fixed + held < _MOST_COST


def cheapest_levels(
    terms: Terms, weights: Sequence[float] | None = None
) -> tuple[float, tuple[Order, ...]]:
    """Least cost in nano-currency, that of rounding left out, and the orders that have it.

    Parameters
    ----------
    weights: for every period, what a unit of money paid in it counts. If given, orders may come
        later than they are due, at the price of waiting; the cost is then a floating-point number.
    """
    tables = level_tables(terms, weights)
    cost = tables[0][0][0].item() if tables else 0
    if cost >= _NEVER:
        raise ValueError(f"part {terms.part.part}: something is due before anything can come")
    return cost, _traced(terms, tables, weights)


def level_tables(terms: Terms, weights: Sequence[float] | None = None) -> list[list[Values]]:
    """By period, before each offer and after the last one: the least cost from there on by level.

    What a period costs at its end is part of it, as what waits before an offer.
    """
    kind = np.int64 if weights is None else np.float64
    levels = np.arange(terms.top + 1, dtype=kind)
    value: Values = np.zeros(terms.top + 1, dtype=kind)
    tables: list[list[Values]] = []
    for period in reversed(range(len(terms.due))):
        value = np.minimum(value + kept_nano(terms, period, levels, weights is not None), _NEVER)
        stages = [value]
        for place, offer in reversed(tuple(enumerate(terms.modes[period]))):
            value = _with_offer(value, offer, levels, 1 if weights is None else weights[period])
            if terms.early[period][place]:
                early = early_nano(terms, period, place, levels, weights is not None)
                value = np.minimum(value + early, _NEVER)
            stages.append(value)
        tables.append(stages[::-1])
    return tables[::-1]


def kept_nano(terms: Terms, period: int, levels: Values, waits: bool) -> Values:
    """What a period costs by the level at its end: holding, or waiting, or ruled out."""
    over = levels - terms.due[period]
    if not waits:
        return np.where(over >= 0, over * terms.holding_nano, _NEVER)
    waiting = _waiting_nano(terms, period, -over)
    cost: Values = np.where(over >= 0, over * terms.holding_nano, waiting)
    return cost


def early_nano(terms: Terms, period: int, place: int, levels: Values, waits: bool) -> Values:
    """What it costs by the level before an offer: waiting, or ruled out."""
    short = terms.early[period][place] - levels
    late = _waiting_nano(terms, period, short) if waits else _NEVER
    cost: Values = np.where(short > 0, late, 0)
    return cost


def _waiting_nano(terms: Terms, period: int, short: Values) -> Values:
    """As `Terms.waiting_nano`, of levels above 0."""
    firm = np.maximum(0, short - terms.expected[period])
    waiting: Values = short * terms.short_nano + firm * terms.short_firm_nano
    waiting += terms.short_fixed_nano
    return waiting


def _with_offer(value: Values, offer: Sequence[Mode], levels: Values, weight: float) -> Values:
    """Least cost by the level before an offer may bring an order, from that by the level after."""
    best = value
    for mode in offer:
        if mode.least >= len(value):
            continue
        slant = levels * (mode.price_nano * weight)
        ordered = _least_in_window(value + slant, mode)
        ordered += mode.fixed_nano * weight
        ordered -= slant[: len(ordered)]
        if best is value:
            best = value.copy()
        np.minimum(best[: len(ordered)], ordered, out=best[: len(ordered)])
    return best


def _least_in_window(values: Values, mode: Mode) -> Values:
    """For every level from which an order of a mode leads to one there is, the least value of those
    it may lead to."""
    found = values[mode.least :].copy()
    if mode.step == 1 and mode.most - mode.least + 1 >= len(found):
        backwards = found[::-1]
        np.minimum.accumulate(backwards, out=backwards)
        return found
    width, size = (mode.most - mode.least) // mode.step + 1, 1
    while size < width:
        shift = min(size, width - size)
        apart = shift * mode.step
        if apart >= len(found):
            break
        # each value stands for `size` steps from its level on, then for `size + shift`
        np.minimum(found[:-apart], found[apart:], out=found[:-apart])
        size += shift
    return found


def _traced(
    terms: Terms, tables: Sequence[Sequence[Values]], weights: Sequence[float] | None
) -> tuple[Order, ...]:
    """The orders behind the least cost, from the first period on; no order rather than one that
    costs the same."""
    level, orders = 0, []
    for period, stages in enumerate(tables):
        weight = 1 if weights is None else weights[period]
        for offer, after in zip(terms.modes[period], stages[1:], strict=True):
            best, chosen = after[level], None
            for mode in offer:
                last = min(mode.most, terms.top - level)
                sizes = np.arange(mode.least, last + 1, mode.step, dtype=after.dtype)
                if not len(sizes):
                    continue
                reached = after[level + mode.least : level + last + 1 : mode.step]
                costs = mode.fixed_nano * weight + sizes * (mode.price_nano * weight) + reached
                place = int(costs.argmin())
                if costs[place] < best:
                    best = costs[place]
                    chosen = Order(period, mode, mode.least + place * mode.step)
            if chosen is not None:
                orders.append(chosen)
                level += chosen.levels
    return tuple(orders)

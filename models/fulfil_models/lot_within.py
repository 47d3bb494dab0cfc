"""Which plan of a part is best with the cash that others leave?

Exact: by the levels of the part, without the orders there is no cash for.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from fulfil_models.lot_levels import Order, cheapest_levels, has_few_levels
from fulfil_models.lot_orders import cost_of
from fulfil_models.lot_prices import Plans
from fulfil_models.lot_terms import Mode, Terms

Array = npt.NDArray[Any]


def within_cash(
    plans: Sequence[Plans], chosen: Sequence[int | None], cash_nano: Sequence[int], prices: Array
) -> list[int]:
    """A plan for every part: what is chosen, as far as the cash reaches, and for the others, and
    all that wait, the best there is cash left for."""
    left = list(cash_nano)
    kept: list[int] = []
    for one, number in zip(plans, chosen, strict=True):
        keeps = number is not None and fits(one.paid[number], left)
        kept.append(number if keeps and number is not None else 0)
        take(left, one.paid[kept[-1]], 1)
    waiting = [
        (_waits(one, number), place)
        for place, (one, number) in enumerate(zip(plans, kept, strict=True))
    ]
    for _, place in sorted(row for row in waiting if row[0]):
        one = plans[place]
        take(left, one.paid[kept[place]], -1)
        kept[place] = best_within(one, kept[place], left, prices)
        take(left, one.paid[kept[place]], 1)
    return kept


def fits(paid: Sequence[int], left: Sequence[int]) -> bool:
    return all(nano <= cash for nano, cash in zip(paid, left, strict=True))


def take(left: list[int], paid: Sequence[int], sign: int) -> None:
    for period, nano in enumerate(paid):
        left[period] -= sign * nano


def _waits(one: Plans, number: int) -> float:
    """Less the price of what a plan lets wait, so that the dearest comes first."""
    return -float(cost_of(one.terms, one.orders[number]).waiting)


def best_within(one: Plans, now: int, left: Sequence[int], prices: Array) -> int:
    """The cheapest plan of a part for which there is cash: of those that are known, and of the best
    ones at the prices of cash and at none."""
    numbers = [number for number, paid in enumerate(one.paid) if fits(paid, left)]
    if has_few_levels(one.terms):
        for terms in _within(one.terms, left):
            for weights in (1.0 + prices, np.ones(len(left))):
                _, orders = cheapest_levels(terms, list(weights))
                number = one.add(
                    tuple(replace(order, mode=_widened(one.terms, order)) for order in orders)
                )
                if number is not None and fits(one.paid[number], left):
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
                tuple(offer if offer and offer[0].offer == alone else () for offer in row)
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

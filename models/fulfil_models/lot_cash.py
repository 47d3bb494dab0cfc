"""Who gets the cash if all parts together may not cost more than so much in a period?

A few parts are one mixed-integer model. Many are taken apart: every period's cash gets a price,
and each part is planned by itself with what it pays weighed by that (`lot_prices.py`). Whatever the
prices are, the parts' least costs less the price of all cash are a bound. In the end each part gets
one of the plans that came up, so that the cash suffices (`lot_choice.py`). With many parts beside
few periods little is lost by that: a best mix of plans has no more broken parts than there are
periods.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import replace

from fulfil_models.lot_choice import choose
from fulfil_models.lot_model import solve_lots
from fulfil_models.lot_orders import Orders, Solved, cost_of
from fulfil_models.lot_prices import Clock, PriceSearch
from fulfil_models.lot_terms import Terms
from fulfil_models.lot_turns import Turns
from fulfil_models.lot_within import narrowed

FEW_MODES, MODEL_NODES = 1_000, 2_000
"""placed-or-not decisions up to which all parts are one model, and nodes of its search tree"""
_SEARCHED = 0.7
"""share of the seconds after which no more prices are tried"""
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
    clock = Clock(seconds, stop)
    # no single order costs more than the cash of its period: prices alone would not see that
    parts = [narrowed(terms, cash_nano) for terms in parts]
    placed = sum(len(offer) for terms in parts for row in terms.modes for offer in row)
    if placed > FEW_MODES or not clock.left():
        return _by_prices(parts, cash_nano, gap, clock)
    answer = solve_lots(
        parts, cash_nano=cash_nano, gap=gap, seconds=seconds / 2, nodes=MODEL_NODES, stop=stop
    )
    bound = int(answer.bound_nano) + sum(terms.rounding_nano for terms in parts)
    if answer.orders is not None:
        orders = _affordable(answer.orders, cash_nano)
        cost = _total(parts, orders)
        if answer.proven:
            solved = [Solved(one, 0, "in one model with cash") for one in orders]
            return solved, min(bound, cost)
    priced, other = _by_prices(parts, cash_nano, gap, clock)
    bound = max(bound, other)
    cut = answer.cut_by_clock or any(one.cut_by_clock for one in priced)
    if answer.orders is not None and cost < _total(parts, [one.orders for one in priced]):
        priced = [Solved(one, 0, "in one model with cash") for one in orders]
    priced = [replace(one, cut_by_clock=cut) for one in priced]
    return priced, min(bound, _total(parts, [one.orders for one in priced]))


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


def _by_prices(
    parts: Sequence[Terms], cash_nano: Sequence[int], gap: float, clock: Clock
) -> tuple[list[Solved], int]:
    search = PriceSearch(parts, cash_nano)
    cut = search.run(gap, clock, _SEARCHED)
    plans = search.priced.plans
    bound = int(search.bound_nano * (1 - _MARGIN))
    turns = Turns(plans, cash_nano, search.prices, choose(plans, cash_nano, search.prices, clock))
    cut |= turns.run(bound / (1 - gap), clock)
    solved = [
        Solved(one.orders[number], 0, "by prices of cash", cut)
        for one, number in zip(plans, turns.numbers, strict=True)
    ]
    return solved, min(bound, turns.cost_nano)

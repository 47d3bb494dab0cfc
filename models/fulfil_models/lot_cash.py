"""Who gets the cash if all parts together may not cost more than so much in a period?

The parts are taken apart: every period's cash gets a price, and each part is planned by itself with
what it pays weighed by that (`lot_prices.py`). Whatever the prices are, the parts' least costs less
the price of all cash are a bound. Then each part gets one of the plans that came up, so that the
cash suffices (`lot_choice.py`, `lot_turns.py`). With many parts beside few periods little is lost
by that: a best mix of plans has no more broken parts than there are periods. Where few parts, or
large orders beside the cash, leave a gap, all parts become one model, without what would lose more
than that gap (`lot_network.py`).
"""

from __future__ import annotations

import threading
from collections.abc import Sequence

from fulfil_models.lot_choice import choose
from fulfil_models.lot_network import Networks
from fulfil_models.lot_orders import Orders, Solved, cost_of
from fulfil_models.lot_prices import Clock, PriceSearch
from fulfil_models.lot_terms import Terms
from fulfil_models.lot_turns import Turns
from fulfil_models.lot_within import narrowed

FEW_ARCS, MOST_ARCS = 2_000, 30_000
"""of all parts: with few of them the model is asked for the gap that is wanted, and for all plans
at once; it never has more than the most"""
ENOUGH, MANY_ARCS = 0.01, 20_000
"""gap that is good enough for so many arcs or more; the less for the fewer"""
MODEL_NODES, _MOST_NODES = 5, 2_000
"""of its search tree: for the most arcs, four times as many for half of them; and at all"""
_FIRST_ROOM = 0.17
"""share of the gap that no arc may lose more than at first"""
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
    parts: their terms, with waiting; none are done with at once.
    """
    if not parts:
        return [], 0
    clock = Clock(seconds, stop)
    # no single order costs more than the cash of its period: prices alone would not see that
    found = _Found([narrowed(terms, cash_nano) for terms in parts], cash_nano)
    found.by_prices(gap, clock)
    found.by_model(gap, clock)
    return found.solved(), found.bound_nano


class _Found:
    """The best orders found for all parts, and the highest bound on their cost.

    Attributes
    ----------
    priced_nano: the bound of the prices, which the losses of arcs are counted from.
    cut: whether the clock cut the search.
    """

    def __init__(self, parts: Sequence[Terms], cash_nano: Sequence[int]) -> None:
        self.parts = parts
        self.cash_nano = cash_nano
        self.rounding = sum(terms.rounding_nano for terms in parts)
        self.prices: list[float] = []
        self.priced_nano = self.bound_nano = self.cost_nano = 0
        self.orders: Sequence[Orders] = ()
        self.way = ""
        self.cut = False

    def solved(self) -> list[Solved]:
        return [Solved(one, 0, self.way, self.cut) for one in self.orders]

    def reached(self, gap: float) -> bool:
        return self.bound_nano >= self.cost_nano * (1 - gap)

    def by_prices(self, gap: float, clock: Clock) -> None:
        search = PriceSearch(self.parts, self.cash_nano)
        self.cut = search.run(gap, clock, _SEARCHED)
        self.prices = search.prices.tolist()
        plans = search.priced.plans
        first = choose(plans, self.cash_nano, search.prices, clock)
        turns = Turns(plans, self.cash_nano, search.prices, first)
        self.priced_nano = int(search.bound_nano * (1 - _MARGIN))
        self.cut |= turns.run(self.priced_nano / (1 - gap), clock)
        self.orders = [one.orders[n] for one, n in zip(plans, turns.numbers, strict=True)]
        self.cost_nano = turns.cost_nano
        self.bound_nano = min(self.priced_nano, self.cost_nano)
        self.way = "by prices of cash"

    def by_model(self, gap: float, clock: Clock) -> None:
        """All parts as one model, where it is small or the gap large: first of what loses little,
        then, where that leaves a gap though it is solved, of all that may be better."""
        if self.reached(gap) or not clock.left():
            return
        every = self.cost_nano - self.priced_nano
        networks = Networks(self.parts, self.cash_nano, self.prices, every)
        lost = networks.lost()
        few = len(lost) <= FEW_ARCS
        gap = gap if few else max(gap, ENOUGH * min(1.0, len(lost) / MANY_ARCS))
        most = float(lost[MOST_ARCS]) if len(lost) > MOST_ARCS else every
        room = min(most, every if few else every * _FIRST_ROOM)
        while not self.reached(gap) and clock.left():
            arcs = int((lost <= room).sum())
            nodes = MODEL_NODES * MOST_ARCS**2 // max(1, arcs) ** 2
            nodes = min(nodes, _MOST_NODES)
            if not self._modelled(networks, room, gap, nodes, clock) or room >= min(most, every):
                return
            every = self.cost_nano - self.priced_nano
            room = min(most, every)

    def _modelled(
        self, networks: Networks, room: float, gap: float, nodes: int, clock: Clock
    ) -> bool:
        """Whether the model of arcs that lose no more than a room was solved to the gap."""
        answer = networks.solve(room, gap=gap, seconds=clock.left(), nodes=nodes, stop=clock.stop)
        self.cut |= answer.cut_by_clock
        # whatever has another arc costs as much more than the bound of the prices as it loses
        bound = min(answer.bound_nano + self.rounding, self.priced_nano + room)
        if answer.orders is not None:
            orders = _affordable(answer.orders, self.cash_nano)
            cost = _total(self.parts, orders)
            if cost < self.cost_nano:
                self.orders, self.cost_nano = orders, cost
                self.way = "in one model with cash"
        self.bound_nano = min(max(self.bound_nano, int(bound)), self.cost_nano)
        return answer.proven


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

"""When is each order best placed if orders may be of any size?

Where every order costs a fixed sum and so much a unit, a best plan never orders while anything is
left (Wagner and Whitin, "Dynamic version of the economic lot size model", Management Science 5,
1958): every order covers the needs of a run of periods. The runs are chosen by dynamic programming.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fulfil_models.lot_levels import Order
from fulfil_models.lot_orders import short_early
from fulfil_models.lot_terms import Terms


@dataclass(frozen=True, slots=True)
class Run:
    """One order: when, how much, and by which of the lines of that period."""

    period: int
    quantity: int
    line: int


@dataclass(frozen=True, slots=True)
class Runs:
    """A best plan; `cost` holds ordering, buying and holding."""

    cost: int
    orders: tuple[Run, ...]


Line = tuple[int, int]
"""what an order costs: fixed, and for every unit"""


def wagner_whitin(
    needs: Sequence[int],
    ordering: Sequence[int],
    holding: int,
    prices: Sequence[int] | None = None,
) -> Runs:
    """Best orders for needs that must be covered in time, with no limits on orders.

    Parameters
    ----------
    needs: units for each period, >= 0.
    ordering: cost of an order in each period.
    holding: cost of a unit that is left at the end of a period.
    prices: price of a unit in each period; none if it never changes.

    All costs in one unit of money; `line` of each order is 0.
    """
    priced = prices if prices is not None else [0] * len(needs)
    best = cheapest_runs(needs, [[line] for line in zip(ordering, priced, strict=True)], holding)
    if best is None:
        raise ValueError("every period has a line, so there is a plan")
    return best


def cheapest_runs(
    needs: Sequence[int], lines: Sequence[Sequence[Line]], holding: int
) -> Runs | None:
    """Best orders where each period has several lines to choose from, or none.

    None if something is needed before anything can come. Of plans that cost the same, one that
    keeps the fewest units from period to period, so that nothing comes early for nothing; of these
    one that orders least at first.
    """
    # cost, and units kept from period to period
    best: list[tuple[int, int] | None] = [(0, 0), *(None for _ in needs)]
    taken: list[tuple[int, Run | None]] = [(0, None) for _ in best]
    for start in range(len(needs)):
        before = best[start]
        if before is None:
            continue
        quantity = kept = 0
        for end in range(start, len(needs)):
            quantity += needs[end]
            kept += needs[end] * (end - start)
            cost, line = before[0], 0
            if quantity:
                if not lines[start]:
                    break
                paid, line = _cheapest(lines[start], quantity)
                cost += paid + kept * holding
            known = best[end + 1]
            if known is None or (cost, before[1] + kept) < known:
                best[end + 1] = cost, before[1] + kept
                taken[end + 1] = (start, Run(start, quantity, line) if quantity else None)
    total = best[-1]
    if total is None:
        return None
    orders: list[Run] = []
    end = len(needs)
    while end:
        end, run = taken[end]
        if run is not None:
            orders.append(run)
    return Runs(total[0], tuple(reversed(orders)))


def _cheapest(lines: Sequence[Line], quantity: int) -> tuple[int, int]:
    """What an order of a quantity costs by the cheapest line, and which that is."""
    if len(lines) == 1:
        fixed, price = lines[0]
        return fixed + price * quantity, 0
    costs = [fixed + price * quantity for fixed, price in lines]
    least = min(costs)
    return least, costs.index(least)


def runs_of(terms: Terms) -> tuple[Runs, bool]:
    """Best orders of a part if minimum, multiple, caps, breaks' quantities and what is due within a
    period were no matter.

    Their cost, in nano-currency without that of rounding, is a bound in any case. The second value
    tells whether the orders keep to the terms all the same: then nothing is better.
    """
    lines = [[(m.fixed_nano, m.price_nano) for offer in row for m in offer] for row in terms.modes]
    best = cheapest_runs(terms.needs, lines, terms.holding_nano)
    if best is None:
        raise ValueError(f"part {terms.part.part}: something is due before anything can come")
    flat = [[mode for offer in row for mode in offer] for row in terms.modes]
    orders = [Order(run.period, flat[run.period][run.line], run.quantity) for run in best.orders]
    kept = all(order.mode.allows(order.levels) for order in orders)
    return best, kept and not short_early(terms, orders)

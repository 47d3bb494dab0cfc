"""How much is best ordered at a time, and at which stock, where demand goes on evenly?

Costs are per year, or any other time that demand and holding are given for. Ordering is a sum for
every order; holding is for one unit and that time. Floating-point numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from fulfil_models.safety import (
    LeadTimeDemand,
    lead_time_demand,
    newsvendor_poisson,
    normal_z,
    poisson_cost,
    short_per_cycle,
)


@dataclass(frozen=True, slots=True)
class OrderSize:
    """An order size and what ordering and holding cost with it, in the time of the demand."""

    quantity: float
    cost: float


def economic_order(ordering: float, holding: float, demand: float) -> OrderSize:
    """The size at which ordering and holding cost least together."""
    _above_0(ordering=ordering, holding=holding, demand=demand)
    return OrderSize(sqrt(2 * ordering * demand / holding), sqrt(2 * ordering * demand * holding))


@dataclass(frozen=True, slots=True)
class BackorderSize:
    """An order size; `waiting` is the share of it that is owed when it comes."""

    quantity: float
    waiting: float
    cost: float


def economic_order_with_backorders(
    ordering: float, holding: float, penalty: float, demand: float
) -> BackorderSize:
    """The same where demand may wait, at a penalty for one unit and time."""
    _above_0(ordering=ordering, holding=holding, penalty=penalty, demand=demand)
    share = penalty / (holding + penalty)
    plain = economic_order(ordering, holding * share, demand)
    return BackorderSize(plain.quantity, 1 - share, plain.cost)


def economic_production(ordering: float, holding: float, demand: float, rate: float) -> OrderSize:
    """The same where an order comes in at a rate instead of all at once.

    Raises ValueError unless the rate is above demand.
    """
    _above_0(ordering=ordering, holding=holding, demand=demand)
    if not rate > demand:
        raise ValueError(f"a rate of {rate} does not keep up with demand; give more than {demand}")
    return economic_order(ordering, holding * (1 - demand / rate), demand)


def order_with_breaks(
    ordering: float, holding_share: float, demand: float, breaks: Sequence[tuple[float, float]]
) -> OrderSize:
    """The best size where all units of an order have the price of the last break reached.

    Parameters
    ----------
    holding_share: of the price, for one unit and time.
    breaks: quantities from which a price holds, ascending, the first 0; the price for one unit.

    The cost holds the price of all demand.
    """
    _above_0(ordering=ordering, holding_share=holding_share, demand=demand)
    starts = [row[0] for row in breaks]
    if not starts or starts[0] != 0 or starts != sorted(set(starts)):
        raise ValueError("price breaks ascend from 0; put them in order, and give the first from 0")
    ends = [*starts[1:], float("inf")]
    sizes = []
    for (start, price), end in zip(breaks, ends, strict=True):
        _above_0(price=price)
        holding = holding_share * price
        quantity = max(start, economic_order(ordering, holding, demand).quantity)
        if quantity < end:
            cost = price * demand + ordering * demand / quantity + holding * quantity / 2
            sizes.append(OrderSize(quantity, cost))
    return min(sizes, key=lambda size: (size.cost, size.quantity))


# ---- a reorder point and an order size together


@dataclass(frozen=True, slots=True)
class Policy:
    """Order `quantity` whenever stock on hand and on order comes down to `point`."""

    point: float
    quantity: float
    cost: float


_ROUNDS = 1000
_STILL = 1e-12


def reorder_and_size(
    ordering: float,
    holding: float,
    penalty: float,
    demand: float,
    deviation: float,
    lead_time: float,
) -> Policy:
    """Point and size for normal demand, by the mean stock (an approximation).

    Holding is counted on the mean stock as if nothing ever waited, the penalty on every unit that
    is short. Point and size are set in turns until they stay.

    Raises ValueError where the penalty is too low for any point.
    """
    _above_0(ordering=ordering, holding=holding, penalty=penalty, demand=demand)
    wanted = lead_time_demand(demand, deviation, lead_time)
    quantity, point = economic_order(ordering, holding, demand).quantity, 0.0
    for _ in range(_ROUNDS):
        missed = holding * quantity / (penalty * demand)
        if missed >= 1:
            raise ValueError("the penalty is below the cost of holding; give a higher penalty")
        before = quantity
        point = wanted.mean + normal_z(1 - missed) * wanted.deviation
        short = short_per_cycle(wanted, point - wanted.mean)
        quantity = sqrt(2 * demand * (ordering + penalty * short) / holding)
        if abs(quantity - before) <= _STILL * quantity:
            break
    return Policy(
        point, quantity, _policy_cost(ordering, holding, penalty, wanted, demand, point, quantity)
    )


def _policy_cost(
    ordering: float,
    holding: float,
    penalty: float,
    wanted: LeadTimeDemand,
    demand: float,
    point: float,
    quantity: float,
) -> float:
    short = short_per_cycle(wanted, point - wanted.mean)
    stock = point - wanted.mean + quantity / 2
    return holding * stock + (ordering + penalty * short) * demand / quantity


def economic_order_with_safety(
    ordering: float,
    holding: float,
    penalty: float,
    demand: float,
    deviation: float,
    lead_time: float,
) -> Policy:
    """Point and size one after the other: the economic order, and a stock that balances a unit held
    and a unit short for the same time. `cost` is that of `reorder_and_size` with them."""
    wanted = lead_time_demand(demand, deviation, lead_time)
    quantity = economic_order(ordering, holding, demand).quantity
    point = wanted.mean + normal_z(penalty / (penalty + holding)) * wanted.deviation
    return Policy(
        point, quantity, _policy_cost(ordering, holding, penalty, wanted, demand, point, quantity)
    )


def poisson_reorder_and_size(
    ordering: float, holding: float, penalty: float, demand: float, lead_time: float
) -> Policy:
    """Best whole point and size for Poisson demand, exact.

    After an order, stock on hand and on order is equally likely anywhere from point + 1 to point +
    quantity; the size grows to the cheaper side as long as that lowers the mean cost.
    """
    _above_0(ordering=ordering, holding=holding, penalty=penalty, demand=demand)
    mean = demand * lead_time

    def rate(position: int) -> float:
        return poisson_cost(position, holding, penalty, mean)

    best = int(newsvendor_poisson(holding, penalty, mean).quantity)
    point, quantity = best - 1, 1
    total = ordering * demand + rate(best)
    while True:
        below, above = rate(point), rate(point + quantity + 1)
        if min(below, above) * quantity >= total:
            return Policy(point, quantity, total / quantity)
        total += min(below, above)
        quantity += 1
        if below <= above:
            point -= 1


def _above_0(**figures: float) -> None:
    for name, value in figures.items():
        if not value > 0:
            raise ValueError(f"{name.replace('_', ' ')} is {value}; give more than 0")

"""How much stock guards against demand and lead times that are not certain?

Demand in a lead time is taken to be normally distributed unless it says otherwise. Quantities are
floating-point numbers in any unit, all of one call in the same; times likewise.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import erfc, exp, lgamma, log, pi, sqrt
from statistics import NormalDist

_STANDARD = NormalDist()


# ---- the standard normal distribution


def normal_density(z: float) -> float:
    return exp(-z * z / 2) / sqrt(2 * pi)


def normal_share(z: float) -> float:
    """Share of a standard normal quantity up to z."""
    return erfc(-z / sqrt(2)) / 2


def normal_z(share: float) -> float:
    """The z up to which a share of a standard normal quantity lies.

    Raises ValueError unless the share is above 0 and below 1.
    """
    if not 0 < share < 1:
        raise ValueError(f"a share of {share} has no z; give one above 0 and below 1")
    return _STANDARD.inv_cdf(share)


def unit_loss(z: float) -> float:
    """Mean of what a standard normal quantity is above z (the normal loss function)."""
    return normal_density(z) - z * normal_share(-z)


def z_of_unit_loss(loss: float) -> float:
    """The z at which the unit loss is so much.

    Raises ValueError unless the loss is above 0.
    """
    if not loss > 0:
        raise ValueError(f"a loss of {loss} has no z; give one above 0")
    # the loss falls as z rises, and is never below -z
    return _falling_to(unit_loss, loss, -loss - 1.0, 40.0)


def _falling_to(value: Callable[[float], float], wanted: float, low: float, high: float) -> float:
    """Where a falling function comes down to a value, by halving."""
    while True:
        middle = (low + high) / 2
        if middle in (low, high):
            return middle
        if value(middle) > wanted:
            low = middle
        else:
            high = middle


# ---- demand in a lead time


@dataclass(frozen=True, slots=True)
class LeadTimeDemand:
    """Mean and standard deviation of what is wanted while an order is on its way."""

    mean: float
    deviation: float


def lead_time_demand(
    mean: float, deviation: float, lead_mean: float, lead_deviation: float = 0.0
) -> LeadTimeDemand:
    """Demand in a lead time, from demand in one period and the lead time in periods.

    Demand of different periods, and the lead time, do not depend on each other.
    Raises ValueError for a figure below 0.
    """
    if min(mean, deviation, lead_mean, lead_deviation) < 0:
        raise ValueError("demand, lead time and their deviations are not below 0; give 0 or more")
    variance = lead_mean * deviation**2 + mean**2 * lead_deviation**2
    return LeadTimeDemand(mean * lead_mean, sqrt(variance))


# ---- safety stock


def safety_stock(demand: LeadTimeDemand, service: float) -> float:
    """Stock beyond the mean demand, so that a share of order cycles end without a shortage.

    Below a service of 0.5 it is negative.
    """
    return normal_z(service) * demand.deviation


def reorder_point(demand: LeadTimeDemand, service: float) -> float:
    return demand.mean + safety_stock(demand, service)


def cycle_service(demand: LeadTimeDemand, safety: float) -> float:
    """Share of order cycles that a safety stock brings to their end without a shortage."""
    if not demand.deviation:
        return 1.0 if safety >= 0 else 0.0
    return normal_share(safety / demand.deviation)


def short_per_cycle(demand: LeadTimeDemand, safety: float) -> float:
    """Mean quantity short in an order cycle."""
    if not demand.deviation:
        return max(0.0, -safety)
    return demand.deviation * unit_loss(safety / demand.deviation)


def fill_rate(demand: LeadTimeDemand, safety: float, lot: float) -> float:
    """Share of demand that is met from the shelf, with orders of one size.

    Raises ValueError unless the size is above 0.
    """
    _lot_above_0(lot)
    return 1 - short_per_cycle(demand, safety) / lot


def safety_for_fill_rate(demand: LeadTimeDemand, share: float, lot: float) -> float:
    """Safety stock with which a share of demand is met from the shelf; negative where the orders
    are so large that less than the mean demand suffices.

    Raises ValueError unless the share is from 0 to below 1, and the size above 0.
    """
    _lot_above_0(lot)
    if not 0 <= share < 1:
        raise ValueError(f"a fill rate of {share} cannot be had; give one from 0 to below 1")
    short = (1 - share) * lot
    if not demand.deviation:
        return -short
    return demand.deviation * z_of_unit_loss(short / demand.deviation)


def _lot_above_0(lot: float) -> None:
    if not lot > 0:
        raise ValueError(f"an order of {lot} is none; give a size above 0")


def reorder_point_of_leads(
    mean: float, deviation: float, leads: Mapping[float, float], service: float
) -> float:
    """Reorder point for a service where the lead time is as it was, not as a normal one would be.

    For services a little above 0.5 a lead time that varies less may ask for more, which the normal
    formula cannot tell (Chopra, Reinhardt and Dada, "The effect of lead time uncertainty on safety
    stocks", Decision Sciences 35, 2004).

    Parameters
    ----------
    mean, deviation: of demand in one period.
    leads: share of every lead time, in periods; the shares add up to 1.
    """
    if abs(sum(leads.values()) - 1) > 1e-9 or min(leads.values()) < 0 or min(leads) < 0:
        raise ValueError("shares of lead times add up to 1, with nothing below 0; mend them")
    each = [(share, lead_time_demand(mean, deviation, lead)) for lead, share in leads.items()]

    def missed(point: float) -> float:
        return 1 - sum(share * cycle_service(d, point - d.mean) for share, d in each)

    reach = normal_z(service)
    ends = [d.mean + reach * d.deviation for _, d in each]
    return _falling_to(missed, 1 - service, min(ends) - 1.0, max(ends) + 1.0)


# ---- one order for one season


@dataclass(frozen=True, slots=True)
class Level:
    """How much to have, and the mean cost of what is left or short then."""

    quantity: float
    cost: float


def newsvendor(holding: float, penalty: float, mean: float, deviation: float) -> Level:
    """Best quantity for one normal demand, at a cost for each unit left and each unit short."""
    _both_above_0(holding, penalty)
    z = normal_z(penalty / (penalty + holding))
    return Level(mean + z * deviation, (holding + penalty) * deviation * normal_density(z))


def newsvendor_poisson(holding: float, penalty: float, mean: float) -> Level:
    """Best whole quantity for one Poisson demand: the first with which the share of demands that it
    covers is that of the penalty in both costs."""
    _both_above_0(holding, penalty)
    wanted = penalty / (penalty + holding)
    quantity, share = 0, poisson_share(0, mean)
    while share < wanted:
        quantity += 1
        share += poisson_share(quantity, mean)
    return Level(quantity, poisson_cost(quantity, holding, penalty, mean))


def poisson_share(count: int, mean: float) -> float:
    """Share of Poisson demands that are just so many."""
    if not mean:
        return 1.0 if count == 0 else 0.0
    return exp(count * log(mean) - mean - lgamma(count + 1))


def poisson_cost(quantity: int, holding: float, penalty: float, mean: float) -> float:
    """Mean cost of what is left or short of a quantity (may be below 0) for a Poisson demand."""
    left = sum((quantity - count) * poisson_share(count, mean) for count in range(quantity))
    return holding * left + penalty * (left + mean - quantity)


def _both_above_0(holding: float, penalty: float) -> None:
    if not (holding > 0 and penalty > 0):
        raise ValueError("the costs of a unit left and of a unit short are above 0; give both")

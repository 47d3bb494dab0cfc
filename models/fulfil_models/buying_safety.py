"""How much of each bought part guards against more orders, and later deliveries, than expected?

Only what is expected is guarded so: what is ordered is known. Orders beyond the book are taken to
come by chance (Poisson), each taking as much as those in the book do on average; the lead time is
taken to vary as the record says, its 50 and 90 % apart as those of a normal one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import ceil, sqrt

from fulfil_models.buying_needs import home_points, usable_sources
from fulfil_models.demand_ahead import DemandAhead
from fulfil_models.expected_days import order_days
from fulfil_models.leadtimes import LeadTime
from fulfil_models.problem import Problem
from fulfil_models.safety import lead_time_demand, normal_z, poisson_share, safety_stock
from fulfil_models.tables import Source

MONTH_DAYS = 365.25 / 12
P90 = 0.9


def safety_stocks(
    problem: Problem,
    demand: DemandAhead,
    leads: Mapping[tuple[str, str], LeadTime],
    service: float,
    *,
    parts: Iterable[str] | None = None,
) -> dict[str, int]:
    """Thousandths to keep of each bought part of which any is expected, in steps of the part.

    Parameters
    ----------
    service: share of order cycles that are to end without a shortage, above 0 and below 1.
    parts: only these; None for all.

    Raises ValueError for a service that cannot be.
    """
    normal_z(service)
    sources = usable_sources(problem)
    homes = home_points(demand, sources)
    only = None if parts is None else set(parts)
    found = {}
    for part, needs in demand.forecast.items():
        if part not in homes or problem.parts[part].make or (only is not None and part not in only):
            continue
        total = sum(need.milli for need in needs)
        each = _each_order(problem, demand, part)
        source = sources[part, homes[part]][0]
        milli = _stock(
            total / len(demand.months), each, source, leads.get((part, source.supplier)), service
        )
        step = problem.parts[part].step_milli
        if milli > 0:
            found[part] = ceil(milli / step) * step
    return found


def _each_order(problem: Problem, demand: DemandAhead, part: str) -> float:
    """What one order takes of a part on average; a step where nobody in the book takes any."""
    sizes = [need.milli for need in demand.firm.get(part, ())]
    step = problem.parts[part].step_milli
    return max(step, sum(sizes) / len(sizes)) if sizes else step


def _stock(
    monthly: float, each: float, source: Source, lead: LeadTime | None, service: float
) -> float:
    """Safety stock in thousandths, 0 where most lead times bring no order at all."""
    middle, late = lead_days(source, lead)
    orders = monthly / each * late / MONTH_DAYS
    if poisson_share(0, orders) >= service:
        return 0.0
    spread = max(0, late - middle) / normal_z(P90)
    during = lead_time_demand(
        monthly, sqrt(monthly * each), middle / MONTH_DAYS, spread / MONTH_DAYS
    )
    return max(0.0, safety_stock(during, service))


def lead_days(source: Source, lead: LeadTime | None) -> tuple[int, int]:
    """Days within which 50 and 90 of 100 orders of a source come."""
    return order_days(source, lead, "50"), order_days(source, lead, "90")

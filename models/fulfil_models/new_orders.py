"""Which new orders does the plan count on, and when must each be placed?"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta

from fulfil_models.cells import MILLI
from fulfil_models.months import next_month
from fulfil_models.moves import ForWhom, for_whom, required
from fulfil_models.order_days import OpenDays
from fulfil_models.plan import Plan, Supply, SupplyKind
from fulfil_models.plan_index import PlanIndex
from fulfil_models.tables import Dataset, PriceBreak, Source


@dataclass(frozen=True, slots=True)
class NewOrder:
    """One order to place.

    Attributes
    ----------
    needed_on: first day on which anything of it is used or moved on; None if nothing is.
    latest_on: last day on which it could be placed and still be there for that. A source with a
        monthly cap is held to the month in which the plan has it arrive.
    drawn_milli: what the plan uses of it; the rest is ordered because of minimum and multiple.
    minimum_milli, multiple_milli, monthly_cap_milli: the source's terms; None where it has none or
        is no longer in the data.
    price_micro: for one unit at this quantity; None where no price is given.
    cost_micro: price x quantity, expediting not included.
    expedite_cost_micro: for all units; 0 where it is not expedited.
    """

    place_on: date
    supplier: str
    part: str
    description: str | None
    point: str
    quantity_milli: int
    unit: str
    arrives_on: date
    needed_on: date | None
    latest_on: date
    drawn_milli: int
    minimum_milli: int | None
    multiple_milli: int | None
    monthly_cap_milli: int | None
    expedited: bool
    price_micro: int | None
    cost_micro: int | None
    expedite_cost_micro: int
    supply: str
    for_whom: tuple[ForWhom, ...]


def price_at(quantity_milli: int, source: Source | None, breaks: list[PriceBreak]) -> int | None:
    """Price of one unit in an order of that quantity: of the highest break reached, else the
    source's own."""
    reached = [row for row in breaks if row.from_quantity_milli <= quantity_milli]
    if reached:
        return max(reached, key=lambda row: row.from_quantity_milli).price_micro
    return None if source is None else source.price_micro


def new_orders(dataset: Dataset, plan: Plan) -> tuple[NewOrder, ...]:
    """Every new purchase that a plan counts on, in order of the day to place it."""
    index = PlanIndex(plan)
    days = OpenDays(dataset, plan.as_of)
    parts = {row.part: row for row in dataset.parts}
    sources = {(row.part, row.supplier, row.point): row for row in dataset.sources}
    breaks: defaultdict[tuple[str, str], list[PriceBreak]] = defaultdict(list)
    for row in dataset.price_breaks:
        breaks[row.part, row.supplier].append(row)
    found: list[NewOrder] = []
    for supply in plan.supplies:
        if supply.kind is not SupplyKind.NEW_PURCHASE:
            continue
        supplier = required(supply, supply.supplier)
        source = sources.get((supply.part, supplier, supply.point))
        price_micro = price_at(supply.quantity_milli, source, breaks[supply.part, supplier])
        expedited = bool(supply.expedited)
        part = parts.get(supply.part)
        needed_on = index.first_taken.get(supply.supply)
        uses = index.uses_of.get(supply.supply, [])
        extra = (source.expedite_cost_micro or 0) if source is not None and expedited else 0
        found.append(
            NewOrder(
                place_on=required(supply, supply.place_on),
                supplier=supplier,
                part=supply.part,
                description=None if part is None else part.description,
                point=supply.point,
                quantity_milli=supply.quantity_milli,
                unit="ea" if part is None else part.unit,
                arrives_on=required(supply, supply.arrives_on),
                needed_on=needed_on,
                latest_on=_latest(supply, needed_on, source, days),
                drawn_milli=sum(use.quantity_milli for use in uses),
                minimum_milli=None if source is None else source.minimum_milli or None,
                multiple_milli=None if source is None else source.multiple_milli or None,
                monthly_cap_milli=None if source is None else source.monthly_cap_milli,
                expedited=expedited,
                price_micro=price_micro,
                cost_micro=None
                if price_micro is None
                else price_micro * supply.quantity_milli // MILLI,
                expedite_cost_micro=extra * supply.quantity_milli // MILLI,
                supply=supply.supply,
                for_whom=for_whom(uses),
            )
        )
    return tuple(sorted(found, key=lambda o: (o.place_on, o.supplier, o.part, o.supply)))


def _latest(supply: Supply, needed_on: date | None, source: Source | None, days: OpenDays) -> date:
    """Last day on which a new purchase could be placed without being late for its first use."""
    place_on = required(supply, supply.place_on)
    arrives_on = required(supply, supply.arrives_on)
    if needed_on is None:
        return place_on
    latest = days.until(supply.point, needed_on)
    if source is not None and source.monthly_cap_milli is not None:
        latest = min(latest, next_month(arrives_on) - timedelta(1))
    return max(place_on, latest - (arrives_on - place_on))

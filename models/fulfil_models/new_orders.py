"""Which new orders does the plan count on, and when must each be placed?"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from fulfil_models.cells import MILLI
from fulfil_models.moves import ForWhom, for_whom, required
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.tables import Dataset, PriceBreak, Source
from fulfil_models.uses import PlanIndex


@dataclass(frozen=True, slots=True)
class NewOrder:
    """One order to place.

    Attributes
    ----------
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
    arrives_on: date
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
    descriptions = {row.part: row.description for row in dataset.parts}
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
        extra = (source.expedite_cost_micro or 0) if source is not None and expedited else 0
        found.append(
            NewOrder(
                place_on=required(supply, supply.place_on),
                supplier=supplier,
                part=supply.part,
                description=descriptions.get(supply.part),
                point=supply.point,
                quantity_milli=supply.quantity_milli,
                arrives_on=required(supply, supply.arrives_on),
                expedited=expedited,
                price_micro=price_micro,
                cost_micro=None
                if price_micro is None
                else price_micro * supply.quantity_milli // MILLI,
                expedite_cost_micro=extra * supply.quantity_milli // MILLI,
                supply=supply.supply,
                for_whom=for_whom(index.uses_of.get(supply.supply, [])),
            )
        )
    return tuple(sorted(found, key=lambda o: (o.place_on, o.supplier, o.part, o.supply)))

"""What would an order of a part placed today bring: from whom, when, for how much, at least how
many?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from fulfil_models.order_days import OrderDays
from fulfil_models.plan import Supply, SupplyKind
from fulfil_models.settings import Settings
from fulfil_models.source_terms import first_arrival
from fulfil_models.tables import Dataset, Source


@dataclass(frozen=True, slots=True)
class Offer:
    """One source of a part and what an order of the planning date would bring.

    Attributes
    ----------
    month_left_milli: what the supplier's monthly cap leaves in the month in which an order of today
        would arrive, after open purchases and the plan's new ones; None without a cap.
    usable_on: day from which an order placed today is usable at `point`.
    expedited_on: the same if expedited; None where that is not offered.
    price_micro: of one unit, without price breaks.
    expedite_cost_micro: more for one unit if expedited.
    """

    supplier: str
    point: str
    lead_days: int
    minimum_milli: int
    multiple_milli: int
    monthly_cap_milli: int | None
    month_left_milli: int | None
    price_micro: int | None
    usable_on: date
    expedite_days: int | None
    expedite_cost_micro: int | None
    expedited_on: date | None


def offers(
    dataset: Dataset, settings: Settings, ways: OrderDays, part: str, new: Iterable[Supply]
) -> tuple[Offer, ...]:
    """The sources of which anything can be ordered, the soonest first.

    Parameters
    ----------
    new: new purchases of the part that the plan counts on.
    """
    planned = [row for row in new if row.kind is SupplyKind.NEW_PURCHASE and row.part == part]
    found = []
    for source in (row for rows in ways.sources.values() for row in rows):
        arrives = first_arrival(settings, source)
        left: int | None = None
        if source.monthly_cap_milli is not None:
            taken = _coming(dataset, settings, source, planned, arrives)
            left = max(0, source.monthly_cap_milli - taken)
        hurried = bool(source.expedite_days)
        found.append(
            Offer(
                supplier=source.supplier,
                point=source.point,
                lead_days=source.lead_days,
                minimum_milli=source.minimum_milli,
                multiple_milli=source.multiple_milli,
                monthly_cap_milli=source.monthly_cap_milli,
                month_left_milli=left,
                price_micro=source.price_micro,
                usable_on=ways.usable_from(source, settings.first_order_day),
                expedite_days=source.expedite_days if hurried else None,
                expedite_cost_micro=(source.expedite_cost_micro or 0) if hurried else None,
                expedited_on=ways.usable_from(source, settings.first_order_day, hurried=True)
                if hurried
                else None,
            )
        )
    return tuple(sorted(found, key=lambda row: (row.usable_on, row.supplier, row.point)))


def _coming(
    dataset: Dataset, settings: Settings, source: Source, planned: list[Supply], day: date
) -> int:
    """Units of the source's part from its supplier, to any point, in the month of a day."""
    month = (day.year, day.month)
    bought = sum(
        row.quantity_milli
        for row in dataset.purchases
        if (row.part, row.supplier) == (source.part, source.supplier)
        and _month(settings.counted_on(row.due)) == month
    )
    return bought + sum(
        row.quantity_milli
        for row in planned
        if row.supplier == source.supplier
        and row.arrives_on is not None
        and _month(row.arrives_on) == month
    )


def _month(day: date) -> tuple[int, int]:
    return day.year, day.month

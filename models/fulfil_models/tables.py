"""The tables of a data set: one frozen row class each, whose fields describe their columns.

Attributes end in the unit of their integer: `_milli` thousandths, `_ppm` millionths,
`_micro` millionths of the currency, `_g` grams. Times of day are minutes after midnight.

The classes stand by subject in `tables_points`, `tables_parts`, `tables_supply`, `tables_work` and
`tables_orders`; they are imported from here, where their order is given, too.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any

from fulfil_models.columns import TABLES
from fulfil_models.tables_orders import Delivered, Delivery, Demand, PartsOrder, TakeRate
from fulfil_models.tables_parts import Alternate, BillLine, Part, Rating
from fulfil_models.tables_points import Calendar, Closure, Point, Setting, Shift
from fulfil_models.tables_supply import Lane, PriceBreak, Purchase, Receipt, Source, Stock, Supplier
from fulfil_models.tables_work import (
    Build,
    BuildOption,
    Downtime,
    Progress,
    RegionRule,
    RoutingStep,
    WorkCentre,
)

__all__ = [
    "Alternate",
    "BillLine",
    "Build",
    "BuildOption",
    "Calendar",
    "Closure",
    "Dataset",
    "Delivered",
    "Delivery",
    "Demand",
    "Downtime",
    "Lane",
    "Part",
    "PartsOrder",
    "Point",
    "PriceBreak",
    "Progress",
    "Purchase",
    "Rating",
    "Receipt",
    "RegionRule",
    "RoutingStep",
    "Setting",
    "Shift",
    "Source",
    "Stock",
    "Supplier",
    "TakeRate",
    "WorkCentre",
]


@dataclass(frozen=True, slots=True)
class Dataset:
    """All rows of a data set, table by table, in any order; missing tables are empty."""

    settings: tuple[Setting, ...] = ()
    points: tuple[Point, ...] = ()
    calendars: tuple[Calendar, ...] = ()
    shifts: tuple[Shift, ...] = ()
    closures: tuple[Closure, ...] = ()
    parts: tuple[Part, ...] = ()
    bills: tuple[BillLine, ...] = ()
    alternates: tuple[Alternate, ...] = ()
    suppliers: tuple[Supplier, ...] = ()
    sources: tuple[Source, ...] = ()
    price_breaks: tuple[PriceBreak, ...] = ()
    stock: tuple[Stock, ...] = ()
    purchases: tuple[Purchase, ...] = ()
    receipts: tuple[Receipt, ...] = ()
    lanes: tuple[Lane, ...] = ()
    work_centres: tuple[WorkCentre, ...] = ()
    downtime: tuple[Downtime, ...] = ()
    routings: tuple[RoutingStep, ...] = ()
    builds: tuple[Build, ...] = ()
    build_options: tuple[BuildOption, ...] = ()
    progress: tuple[Progress, ...] = ()
    region_rules: tuple[RegionRule, ...] = ()
    ratings: tuple[Rating, ...] = ()
    deliveries: tuple[Delivery, ...] = ()
    parts_orders: tuple[PartsOrder, ...] = ()
    demand: tuple[Demand, ...] = ()
    take_rates: tuple[TakeRate, ...] = ()
    delivered: tuple[Delivered, ...] = ()
    notes: tuple[str, ...] = field(default=(), compare=False)
    """what was assumed on the way in, to be shown"""

    def rows(self, name: str) -> tuple[Any, ...]:
        """Rows of the table `name`; raises KeyError for a table that does not exist."""
        if name not in TABLES:
            raise KeyError(name)
        rows: tuple[Any, ...] = getattr(self, name)
        return rows


for _field in fields(Dataset):  # the tables in the order of the data set, however they were read in
    if _field.name in TABLES:
        TABLES[_field.name] = TABLES.pop(_field.name)

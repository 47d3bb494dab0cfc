"""Tables of where units come from: stock, purchases, sources, and lanes between points."""

# ruff: noqa: RUF009  # `column` makes a dataclass field, which the rule cannot see
from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fulfil_models import cells as k
from fulfil_models.columns import column, table


@table("suppliers", "Who parts are bought from.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Supplier:
    supplier: str = column(k.IDENTIFIER, "supplier", key=True)
    name: str | None = column(k.TEXT, "name in full")


@table("sources", "Where new purchases can come from, delivered to which point.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    part: str = column(k.IDENTIFIER, "part", key=True, refers="parts.part")
    supplier: str = column(k.IDENTIFIER, "supplier", key=True, refers="suppliers.supplier")
    point: str = column(k.IDENTIFIER, "point delivered to", key=True, refers="points.point")
    lead_days: int = column(
        k.DAYS, "from order to arrival", required=True, unit="calendar days", least="0"
    )
    minimum_milli: int = column(
        k.QUANTITY, "smallest order", name="minimum", default="0", least="0"
    )
    multiple_milli: int = column(
        k.QUANTITY, "orders are multiples of it; 0 = any", name="multiple", default="0", least="0"
    )
    price_micro: int | None = column(
        k.MONEY, "price", name="price", unit="currency per unit", least="0"
    )
    monthly_cap_milli: int | None = column(
        k.QUANTITY,
        "most units arriving in a calendar month, open purchases included; empty = no limit",
        name="monthly_cap",
        least="0",
    )
    expedite_days: int | None = column(
        k.DAYS, "how much sooner it comes if expedited", unit="calendar days", least="0"
    )
    expedite_cost_micro: int | None = column(
        k.MONEY,
        "cost of expediting",
        name="expedite_cost",
        unit="currency per unit",
        least="0",
    )
    rank: int = column(k.COUNT, "order of preference, 1 first", default="1", least="1")


@table("price_breaks", "Prices from a quantity on.")
@dataclass(frozen=True, slots=True, kw_only=True)
class PriceBreak:
    part: str = column(k.IDENTIFIER, "part", key=True, refers="parts.part")
    supplier: str = column(k.IDENTIFIER, "supplier", key=True, refers="suppliers.supplier")
    from_quantity_milli: int = column(
        k.QUANTITY, "order quantity from which it holds", name="from_quantity", key=True, least="0"
    )
    price_micro: int = column(
        k.MONEY, "price", name="price", required=True, unit="currency per unit", least="0"
    )


@table("stock", "Counted stock on the shelf.", required=True)
@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    point: str = column(k.IDENTIFIER, "shipping point", key=True, refers="points.point")
    part: str = column(k.IDENTIFIER, "part", key=True, refers="parts.part")
    quantity_milli: int = column(
        k.QUANTITY, "on the shelf", name="quantity", required=True, least="0"
    )
    held_milli: int = column(
        k.QUANTITY, "of it not to be used", name="held", default="0", least="0"
    )
    counted_on: date | None = column(k.DATE, "day of the count")


@table("purchases", "Open purchase lines: what is still to come.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Purchase:
    order: str = column(k.IDENTIFIER, "purchase order", key=True)
    line: str = column(k.IDENTIFIER, "line", key=True)
    part: str = column(k.IDENTIFIER, "part", required=True, refers="parts.part")
    supplier: str = column(k.IDENTIFIER, "supplier", required=True, refers="suppliers.supplier")
    point: str = column(k.IDENTIFIER, "point delivered to", required=True, refers="points.point")
    quantity_milli: int = column(
        k.QUANTITY, "still to come", name="quantity", required=True, above="0"
    )
    ordered: date = column(k.DATE, "day it was ordered", required=True)
    due: date = column(k.DATE, "day it is due", required=True)
    confirmed: bool = column(k.YES_NO, "date confirmed by the supplier", default="yes")


@table("receipts", "Past deliveries of suppliers: what lead times are learnt from.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Receipt:
    order: str = column(k.IDENTIFIER, "purchase order", key=True)
    line: str = column(k.IDENTIFIER, "line", key=True)
    part: str = column(k.IDENTIFIER, "part", required=True, refers="parts.part")
    supplier: str = column(k.IDENTIFIER, "supplier", required=True, refers="suppliers.supplier")
    point: str = column(k.IDENTIFIER, "point delivered to", required=True, refers="points.point")
    quantity_milli: int = column(k.QUANTITY, "received", name="quantity", required=True, above="0")
    ordered: date = column(k.DATE, "day it was ordered", required=True)
    due: date | None = column(k.DATE, "day it was due")
    received: date = column(k.DATE, "day it came", key=True)


@table("lanes", "Ways to move stock from point to point.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    origin: str = column(k.IDENTIFIER, "from", key=True, refers="points.point")
    destination: str = column(k.IDENTIFIER, "to", key=True, refers="points.point")
    days: int = column(
        k.DAYS, "from leaving to arrival", required=True, unit="calendar days", least="0"
    )
    weekdays: tuple[str, ...] = column(
        k.WEEKDAY_LIST, "departure days; empty = every day the origin is open", default=""
    )
    cost_per_move_micro: int = column(
        k.MONEY,
        "cost of one departure",
        name="cost_per_move",
        default="0",
        unit="currency",
        least="0",
    )
    cost_per_kg_micro: int = column(
        k.MONEY,
        "cost by weight",
        name="cost_per_kg",
        default="0",
        unit="currency per kg",
        least="0",
    )

"""Tables of spare parts on order, of their delivery, and of what is sold and expected."""

# ruff: noqa: RUF009  # `column` makes a dataclass field, which the rule cannot see
from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fulfil_models import cells as k
from fulfil_models.columns import column, table


@table("deliveries", "Carriers' days and costs from a point to a destination.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    point: str = column(k.IDENTIFIER, "from", key=True, refers="points.point")
    destination: str = column(
        k.IDENTIFIER, "region or beginning of a postal code; the longest match wins", key=True
    )
    days: int = column(k.DAYS, "transit", required=True, unit="carrier days Mon-Fri", least="0")
    cost_micro: int = column(
        k.MONEY, "cost of one shipment", name="cost", default="0", unit="currency", least="0"
    )
    cost_per_kg_micro: int = column(
        k.MONEY,
        "cost by weight",
        name="cost_per_kg",
        default="0",
        unit="currency per kg",
        least="0",
    )


@table("parts_orders", "Spare parts on order.")
@dataclass(frozen=True, slots=True, kw_only=True)
class PartsOrder:
    order: str = column(k.IDENTIFIER, "order", key=True)
    line: str = column(k.IDENTIFIER, "line", key=True)
    part: str = column(k.IDENTIFIER, "part", required=True, refers="parts.part")
    quantity_milli: int = column(k.QUANTITY, "ordered", name="quantity", required=True, above="0")
    ordered: date = column(k.DATE, "day it was ordered", required=True)
    destination: str = column(k.TEXT, "region or postal code it ships to", required=True)
    within_days: int | None = column(
        k.DAYS, "deliver by so many carrier days after the order", unit="days", least="0"
    )
    promised: date | None = column(k.DATE, "ship by")
    weight_ppm: int = column(
        k.FACTOR, "how much a late day counts", name="weight", default="1", least="0"
    )
    split: bool = column(k.YES_NO, "may ship from several points", default="yes")


@table("demand", "Forecast of orders not yet placed.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    part: str = column(k.IDENTIFIER, "product or part", key=True, refers="parts.part")
    month: str = column(k.MONTH, "month", key=True)
    quantity_milli: int = column(k.QUANTITY, "expected", name="quantity", required=True, least="0")


@table("take_rates", "Share of future builds of a product that take a component.")
@dataclass(frozen=True, slots=True, kw_only=True)
class TakeRate:
    product: str = column(k.IDENTIFIER, "product", key=True, refers="parts.part")
    component: str = column(k.IDENTIFIER, "component", key=True, refers="parts.part")
    rate_ppm: int = column(k.SHARE, "share of builds", name="rate", required=True, least="0")


@table("delivered", "Past deliveries to customers: what promises are judged by.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Delivered:
    order: str = column(k.IDENTIFIER, "order or build", key=True)
    product: str = column(k.IDENTIFIER, "product", required=True)
    ordered: date = column(k.DATE, "day it was ordered", required=True)
    promised: date | None = column(k.DATE, "promised ship date")
    shipped: date = column(k.DATE, "day it shipped", required=True)

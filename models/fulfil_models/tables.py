"""The tables of a data set: one frozen row class each, whose fields describe their columns.

Attributes end in the unit of their integer: `_milli` thousandths, `_ppm` millionths,
`_micro` millionths of the currency, `_g` grams. Times of day are minutes after midnight.
"""

# ruff: noqa: RUF009  # `column` makes a dataclass field, which the rule cannot see
from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from fulfil_models import cells as k
from fulfil_models.columns import TABLES, column, table


@table("settings", "How to plan, one value a row.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    key: str = column(
        k.IDENTIFIER,
        "as_of (planning date), currency, late_day_cost, overdue_days, horizon_days, freeze_days",
        key=True,
    )
    value: str = column(k.TEXT, "value of the setting", required=True)


@table("points", "Shipping points; builds are assembled at some of them.", required=True)
@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    point: str = column(k.IDENTIFIER, "shipping point", key=True)
    name: str | None = column(k.TEXT, "name in full")
    region: str | None = column(k.TEXT, "ISO 3166-2 code, e.g. US-ID")
    postal_code: str | None = column(k.TEXT, "postal code")
    latitude_micro: int | None = column(
        k.DEGREES, "latitude", name="latitude", unit="degrees", least="-90", most="90"
    )
    longitude_micro: int | None = column(
        k.DEGREES, "longitude", name="longitude", unit="degrees", least="-180", most="180"
    )
    timezone: str | None = column(k.TIMEZONE, "IANA time zone")
    calendar: str = column(
        k.IDENTIFIER, "calendar it works by", default="standard", refers="calendars.calendar"
    )
    cutoff: int | None = column(
        k.TIME, "what ends by then ships that day; default the closing time", unit="time of day"
    )


@table("calendars", "Working calendars.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Calendar:
    calendar: str = column(k.IDENTIFIER, "calendar", key=True)
    holidays: str | None = column(
        k.TEXT, "ISO 3166 country or subdivision whose public holidays close it; empty = none"
    )


@table("shifts", "Opening hours of each calendar by weekday.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    calendar: str = column(k.IDENTIFIER, "calendar", key=True, refers="calendars.calendar")
    weekday: str = column(k.WEEKDAY, "weekday", key=True)
    opens: int = column(k.TIME, "opens at", key=True, unit="time of day")
    closes: int = column(k.TIME, "closes at; 24:00 allowed", required=True, unit="time of day")


@table("closures", "Days on which a calendar is closed.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Closure:
    calendar: str = column(k.IDENTIFIER, "calendar", key=True, refers="calendars.calendar")
    day: date = column(k.DATE, "closed all day", name="date", key=True)
    reason: str | None = column(k.TEXT, "why")


@table("parts", "What is bought, made, stocked or sold; machines too.", required=True)
@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    part: str = column(k.IDENTIFIER, "part number", key=True)
    description: str | None = column(k.TEXT, "what it is")
    family: str | None = column(k.TEXT, "product or part family")
    unit: str = column(k.TEXT, "unit of quantities", default="ea")
    step_milli: int = column(
        k.QUANTITY, "smallest quantity it is issued in", name="step", default="1", above="0"
    )
    make: bool = column(k.YES_NO, "made from its bill, not bought", default="no")
    cost_micro: int | None = column(
        k.MONEY, "value of one unit", name="cost", unit="currency per unit", least="0"
    )
    weight_g: int | None = column(
        k.MASS, "weight of one unit", name="weight_kg", unit="kg", least="0"
    )
    caution: str | None = column(k.TEXT, "caution to show where it is handled or shipped")


@table("bills", "Bills of materials: what each parent is made of.", required=True, unique=False)
@dataclass(frozen=True, slots=True, kw_only=True)
class BillLine:
    parent: str = column(k.IDENTIFIER, "product or make part", key=True, refers="parts.part")
    component: str = column(k.IDENTIFIER, "what goes into it", key=True, refers="parts.part")
    quantity_milli: int = column(
        k.QUANTITY, "per unit of the parent", name="quantity", required=True, above="0"
    )
    scrap_ppm: int = column(k.SHARE, "share lost", name="scrap", default="0", least="0", below="1")
    operation: int | None = column(
        k.COUNT,
        "operation of the parent at whose start it is needed; default the first",
        least="0",
    )
    starts: date | None = column(k.DATE, "first order date the line is good for")
    ends: date | None = column(k.DATE, "last order date the line is good for")


@table("alternates", "Parts that may stand in for another.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Alternate:
    part: str = column(k.IDENTIFIER, "part called for", key=True, refers="parts.part")
    alternate: str = column(k.IDENTIFIER, "part that may replace it", key=True, refers="parts.part")
    ratio_ppm: int = column(
        k.FACTOR, "units of the alternate per unit called for", name="ratio", default="1", above="0"
    )
    rank: int = column(k.COUNT, "order of preference, 1 first", default="1", least="1")
    extra_cost_micro: int = column(
        k.MONEY,
        "extra cost per unit of the alternate",
        name="extra_cost",
        default="0",
        unit="currency per unit",
        least="0",
    )
    approved: bool = column(k.YES_NO, "approved by engineering", default="no")
    note: str | None = column(k.TEXT, "note")


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


@table("work_centres", "Where operations are done.", required=True)
@dataclass(frozen=True, slots=True, kw_only=True)
class WorkCentre:
    work_centre: str = column(k.IDENTIFIER, "work centre", key=True)
    point: str = column(k.IDENTIFIER, "point it stands at", required=True, refers="points.point")
    stations: int = column(k.COUNT, "stations side by side", default="1", least="1")


@table("downtime", "Stations out of use.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Downtime:
    work_centre: str = column(
        k.IDENTIFIER, "work centre", key=True, refers="work_centres.work_centre"
    )
    starts: datetime = column(k.DATETIME, "from", key=True)
    ends: datetime = column(k.DATETIME, "until", key=True)
    stations: int = column(k.COUNT, "how many are out", required=True, least="1")


@table("routings", "Operations by which a part is made.", required=True)
@dataclass(frozen=True, slots=True, kw_only=True)
class RoutingStep:
    part: str = column(k.IDENTIFIER, "product or make part", key=True, refers="parts.part")
    operation: int = column(k.COUNT, "number, in ascending order of work", key=True, least="0")
    work_centre: str = column(
        k.IDENTIFIER, "where", required=True, refers="work_centres.work_centre"
    )
    minutes_milli: int = column(
        k.MINUTES, "per unit", name="minutes", required=True, unit="minutes", least="0"
    )
    setup_milli: int = column(
        k.MINUTES, "per job", name="setup", default="0", unit="minutes", least="0"
    )
    stations: int = column(k.COUNT, "stations used at once", default="1", least="1")


@table("builds", "Machines on order.", required=True)
@dataclass(frozen=True, slots=True, kw_only=True)
class Build:
    build: str = column(k.IDENTIFIER, "build", key=True)
    product: str = column(k.IDENTIFIER, "product", required=True, refers="parts.part")
    point: str = column(
        k.IDENTIFIER, "point that assembles it", required=True, refers="points.point"
    )
    ordered: date = column(k.DATE, "day it was ordered", required=True)
    promised: date | datetime | None = column(
        k.MOMENT, "promised ship date or moment; empty = not yet promised"
    )
    earliest: date | None = column(k.DATE, "no operation starts before")
    weight_ppm: int = column(
        k.FACTOR, "how much a late day counts", name="weight", default="1", least="0"
    )
    customer: str | None = column(k.TEXT, "customer")
    destination: str | None = column(k.TEXT, "region or postal code it ships to")
    status: str = column(
        k.TEXT, "firm is planned; quoted, done and cancelled are not", default="firm"
    )


@table("build_options", "What a build has more or less than its product's bill.", unique=False)
@dataclass(frozen=True, slots=True, kw_only=True)
class BuildOption:
    build: str = column(k.IDENTIFIER, "build", key=True, refers="builds.build")
    component: str = column(k.IDENTIFIER, "component", key=True, refers="parts.part")
    quantity_milli: int = column(
        k.QUANTITY,
        "added to the bill's quantity before scrap; negative removes",
        name="quantity",
        required=True,
    )
    operation: int | None = column(
        k.COUNT,
        "operation; default that of the bill's line for the component, else the first",
        least="0",
    )


@table("progress", "Operations started or finished.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    build: str = column(k.IDENTIFIER, "build", key=True, refers="builds.build")
    operation: int = column(k.COUNT, "operation of the build's product", key=True, least="0")
    started: datetime | None = column(k.DATETIME, "when it was started")
    finished: datetime | None = column(k.DATETIME, "when it was finished")


@table("region_rules", "Parts that local rules commonly require; verify with the authority.")
@dataclass(frozen=True, slots=True, kw_only=True)
class RegionRule:
    region: str = column(k.IDENTIFIER, "beginning of the destination", key=True)
    family: str = column(k.IDENTIFIER, "family of the product", key=True)
    component: str = column(k.IDENTIFIER, "part it takes", key=True, refers="parts.part")
    quantity_milli: int = column(k.QUANTITY, "per build", name="quantity", required=True, above="0")
    note: str = column(k.TEXT, "why", required=True)


@table("ratings", "What a part delivers or needs, for the fit check of alternates.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Rating:
    part: str = column(k.IDENTIFIER, "part", key=True, refers="parts.part")
    rating: str = column(k.IDENTIFIER, "what is rated, e.g. shaft_power", key=True)
    value_micro: int = column(k.FACTOR, "value", name="value", required=True)
    unit: str = column(k.TEXT, "unit of the value", required=True)


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

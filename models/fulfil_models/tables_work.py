"""Tables of work: work centres, routings, the builds on order and how far they are."""

# ruff: noqa: RUF009  # `column` makes a dataclass field, which the rule cannot see
from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from fulfil_models import cells as k
from fulfil_models.columns import column, table


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

"""Tables of parts, their bills, what may stand in for them and what they deliver."""

# ruff: noqa: RUF009  # `column` makes a dataclass field, which the rule cannot see
from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fulfil_models import cells as k
from fulfil_models.columns import column, table


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


@table("ratings", "What a part delivers or needs, for the fit check of alternates.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Rating:
    part: str = column(k.IDENTIFIER, "part", key=True, refers="parts.part")
    rating: str = column(k.IDENTIFIER, "what is rated, e.g. shaft_power", key=True)
    value_micro: int = column(k.FACTOR, "value", name="value", required=True)
    unit: str = column(k.TEXT, "unit of the value", required=True)

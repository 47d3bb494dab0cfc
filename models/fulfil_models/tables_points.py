"""Tables of the settings, the shipping points and their opening hours."""

# ruff: noqa: RUF009  # `column` makes a dataclass field, which the rule cannot see
from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fulfil_models import cells as k
from fulfil_models.columns import column, table


@table("settings", "How to plan, one value a row.")
@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    key: str = column(
        k.IDENTIFIER,
        "as_of (planning date), currency, late_day_cost, overdue_days, horizon_days, freeze_days, "
        "order_cost, holding_share, orders_from (no new purchase is placed before that day)",
        key=True,
    )
    value: str = column(k.TEXT, "value of the setting", required=True)


@table("points", "Shipping points; builds are assembled at some of them.", required=True)
@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    point: str = column(k.IDENTIFIER, "shipping point", key=True)
    name: str | None = column(k.TEXT, "name in full")
    region: str | None = column(k.TEXT, "ISO 3166-2 code, e.g. US-ID; kept, no plan reads it")
    postal_code: str | None = column(k.TEXT, "postal code; kept, no plan reads it")
    latitude_micro: int | None = column(
        k.DEGREES,
        "latitude; kept, no plan reads it",
        name="latitude",
        unit="degrees",
        least="-90",
        most="90",
    )
    longitude_micro: int | None = column(
        k.DEGREES,
        "longitude; kept, no plan reads it",
        name="longitude",
        unit="degrees",
        least="-180",
        most="180",
    )
    timezone: str | None = column(
        k.TIMEZONE,
        "IANA time zone; kept, no plan reads it: every time is the wall clock of the point",
    )
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

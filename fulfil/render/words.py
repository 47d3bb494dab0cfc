"""Figures, days and supplies in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from fractions import Fraction

from fulfil_models.cells import MICRO, format_decimal
from fulfil_models.plan import Blocker, BlockerKind, SupplyKind
from fulfil_models.plan_index import Origin

NOTHING = "-"

SUPPLY_WORDS = {
    SupplyKind.STOCK: "stock",
    SupplyKind.PURCHASE: "purchase",
    SupplyKind.NEW_PURCHASE: "new order",
    SupplyKind.TRANSFER: "transfer",
    SupplyKind.JOB: "job",
}


def quantity(milli: int, unit: str = "") -> str:
    """A quantity in thousandths, exact, with its unit if one is given."""
    text = format_decimal(milli, 3)
    return f"{text} {unit}" if unit else text


def signed(milli: int) -> str:
    """A quantity with its sign, + included."""
    return f"+{quantity(milli)}" if milli > 0 else quantity(milli)


def money(amount: Fraction | int) -> str:
    """An amount of the currency to two places; an integer is in millionths."""
    exact = Fraction(amount, MICRO) if isinstance(amount, int) else amount
    cents = round(exact * 100)
    return f"{'-' if cents < 0 else ''}{abs(cents) // 100:,}.{abs(cents) % 100:02d}"


def percent(share: Fraction) -> str:
    return f"{float(share * 100):.2f} %"


def kilograms(grams: int | None) -> str:
    return NOTHING if grams is None else format_decimal(grams, 3)


def day(when: date | datetime | None) -> str:
    """A day, or a moment to the minute; a dash for none."""
    if when is None:
        return NOTHING
    return moment(when) if isinstance(when, datetime) else when.isoformat()


def moment(when: datetime) -> str:
    return when.strftime("%Y-%m-%d %H:%M")


def days(count: int) -> str:
    return f"{count} day" if abs(count) == 1 else f"{count} days"


def count(number: int, one: str, many: str = "") -> str:
    """A number and what is counted: 1 build, 2 builds."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def listed(names: Sequence[str], most: int = 4) -> str:
    """Names with commas between; of many the first few and how many more."""
    shown = ", ".join(names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"


def blocker(row: Blocker | None) -> str:
    """What holds a build up, in few words."""
    if row is None:
        return NOTHING
    if row.kind is BlockerKind.WORK:
        return f"its own work ({days(row.days)})" if row.days else "its own work"
    if row.kind is BlockerKind.EARLIEST:
        return f"no start before {day(row.until and row.until.date())} ({days(row.days)})"
    until = "" if row.until is None else f" until {row.until.date().isoformat()}"
    what = f"part {row.what}" if row.kind is BlockerKind.PART else f"queue at {row.what}"
    return f"{what}{until} ({days(row.days)})"


def first_supply(source: Origin) -> str:
    """The supply behind all transfers, in few words."""
    return {
        SupplyKind.STOCK: f"stock at {source.first_point}",
        SupplyKind.PURCHASE: f"purchase {source.order}/{source.line}",
        SupplyKind.NEW_PURCHASE: f"new order from {source.supplier}, to be placed "
        f"{day(source.place_on)}",
        SupplyKind.JOB: f"job {source.job}",
    }[source.first]


def origin(source: Origin, usable: datetime) -> str:
    """Where units come from, in few words."""
    if source.kind is SupplyKind.JOB:
        return f"made by job {source.job}, done {moment(usable)}"
    first = first_supply(source)
    if source.kind is SupplyKind.TRANSFER:
        return f"{first}, leaves {day(source.leaves_on)}, here {moment(usable)}"
    if source.kind is SupplyKind.STOCK:
        return first
    return f"{first}, here {moment(usable)}"

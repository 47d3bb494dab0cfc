"""Can stock, purchases, sources, lanes and alternates be what they say?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

from fulfil_models.cells import format_decimal
from fulfil_models.checking_case import Case
from fulfil_models.findings import Finding, counted, listed
from fulfil_models.source_terms import can_order

STEPPED = (
    ("stock", "quantity_milli", "quantity"),
    ("stock", "held_milli", "held"),
    ("purchases", "quantity_milli", "quantity"),
    ("parts_orders", "quantity_milli", "quantity"),
    ("sources", "minimum_milli", "minimum"),
    ("sources", "multiple_milli", "multiple"),
)
"""quantities of whole things; bills are left out, since needs are rounded up"""


def check_steps(case: Case) -> Iterator[Finding]:
    """Quantities on shelves and orders are whole steps of their part."""
    doubtful = case.doubtful("parts", "part")
    steps = {row.part: row.step_milli for row in case.dataset.parts}
    for table, attribute, column in STEPPED:
        for index, row in case.sound(table, "part", attribute):
            step = steps.get(row.part)
            if step is None or row.part in doubtful or getattr(row, attribute) % step == 0:
                continue
            yield case.error(
                "below-step",
                table,
                index,
                column,
                f"is no multiple of {format_decimal(step, 3)}, the step of {row.part}",
                "write a multiple of the step, or give the part a smaller step",
            )


def check_held(case: Case) -> Iterator[Finding]:
    """No more is held than lies on the shelf."""
    for index, row in case.sound("stock"):
        if row.held_milli > row.quantity_milli:
            yield case.error(
                "held-over-quantity",
                "stock",
                index,
                "held",
                f"is more than the {format_decimal(row.quantity_milli, 3)} on the shelf",
                "write at most the quantity",
            )


def check_alternates(case: Case) -> Iterator[Finding]:
    """A part is no alternate of itself."""
    for index, row in case.sound("alternates", "part", "alternate"):
        if row.part == row.alternate:
            yield case.error(
                "alternate-of-itself",
                "alternates",
                index,
                "alternate",
                "is the part itself",
                "name another part or remove the row",
            )


def check_sources(case: Case) -> Iterator[Finding]:
    """Sources that can never deliver, and expediting that cannot help."""
    for index, row in case.sound("sources"):
        if not can_order(row):
            yield case.warning(
                "cannot-order",
                "sources",
                index,
                "monthly_cap",
                f"is less than any order may be (minimum {format_decimal(row.minimum_milli, 3)}, "
                f"multiple {format_decimal(row.multiple_milli, 3)}), so nothing can be ordered",
                "raise the cap, or lower the minimum or the multiple",
            )
        hurried = row.lead_days - (row.expedite_days or 0)
        if hurried < 0:
            yield case.warning(
                "expedite-over-lead",
                "sources",
                index,
                "expedite_days",
                f"is more than the lead time of {row.lead_days} days; it is taken as that",
                "write at most lead_days",
            )
        if hurried > case.settings.horizon_days:
            yield case.warning(
                "beyond-horizon",
                "sources",
                index,
                "lead_days",
                f"is longer than the horizon of {case.settings.horizon_days} days, so nothing "
                "ordered there comes in time",
                "mend it, or set a longer horizon_days",
            )


def check_price_breaks(case: Case) -> Iterator[Finding]:
    """Prices fall, or stay, as quantities grow; and belong to somebody who sells the part."""
    by_offer: defaultdict[tuple[str, str], list[tuple[int, Any]]] = defaultdict(list)
    for index, row in case.sound("price_breaks"):
        by_offer[row.part, row.supplier].append((index, row))
    offers = {(row.part, row.supplier) for row in case.dataset.sources}
    least: dict[tuple[str, str], int] = {}
    for _, source in case.sound("sources", "part", "supplier", "price_micro"):
        if source.price_micro is not None:
            key = source.part, source.supplier
            least[key] = min(source.price_micro, least.get(key, source.price_micro))
    for (part, supplier), rows in by_offer.items():
        rows.sort(key=lambda entry: entry[1].from_quantity_milli)
        if (part, supplier) not in offers and case.readable("sources"):
            yield case.warning(
                "no-source",
                "price_breaks",
                rows[0][0],
                "supplier",
                f"has a price for {part} but is no source of it",
                "add the source or remove the price",
            )
        for (_, lower), (index, row) in pairwise(rows):
            if row.price_micro > lower.price_micro:
                smaller = format_decimal(lower.from_quantity_milli, 3)
                yield _dearer(case, index, lower.price_micro, f"of the smaller quantity {smaller}")
        index, first = rows[0]
        below = least.get((part, supplier))
        if first.from_quantity_milli and below is not None and first.price_micro > below:
            yield _dearer(case, index, below, "in sources, that holds for less")


def _dearer(case: Case, index: int, price_micro: int, of_what: str) -> Finding:
    """More costs more each: a slip, or prices that nobody would take."""
    return case.warning(
        "price-rises",
        "price_breaks",
        index,
        "price",
        f"is above the {format_decimal(price_micro, 6)} {of_what}",
        "check the order of the prices",
    )


def check_purchases(case: Case) -> Iterator[Finding]:
    """Purchases come after they are ordered; those past due or not confirmed are said so."""
    as_of = case.as_of
    expected_on = as_of + timedelta(case.settings.overdue_days)
    unconfirmed = 0
    for index, row in case.sound("purchases"):
        unconfirmed += not row.confirmed
        yield from _ordered_later(case, "purchases", index, row.ordered)
        if row.due < row.ordered:
            yield case.error(
                "due-before-ordered",
                "purchases",
                index,
                "due",
                f"is before the order of {row.ordered}",
                "mend one of the two dates",
            )
        elif row.due < as_of and expected_on > case.last_day:
            yield case.error(
                "beyond-horizon",
                "purchases",
                index,
                "due",
                f"is past, so that it is planned to come on {expected_on} (as_of and "
                f"overdue_days), after the end of the horizon, {case.last_day}",
                "set fewer overdue_days or a longer horizon_days, or remove what has come",
            )
        elif row.due < as_of:
            yield case.warning(
                "past-due",
                "purchases",
                index,
                "due",
                f"is {counted((as_of - row.due).days, 'day', 'days')} past; it is planned to come "
                f"on {expected_on} (as_of and overdue_days)",
                "ask the supplier for a new date, or remove what has come",
            )
        elif row.due > case.last_day:
            yield case.error(
                "beyond-horizon",
                "purchases",
                index,
                "due",
                f"is after the end of the horizon, {case.last_day}",
                "mend the date, or set a longer horizon_days",
            )
    if unconfirmed:
        yield case.table_warning(
            "unconfirmed",
            "purchases",
            f"{counted(unconfirmed, 'line is', 'lines are')} not confirmed by the supplier, and "
            "planned for the due date all the same",
            "ask for confirmation",
        )


def _ordered_later(case: Case, table: str, index: int, ordered: date) -> Iterator[Finding]:
    """What was ordered after the planning date cannot have been open for any time yet."""
    if ordered > case.as_of:
        yield case.warning(
            "in-the-future",
            table,
            index,
            "ordered",
            f"is after the planning date, {case.as_of}, so no lead time is learnt from it",
            "mend the date or as_of",
        )


def check_receipts(case: Case) -> Iterator[Finding]:
    """Deliveries of the past came after they were ordered, and before now."""
    for index, row in case.sound("receipts"):
        yield from _ordered_later(case, "receipts", index, row.ordered)
        if row.received < row.ordered:
            yield case.error(
                "received-before-ordered",
                "receipts",
                index,
                "received",
                f"is before the order of {row.ordered}",
                "mend one of the two dates",
            )
        elif row.received > case.as_of:
            yield case.warning(
                "in-the-future",
                "receipts",
                index,
                "received",
                f"is after the planning date, {case.as_of}",
                "mend the date or as_of",
            )
        if row.due is not None and row.due < row.ordered:
            yield case.warning(
                "due-before-ordered",
                "receipts",
                index,
                "due",
                f"is before the order of {row.ordered}",
                "mend one of the two dates",
            )


def check_lanes(case: Case) -> Iterator[Finding]:
    """A lane leads to another point."""
    for index, row in case.sound("lanes", "origin", "destination"):
        if row.origin == row.destination:
            yield case.error(
                "lane-to-itself",
                "lanes",
                index,
                "destination",
                "is the point it leaves from",
                "name another point or remove the lane",
            )


def check_ratings(case: Case) -> Iterator[Finding]:
    """A rating has the same unit for every part, so that parts can be compared."""
    first: dict[str, tuple[int, str]] = {}
    for index, row in case.sound("ratings"):
        usual_index, unit = first.setdefault(row.rating, (index, row.unit))
        if row.unit != unit:
            yield case.warning(
                "mixed-units",
                "ratings",
                index,
                "unit",
                f"differs from {unit} in row {case.origins.row('ratings', usual_index)}, so that "
                f"{row.rating} of the two cannot be compared",
                "give all values of a rating in one unit",
            )


def check_forecasts(case: Case) -> Iterator[Finding]:
    """Shares of future builds above one, and forecasts for months that are past."""
    many = [(index, row) for index, row in case.sound("take_rates") if row.rate_ppm > 1_000_000]
    for index, row in many:
        yield case.warning(
            "rate-above-one",
            "take_rates",
            index,
            "rate",
            f"is more than one {row.component} for each {row.product}",
            "nothing to mend if builds take several; else write a share such as 0.35",
        )
    this_month = f"{case.as_of:%Y-%m}"
    past = sorted({row.month for _, row in case.sound("demand") if row.month < this_month})
    if past:
        yield case.table_warning(
            "past-forecast",
            "demand",
            f"forecasts for months before {this_month} ({listed(past, 3)}) are not looked at",
            "remove them",
        )

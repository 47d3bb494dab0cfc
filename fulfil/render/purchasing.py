"""Pages of `purchases`: new orders to place, and open purchase lines."""

from __future__ import annotations

from datetime import timedelta
from fractions import Fraction

from fulfil_models.cells import MICRO
from fulfil_models.new_orders import NewOrder
from fulfil_models.open_purchases import OpenPurchase

from fulfil.render import words
from fulfil.render.common import answer
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, paragraph, table
from fulfil.usecases.purchasing import OpenAnswer, PurchasesAnswer

FRIDAY, SATURDAY = 4, 5
WEEK = 7
NAMES = 2
"""builds and parts orders that a row names"""


def purchases_page(found: PurchasesAnswer, *, every: bool) -> Page:
    limit = len(found.orders) if every else ROWS

    def lines(width: int) -> list[str]:
        out = paragraph(_summary(found), width, "  ")
        if not found.orders:
            return out
        shown = found.orders[:limit]
        places = {row.point for row in found.orders}
        slack = any(row.place_on != row.latest_on for row in found.orders)
        out += [
            "",
            *table(
                _columns(found.currency, places, slack=slack),
                _rows(shown, places, slack=slack),
                width,
            ),
        ]
        out += left_out(len(found.orders), limit, "--days, --supplier or --part")
        if found.narrowed:
            terms = list({(row.part, row.supplier, row.point): row for row in shown}.values())
            rows = [_terms(row) for row in sorted(terms, key=lambda r: (r.part, r.supplier))]
            out += ["", "how much can be ordered:", "", *table(TERM_COLUMNS, rows, width)]
        out.append("")
        if len(places) == 1:
            out.append(f"all go to {places.pop()}")
        if not slack:
            out.append("each stands on the last day that is in time for who takes it first")
        told = _weekend_words(found)
        if told:
            out += paragraph(told, width, "  ")
        return out

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            currency=found.currency,
            total=found.total,
            until=found.until,
            orders=found.orders,
        ),
        headings=(
            "place_on",
            "latest_on",
            "supplier",
            "part",
            "description",
            "point",
            "quantity",
            "unit",
            "drawn",
            "minimum",
            "multiple",
            "monthly_cap",
            "arrives_on",
            "needed_on",
            "expedited",
            "price",
            "cost",
            "expedite_cost",
            "for_whom",
        ),
        records=lambda: [
            {**plain(row), "for_whom": [whom.who for whom in row.for_whom]} for row in found.orders
        ],
        notes=found.basis.notes,
    )


def _summary(found: PurchasesAnswer) -> str:
    """How many orders and what they cost; how many of them today and this week."""
    if not found.total:
        return "the plan counts on no new orders"
    if found.until is not None:
        number = words.count(len(found.orders), "new order")
        text = f"{number} to place until {found.until}"
        return text + (_cost_words(found) if found.orders else f" (of {found.total} in the plan)")
    if not found.orders:
        return f"the plan counts on no new order of these (of {found.total} in all)"
    number = words.count(len(found.orders), "new order")
    today = sum(1 for row in found.orders if found.order_on(row) <= found.basis.as_of)
    week_ends = found.basis.as_of + timedelta(WEEK - 1)
    week = sum(1 for row in found.orders if found.order_on(row) <= week_ends)
    return (
        f"the plan counts on {number}{_cost_words(found)}: {today} to place today, "
        f"{week} until {week_ends}; the first on {found.orders[0].place_on}"
    )


def _weekend_words(found: PurchasesAnswer) -> str:
    """What to do about orders that are to be placed on a Saturday or Sunday; empty if none is."""
    days = [row.place_on for row in found.orders if row.place_on.weekday() >= SATURDAY]
    if not days:
        return ""
    fridays = [day - timedelta(day.weekday() - FRIDAY) for day in days]
    ahead = sum(1 for friday in fridays if friday >= found.basis.as_of)
    text = (
        f"{words.count(len(days), 'order')} to place on a Saturday or Sunday, marked *: lead times "
        "count calendar days; "
    )
    if ahead == len(days):
        return f"{text}place it on the Friday before"
    late = "on the next working day, after which it comes as many days later"
    if not ahead:
        return f"{text}place it {late}"
    return f"{text}place it on the Friday before, or if that is past {late}"


def _cost_words(found: PurchasesAnswer) -> str:
    total = sum((row.cost_micro or 0) + row.expedite_cost_micro for row in found.orders)
    unpriced = sum(1 for row in found.orders if row.cost_micro is None)
    if unpriced == len(found.orders) and not total:
        return ", without a price"
    text = f", {found.currency} {words.money(Fraction(total, MICRO))}"
    return f"{text} without {unpriced} that have no price" if unpriced else text


def _columns(currency: str, places: set[str], *, slack: bool) -> tuple[Column, ...]:
    return (
        Column("place on"),
        *((Column("at the\nlatest"),) if slack else ()),
        Column("supplier", flexible=True),
        Column("part", flexible=True),
        Column("quantity", right=True),
        *((Column("to"),) if len(places) > 1 else ()),
        Column("arrives"),
        Column(f"cost\n({currency})", right=True),
        Column("for", flexible=True),
    )


def _rows(orders: tuple[NewOrder, ...], places: set[str], *, slack: bool) -> list[list[str]]:
    return [
        [
            f"{row.place_on}{'*' if row.place_on.weekday() >= SATURDAY else ''}",
            *((row.latest_on.isoformat(),) if slack else ()),
            row.supplier,
            row.part,
            words.quantity(row.quantity_milli, row.unit),
            *((row.point,) if len(places) > 1 else ()),
            f"{row.arrives_on}{' expedited' if row.expedited else ''}",
            words.NOTHING
            if row.cost_micro is None
            else words.money(row.cost_micro + row.expedite_cost_micro),
            _who([use.who for use in row.for_whom]),
        ]
        for row in orders
    ]


def _who(names: list[str]) -> str:
    """The first names and how many more, each once."""
    distinct = list(dict.fromkeys(names))
    if not distinct:
        return words.NOTHING
    shown = " ".join(distinct[:NAMES])
    return shown if len(distinct) <= NAMES else f"{shown} +{len(distinct) - NAMES}"


TERM_COLUMNS = (
    Column("part", flexible=True),
    Column("supplier", flexible=True),
    Column("to"),
    Column("used by\nthe plan", right=True),
    Column("ordered", right=True),
    Column("at least", right=True),
    Column("in steps\nof", right=True),
    Column("most in\na month", right=True),
)


def _terms(row: NewOrder) -> list[str]:
    return [
        row.part,
        row.supplier,
        row.point,
        words.quantity(row.drawn_milli, row.unit),
        words.quantity(row.quantity_milli, row.unit),
        *(
            words.NOTHING if milli is None else words.quantity(milli)
            for milli in (row.minimum_milli, row.multiple_milli, row.monthly_cap_milli)
        ),
    ]


# ---- open purchases


OPEN_COLUMNS = (
    Column("order\nand line"),
    Column("supplier", flexible=True),
    Column("part", flexible=True),
    Column("quantity", right=True),
    Column("counted\non"),
    Column("", flexible=True),
    Column("may slip\n(days)", right=True),
    Column("for (late by\ndays)", flexible=True),
)


def open_page(found: OpenAnswer, *, every: bool) -> Page:
    limit = len(found.lines) if every else ROWS

    def lines(width: int) -> list[str]:
        out = paragraph(
            f"{words.count(found.total, 'open purchase line')}: {found.past_due} past due, "
            f"{found.unconfirmed} not confirmed",
            width,
            "  ",
        )
        if found.lines:
            out += ["", *table(OPEN_COLUMNS, map(_open_row, found.lines[:limit]), width)]
            out += left_out(len(found.lines), limit, "--doubtful, --supplier or --part")
        return out

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            total=found.total,
            past_due=found.past_due,
            unconfirmed=found.unconfirmed,
            purchases=[{**plain(row), "doubtful": row.doubtful} for row in found.lines],
        ),
        headings=(
            "order",
            "line",
            "supplier",
            "part",
            "description",
            "point",
            "quantity",
            "unit",
            "ordered",
            "due",
            "counted_on",
            "past_due_days",
            "confirmed",
            "drawn",
            "needed_on",
            "slack_days",
            "for_whom",
            "late",
        ),
        records=lambda: [
            {
                **plain(row),
                "for_whom": list(dict.fromkeys(use.who for use in row.for_whom)),
                "late": [late.who for late in row.late],
            }
            for row in found.lines
        ],
        notes=found.basis.notes,
    )


def _open_row(row: OpenPurchase) -> list[str]:
    late = {one.who: one.late_days for one in row.late}
    names = list(dict.fromkeys(use.who for use in row.for_whom))
    names.sort(key=lambda who: who not in late)  # those that are late first
    marks = [f"past due since {row.due}"] if row.past_due_days else []
    if not row.confirmed:
        marks.append("not confirmed")
    return [
        f"{row.order}/{row.line}",
        row.supplier,
        row.part,
        words.quantity(row.quantity_milli, row.unit),
        row.counted_on.isoformat(),
        ", ".join(marks),
        words.NOTHING if row.slack_days is None else str(row.slack_days),
        _who([f"{who} ({late[who]})" if who in late else who for who in names]),
    ]

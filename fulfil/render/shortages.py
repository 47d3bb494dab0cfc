"""Pages of `shortages`: the parts that hold something up, and one part day by day."""

from __future__ import annotations

from fulfil_models.offers import Offer
from fulfil_models.shortages import Shortage
from fulfil_models.timeline import Movement, MovementKind

from fulfil.render import words
from fulfil.render.common import answer
from fulfil.render.machine import number, plain
from fulfil.render.page import Page
from fulfil.render.part_state import heading, legend, state, stranded_lines, waiting_lines
from fulfil.render.text import ROWS, Column, left_out, table
from fulfil.usecases.purchasing import PartAnswer, ShortagesAnswer

DETAILED = 5
"""parts of which the overview shows more than a row, if they make something late"""

KIND_WORDS = {
    MovementKind.PURCHASE: "purchase",
    MovementKind.NEW_ORDER: "new order",
    MovementKind.MADE: "made",
    MovementKind.MOVED: "moved",
    MovementKind.NEED: "build",
    MovementKind.SHIPMENT: "parts order",
}


def shortages_page(found: ShortagesAnswer, *, every: bool) -> Page:
    limit = len(found.shortages) if every else ROWS

    def lines(width: int) -> list[str]:
        hold = "holds" if found.total == 1 else "hold"
        make = "makes" if found.late == 1 else "make"
        out = [
            f"{words.count(found.total, 'part')} {hold} builds or parts orders up, "
            f"{found.late} {make} some late"
        ]
        shown = found.shortages[:limit]
        if shown:
            out += ["", *table(OVERVIEW, map(_overview_row, shown), width)]
            out += left_out(len(found.shortages), limit, "--late")
            detailed = shown if every else [row for row in shown if row.late_days][:DETAILED]
            for row in detailed:
                out += ["", *heading(row, width), *state(row, width)]
                out += waiting_lines(row, width)
            if len(detailed) < len(shown):
                out += ["", "any part day by day: fulfil shortages PART"]
        return out + stranded_lines(found.stranded, width)

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            total=found.total,
            late=found.late,
            shortages=[{**plain(row), "late_days": row.late_days} for row in found.shortages],
            stranded=found.stranded,
            assumed=found.assumed,
        ),
        headings=(
            "part",
            "description",
            "unit",
            "needed",
            "on_hand",
            "held",
            "on_order",
            "to_order",
            "runs_out_on",
            "lead_days",
            "order_by",
            "order_for",
            "missed_by_days",
            "expedited_by",
            "late_days",
            "waiting",
        ),
        records=lambda: [
            {
                **plain(row),
                "on_hand": number(row.on_hand_total_milli, 3),
                "on_order": number(row.on_order_total_milli, 3),
                "to_order": number(row.to_order_total_milli, 3),
                "late_days": row.late_days,
                "waiting": [waiting.who for waiting in row.waiting],
            }
            for row in found.shortages
        ],
        notes=(*found.basis.notes, *found.assumed, *_legends(found.shortages)),
    )


def _legends(rows: tuple[Shortage, ...]) -> tuple[str, ...]:
    """What the figures go by."""
    if not any(row.order_by for row in rows):
        return legend(rows)
    return (
        *legend(rows),
        "last day to order: for who is late for want of it, by the lead times that the plan counts "
        "on; `fulfil cover` goes by the record of suppliers, and counts what is expected, too",
    )


OVERVIEW = (
    Column("part", flexible=True),
    Column("needed", right=True),
    Column("on hand", right=True),
    Column("on\norder", right=True),
    Column("to\norder", right=True),
    Column("unit"),
    Column("nothing\nleft on"),
    Column("who\nwait", right=True),
    Column("late days\nby it", right=True),
    Column("last day\nto order"),
)


def _overview_row(row: Shortage) -> list[str]:
    return [
        row.part,
        words.quantity(row.needed_milli),
        words.quantity(row.on_hand_total_milli),
        words.quantity(row.on_order_total_milli),
        words.quantity(row.to_order_total_milli),
        row.unit,
        words.day(row.runs_out_on),
        str(len(row.waiting)),
        str(row.late_days),
        words.day(row.order_by),
    ]


# ---- one part


def part_page(found: PartAnswer, *, every: bool) -> Page:
    row = found.shortage
    limit = len(found.movements) if every else ROWS

    def lines(width: int) -> list[str]:
        out = [*heading(row, width), *state(row, width)]
        if row.waiting:
            out += waiting_lines(row, width, len(row.waiting))
        else:
            out += ["", "nothing waits for it"]
        if row.offers:
            offered = table(
                _offer_columns(found.currency), [_offer(offer) for offer in row.offers], width
            )
            day = found.basis.orders_from
            out += ["", f"if ordered {'today' if day is None else f'on {day}'}:", "", *offered]
        if found.movements:
            several = len({movement.point for movement in found.movements}) > 1
            orders = any(m.balance_milli != m.known_milli for m in found.movements)
            shown = [_movement(movement, several, orders) for movement in found.movements[:limit]]
            out += ["", *table(_movement_columns(row.unit, several, orders), shown, width)]
            out += left_out(len(found.movements), limit)
        return out + stranded_lines(found.stranded, width)

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            currency=found.currency,
            shortage={**plain(row), "late_days": row.late_days},
            movements=found.movements,
            stranded=found.stranded,
        ),
        headings=(
            "day",
            "kind",
            "what",
            "point",
            "quantity",
            "balance",
            "known",
            "at_point",
            "note",
        ),
        records=lambda: [plain(movement) for movement in found.movements],
        notes=(*found.basis.notes, *_legends((row,))),
    )


def _offer_columns(currency: str) -> tuple[Column, ...]:
    return (
        Column("supplier", flexible=True),
        Column("to"),
        Column("lead\n(days)", right=True),
        Column("here on"),
        Column("expedited"),
        Column(f"for, each\n({currency})", right=True),
        Column("price\neach", right=True),
        Column("at\nleast", right=True),
        Column("in\nsteps", right=True),
        Column("left that\nmonth", right=True),
    )


def _offer(row: Offer) -> list[str]:
    def money(amount_micro: int | None) -> str:
        return words.NOTHING if amount_micro is None else words.money(amount_micro)

    left = "no cap"
    if row.monthly_cap_milli is not None:
        left = (
            f"{words.quantity(row.month_left_milli or 0)} of "
            f"{words.quantity(row.monthly_cap_milli)}"
        )
    return [
        row.supplier,
        row.point,
        str(row.lead_days),
        words.day(row.usable_on),
        words.day(row.expedited_on),
        money(row.expedite_cost_micro),
        money(row.price_micro),
        words.quantity(row.minimum_milli) if row.minimum_milli else words.NOTHING,
        words.quantity(row.multiple_milli) if row.multiple_milli else words.NOTHING,
        left,
    ]


def _movement_columns(unit: str, several: bool, orders: bool) -> tuple[Column, ...]:
    """Columns of the days of one part.

    Parameters
    ----------
    several, orders: it is at several points; some of it comes by new orders.
    """
    return (
        Column("day"),
        Column("what comes or goes", flexible=True),
        Column("point", flexible=True),
        Column(f"quantity\n({unit})", right=True),
        *((Column("left at\nthe point", right=True),) if several else ()),
        Column("left at\nall points" if several else "left", right=True),
        *((Column("without\nnew orders", right=True),) if orders else ()),
        Column("", flexible=True),
    )


def _movement(row: Movement, several: bool, orders: bool) -> list[str]:
    return [
        row.day.isoformat(),
        row.what if row.kind is MovementKind.ON_HAND else f"{KIND_WORDS[row.kind]} {row.what}",
        row.point,
        words.signed(row.quantity_milli),
        *((words.quantity(row.at_point_milli),) if several else ()),
        words.quantity(row.balance_milli),
        *((words.quantity(row.known_milli),) if orders else ()),
        row.note,
    ]

"""Pages of `shortages` and `purchases`."""

from __future__ import annotations

from fractions import Fraction

from fulfil_models.cells import MICRO
from fulfil_models.new_orders import NewOrder
from fulfil_models.plan import Stranded
from fulfil_models.shortages import Shortage, Waiting
from fulfil_models.timeline import Movement, MovementKind

from fulfil.render import words
from fulfil.render.common import answer
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, paragraph, table
from fulfil.usecases.purchasing import PartAnswer, PurchasesAnswer, ShortagesAnswer

WAITING_SHOWN = 6
"""builds that the overview shows for each short part"""
DETAILED = 6
"""parts of which the overview shows more than a row"""

KIND_WORDS = {
    MovementKind.ON_HAND: "on hand",
    MovementKind.PURCHASE: "purchase",
    MovementKind.NEW_ORDER: "new order",
    MovementKind.MADE: "made",
    MovementKind.NEED: "build",
    MovementKind.SHIPMENT: "parts order",
}


def shortages_page(found: ShortagesAnswer, *, every: bool) -> Page:
    limit = len(found.shortages) if every else ROWS

    def lines(width: int) -> list[str]:
        out = [f"{words.count(len(found.shortages), 'part')} hold builds or parts orders up"]
        if len(found.shortages) == 1:
            out = ["1 part holds builds or parts orders up"]
        shown = found.shortages[:limit]
        if shown:
            out += ["", *table(OVERVIEW, map(_overview_row, shown), width)]
            out += left_out(len(found.shortages), limit)
            detailed = shown if every else shown[:DETAILED]
            for row in detailed:
                out += ["", *_sentence(row, width), *_waiting_lines(row, width)]
            if len(detailed) < len(shown):
                out += ["", "any of the other parts: fulfil shortages PART"]
        return out + _stranded_lines(found.stranded, width)

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            shortages=found.shortages,
            stranded=found.stranded,
            assumed=found.assumed,
        ),
        headings=(
            "part",
            "description",
            "unit",
            "needed",
            "on_hand",
            "on_order",
            "to_order",
            "runs_out_on",
            "lead_days",
            "order_by",
            "missed_by_days",
            "late_days",
            "waiting",
        ),
        records=lambda: [
            {
                **plain(row),
                "late_days": row.late_days,
                "waiting": [waiting.who for waiting in row.waiting],
            }
            for row in found.shortages
        ],
        notes=(*found.basis.notes, *found.assumed),
    )


OVERVIEW = (
    Column("part", flexible=True),
    Column("needed", right=True),
    Column("on hand", right=True),
    Column("on\norder", right=True),
    Column("to\norder", right=True),
    Column("runs out"),
    Column("waiting", right=True),
    Column("late days\nby it", right=True),
    Column("last day\nto order"),
)


def _overview_row(row: Shortage) -> list[str]:
    return [
        row.part,
        words.quantity(row.needed_milli),
        words.quantity(row.on_hand_milli),
        words.quantity(row.on_order_milli),
        words.quantity(row.to_order_milli),
        words.day(row.runs_out_on),
        str(len(row.waiting)),
        str(row.late_days),
        words.day(row.order_by),
    ]


def _sentence(row: Shortage, width: int) -> list[str]:
    """The state of a part in one paragraph: where it is, when more comes, when to have ordered."""
    parts = [f"{row.part}{f' {row.description}' if row.description else ''}:"]
    hand = [f"{words.quantity(place.free_milli)} at {place.point}" for place in row.on_hand]
    parts.append(f"on hand {', '.join(hand)};" if hand else "none on hand;")
    coming = [
        f"{words.quantity(line.quantity_milli)} on {line.counted_on} ({line.order}/{line.line}"
        f"{', past due' if line.past_due else ''}{'' if line.confirmed else ', not confirmed'})"
        for line in row.on_order
    ]
    parts.append(f"on order {words.listed(coming)};" if coming else "none on order;")
    caps = [
        f"{cap.supplier} lets go {words.quantity(cap.cap_milli)} a month"
        for cap in row.monthly_caps
    ]
    if caps:
        parts.append(f"{', '.join(caps)};")
    parts.append(_order_words(row))
    return paragraph(" ".join(parts), width, "  ")


def _order_words(row: Shortage) -> str:
    if row.lead_days is None:
        return "it cannot be ordered: no source delivers where it is wanted"
    if row.order_by is None:
        return f"lead time {words.days(row.lead_days)}; nothing is late for want of it"
    if row.missed_by_days is not None:
        return (
            f"lead time {words.days(row.lead_days)}: the last day to order in time was "
            f"{row.order_by}, {words.days(row.missed_by_days)} ago"
        )
    return f"lead time {words.days(row.lead_days)}: the last day to order is {row.order_by}"


def _waiting_lines(row: Shortage, width: int, most: int = WAITING_SHOWN) -> list[str]:
    rows = [
        [
            "",
            waiting.who,
            words.day(waiting.promised),
            waiting.starts_on.isoformat(),
            words.NOTHING if waiting.days is None else str(waiting.days),
            str(waiting.late_days),
            _gets(waiting, row.part),
        ]
        for waiting in row.waiting[:most]
    ]
    columns = (
        Column(""),
        Column("who waits"),
        Column("promised"),
        Column("takes it on"),
        Column("held up\n(days)", right=True),
        Column("late\n(days)", right=True),
        Column("gets", flexible=True),
    )
    out = table(columns, rows, width)
    if len(row.waiting) > most:
        out.append(f"  {len(row.waiting) - most} more wait: fulfil shortages {row.part}")
    return out


def _gets(waiting: Waiting, part: str) -> str:
    text = words.origin(waiting.origin, waiting.usable)
    return text if waiting.called == part else f"{text}, in place of {waiting.called}"


def _stranded_lines(stranded: tuple[Stranded, ...], width: int) -> list[str]:
    out = [""] if stranded else []
    for row in stranded:
        kind = "build" if row.kind == "build" else "parts order"
        text = (
            f"{kind} {row.key} is not planned: {', '.join(row.parts)} can never come "
            "(no stock, purchase, source or approved alternate)"
        )
        out += paragraph(text, width, "  ")
    return out


# ---- one part


MOVEMENT_COLUMNS = (
    Column("day"),
    Column("what"),
    Column("which", flexible=True),
    Column("point", flexible=True),
    Column("quantity", right=True),
    Column("balance", right=True),
    Column("without\nnew orders", right=True),
    Column("note", flexible=True),
)


def part_page(found: PartAnswer, *, every: bool) -> Page:
    row = found.shortage
    limit = len(found.movements) if every else ROWS

    def lines(width: int) -> list[str]:
        out = _sentence(row, width)
        if row.waiting:
            out += ["", *_waiting_lines(row, width, len(row.waiting))]
        else:
            out += ["", "nothing waits for it"]
        if found.movements:
            out += ["", *table(MOVEMENT_COLUMNS, map(_movement, found.movements[:limit]), width)]
            out += left_out(len(found.movements), limit)
        if row.runs_out_on is not None:
            out.append(f"without new orders it runs out on {row.runs_out_on}")
        return out + _stranded_lines(found.stranded, width)

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            shortage={**plain(row), "late_days": row.late_days},
            movements=found.movements,
            stranded=found.stranded,
        ),
        headings=("day", "kind", "what", "point", "quantity", "balance", "known", "note"),
        records=lambda: [plain(movement) for movement in found.movements],
        notes=found.basis.notes,
    )


def _movement(row: Movement) -> list[str]:
    return [
        row.day.isoformat(),
        KIND_WORDS[row.kind],
        row.what,
        row.point,
        words.signed(row.quantity_milli),
        words.quantity(row.balance_milli),
        words.quantity(row.known_milli),
        row.note,
    ]


# ---- new orders


def purchases_page(found: PurchasesAnswer, *, every: bool) -> Page:
    limit = len(found.orders) if every else ROWS

    def lines(width: int) -> list[str]:
        if not found.orders:
            return ["the plan counts on no new orders"]
        out = [
            f"the plan counts on {words.count(len(found.orders), 'new order')}{_cost_words(found)}",
            "",
            *table(_order_columns(found.currency), map(_order_row, found.orders[:limit]), width),
        ]
        return out + left_out(len(found.orders), limit, "--supplier")

    return Page(
        lines=lines,
        document=lambda: answer(found.basis, currency=found.currency, orders=found.orders),
        headings=(
            "place_on",
            "supplier",
            "part",
            "description",
            "point",
            "quantity",
            "arrives_on",
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


def _order_columns(currency: str) -> tuple[Column, ...]:
    return (
        Column("place on"),
        Column("supplier", flexible=True),
        Column("part", flexible=True),
        Column("quantity", right=True),
        Column("to"),
        Column("arrives"),
        Column(f"cost\n({currency})", right=True),
        Column("for", flexible=True),
    )


def _order_row(row: NewOrder) -> list[str]:
    whom = words.listed(list(dict.fromkeys(use.who for use in row.for_whom)), 3)
    return [
        row.place_on.isoformat(),
        row.supplier,
        row.part,
        words.quantity(row.quantity_milli),
        row.point,
        f"{row.arrives_on}{' expedited' if row.expedited else ''}",
        words.NOTHING
        if row.cost_micro is None
        else words.money(row.cost_micro + row.expedite_cost_micro),
        whom or words.NOTHING,
    ]


def _cost_words(found: PurchasesAnswer) -> str:
    total = sum((row.cost_micro or 0) + row.expedite_cost_micro for row in found.orders)
    unpriced = sum(1 for row in found.orders if row.cost_micro is None)
    words_ = f", {found.currency} {words.money(Fraction(total, MICRO))}"
    return f"{words_} without {unpriced} that have no price" if unpriced else words_

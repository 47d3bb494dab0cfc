"""Pages of `transfers` and `orders`."""

from __future__ import annotations

from fulfil_models.moves import Move
from fulfil_models.order_lines import OrderLine, Parcel
from fulfil_models.plan import SupplyKind

from fulfil.render import words
from fulfil.render.common import answer, cautions
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, paragraph, table
from fulfil.usecases.shipping import OrdersAnswer, TransfersAnswer

MOVE_COLUMNS = (
    Column("leaves"),
    Column("from"),
    Column("to"),
    Column("arrives"),
    Column("part", flexible=True),
    Column("quantity", right=True),
    Column("weight\n(kg)", right=True),
    Column("drawn from", flexible=True),
    Column("for", flexible=True),
)


def transfers_page(found: TransfersAnswer, *, every: bool) -> Page:
    limit = len(found.moves) if every else ROWS

    def lines(width: int) -> list[str]:
        if not found.moves:
            return ["nothing is to be moved"]
        out = [
            f"{words.count(len(found.moves), 'transfer')} on "
            f"{words.count(_departures(found), 'departure')}",
            "",
            *table(MOVE_COLUMNS, map(_move_row, found.moves[:limit]), width),
        ]
        return out + left_out(len(found.moves), limit, "--from or --to")

    return Page(
        lines=lines,
        document=lambda: answer(found.basis, transfers=found.moves),
        headings=(
            "leaves_on",
            "arrives_on",
            "usable",
            "origin",
            "destination",
            "part",
            "description",
            "quantity",
            "weight_kg",
            "supply",
            "from_supply",
            "source",
            "there_on",
            "for_whom",
        ),
        records=lambda: [
            {**plain(row), "for_whom": [whom.who for whom in row.for_whom]} for row in found.moves
        ],
        notes=(*found.basis.notes, *cautions((row.part, row.caution) for row in found.moves)),
    )


def _departures(found: TransfersAnswer) -> int:
    return len({(row.origin, row.destination, row.leaves_on) for row in found.moves})


def _move_row(row: Move) -> list[str]:
    source = words.SUPPLY_WORDS[row.source]
    if row.source is not SupplyKind.STOCK:
        source = f"{source}, there {row.there_on}"
    whom = words.listed(list(dict.fromkeys(use.who for use in row.for_whom)), 3)
    return [
        row.leaves_on.isoformat(),
        row.origin,
        row.destination,
        row.arrives_on.isoformat(),
        row.part,
        words.quantity(row.quantity_milli),
        words.kilograms(row.weight_g),
        source,
        whom or words.NOTHING,
    ]


ORDER_COLUMNS = (
    Column("order\nand line"),
    Column("part", flexible=True),
    Column("quantity", right=True),
    Column("from"),
    Column("ships"),
    Column("arrives"),
    Column("goes to"),
    Column("to ship by,\nor within", flexible=True),
    Column("late\n(days)", right=True),
)


def orders_page(found: OrdersAnswer, *, every: bool) -> Page:
    limit = len(found.lines) if every else ROWS

    def lines(width: int) -> list[str]:
        out = [f"{words.count(found.total, 'line')} of parts orders, {found.late} late"]
        rows = [row for line in found.lines[:limit] for row in _order_rows(line)]
        if rows:
            out += ["", *table(ORDER_COLUMNS, rows, width)]
        out += left_out(len(found.lines), limit, "--late")
        for line in found.lines:
            if line.lacks:
                text = (
                    f"order {line.order} line {line.line} is not planned: "
                    f"{', '.join(line.lacks)} can never come"
                )
                out += ["", *paragraph(text, width, "  ")]
        return out

    return Page(
        lines=lines,
        document=lambda: answer(found.basis, total=found.total, late=found.late, lines=found.lines),
        headings=(
            "order",
            "line",
            "part",
            "ordered_quantity",
            "destination",
            "promised",
            "within_days",
            "late_days",
            "point",
            "used",
            "quantity",
            "ships",
            "arrives",
            "source",
            "weight_kg",
        ),
        records=lambda: [
            {
                **plain(line),
                "ordered_quantity": plain(line)["quantity"],
                **(plain(parcel) if parcel is not None else {"quantity": 0}),
            }
            for line in found.lines
            for parcel in (line.parcels or (None,))
        ],
        notes=(*found.basis.notes, *cautions((row.part, row.caution) for row in found.lines)),
    )


def _order_rows(line: OrderLine) -> list[list[str]]:
    """One row for each parcel; the second and later ones leave out what is the same."""
    rows = []
    parcels: tuple[Parcel | None, ...] = line.parcels or (None,)
    for number, parcel in enumerate(parcels):
        first = number == 0
        part = line.part
        if parcel is not None and parcel.used != line.part:
            part = f"{parcel.used} for {line.part}"
        rows.append(
            [
                f"{line.order}/{line.line}" if first else "",
                part,
                words.quantity(line.quantity_milli if parcel is None else parcel.quantity_milli),
                words.NOTHING if parcel is None else parcel.point,
                words.day(None if parcel is None else parcel.ships),
                words.day(None if parcel is None else parcel.arrives),
                (line.destination or words.NOTHING) if first else "",
                _wanted(line) if first else "",
                ("never" if parcel is None else str(line.late_days)) if first else "",
            ]
        )
    return rows


def _wanted(line: OrderLine) -> str:
    if line.promised is not None:
        return line.promised.isoformat()
    if line.within_days is not None:
        return f"{line.within_days} carrier days"
    return words.NOTHING

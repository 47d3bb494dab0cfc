"""Pages of `orders`: all lines of parts orders; one order and the points that could send it."""

from __future__ import annotations

from typing import Any

from fulfil_models.order_lines import OrderLine, Parcel
from fulfil_models.plan import SupplyKind
from fulfil_models.sending import SendingPoint

from fulfil.render import words
from fulfil.render.common import answer, cautions
from fulfil.render.facts import facts
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, paragraph, table
from fulfil.usecases.shipping import LineAnswer, OrderAnswer, OrdersAnswer

ORDER_COLUMNS = (
    Column("order\nand line"),
    Column("part", flexible=True),
    Column("quantity", right=True),
    Column("from"),
    Column("ships"),
    Column("arrives"),
    Column("goes to"),
    Column("to ship or\nbe here by"),
    Column("late\n(days)", right=True),
)
HEADINGS = (
    "order",
    "line",
    "part",
    "ordered_quantity",
    "unit",
    "ordered",
    "destination",
    "promised",
    "within_days",
    "arrive_by",
    "late_days",
    "point",
    "used",
    "quantity",
    "ships",
    "arrives",
    "parcel_late_days",
    "source",
    "weight_kg",
)


def orders_page(found: OrdersAnswer, *, every: bool) -> Page:
    limit = len(found.lines) if every else ROWS

    def lines(width: int) -> list[str]:
        out = [f"{words.count(found.total, 'line')} of parts orders, {found.late} late"]
        if len(found.lines) < found.total:
            until = "" if found.until is None else f", which ship by {found.until}"
            out[0] += f"; {len(found.lines)} shown{until}"
        rows = [row for line in found.lines[:limit] for row in _order_rows(line)]
        if rows:
            out += ["", *table(ORDER_COLUMNS, rows, width)]
        out += left_out(len(found.lines), limit, "--late, --from or --days")
        late = [line for line in found.lines[:limit] if line.late_days and line.parcels]
        if late:
            told = [(f"{line.order}/{line.line}", _why_late(line)) for line in late]
            out += ["", "late because:", *facts(told, width)]
        for line in found.lines:
            if line.lacks:
                out += ["", *paragraph(_lacks(line), width, "  ")]
        return out

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            total=found.total,
            late=found.late,
            until=found.until,
            lines=found.lines,
        ),
        headings=HEADINGS,
        records=lambda: [record for line in found.lines for record in _records(line)],
        notes=(*found.basis.notes, *cautions((row.part, row.caution) for row in found.lines)),
    )


def _records(line: OrderLine) -> list[dict[str, Any]]:
    """One record for each parcel; one without a parcel where the line cannot be filled."""
    row = plain(line)
    records = []
    for parcel in line.parcels or (None,):
        sent = {"quantity": 0} if parcel is None else plain(parcel)
        records.append(
            {
                **row,
                "ordered_quantity": row["quantity"],
                **sent,
                "late_days": line.late_days,
                "parcel_late_days": sent.get("late_days"),
            }
        )
    return records


def _order_rows(line: OrderLine) -> list[list[str]]:
    """One row for each parcel; the second and later ones leave out what is the same."""
    rows = []
    parcels: tuple[Parcel | None, ...] = line.parcels or (None,)
    for number, parcel in enumerate(parcels):
        first = number == 0
        part = line.part
        if parcel is not None and parcel.used != line.part:
            part = f"{parcel.used} for {line.part}"
        quantity_milli = line.quantity_milli if parcel is None else parcel.quantity_milli
        rows.append(
            [
                f"{line.order}/{line.line}" if first else "",
                part,
                words.quantity(quantity_milli, line.unit),
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
        return f"ship {line.promised}"
    if line.arrive_by is not None:
        return f"here {line.arrive_by}"
    return words.NOTHING


def _lacks(line: OrderLine) -> str:
    return (
        f"order {line.order} line {line.line} is not planned: "
        f"{', '.join(line.lacks)} can never come"
    )


def _why_late(line: OrderLine) -> str:
    """What the last parcel waits for."""
    last = max(line.parcels, key=lambda parcel: (parcel.late_days, parcel.ships))
    text = f"{words.quantity(last.quantity_milli, line.unit)} {last.used} from {_taken(last)}"
    if last.source is SupplyKind.STOCK and all(
        origin.kind is SupplyKind.STOCK for origin in last.origins
    ):
        text += ", which is the soonest it can leave"
    return text if line.split else f"{text}; may not be split"


def _taken(parcel: Parcel) -> str:
    """The supplies a parcel is taken from."""
    told = []
    for origin in parcel.origins:
        text = words.first_supply(origin)
        if origin.kind is SupplyKind.TRANSFER:
            text += f", moved from {origin.first_point}, leaves {words.day(origin.leaves_on)}"
        told.append(text)
    return words.listed(told) if told else words.SUPPLY_WORDS[parcel.source]


# ---- one order


def order_page(found: OrderAnswer) -> Page:
    rows = [row.line for row in found.lines]

    def lines(width: int) -> list[str]:
        out: list[str] = []
        for row in found.lines:
            out += ([""] if out else []) + _line(row, found, width)
        return out

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            currency=found.currency,
            lines=[{**plain(row.line), "points": plain(row.points)} for row in found.lines],
        ),
        headings=HEADINGS,
        records=lambda: [record for line in rows for record in _records(line)],
        notes=(*found.basis.notes, *cautions((row.part, row.caution) for row in rows)),
    )


def _line(row: LineAnswer, found: OrderAnswer, width: int) -> list[str]:
    line = row.line
    head = f"{line.order}/{line.line}: {words.quantity(line.quantity_milli, line.unit)} {line.part}"
    if line.description:
        head += f", {line.description}"
    told = [("goes to", line.destination or words.NOTHING), ("wanted", _bound(line))]
    for parcel in line.parcels:
        instead = "" if parcel.used == line.part else f" {parcel.used} in place of {line.part}"
        weight = "" if parcel.weight_g is None else f", {words.kilograms(parcel.weight_g)} kg"
        told.append(
            (
                f"from {parcel.point}",
                f"{words.quantity(parcel.quantity_milli, line.unit)}{instead}, ships "
                f"{parcel.ships}, arrives {parcel.arrives}{weight}; taken from {_taken(parcel)}",
            )
        )
    if line.parcels:
        late = f"{words.days(line.late_days)} late" if line.late_days else "in time"
        told.append(("so it is", late if line.late_days else _in_time(line)))
        told += [("split", text) for text in [_why_split(line, row.points)] if text]
    else:
        told.append(("so it is", _lacks(line)))
    out = [*paragraph(head, width, "  "), *facts(told, width)]
    if row.points:
        shown = [_point(point) for point in row.points]
        out += [
            "",
            f"if all of it left on {found.basis.as_of}, or when the point next opens:",
            "",
            *table(_point_columns(line.unit, found.currency), shown, width),
        ]
    return out


def _in_time(line: OrderLine) -> str:
    return "in time" if line.promised or line.arrive_by else "not bound to a day"


def _bound(line: OrderLine) -> str:
    ordered = "" if line.ordered is None else f"ordered {line.ordered}, "
    split = "" if line.split else "; may not be split"
    if line.promised is not None:
        return f"{ordered}to ship by {line.promised}{split}"
    if line.within_days is not None:
        days = words.count(line.within_days, "carrier day")
        return f"{ordered}to arrive within {days} (Mon-Fri), by {line.arrive_by}{split}"
    return f"{ordered}by no day{split}"


def _why_split(line: OrderLine, points: tuple[SendingPoint, ...]) -> str:
    if len({parcel.point for parcel in line.parcels}) < 2:
        return ""
    whole = words.quantity(line.quantity_milli, line.unit)
    able = [
        row.point
        for row in points
        if row.carrier_days is not None and row.spare_milli >= line.quantity_milli
    ]
    if able:
        return f"{words.listed(able)} could send all {whole}, later or at a higher cost"
    return f"no point has {whole} to spare now"


def _point_columns(unit: str, currency: str) -> tuple[Column, ...]:
    return (
        Column("point"),
        Column(f"on hand\n({unit})", right=True),
        Column("for\nothers", right=True),
        Column("to\nspare", right=True),
        Column("next on order"),
        Column("carrier\ndays", right=True),
        Column("arrives"),
        Column(f"cost\n({currency})", right=True),
    )


def _point(row: SendingPoint) -> list[str]:
    coming = words.NOTHING
    if row.next_milli is not None:
        coming = f"{words.quantity(row.next_milli)} on {words.day(row.next_on)}"
    return [
        row.point,
        words.quantity(row.free_milli),
        words.quantity(row.others_milli),
        words.quantity(row.spare_milli),
        coming,
        "no way" if row.carrier_days is None else str(row.carrier_days),
        words.day(row.arrives_on),
        words.NOTHING if row.cost_micro is None else words.money(row.cost_micro),
    ]

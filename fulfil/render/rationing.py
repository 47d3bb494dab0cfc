"""Pages of `ration`: all rationed parts, and one of them month by month."""

from __future__ import annotations

from fulfil_models.one_more import Worth
from fulfil_models.plan import SupplyKind
from fulfil_models.rationing import Month, Ration, Taker
from fulfil_models.ways_out import WayOut

from fulfil.render import words
from fulfil.render.chasing import tenths
from fulfil.render.common import answer
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, paragraph, table
from fulfil.usecases.rationing import RationAnswer, RationsAnswer

NAMES = 6
"""builds and parts orders that a row names"""

LIST_COLUMNS = (
    Column("part", flexible=True),
    Column("what it is", flexible=True),
    Column("supplier", flexible=True),
    Column("most in\na month", right=True),
    Column("most wanted\nin a month", right=True),
    Column("wait", right=True),
    Column("get\nanother", right=True),
)
WAIT_COLUMNS = (Column("waiting for it", flexible=True),)


def rations_page(found: RationsAnswer, *, every: bool) -> Page:
    limit = len(found.rations) if every else ROWS

    def lines(width: int) -> list[str]:
        waiting = sum(1 for row in found.rations if row.waiting)
        others = len(found.rations) - waiting
        out = paragraph(
            f"{words.count(found.capped, 'part')} with a monthly cap; of {waiting} somebody waits "
            f"for units, of {others} nobody waits but somebody gets another part",
            width,
            "  ",
        )
        if found.rations:
            columns = (
                *LIST_COLUMNS,
                Column(f"waiting costs\n({found.currency})", right=True),
                *WAIT_COLUMNS,
            )
            out += ["", *table(columns, map(_list_row, found.rations[:limit]), width)]
            out += left_out(len(found.rations), limit)
            out += ["", "`fulfil ration PART` shows who gets which month, and what would help"]
        return out

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            currency=found.currency,
            capped=found.capped,
            rations=[_ration(row) for row in found.rations],
        ),
        headings=("part", "description", "suppliers", "unit", "cost", "waiting", "stand_ins"),
        records=lambda: [
            {
                **plain(row),
                "cost": plain(row.cost),
                "waiting": [taker.who for taker in row.waiting],
                "stand_ins": [taker.who for taker in row.stand_ins],
            }
            for row in found.rations
        ],
        notes=(*found.basis.notes, *(WAITING_NOTES if found.rations else ())),
    )


WAITING_NOTES = (
    "waiting costs weight × late days × the cost of a late day, as the plan counts late days: of a "
    "build working time in standard days; other things may hold who waits as long",
)


def _list_row(row: Ration) -> list[str]:
    cap = row.months[0].cap_milli
    most = max(month.wanted_milli for month in row.months)
    return [
        row.part,
        row.description or "",
        ", ".join(row.suppliers),
        words.NOTHING if cap is None else words.quantity(cap),
        words.quantity(most),
        str(len(row.waiting)),
        str(len(row.stand_ins)),
        words.money(row.cost),
        _late(row.waiting),
    ]


def _ration(row: Ration) -> dict[str, object]:
    return {
        **plain(row),
        "months": [{**plain(month), "over_cap": month.over_cap} for month in row.months],
        "waiting": [taker.who for taker in row.waiting],
        "cost": plain(row.cost),
    }


# ---- one part


MONTH_COLUMNS = (
    Column("month"),
    Column("wanted", right=True),
    Column("most", right=True),
    Column("on\norder", right=True),
    Column("new\norders", right=True),
    Column("goes to (late by days)", flexible=True),
    Column("let wait", flexible=True),
)


def ration_page(found: RationAnswer, *, every: bool) -> Page:
    row = found.ration

    def lines(width: int) -> list[str]:
        what = f" {row.description}" if row.description else ""
        out = paragraph(
            f"{row.part}{what}: {', '.join(row.suppliers)} lets only so many go a month; "
            f"{words.quantity(row.shelf_milli, row.unit)} on the shelf"
            + (f", which go to {_late(row.from_shelf)}" if row.from_shelf else ""),
            width,
            "  ",
        )
        out += ["", *table(MONTH_COLUMNS, map(_month_row, row.months), width)]
        if row.stand_ins:
            others = [f"{taker.who} ({taker.used})" for taker in row.stand_ins]
            out += ["", *paragraph(f"get another part: {words.listed(others, NAMES)}", width, "  ")]
        if not row.waiting:
            out += ["", "nobody who is late waits for it"]
        else:
            limit = len(row.waiting) if every else ROWS
            out += ["", "who waits, and what waiting costs:", ""]
            out += table(_taker_columns(found), map(_taker_row, row.waiting[:limit]), width)
            out += left_out(len(row.waiting), limit)
            out += _ways(found, width)
        if found.worth:
            out += [
                "",
                "one more unit, usable from the first open day of the month (best found):",
                "",
            ]
            out += table(_worth_columns(found), map(_worth_row, found.worth), width)
        return out

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            currency=found.currency,
            ration=_ration(row),
            one_more=[_worth(one) for one in found.worth],
            ways=[{**plain(way), "cheaper": way.cheaper} for way in found.ways],
        ),
        headings=(
            "who",
            "called",
            "used",
            "quantity",
            "wanted_on",
            "given_on",
            "supply",
            "kind",
            "comes",
            "late_days",
            "waits",
            "weight",
            "weighted_late_days",
            "cost",
        ),
        records=lambda: [plain(taker) for taker in (*row.takers, *row.stand_ins)],
        notes=(*found.basis.notes, *_assumed(found)),
    )


def _assumed(found: RationAnswer) -> tuple[str, ...]:
    notes: tuple[str, ...] = ()
    if found.ration.waiting:
        notes += (
            *WAITING_NOTES,
            "each way is re-timed for one build alone, all others where they are; its cost is the "
            "most it can be, nobody sharing a move or an order",
        )
    if found.worth:
        notes += (
            "what one more unit saves is the best that a short search found, not a proven figure; "
            "it is held against the same search without the unit",
        )
    if not all(row.settled for row in found.worth):
        notes += ("the search without the unit was cut short: some of this may be had without it",)
    return notes


def _month_row(month: Month) -> list[str]:
    return [
        month.month,
        words.quantity(month.wanted_milli) + ("*" if month.over_cap else ""),
        words.NOTHING if month.cap_milli is None else words.quantity(month.cap_milli),
        words.quantity(month.open_milli),
        words.quantity(month.new_milli),
        _late(month.given),
        " ".join(dict.fromkeys(taker.who for taker in month.waiting)) or words.NOTHING,
    ]


def _late(takers: tuple[Taker, ...]) -> str:
    """Who takes it, each once, with the days by which he is late and waits for it."""
    days: dict[str, int] = {}
    for taker in takers:
        late = taker.late_days if taker.waits else 0
        days[taker.who] = max(days.get(taker.who, 0), late)
    names = [f"{who} ({late})" if late else who for who, late in days.items()]
    return words.NOTHING if not names else " ".join(names)


def _taker_columns(found: RationAnswer) -> tuple[Column, ...]:
    return (
        Column("who"),
        Column("quantity", right=True),
        Column("wanted"),
        Column("gets it"),
        Column("from", flexible=True),
        Column("late\n(days)", right=True),
        Column("weight", right=True),
        Column("weighted\nlate days", right=True),
        Column(f"waiting costs\n({found.currency})", right=True),
    )


def _taker_row(taker: Taker) -> list[str]:
    source = "the shelf" if taker.kind is SupplyKind.STOCK else taker.supply
    return [
        taker.who,
        words.quantity(taker.quantity_milli),
        taker.wanted_on.isoformat(),
        taker.given_on.isoformat(),
        source,
        str(taker.late_days),
        f"{float(taker.weight):g}",
        tenths(taker.weighted_late_days),
        words.money(taker.cost),
    ]


def _ways(found: RationAnswer, width: int) -> list[str]:
    helped = {way.who for way in found.ways}
    left = [taker.who for taker in found.ration.waiting if taker.who not in helped]
    out: list[str] = []
    if found.ways:
        out += ["", "instead of waiting:", ""]
        out += table(_way_columns(found), map(_way_row, found.ways), width)
    if left:
        text = (
            "no approved alternate, expedited order, move or other supplier lets these ship "
            f"sooner: {words.listed(left, NAMES)}"
        )
        out += ["", *paragraph(text, width, "  ")]
    return out


def _way_columns(found: RationAnswer) -> tuple[Column, ...]:
    return (
        Column("who"),
        Column("way"),
        Column("by", flexible=True),
        Column("there on"),
        Column("ships"),
        Column("late\n(days)", right=True),
        Column(f"costs\n({found.currency})", right=True),
        Column(f"saves\n({found.currency})", right=True),
        Column("", flexible=True),
    )


def _way_row(way: WayOut) -> list[str]:
    return [
        way.who,
        way.kind.value,
        way.by,
        way.usable_on.isoformat(),
        way.ships.isoformat(),
        str(way.late_days),
        words.money(way.way_cost),
        words.money(way.saves),
        "cheaper than waiting" if way.cheaper else "waiting is cheaper",
    ]


def _worth_columns(found: RationAnswer) -> tuple[Column, ...]:
    return (
        Column("month"),
        Column("usable"),
        Column("saves weighted\nlate days", right=True),
        Column(f"saves\n({found.currency})", right=True),
        Column("who ships sooner (days)", flexible=True),
    )


def _worth_row(worth: Worth) -> list[str]:
    names = [f"{one.who} ({one.days})" for one in worth.sooner if one.days > 0]
    return [
        worth.month,
        worth.usable_on.isoformat(),
        tenths(worth.late_days),
        words.money(worth.cost),
        words.listed(names, NAMES) if names else words.NOTHING,
    ]


def _worth(worth: Worth) -> dict[str, object]:
    ships = [{**plain(one), "days": one.days} for one in worth.sooner]
    return {**plain(worth), "sooner": ships}

"""What `cover` tells of one part, month by month."""

from __future__ import annotations

from datetime import date

from fulfil_models.cells import PPM
from fulfil_models.cover import ComingLine, Hit, Outlook, PartCover, PeriodCover
from fulfil_models.leadtimes import LearntFrom

from fulfil.render import words
from fulfil.render.chart import chart
from fulfil.render.facts import facts
from fulfil.render.text import ROWS, Column, left_out, paragraph, table
from fulfil.usecases.cover import CoverAnswer

NAMES = 3
"""builds and parts orders that a line names"""


def part_lines(found: CoverAnswer, row: PartCover, width: int, *, every: bool) -> list[str]:
    """What is told of one part: facts, its months, a chart, what is on order, who is hit."""
    name = f"{row.part}{f' {row.description}' if row.description else ''}"
    out = [*paragraph(name, width, "  "), *facts(_part_facts(found, row), width)]
    limit = len(row.periods) if every else ROWS
    out += ["", *table(_period_columns(found), map(_period, row.periods[:limit]), width)]
    out += left_out(len(row.periods), limit, "--months")
    out += ["", *chart(row, width)]
    if row.lines:
        out += ["", *table(COMING, [_coming(line) for line in row.lines], width)]
    if row.hits:
        limit = len(row.hits) if every else ROWS
        out += ["", *table(HITS, map(_hit, row.hits[:limit]), width)]
        out += left_out(len(row.hits), limit)
    return out


def _part_facts(found: CoverAnswer, row: PartCover) -> list[tuple[str, str]]:
    stock = (
        f"lasts beyond {found.until}"
        if row.stock_days is None
        else f"lasts {words.days(row.stock_days)}"
    )
    told = [
        (
            "there",
            f"{words.quantity(row.on_hand_milli, row.unit)} on hand, which {stock}; "
            f"{words.quantity(row.on_order_milli, row.unit)} on order",
        ),
        *_kept(row),
        (
            "needs",
            f"firm {words.quantity(row.firm_milli)}, forecast {words.quantity(row.forecast_milli)}"
            f"{f' ({words.listed(row.how)})' if row.how else ''} by {found.until}",
        ),
    ]
    names = ("stated", "50 %", "90 %")
    told += [
        (f"runs out, {name}", _outlook(outlook, row.unit, found.until))
        for name, outlook in zip(names, outlooks(row), strict=True)
    ]
    if row.runs_out:
        told.append(("last day to order", _order(row, found.basis.as_of)))
        if row.never_milli and row.most_milli is not None:
            told.append(("monthly caps", _capped(row, found.until)))
        told.append(("hits", _hits_told(row)))
    return told


def _kept(row: PartCover) -> list[tuple[str, str]]:
    """What quotes that are held keep, and would order."""
    told = []
    names = words.listed(row.kept_for)
    if row.kept_milli:
        told.append(
            f"{words.quantity(row.kept_milli, row.unit)} kept for {names}, counted neither as "
            "there nor as on order"
        )
    if row.kept_order_milli:
        order = words.quantity(row.kept_order_milli, row.unit)
        more = " more" if row.kept_milli else f" for {names}"
        told.append(f"{order}{more} to be ordered once accepted, not counted")
    return [("held quotes", "; ".join(told))] if told else []


def _outlook(outlook: Outlook, unit: str, until: date) -> str:
    if outlook.runs_out_on is None:
        return f"not by {until}"
    text = f"{outlook.runs_out_on}, after {words.days(outlook.days or 0)}"
    if outlook.firm_runs_out_on is None:
        text += "; by firm needs alone not"
    elif outlook.firm_runs_out_on != outlook.runs_out_on:
        text += f"; by firm needs alone {outlook.firm_runs_out_on}"
    if outlook.back_on is None:
        text += "; what is on order never makes up for it"
    else:
        text += f"; made up for on {outlook.back_on} by what is on order"
    return f"{text}; at most {words.quantity(outlook.short_milli, unit)} short"


def _order(row: PartCover, as_of: date) -> str:
    last = row.last_order
    if last is None or row.order_by is None:
        return "nobody supplies it here, or no order of it fits a monthly cap"
    record = (
        "as stated"
        if last.learnt_from is LearntFrom.STATED
        else (f"by the record, stated {last.stated_days}")
    )
    return (
        f"{last_day(row, as_of)}, from {last.supplier} to {last.point}: 90 of 100 orders come "
        f"within {'at least ' if last.at_least else ''}{words.days(last.days_90)} ({record})"
    )


def _capped(row: PartCover, until: date) -> str:
    most = words.quantity(row.most_milli or 0, row.unit)
    return (
        f"new orders can bring {most} by {until} at the very most, so "
        f"{words.quantity(row.never_milli, row.unit)} stay short whatever is ordered: "
        f"fulfil ration {row.part}"
    )


def _hits_told(row: PartCover) -> str:
    late = [hit for hit in row.hits if hit.late_days]
    rest = [hit.who for hit in row.hits if not hit.late_days]
    told = []
    if late:
        told.append(
            f"late in the plan for want of it: {words.listed([hit.who for hit in late], NAMES)}, "
            f"{tenths(row.harm_ppm)} weighted late days"
        )
    if rest:
        told.append(f"need it while there is none: {words.listed(rest, NAMES)}")
    return "; ".join(told) or "no firm order, so far"


def _period_columns(found: CoverAnswer) -> tuple[Column, ...]:
    return (
        Column("week from" if found.asked.weeks else "month"),
        Column("on\nhand", right=True),
        Column("firm\nneeds", right=True),
        Column("fore-\ncast", right=True),
        Column("comes\nstated", right=True),
        Column("\n50 %", right=True),
        Column("\n90 %", right=True),
        Column("left\nstated", right=True),
        Column("\n50 %", right=True),
        Column("\n90 %", right=True),
        Column("lasts\n(days)", right=True),
    )


def _period(row: PeriodCover) -> list[str]:
    quantities = (
        row.on_hand_milli,
        row.firm_milli,
        row.forecast_milli,
        row.coming_stated_milli,
        row.coming_50_milli,
        row.coming_90_milli,
        row.balance_stated_milli,
        row.balance_50_milli,
        row.balance_90_milli,
    )
    lasts = "beyond" if row.cover_days is None else str(row.cover_days)
    return [row.period, *map(words.quantity, quantities), lasts]


COMING = (
    Column("open line", flexible=True),
    Column("supplier", flexible=True),
    Column("to"),
    Column("quantity", right=True),
    Column("due"),
    Column("usable\nstated"),
    Column("\n50 %"),
    Column("\n90 %"),
    Column("", flexible=True),
)


def _coming(line: ComingLine) -> list[str]:
    return [
        f"{line.order}/{line.line}",
        line.supplier,
        line.point,
        words.quantity(line.quantity_milli),
        line.due.isoformat(),
        line.stated_on.isoformat(),
        line.on_50.isoformat(),
        line.on_90.isoformat(),
        "; ".join(
            [
                *(["past due"] if line.past_due else []),
                *([f"{words.quantity(line.kept_milli)} kept"] if line.kept_milli else []),
            ]
        ),
    ]


HITS = (
    Column("who is hit", flexible=True),
    Column("wants it"),
    Column("quantity", right=True),
    Column("promised"),
    Column("late in the plan\nby it (days)", right=True),
    Column("weighted", right=True),
)


def _hit(row: Hit) -> list[str]:
    return [
        row.who,
        row.needed_on.isoformat(),
        words.quantity(row.quantity_milli),
        words.day(row.promised),
        str(row.late_days) if row.late_days else words.NOTHING,
        tenths(row.harm_ppm),
    ]


# ---- also in the list


def outlooks(row: PartCover) -> tuple[Outlook, ...]:
    return row.stated, row.learnt_50, row.learnt_90


def passed(row: PartCover, as_of: date) -> bool:
    return row.order_by is not None and row.order_by < as_of


def last_day(row: PartCover, as_of: date, *, short: bool = False) -> str:
    if not row.runs_out:
        return words.NOTHING
    if row.order_by is None:
        return "no source"
    if not passed(row, as_of):
        return row.order_by.isoformat()
    return f"{row.order_by} past" if short else f"passed since {row.order_by}"


def tenths(harm_ppm: int) -> str:
    return f"{harm_ppm / PPM:.1f}" if harm_ppm else words.NOTHING

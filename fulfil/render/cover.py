"""Pages of `cover`: parts that run out, a family, and one part month by month."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from fulfil_models.cells import PPM
from fulfil_models.cover import ComingLine, Hit, Outlook, PartCover, PeriodCover
from fulfil_models.leadtimes import LearntFrom

from fulfil.render import words
from fulfil.render.chart import LEGEND, STRIP_LEGEND, chart, strips
from fulfil.render.common import answer, cautions
from fulfil.render.facts import facts
from fulfil.render.machine import number, plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, paragraph, table
from fulfil.usecases.cover import CoverAnswer

NAMES = 3
"""builds and parts orders that a line names"""
OUTLOOKS = ("stated", "learnt_50", "learnt_90")
HEADINGS = (
    "part",
    "description",
    "family",
    "unit",
    "on_hand",
    "on_order",
    "firm",
    "forecast",
    "stock_days",
    *(f"{name}_{field}" for name in OUTLOOKS for field in ("runs_out_on", "back_on", "short")),
    "order_by",
    "passed",
    "supplier",
    "point",
    "days_90",
    "hits",
)
PERIOD_HEADINGS = (
    "period",
    "first",
    "until",
    "on_hand",
    "firm",
    "forecast",
    "coming_stated",
    "coming_50",
    "coming_90",
    "balance_stated",
    "balance_50",
    "balance_90",
    "cover_days",
)


def cover_page(found: CoverAnswer, *, every: bool) -> Page:
    """The page of an answer: of one part its months, else a line for each part."""
    if found.asked.part is not None:
        return _part_page(found, found.rows[0], every=every)
    return _list_page(found, every=every)


# ---- the list


LIST = (
    Column("part", flexible=True),
    Column("on\nhand", right=True),
    Column("on\norder", right=True),
    Column("firm\nneeds", right=True),
    Column("fore-\ncast", right=True),
    Column("runs out\nstated"),
    Column("\n50 %"),
    Column("\n90 %"),
    Column("last day\nto order", flexible=True),
    Column("hits", right=True),
    Column("late\ndays", right=True),
)


def _list_page(found: CoverAnswer, *, every: bool) -> Page:
    limit = len(found.rows) if every else ROWS
    shown = found.rows[:limit]

    def lines(width: int) -> list[str]:
        out = paragraph(_summary(found), width, "  ")
        if shown:
            rows = [_row(row, found.basis.as_of) for row in shown]
            out += ["", *table(LIST, rows, width)]
            out += left_out(len(found.rows), limit, "--family or --months")
        if found.asked.family is not None and shown:
            first = max(len(row.part) for row in shown)
            out += ["", *paragraph(STRIP_LEGEND, width, "  "), ""]
            spans = shown[0].periods
            out.append(f"{'':{first}}  from {spans[0].period} to {spans[-1].period}")
            for name, strip in strips(shown):
                pieces = [strip[i : i + 80] for i in range(0, len(strip), 80)]
                out += [f"{name if not i else '':{first}}  {p}" for i, p in enumerate(pieces)]
        if shown:
            out += ["", "one part month by month: fulfil cover PART"]
        return out

    return Page(
        lines=lines,
        document=lambda: _document(found),
        headings=HEADINGS,
        records=lambda: [_record(row, found.basis.as_of) for row in found.rows],
        notes=_notes(found),
    )


def _summary(found: CoverAnswer) -> str:
    short = [row for row in found.rows if row.runs_out]
    passed = sum(_passed(row, found.basis.as_of) for row in short)
    where = "" if found.asked.point is None else f" at {found.asked.point}"
    family = "" if found.asked.family is None else f" of the family {found.asked.family}"
    run = "runs" if len(short) == 1 else "run"
    last = f"; of {passed} the last day to order has passed" if passed else ""
    return (
        f"{len(short)} of {words.count(found.total, 'part')}{family} {run} out{where} by "
        f"{found.until}{last}"
    )


def _row(row: PartCover, as_of: date) -> list[str]:
    return [
        row.part,
        words.quantity(row.on_hand_milli),
        words.quantity(row.on_order_milli),
        words.quantity(row.firm_milli),
        words.quantity(row.forecast_milli),
        *(words.day(outlook.runs_out_on) for outlook in _outlooks(row)),
        _last_day(row, as_of),
        str(len(row.hits)),
        _tenths(row.harm_ppm),
    ]


def _outlooks(row: PartCover) -> tuple[Outlook, ...]:
    return row.stated, row.learnt_50, row.learnt_90


def _passed(row: PartCover, as_of: date) -> bool:
    return row.order_by is not None and row.order_by < as_of


def _last_day(row: PartCover, as_of: date) -> str:
    if not row.runs_out:
        return words.NOTHING
    if row.order_by is None:
        return "no source"
    return f"{'passed since ' if _passed(row, as_of) else ''}{row.order_by}"


def _tenths(harm_ppm: int) -> str:
    return f"{harm_ppm / PPM:.1f}" if harm_ppm else words.NOTHING


# ---- one part


def _part_page(found: CoverAnswer, row: PartCover, *, every: bool) -> Page:
    def lines(width: int) -> list[str]:
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

    return Page(
        lines=lines,
        document=lambda: _document(found),
        headings=PERIOD_HEADINGS,
        records=lambda: [plain(period) for period in row.periods],
        notes=(*_notes(found), LEGEND.format(period="week" if found.asked.weeks else "month")),
    )


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
        (
            "needs",
            f"firm {words.quantity(row.firm_milli)}, forecast {words.quantity(row.forecast_milli)}"
            f"{f' ({words.listed(row.how)})' if row.how else ''} by {found.until}",
        ),
    ]
    names = ("stated", "50 %", "90 %")
    told += [
        (f"runs out, {name}", _outlook(outlook, row.unit, found.until))
        for name, outlook in zip(names, _outlooks(row), strict=True)
    ]
    if row.runs_out:
        told.append(("last day to order", _order(row, found.basis.as_of)))
        told.append(("hits", _hits_told(row)))
    return told


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
        return "nobody supplies it here"
    record = (
        "as stated"
        if last.learnt_from is LearntFrom.STATED
        else (f"by the record, stated {last.stated_days}")
    )
    return (
        f"{_last_day(row, as_of)}, from {last.supplier} to {last.point}: 90 of 100 orders come "
        f"within {words.days(last.days_90)} ({record})"
    )


def _hits_told(row: PartCover) -> str:
    late = [hit for hit in row.hits if hit.late_days]
    rest = [hit.who for hit in row.hits if not hit.late_days]
    told = []
    if late:
        told.append(
            f"late in the plan for want of it: {words.listed([hit.who for hit in late], NAMES)}, "
            f"{_tenths(row.harm_ppm)} weighted late days"
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
        "past due" if line.past_due else "",
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
        _tenths(row.harm_ppm),
    ]


# ---- for other programs


def _document(found: CoverAnswer) -> dict[str, Any]:
    return answer(
        found.basis,
        months=found.asked.months,
        until=found.until,
        point=found.asked.point,
        total=found.total,
        parts=[
            {**plain(row), "order_by": plain(row.order_by), "harm": number(row.harm_ppm, 6)}
            for row in found.rows
        ],
        assumed=found.assumed,
    )


def _record(row: PartCover, as_of: date) -> Mapping[str, Any]:
    document = plain(row)
    last = document["last_order"] or {}
    return {
        **document,
        **{
            f"{name}_{field}": document[name][field]
            for name in OUTLOOKS
            for field in ("runs_out_on", "back_on", "short")
        },
        "order_by": plain(row.order_by),
        "passed": _passed(row, as_of),
        "supplier": last.get("supplier"),
        "point": last.get("point"),
        "days_90": last.get("days_90"),
        "hits": [hit.who for hit in row.hits],
    }


# ---- what was assumed


def _notes(found: CoverAnswer) -> tuple[str, ...]:
    notes = [
        *found.basis.notes,
        "new orders of the plan are not counted: nobody has placed them",
        "open purchases by stated dates (past due: overdue_days of the settings from now), and on "
        "the days by which 50 and 90 of 100 come by the record, never before they are due",
        "what the plan makes late for want of a part counts on the day it should have been there",
        "last day to order: the day it runs out by the 90 % dates, less the days within which 90 "
        "of 100 orders come, on a working day of the point delivered to",
    ]
    if found.asked.point is None:
        notes.append(
            "all points together, as if moving took no time; forecast needs fall evenly over the "
            "working days of their month"
        )
        notes += found.assumed
    else:
        notes.append(
            f"{found.asked.point} alone, nothing moved to it or from it; forecast needs name no "
            "point and are not counted"
        )
    return (*notes, *cautions(found.cautions if found.asked.part or found.asked.family else ()))

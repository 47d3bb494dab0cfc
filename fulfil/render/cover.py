"""Pages of `cover`: parts that run out, a family, and one part month by month."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from fulfil_models.cover import PartCover

from fulfil.render import words
from fulfil.render.chart import LEGEND, STRIP_LEGEND, strips
from fulfil.render.common import answer, cautions
from fulfil.render.machine import number, plain
from fulfil.render.page import Page
from fulfil.render.part_cover import last_day, outlooks, part_lines, passed
from fulfil.render.text import ROWS, Column, left_out, paragraph, table
from fulfil.usecases.cover import CoverAnswer

OUTLOOKS = ("stated", "learnt_50", "learnt_90")
HEADINGS = (
    "part",
    "description",
    "family",
    "unit",
    "on_hand",
    "on_order",
    "kept",
    "firm",
    "forecast",
    "stock_days",
    *(f"{name}_{field}" for name in OUTLOOKS for field in ("runs_out_on", "back_on", "short")),
    "order_by",
    "passed",
    "supplier",
    "point",
    "days_90",
    "most",
    "never",
    "late_days",
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


def _part_page(found: CoverAnswer, row: PartCover, *, every: bool) -> Page:
    return Page(
        lines=lambda width: part_lines(found, row, width, every=every),
        document=lambda: _document(found),
        headings=PERIOD_HEADINGS,
        records=lambda: [plain(period) for period in row.periods],
        notes=(*_notes(found), LEGEND.format(period="week" if found.asked.weeks else "month")),
    )


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
    Column("last day\nto order"),
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
    late = sum(passed(row, found.basis.as_of) for row in short)
    where = "" if found.asked.point is None else f" at {found.asked.point}"
    family = "" if found.asked.family is None else f" of the family {found.asked.family}"
    run = "runs" if len(short) == 1 else "run"
    last = f"; of {late} the last day to order has passed" if late else ""
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
        *(words.day(outlook.runs_out_on) for outlook in outlooks(row)),
        last_day(row, as_of, short=True),
        str(len(row.hits)),
        str(row.late_days or "-"),
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
            {
                **plain(row),
                "order_by": plain(row.order_by),
                "never": number(row.never_milli, 3),
                "late_days": row.late_days,
                "harm": number(row.harm_ppm, 6),
            }
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
        "passed": passed(row, as_of),
        "supplier": last.get("supplier"),
        "point": last.get("point"),
        "days_90": last.get("days_90"),
        "never": number(row.never_milli, 3),
        "late_days": row.late_days,
        "hits": [hit.who for hit in row.hits],
    }


# ---- what was assumed


def _kept(found: CoverAnswer) -> tuple[str, ...]:
    """That quotes which are held keep units, where they do."""
    names = sorted({name for row in found.rows if row.kept_milli for name in row.kept_for})
    if not names:
        return ()
    return (
        f"what is kept for held quotes ({words.listed(names)}) is counted neither as there nor as "
        "on order",
    )


def _notes(found: CoverAnswer) -> tuple[str, ...]:
    notes = [
        *found.basis.notes,
        "new orders of the plan are not counted: nobody has placed them",
        "open purchases by stated dates (past due: overdue_days of the settings from now), and on "
        "the days by which 50 and 90 of 100 come by the record, never sooner than stated",
        *_kept(found),
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

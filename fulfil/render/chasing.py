"""Page of `chase`: open purchase lines, those first whose slipping does the most harm."""

from __future__ import annotations

from fractions import Fraction

from fulfil_models.chasing import MOST_DAYS, Chase
from fulfil_models.slipping import Hit

from fulfil.render import words
from fulfil.render.common import answer
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, paragraph, table
from fulfil.usecases.chasing import ChaseAnswer

NAMES = 3
"""builds and parts orders that a row names"""
NARROWER = "--supplier or --part"
HELD = "how much later held quotes would be is not counted"

HURT_COLUMNS = (
    Column("order\nand line"),
    Column("supplier"),
    Column("part"),
    Column("quantity", right=True),
    Column("due"),
    Column("needed"),
    Column("slack\n(days)", right=True),
    Column("by record\n50 %"),
    Column("by record\n90 %"),
    Column("late days: a\nweek later", right=True),
    Column("free\nstation", right=True),
    Column("on the\n90 % day", right=True),
    Column("hurts (late by days more)", flexible=True),
    Column("", flexible=True),
)
EASY_COLUMNS = (
    Column("order\nand line"),
    Column("supplier", flexible=True),
    Column("part", flexible=True),
    Column("quantity", right=True),
    Column("due"),
    Column("needed"),
    Column("may come\nuntil"),
    Column("by record\n90 %"),
    Column("late\nthen", right=True),
    Column("", flexible=True),
)


def chase_page(found: ChaseAnswer, *, every: bool) -> Page:
    hurt = [row for row in found.lines if row.hurts]
    easy = [row for row in found.lines if not row.hurts and row.harmless_days is not None]
    unused = len(found.lines) - len(hurt) - len(easy)

    def lines(width: int) -> list[str]:
        out = paragraph(_summary(found), width, "  ")
        limit = len(found.lines) if every else ROWS
        if hurt:
            out += ["", "a week later, with nobody else moved, these add weighted late days:", ""]
            out += table(HURT_COLUMNS, [_hurt_row(row, found) for row in hurt[:limit]], width)
            out += left_out(len(hurt), limit, NARROWER)
        if easy:
            out += [
                "",
                "a week later, these add no weighted late days (+: no further looked at):",
                "",
            ]
            rest = max(0, limit - len(hurt)) if not every else limit
            out += table(EASY_COLUMNS, [_easy_row(row, found) for row in easy[:rest]], width)
            out += left_out(len(easy), rest, NARROWER)
        if unused:
            out += ["", f"the plan draws nothing on {words.count(unused, 'line')}"]
        return out

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            currency=found.currency,
            total=found.total,
            past_due=found.past_due,
            unconfirmed=found.unconfirmed,
            hurting=found.hurting,
            lines=[_document(row) for row in found.lines],
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
            "needed_on",
            "slack_days",
            "expected_50",
            "expected_90",
            "late_days",
            "free_late_days",
            "cost",
            "record_late_days",
            "harmless_days",
            "harmless_until",
            "hits",
        ),
        records=lambda: [
            {**_document(row), "hits": [hit.who for hit in row.hits]} for row in found.lines
        ],
        notes=(*found.basis.notes, *_assumed(found)),
    )


def _summary(found: ChaseAnswer) -> str:
    text = (
        f"{words.count(found.total, 'open purchase line')}: {found.past_due} past due, "
        f"{found.unconfirmed} not confirmed; {found.hurting} would add weighted late days if "
        "they came a week later"
    )
    return f"{text}; {len(found.lines)} shown" if found.narrowed else text


def _assumed(found: ChaseAnswer) -> tuple[str, ...]:
    """What the figures rest on."""
    if not found.lines:
        return ()
    shown = {(row.line.order, row.line.line) for row in found.lines}
    held = [f"{order}/{line}" for order, line in found.quotes if (order, line) in shown]
    return (
        "late days are weighted, and more than in the plan; each line is taken to slip alone, from "
        "the day the plan counts on, and whoever loses a slot takes the first free one",
        "`free station` leaves the queue for another slot out: a new plan may shorten that, and "
        "make others late instead",
        "`by record` is when a line like this is there, going by receipts and what is open; never "
        "sooner than stated",
        *([f"{HELD}: they draw on {words.listed(held)}"] if held else []),
    )


def _hurt_row(row: Chase, found: ChaseAnswer) -> list[str]:
    line = row.line
    return [
        f"{line.order}/{line.line}",
        line.supplier,
        line.part,
        words.quantity(line.quantity_milli, line.unit),
        line.due.isoformat(),
        words.day(line.needed_on),
        words.NOTHING if line.slack_days is None else str(line.slack_days),
        words.day(row.expected_50),
        words.day(row.expected_90),
        tenths(row.late_days),
        tenths(row.free_late_days),
        _at_record(row),
        _who(row.hits),
        _marks(row, found),
    ]


def _easy_row(row: Chase, found: ChaseAnswer) -> list[str]:
    line = row.line
    beyond = (row.harmless_days or 0) >= MOST_DAYS
    return [
        f"{line.order}/{line.line}",
        line.supplier,
        line.part,
        words.quantity(line.quantity_milli, line.unit),
        line.due.isoformat(),
        words.day(line.needed_on),
        f"{words.day(row.harmless_until)}{' +' if beyond else ''}",
        words.day(row.expected_90),
        _at_record(row),
        _marks(row, found),
    ]


def _at_record(row: Chase) -> str:
    """Late days more if it comes on the day that the record gives for 90 of 100."""
    return words.NOTHING if row.record_late_days is None else tenths(row.record_late_days)


def _marks(row: Chase, found: ChaseAnswer) -> str:
    """What makes a line doubtful, and which held quotes draw on it, in words."""
    line = row.line
    marks = []
    if line.past_due_days:
        past = words.days(line.past_due_days)
        marks.append(f"past due for {past}, counted on {line.counted_on}")
    if not line.confirmed:
        marks.append("not confirmed")
    quotes = found.quotes.get((line.order, line.line))
    if quotes:
        marks.append(f"held quotes, too: {words.listed(quotes)}")
    return "; ".join(marks)


def _who(hits: tuple[Hit, ...]) -> str:
    """Who is later, and by how many calendar days that count as late."""
    named = [f"{hit.who} (+{hit.late_days_then - hit.late_days})" for hit in hits[:NAMES]]
    more = f" +{len(hits) - NAMES} more" if len(hits) > NAMES else ""
    return f"{' '.join(named)}{more}"


def tenths(days: Fraction) -> str:
    """Weighted late days to one place; what is above nothing is never shown as nothing."""
    if 0 < days < Fraction(1, 20):
        return "<0.1"
    return f"{float(days):,.1f}"


def _document(row: Chase) -> dict[str, object]:
    fields = plain(row)
    line = fields.pop("line")
    return {
        **line,
        **fields,
        "hits": [
            {**plain(hit), "weighted_late_days": plain(hit.weighted_late_days)} for hit in row.hits
        ],
        "hurts": row.hurts,
        "doubtful": row.line.doubtful,
        "harmless_until": plain(row.harmless_until),
    }

"""Page of `leadtimes PART`: one part from each supplier, with the deliveries behind it."""

from __future__ import annotations

from typing import Any

from fulfil_models.lead_curve import OF_THE_RECORD, Share
from fulfil_models.lead_record import Observed
from fulfil_models.leadtimes import LeadTime, LearntFrom

from fulfil.render import words
from fulfil.render.facts import facts
from fulfil.render.leadtimes import FEW, KEPT, OPEN_COUNT, drift_told, kept, lead_document
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, paragraph, table
from fulfil.usecases.leadtimes import OpenLine, PartLead, PartLeadsAnswer


def part_page(found: PartLeadsAnswer, *, every: bool) -> Page:
    def lines(width: int) -> list[str]:
        name = f"{found.part}{f' {found.description}' if found.description else ''}"
        out = paragraph(name, width, "  ")
        if not found.suppliers:
            out += paragraph(
                "no source, receipt or purchase names it, so it has no lead time", width, "  "
            )
        for part_lead in found.suppliers:
            out += ["", *_part_lead_lines(part_lead, width, every=every)]
        return out

    return Page(
        lines=lines,
        document=lambda: {
            "as_of": plain(found.as_of),
            "part": found.part,
            "description": found.description,
            "unit": found.unit,
            "suppliers": [
                {
                    **lead_document(row.lead),
                    "came": [plain(line) for line in row.came],
                    "open_lines": [_open_document(line) for line in row.open_lines],
                }
                for row in found.suppliers
            ],
        },
        headings=(
            "part",
            "supplier",
            "point",
            "order",
            "line",
            "quantity",
            "ordered",
            "due",
            "received",
            "days",
            "late_days",
            "expected_50",
            "expected_90",
        ),
        records=lambda: [
            record
            for row in found.suppliers
            for record in (*map(_open_document, row.open_lines), *map(plain, row.came))
        ],
        notes=_part_notes(found),
    )


def _part_notes(found: PartLeadsAnswer) -> tuple[str, ...]:
    notes = [f"planning date {found.as_of}; days are calendar days from order to arrival"]
    leads = [row.lead for row in found.suppliers]
    if any(lead.still_open for lead in leads):
        notes.append(OPEN_COUNT)
        notes.append(
            "an open line is expected by the deliveries that took longer than it has so far; one "
            "older than all of them is taken to come the overdue_days of the settings from now, "
            "or when a fitted law says so, if that is later; none is put off beyond the "
            "horizon_days; that is the record alone: `cover` and `chase` expect no line sooner "
            "than stated, and on a working day"
        )
    if any(lead.learnt_from is not LearntFrom.OWN for lead in leads):
        notes.append(FEW)
    if any(lead.judged for lead in leads):
        notes.append(KEPT)
    return tuple(notes)


def _part_lead_lines(row: PartLead, width: int, *, every: bool) -> list[str]:
    lead = row.lead
    supplier = f"from {lead.supplier}{f' {row.supplier_name}' if row.supplier_name else ''}"
    out = [*paragraph(supplier, width, "  "), *facts(_lead_facts(lead), width)]
    if row.open_lines:
        out += ["", *table(OPEN, map(_open_row, row.open_lines), width)]
    if row.came:
        limit = len(row.came) if every else ROWS
        out += ["", *table(CAME, map(_came_row, row.came[:limit]), width)]
        out += left_out(len(row.came), limit)
    return out


def _lead_facts(lead: LeadTime) -> list[tuple[str, str]]:
    stated = "nobody says" if lead.stated_days is None else words.days(lead.stated_days)
    told = [("stated", stated)]
    if lead.learnt_from is LearntFrom.STATED:
        told.append(("learnt", f"nothing: only {_came(lead)}, and few of its supplier"))
    else:
        told.append(
            (
                "learnt",
                f"median {_within(lead, '50')}, 80 of 100 within {_within(lead, '80')}, 90 within "
                f"{_within(lead, '90')}",
            )
        )
        told.append(("from", _learnt_told(lead)))
    told.append(("on time", kept(lead.on_time, lead.mean_days_late)))
    if lead.learnt_from is LearntFrom.OWN:
        told.append(("drift", drift_told(lead.drift, "days")))
    elif lead.drift is not None:
        told.append(("drift", f"of its supplier: {drift_told(lead.drift, 'days')}"))
    return told


def _came(lead: LeadTime) -> str:
    return (
        f"{words.count(lead.records, 'delivery', 'deliveries')} came and "
        f"{words.count(lead.still_open, 'line is', 'lines are')} open"
    )


def _within(lead: LeadTime, share: Share) -> str:
    return f"{'at least ' if share in lead.at_least else ''}{words.days(lead.days(share))}"


def _learnt_told(lead: LeadTime) -> str:
    curve = "the curve of Kaplan and Meier"
    if lead.fit != OF_THE_RECORD:
        curve += f", beyond it a {lead.fit} law"
    if lead.learnt_from is LearntFrom.OWN:
        unit = "" if lead.curve is None or lead.curve.unit_days == 1 else RATIOS
        return f"its own record{unit}: {_came(lead)}; {curve}"
    return (
        f"its supplier's parts together, scaled to its stated lead time, since of its own only "
        f"{_came(lead)}; {curve}"
    )


RATIOS = ", as ratios to the lead times stated for the points delivered to"

OPEN = (
    Column("open line", flexible=True),
    Column("point", flexible=True),
    Column("quantity", right=True),
    Column("ordered"),
    Column("due"),
    Column("open for\n(days)", right=True),
    Column("past due\n(days)", right=True),
    Column("expected\n50 %"),
    Column("expected\n90 %"),
)

CAME = (
    Column("came", flexible=True),
    Column("point", flexible=True),
    Column("quantity", right=True),
    Column("ordered"),
    Column("due"),
    Column("received"),
    Column("took\n(days)", right=True),
    Column("late\n(days)", right=True),
)


def _open_row(row: OpenLine) -> list[str]:
    line = row.line
    return [
        f"{line.order}/{line.line}",
        line.point,
        words.quantity(line.quantity_milli),
        line.ordered.isoformat(),
        words.day(line.due),
        str(line.days),
        _late(line),
        row.expected_50.isoformat(),
        row.expected_90.isoformat(),
    ]


def _came_row(row: Observed) -> list[str]:
    return [
        f"{row.order}/{row.line}",
        row.point,
        words.quantity(row.quantity_milli),
        row.ordered.isoformat(),
        words.day(row.due),
        words.day(row.received),
        str(row.days),
        _late(row),
    ]


def _late(row: Observed) -> str:
    return words.NOTHING if row.late_days is None else str(row.late_days)


def _open_document(row: OpenLine) -> dict[str, Any]:
    return {
        **plain(row.line),
        "expected_50": row.expected_50.isoformat(),
        "expected_90": row.expected_90.isoformat(),
    }

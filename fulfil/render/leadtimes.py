"""Page of `leadtimes`: how long parts take from their suppliers by the record."""

from __future__ import annotations

import dataclasses
from fractions import Fraction
from typing import Any

from fulfil_models.lead_curve import OF_THE_RECORD, REACH, Share
from fulfil_models.lead_drift import BY_CHANCE, DRIFT_MONTHS, Drift
from fulfil_models.leadtimes import AS_STATED, ENOUGH, LeadTime, LearntFrom, SupplierRecord

from fulfil.render import words
from fulfil.render.facts import facts
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, table
from fulfil.usecases.leadtimes import LeadTimesAnswer

FROM_WORDS = {
    LearntFrom.OWN: "own",
    LearntFrom.SUPPLIER: "supplier",
    LearntFrom.STATED: "stated",
}
FIELDS = (
    "part",
    "supplier",
    "stated_days",
    "median_days",
    "p80_days",
    "p90_days",
    "at_least",
    "records",
    "still_open",
    "learnt_from",
    "fit",
    "judged",
    "on_time",
    "mean_days_late",
)
DRIFT_FIELDS = tuple(field.name for field in dataclasses.fields(Drift))

OPEN_COUNT = (
    "open lines count as taking longer than they have so far; without them suppliers would look "
    "faster than they are"
)
FEW = (
    f"a part with fewer than {ENOUGH} deliveries goes by its supplier's parts together, as ratios "
    f"to their stated lead times; with fewer than {ENOUGH} of those, what is stated stands"
)
KEPT = (
    "on time and days late are of what came and had a due date, and of open lines past due, which "
    "are late by the days so far"
)
AT_LEAST = (
    "+ is at least: so much is still open that the record ends there, or that a fitted law would "
    f"go beyond {REACH} times the longest time seen"
)


def leadtimes_page(found: LeadTimesAnswer, *, every: bool) -> Page:
    limit = len(found.rows) if every else ROWS
    shown = found.rows[:limit]

    def lines(width: int) -> list[str]:
        out = [_headline(found)]
        if found.supplier is not None:
            name = f"{found.supplier.supplier} {found.supplier_name or ''}".strip()
            out = [name, *facts(_supplier_facts(found.supplier), width)]
        if shown:
            with_supplier = found.supplier is None
            rows = [_row(row, with_supplier) for row in shown]
            out += ["", *table(_columns(with_supplier), rows, width)]
        narrow = "--supplier" if found.supplier is None else ""
        return out + left_out(len(found.rows), limit, narrow)

    return Page(
        lines=lines,
        document=lambda: {
            "as_of": plain(found.as_of),
            "total": found.total,
            "supplier": plain(found.supplier),
            "drift_tested": found.tested,
            "lead_times": [lead_document(row) for row in found.rows],
        },
        headings=(*FIELDS, *(f"drift_{name}" for name in DRIFT_FIELDS)),
        records=lambda: [_record(row) for row in found.rows],
        notes=_list_notes(found),
    )


def _headline(found: LeadTimesAnswer) -> str:
    own = sum(row.learnt_from is LearntFrom.OWN for row in found.rows)
    pooled = sum(row.learnt_from is LearntFrom.SUPPLIER for row in found.rows)
    stated = len(found.rows) - own - pooled
    return (
        f"{words.count(found.total, 'lead time')}: {own} by the part's own record, {pooled} by its "
        f"supplier's, {stated} as stated"
    )


def _list_notes(found: LeadTimesAnswer) -> tuple[str, ...]:
    notes = [f"planning date {found.as_of}; days are calendar days from order to arrival"]
    if not any(row.records for row in found.rows):
        notes.append("nothing has come yet, so there is no record to learn from")
    notes += [OPEN_COUNT, FEW, KEPT]
    if any(row.at_least for row in found.rows):
        notes.append(AT_LEAST)
    if found.tested:
        tested = words.count(found.tested, "part")
        notes.append(
            f"drift: median before and in the last {DRIFT_MONTHS} months, where a log-rank test "
            f"finds more than chance at 5 %; of {tested} tested by their own record "
            f"{found.drifted} drifted, and chance alone would make it about "
            f"{found.tested * BY_CHANCE:.1f}"
        )
    return tuple(notes)


def _columns(with_supplier: bool) -> tuple[Column, ...]:
    return (
        Column("part", flexible=True),
        *((Column("supplier", flexible=True),) if with_supplier else ()),
        Column("stated\n(days)", right=True),
        Column("median", right=True),
        Column("80 %", right=True),
        Column("90 %", right=True),
        Column("came", right=True),
        Column("open", right=True),
        Column("on\ntime", right=True),
        Column("days\nlate", right=True),
        Column("drift\n(days)"),
        Column("learnt\nfrom", flexible=True),
    )


def _row(row: LeadTime, with_supplier: bool) -> list[str]:
    return [
        row.part,
        *((row.supplier,) if with_supplier else ()),
        words.NOTHING if row.stated_days is None else str(row.stated_days),
        _days(row, "50"),
        _days(row, "80"),
        _days(row, "90"),
        str(row.records),
        str(row.still_open),
        _share(row.on_time),
        _tenths(row.mean_days_late),
        _drifted(row.drift),
        _learnt(row),
    ]


def _days(row: LeadTime, share: Share) -> str:
    return f"{row.days(share)}{'+' if share in row.at_least else ''}"


def _drifted(drift: Drift | None) -> str:
    if drift is None or not drift.more_than_chance:
        return words.NOTHING
    return f"{_some(drift.earlier_days)} to {_some(drift.recent_days)}"


def _some(days: int | None) -> str:
    return "open" if days is None else str(days)


def _learnt(row: LeadTime) -> str:
    source = FROM_WORDS[row.learnt_from]
    return source if row.fit in (AS_STATED, OF_THE_RECORD) else f"{source}, {row.fit}"


def _share(share: Fraction | None) -> str:
    return words.NOTHING if share is None else f"{round(share * 100)} %"


def _tenths(days: Fraction | None) -> str:
    return words.NOTHING if days is None else f"{float(days):.1f}"


# ---- a supplier


def _supplier_facts(row: SupplierRecord) -> list[tuple[str, str]]:
    told = [
        (
            "record",
            f"{words.count(row.records, 'delivery', 'deliveries')} of "
            f"{words.count(row.parts, 'part')}, {words.count(row.still_open, 'line')} open",
        )
    ]
    if row.median_percent is not None and row.records:
        shares: tuple[tuple[Share, str, int | None], ...] = (
            ("50", "half come within", row.median_percent),
            ("80", "80 of 100 within", row.p80_percent),
            ("90", "90 within", row.p90_percent),
        )
        reached = ", ".join(
            f"{name} {'at least ' if share in row.at_least else ''}{percent} %"
            for share, name, percent in shares
        )
        told.append(("learnt", f"{reached} of the stated lead time"))
    told.append(("on time", kept(row.on_time, row.mean_days_late)))
    told.append(("drift", drift_told(row.drift, "% of what is stated")))
    return told


def kept(on_time: Fraction | None, late: Fraction | None) -> str:
    if on_time is None:
        return "nothing with a due date has come, and nothing is past due"
    return f"{_share(on_time)}, on average {_tenths(late)} days late"


def drift_told(drift: Drift | None, unit: str) -> str:
    if drift is None:
        return f"too little has come, in the last {DRIFT_MONTHS} months or before, to tell"
    verdict = "more than chance" if drift.more_than_chance else "may be chance"
    return (
        f"since {drift.since} a median of {_median(drift.recent_days, unit)} "
        f"({drift.recent_records} came), before of {_median(drift.earlier_days, unit)} "
        f"({drift.earlier_records}): {verdict} (log-rank test, p {_p_value(drift.p_value)})"
    )


def _median(days: int | None, unit: str) -> str:
    return "more than has been seen" if days is None else f"{days} {unit}"


def _p_value(value: float) -> str:
    return "below 0.0001" if value < 0.0001 else f"= {value:.4f}"


# ---- for other programs


def lead_document(row: LeadTime) -> dict[str, Any]:
    return {
        **{name: plain(getattr(row, name)) for name in FIELDS},
        "drift": plain(row.drift),
    }


def _record(row: LeadTime) -> dict[str, Any]:
    document = lead_document(row)
    drift = document.pop("drift") or {}
    return {**document, **{f"drift_{name}": drift.get(name) for name in DRIFT_FIELDS}}

"""Page of `queue`."""

from __future__ import annotations

from itertools import groupby

from fulfil_models.queue import QueueEntry, Readiness, Wait

from fulfil.render import words
from fulfil.render.common import answer, cautions
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, table
from fulfil.usecases.queue import QueueAnswer

COLUMNS = (
    Column("starts"),
    Column("ends"),
    Column("station", right=True),
    Column("build"),
    Column("makes", flexible=True),
    Column("operation", right=True),
    Column("parts", flexible=True),
)


def wait_words(wait: Wait) -> str:
    """What an operation waits for, until when."""
    part = wait.used if wait.used == wait.part else f"{wait.used} for {wait.part}"
    if wait.job is not None:
        return f"{part} being made, done {words.moment(wait.until)}"
    source = words.SUPPLY_WORDS[wait.kind]
    if wait.order is not None:
        source = f"{source} {wait.order}/{wait.line}"
    if wait.origin is not None:
        source = f"{source} from {wait.origin}"
    return f"{part} ({source}) {words.moment(wait.until)}"


def state_words(entry: QueueEntry) -> str:
    if entry.ready is Readiness.RUNNING:
        return "started"
    if entry.ready is Readiness.CLEAR:
        return "clear to build"
    waits = [wait_words(wait) for wait in entry.waits]
    return f"waits for {words.listed(waits, 2)}"


def queue_page(found: QueueAnswer, *, every: bool) -> Page:
    limit = len(found.entries) if every else ROWS
    shown = found.entries[:limit]

    def lines(width: int) -> list[str]:
        clear = sum(1 for row in found.entries if row.ready is not Readiness.WAITING)
        out = [
            f"{words.count(len(found.entries), 'operation')} "
            f"{'starts' if len(found.entries) == 1 else 'start'} within {words.days(found.days)} "
            f"from {found.basis.as_of}, {clear} of them clear to build or started"
        ]
        for (centre, point), rows in groupby(shown, key=lambda e: (e.work_centre, e.point)):
            out += ["", f"{centre} at {point}", "", *table(COLUMNS, map(_row, rows), width)]
        if len(shown) < len(found.entries):
            out += ["", *left_out(len(found.entries), limit, "--work-centre or a smaller --days")]
        return out

    return Page(
        lines=lines,
        document=lambda: answer(found.basis, days=found.days, operations=found.entries),
        headings=(
            "work_centre",
            "point",
            "stations",
            "start",
            "end",
            "build",
            "job",
            "operation",
            "part",
            "quantity",
            "late_days",
            "after",
            "ready",
            "waits_until",
            "waits",
        ),
        records=lambda: [
            {
                **plain(row),
                "waits": "; ".join(map(wait_words, row.waits)),
                "waits_until": plain(row.waits[0].until) if row.waits else None,
            }
            for row in found.entries
        ],
        notes=(
            *found.basis.notes,
            *cautions((row.part, row.caution) for row in found.entries),
        ),
    )


def _row(entry: QueueEntry) -> list[str]:
    return [
        words.moment(entry.start),
        words.moment(entry.end),
        " ".join(map(str, entry.stations)) or words.NOTHING,
        entry.build,
        entry.part,
        str(entry.operation),
        state_words(entry),
    ]

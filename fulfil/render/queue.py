"""Page of `queue`."""

from __future__ import annotations

from itertools import groupby

from fulfil_models.queue import QueueEntry, Readiness, Wait

from fulfil.render import words
from fulfil.render.common import answer, cautions
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, paragraph, table
from fulfil.usecases.queue import QueueAnswer

COLUMNS = (
    Column("starts"),
    Column("ends"),
    Column("station", right=True),
    Column("build"),
    Column("late\n(days)", right=True),
    Column("makes", flexible=True),
    Column("op.", right=True),
    Column("can it start?", flexible=True),
)


def wait_words(wait: Wait) -> str:
    """What an operation waits for, where it is, and until when."""
    part = wait.used if wait.used == wait.part else f"{wait.used} for {wait.part}"
    until = words.moment(wait.until)
    if wait.job is not None:
        return f"{part} (made at {wait.work_centre}) {until}"
    source = words.SUPPLY_WORDS[wait.kind]
    if wait.order is not None:
        source = f"{source} {wait.order}/{wait.line}"
    if wait.origin is not None:
        source = f"{source} from {wait.origin}"
    if wait.past_due:
        source += f", past due since {wait.due}"
    if wait.confirmed is False:
        source += ", not confirmed"
    return f"{part} ({source}) {until}"


def state_words(entry: QueueEntry) -> str:
    if entry.ready is Readiness.RUNNING:
        return "started"
    if entry.can_start:
        return "clear to build"
    said = []
    if entry.waits:
        waits = [wait_words(wait) for wait in entry.waits]
        said.append(f"waits for {words.listed(waits, 2)}")
    else:
        said.append("parts in hand")
    if entry.after is not None:
        assert entry.after_end is not None
        end = words.moment(entry.after_end)
        said.append(f"follows op. {entry.after} at {entry.after_at}, done {end}")
    return "; ".join(said)


def _counts(found: QueueAnswer) -> str:
    """How many operations there are, and how they stand today."""
    span = f"within {words.days(found.days)} from {found.basis.as_of}"
    if not found.entries:
        if found.next_start is None:
            return f"nothing starts {span}, nor later"
        return f"nothing starts {span}; next at {words.moment(found.next_start)}"
    rows = found.entries
    running = sum(1 for row in rows if row.ready is Readiness.RUNNING)
    clear = sum(1 for row in rows if row.can_start)
    follow = sum(1 for row in rows if row.ready is Readiness.CLEAR) - clear
    waiting = len(rows) - running - clear - follow
    starts = "starts" if len(rows) == 1 else "start"
    return (
        f"{words.count(len(rows), 'operation')} {starts} {span}: {clear} clear to build, "
        f"{running} started, {follow} with parts in hand after an operation before, "
        f"{waiting} waiting for parts"
    )


def queue_page(found: QueueAnswer, *, every: bool) -> Page:
    limit = len(found.entries) if every else ROWS
    # a list that is cut is whole up to a moment, at every work centre
    soonest = sorted(found.entries, key=lambda row: row.start)[:limit]
    kept = {(row.job, row.operation) for row in soonest}
    shown = [row for row in found.entries if (row.job, row.operation) in kept]

    def lines(width: int) -> list[str]:
        out = paragraph(_counts(found), width, "  ")
        for (centre, point), rows in groupby(shown, key=lambda e: (e.work_centre, e.point)):
            out += ["", f"{centre} at {point}", "", *table(COLUMNS, map(_row, rows), width)]
        if len(shown) < len(found.entries):
            last = words.moment(soonest[-1].start)
            narrow = "--work-centre or a smaller --days"
            (left,) = left_out(len(found.entries), limit, narrow)
            out += ["", *paragraph(f"shown up to {last}; {left}", width, "  ")]
        return out

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            days=found.days,
            next_start=found.next_start,
            operations=[_plain_entry(row) for row in found.entries],
        ),
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
            "after_at",
            "after_end",
            "can_start",
            "ready",
            "waits_until",
            "waits",
        ),
        records=lambda: [
            {
                **_plain_entry(row),
                "waits": "; ".join(map(wait_words, row.waits)),
                "waits_until": plain(row.waits[0].until) if row.waits else None,
            }
            for row in found.entries
        ],
        notes=(
            *found.basis.notes,
            *found.assumed,
            *cautions((row.part, row.caution) for row in found.entries),
        ),
    )


def _plain_entry(row: QueueEntry) -> dict[str, object]:
    fields: dict[str, object] = plain(row)
    return {**fields, "can_start": row.can_start}


def _row(entry: QueueEntry) -> list[str]:
    return [
        words.moment(entry.start),
        words.moment(entry.end),
        " ".join(map(str, entry.stations)) or words.NOTHING,
        entry.build,
        str(entry.late_days or words.NOTHING),
        entry.part,
        str(entry.operation),
        state_words(entry),
    ]

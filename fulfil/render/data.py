"""Pages of `check`, `load`, `export` and `template`."""

from __future__ import annotations

from collections.abc import Sequence

from fulfil.render import words
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS
from fulfil.usecases.data import CheckAnswer, Counted, LoadAnswer, WriteAnswer

FINDING_HEADINGS = ("severity", "code", "file", "row", "column", "value", "wrong", "remedy")


def check_page(found: CheckAnswer, *, every: bool) -> Page:
    return Page(
        lines=lambda width: _check_lines(found, every),
        document=lambda: plain(found),
        headings=FINDING_HEADINGS,
        records=lambda: [plain(row) for row in found.findings],
    )


def load_page(found: LoadAnswer, *, every: bool) -> Page:
    def lines(width: int) -> list[str]:
        out = _check_lines(found.check, every)
        if not found.loaded:
            return [*out, "nothing was loaded; what was stored before is unchanged"]
        if found.changed:
            return [*out, f"loaded into {found.database}", "next: fulfil plan"]
        return [*out, f"{found.database} holds the same data already; nothing was changed"]

    return Page(
        lines=lines,
        document=lambda: plain(found),
        headings=FINDING_HEADINGS,
        records=lambda: [plain(row) for row in found.check.findings],
    )


def _check_lines(found: CheckAnswer, every: bool) -> list[str]:
    limit = len(found.findings) if every else 2 * ROWS
    # errors first: they are what has to be mended
    ordered = sorted(found.findings, key=lambda row: not row.is_error)
    out = [row.text() for row in ordered[:limit]]
    if len(ordered) > limit:
        out.append(f"{len(ordered) - limit} more of {len(ordered)}: --all shows them")
    if out:
        out.append("")
    state = "can be loaded" if found.good else "cannot be loaded"
    counts = f"{words.count(found.errors, 'error')}, {words.count(found.warnings, 'warning')}"
    out.append(f"{found.path} {state}: {counts}")
    if found.tables:
        out.append(_tables(found.tables))
    return out


def _tables(tables: Sequence[Counted]) -> str:
    rows = sum(row.rows for row in tables)
    return f"{words.count(rows, 'row')} in {words.count(len(tables), 'table')}"


def export_page(found: WriteAnswer) -> Page:
    return Page(
        lines=lambda width: [f"wrote {_tables(found.tables)} to {found.path}"],
        document=lambda: plain(found),
    )


def template_page(found: WriteAnswer) -> Page:
    return Page(
        lines=lambda width: [
            f"wrote {words.count(len(found.tables), 'empty table')} to {found.path}",
            f"fill them in, then: fulfil check {found.path}",
        ],
        document=lambda: plain(found),
    )

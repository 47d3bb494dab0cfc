"""Pages of `check`, `load`, `export` and `template`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fulfil_models.columns import TABLES
from fulfil_models.findings import Finding

from fulfil.render import words
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, paragraph
from fulfil.usecases.data import CheckAnswer, Counted, LoadAnswer, TableChange, WriteAnswer
from fulfil.usecases.new_purchases import Kept, line_name

FINDING_HEADINGS = ("severity", "code", "file", "row", "column", "value", "wrong", "remedy")


SAME = 5
"""findings of one kind in one column that are shown unless all are asked for"""


def check_page(found: CheckAnswer, *, every: bool, program: str = "fulfil") -> Page:
    """The answer of `check`; `program` is how to call this program with the same database."""

    def lines(width: int) -> list[str]:
        out = _check_lines(found, every, width)
        return [*out, f"next: {program} load {found.path}"] if found.good else out

    return Page(
        lines=lines,
        document=lambda: plain(found),
        headings=FINDING_HEADINGS,
        records=lambda: [plain(row) for row in found.findings],
    )


def load_page(found: LoadAnswer, *, every: bool, program: str = "fulfil") -> Page:
    """The answer of `load`; `program` is how to call this program with the same database."""

    def lines(width: int) -> list[str]:
        out = _check_lines(found.check, every, width)
        if not found.loaded:
            return [*out, "nothing was loaded; what was stored before is unchanged"]
        if found.kept:
            text = (
                f"kept, though these files lack it: {', '.join(found.kept)}, accepted from quotes"
            )
            out += paragraph(text, width, "  ")
        for text in _purchase_words(found.purchases, program):
            out += paragraph(text, width, "  ")
        if found.changed:
            out.append(f"loaded into {found.database}")
            return [*out, *_change_lines(found.changes, width), f"next: {program} plan"]
        return [*out, f"{found.database} holds the same data already; nothing was changed"]

    return Page(
        lines=lines,
        document=lambda: plain(found),
        headings=FINDING_HEADINGS,
        records=lambda: [plain(row) for row in found.check.findings],
    )


def _purchase_words(found: Kept, program: str) -> Iterator[str]:
    """What became of lines that `buy --accept` added and that the files lack."""
    if found.lines:
        names = words.listed([f"{line_name(row)} ({row.part})" for row in found.lines])
        yield (
            f"kept, though these files lack it: {names}, accepted from what is to be bought; if it "
            f"was never placed, {program} buy --take-back {found.lines[0].order}"
        )
    if found.known_as:
        pairs = [f"{line_name(ours)} as {line_name(theirs)}" for ours, theirs in found.known_as]
        yield f"accepted from what is to be bought, and in these files: {words.listed(pairs)}"
    if found.dropped:
        names = words.listed([f"{line_name(row)} ({row.part})" for row in found.dropped])
        yield f"gone, since these files know no such part, supplier or point: {names}"


def _change_lines(changes: Sequence[TableChange], width: int) -> list[str]:
    """What is not as it was stored before, a line for each table."""
    if not changes:
        return []
    out = ["changed against what was stored before:"]
    for row in changes:
        kinds = (
            (row.added, "new", row.first_added),
            (row.removed, "gone", row.first_removed),
            (row.changed, "changed", row.first_changed),
        )
        parts = [_named(number, word, first) for number, word, first in kinds if number]
        out += paragraph(f"  {row.table}: {', '.join(parts)}", width, "    ")
    return out


def _named(number: int, word: str, first: Sequence[str]) -> str:
    more = " ..." if number > len(first) else ""
    return f"{number:,} {word} ({', '.join(first)}{more})"


def _check_lines(found: CheckAnswer, every: bool, width: int) -> list[str]:
    out = _finding_lines(found.findings, every, width)
    if out:
        out.append("")
    state = "can be loaded" if found.good else "cannot be loaded"
    counts = f"{words.count(found.errors, 'error')}, {words.count(found.warnings, 'warning')}"
    out += paragraph(f"{found.path} {state}: {counts}", width, "  ")
    if found.tables:
        out.append(_tables(found.tables))
    return out


def _finding_lines(findings: Sequence[Finding], every: bool, width: int) -> list[str]:
    """Errors first: they are what has to be mended. Those of a kind stand together."""
    kinds: dict[tuple[bool, str, str, str | None], list[Finding]] = {}
    for row in sorted(findings, key=lambda row: not row.is_error):
        # a spreadsheet program writes all its files in the same wrong way
        file = "" if row.code == "wrong-delimiter" else row.file
        kinds.setdefault((not row.is_error, row.code, file, row.column), []).append(row)
    out: list[str] = []
    limit = len(findings) if every else 2 * ROWS
    left = len(findings)
    for rows in kinds.values():
        shown = rows if every or len(rows) == SAME + 1 else rows[:SAME]
        shown = shown[:limit]
        if not shown:
            break
        limit -= len(shown)
        left -= len(rows)
        for row in shown:
            out += paragraph(row.text(), width, "  ")
        if len(rows) > len(shown):
            out.append(f"  {_like_these(rows[len(shown) :])}: --all shows them")
    if left:
        out.append(f"{left} more of {len(findings)}: --all shows them")
    return out


def _like_these(rows: Sequence[Finding]) -> str:
    numbers = [row.row for row in rows if row.row is not None]
    files = list(dict.fromkeys(row.file for row in rows))
    if len(files) > 1:
        place = f", in {words.listed(files)}"
    else:
        place = f", rows {min(numbers)} to {max(numbers)}" if len(numbers) > 1 else ""
    return f"and {len(rows):,} more of this kind{place}"


def _tables(tables: Sequence[Counted]) -> str:
    rows = sum(row.rows for row in tables)
    return f"{words.count(rows, 'row')} in {words.count(len(tables), 'table')}"


def export_page(found: WriteAnswer) -> Page:
    return Page(
        lines=lambda width: [f"wrote {_tables(found.tables)} to {found.path}"],
        document=lambda: plain(found),
    )


def template_page(found: WriteAnswer) -> Page:
    needed = ", ".join(name for name, table in TABLES.items() if table.required)

    def lines(width: int) -> list[str]:
        return [
            f"wrote {words.count(len(found.tables), 'empty table')} to {found.path}",
            *paragraph(f"a first plan needs {needed}; all others may stay empty", width, "  "),
            f"fill them in, then: fulfil check {found.path}",
        ]

    return Page(
        lines=lines,
        document=lambda: plain(found),
    )

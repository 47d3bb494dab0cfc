"""What a re-ordered queue brings, what that costs and takes, and who moves for it."""

from __future__ import annotations

from collections.abc import Sequence

from fulfil_models.displaced import Moved, MovedLine
from fulfil_models.fit import FitCheck, FitLine
from fulfil_models.measures import Measure

from fulfil.render import words
from fulfil.render.fits import fit_lines
from fulfil.render.text import Column, paragraph, table
from fulfil.usecases.reordering import Reordered

MOST_ROWS = 12
MOVED = (
    Column("who moves", flexible=True),
    Column("promised"),
    Column("ships\nbefore"),
    Column("ships\nthen"),
    Column("days\nlater", right=True),
    Column("late days\nbefore", right=True),
    Column("late days\nthen", right=True),
)
LINES_MOVED = (*MOVED[:4], Column("arrives\nbefore"), Column("arrives\nthen"), *MOVED[4:])
"""the same with lines of parts orders among them: of machines nothing is told of their way"""
MEASURES = (
    Column("what it takes", flexible=True),
    Column("quantity", right=True),
    Column("for", flexible=True),
)


def reordered_lines(
    found: Reordered, currency: str, width: int, told: Sequence[FitCheck]
) -> list[str]:
    """Lines of a question with the queue re-ordered, an empty one before.

    Fit checks that say what has been `told` are left out.
    """
    if found.days_sooner <= 0:
        text = "re-ordering the queue finds no earlier date that keeps every promise"
        return ["", *paragraph(text, width, "  ")]
    arrives = "" if found.arrives is None else f", arrives {found.arrives}"
    text = (
        f"with the queue re-ordered, every promise kept: ships {found.ships}{arrives}, "
        f"{words.days(found.days_sooner)} sooner; {cost_text(found, currency)}"
    )
    return ["", *paragraph(text, width, "  "), *taking_lines(found, width, told)]


def cost_text(found: Reordered, currency: str) -> str:
    """What it costs more, or less, than without moving anybody."""
    if not found.cost:
        return "costs no more"
    how = "more" if found.cost > 0 else "less"
    return f"costs {words.money(abs(found.cost))} {currency} {how}"


def taking_lines(found: Reordered, width: int, told: Sequence[FitCheck] = ()) -> list[str]:
    """What it takes, how that fits if not `told`, and who would ship on another day."""
    out: list[str] = []
    if found.measures:
        out += ["", *_few(MEASURES, [_measure(row) for row in found.measures], width)]
        out += fit_lines(_untold(found.fits, told), width)
    columns, arrivals = (LINES_MOVED, ["", ""]) if found.moved_lines else (MOVED, [])
    moved = [_moved(row, arrivals) for row in found.moved]
    moved += map(_moved_line, found.moved_lines)
    if moved:
        out += ["", *_few(columns, moved, width)]
        return [*out, *paragraph(_put_off(found), width, "  ")]
    return [*out, *([""] if out else []), "nobody would ship, or arrive, on another day"]


def _put_off(found: Reordered) -> str:
    """Whom nobody has promised a day, and who goes later for it: he has no late days to show."""
    names = [r.build for r in found.moved if r.promised is None and r.ships_after > r.ships_before]
    names += [
        f"{row.order}/{row.line}"
        for row in found.moved_lines
        if not row.is_promised
        and (row.ships_after > row.ships_before or row.arrives_after > row.arrives_before)
    ]
    if not names:
        return ""
    go = "goes" if len(names) == 1 else "go"
    return f"{words.listed(names)} {go} later with no promise to be broken: load one to keep a day"


def _few(columns: Sequence[Column], rows: list[list[str]], width: int) -> list[str]:
    out = table(columns, rows[:MOST_ROWS], width)
    if len(rows) > MOST_ROWS:
        out.append(f"and {len(rows) - MOST_ROWS} more, all with --json")
    return out


def _moved(row: Moved, arrivals: list[str]) -> list[str]:
    days = [words.day(row.promised), str(row.ships_before), str(row.ships_after), *arrivals]
    later = (row.ships_after - row.ships_before).days
    return [row.build, *days, *map(str, (later, row.late_days_before, row.late_days_after))]


def _moved_line(row: MovedLine) -> list[str]:
    """`days later` are those of its arrival."""
    name = f"{row.order}/{row.line}"
    if row.points_after != row.points_before:
        name += f" from {words.listed(row.points_after)} instead of "
        name += words.listed(row.points_before)
    days = [row.ships_before, row.ships_after, row.arrives_before, row.arrives_after]
    later = (row.arrives_after - row.arrives_before).days
    numbers = [later, row.late_days_before, row.late_days_after]
    promised = "yes" if row.is_promised else words.NOTHING
    return [name, promised, *map(str, days), *map(str, numbers)]


def _measure(row: Measure) -> list[str]:
    return [row.text, words.quantity(row.quantity_milli), words.listed(list(row.takers))]


def _untold(checks: Sequence[FitCheck], told: Sequence[FitCheck]) -> list[FitCheck]:
    """Checks that say another thing than what was told, each once."""
    found = {_what(row): row for row in checks}
    for row in told:
        found.pop(_what(row), None)
    return list(found.values())


def _what(check: FitCheck) -> tuple[str, str, tuple[FitLine, ...]]:
    return check.called, check.used, check.lines

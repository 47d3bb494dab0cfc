"""What the pages of all commands share."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from fulfil_models.plan import Blocker

from fulfil.render.machine import plain
from fulfil.usecases.basis import Basis

MOST_CAUTIONS = 5
VERIFY = "verify with the local authority"


def answer(basis: Basis, **content: Any) -> dict[str, Any]:
    """A JSON document: the plan an answer is from, then the answer.

    Lead times are named where the plan takes others than are stated, and the day from which it
    orders where that is after the planning date.
    """
    head = plain(basis)
    if basis.lead_times == "stated":
        del head["lead_times"]
    if basis.orders_from is None:
        del head["orders_from"]
    return {**head, **{name: plain(value) for name, value in content.items()}}


def blocker_fields(prefix: str, row: Blocker | None) -> dict[str, Any]:
    """A blocker as the cells of a row."""
    return {
        f"{prefix}_kind": None if row is None else row.kind.value,
        f"{prefix}_what": None if row is None else row.what,
        f"{prefix}_until": None if row is None else plain(row.until),
        f"{prefix}_days": None if row is None else row.days,
    }


def to_verify(note: str) -> str:
    """The note of a region rule with the caution that it needs, which it may have already."""
    return note if VERIFY in note else f"{note} ({VERIFY})"


def cautions(rows: Iterable[tuple[str, str | None]]) -> tuple[str, ...]:
    """Cautions of parts as notes: each once, with the first parts it is for.

    Parameters
    ----------
    rows: part, and its caution if it has one.
    """
    parts: dict[str, list[str]] = {}
    for part, caution in rows:
        if caution and part not in parts.setdefault(caution, []):
            parts[caution].append(part)
    notes = [
        f"caution, {', '.join(names[:3])}{' and more' if len(names) > 3 else ''}: {caution}"
        for caution, names in sorted(parts.items())
        if names
    ]
    if len(notes) > MOST_CAUTIONS:
        left = len(notes) - MOST_CAUTIONS
        notes = [*notes[:MOST_CAUTIONS], f"{left} more cautions: see `fulfil build` of each build"]
    return tuple(notes)

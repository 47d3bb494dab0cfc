"""What a command shows: one answer in three forms."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Page:
    """One answer, ready to be shown in the form asked for.

    Attributes
    ----------
    lines: text for a reader, given the width.
    document: for `--json`.
    headings, records: for `--csv`; no headings where the answer is no list.
    notes: what was assumed, and cautions; for the reader, never part of the data.
    indent: of the JSON text; None for one long line.
    """

    lines: Callable[[int], list[str]]
    document: Callable[[], Any]
    headings: Sequence[str] = ()
    records: Callable[[], list[Mapping[str, Any]]] = list
    notes: tuple[str, ...] = ()
    indent: int | None = 2

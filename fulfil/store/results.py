"""What the store answers with, beside data sets and plans."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from fractions import Fraction
from typing import Any, Literal

from fulfil_models.plan import (
    Objective,
    Peg,
    Plan,
    PlannedJob,
    PlannedOperation,
    Shipment,
    Status,
    Supply,
    gap_of,
)


@dataclass(frozen=True, slots=True)
class CellChange:
    """A cell that was changed: the heading of its column, and its texts as files have them."""

    column: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class RowChange:
    """A row that is new, gone or changed.

    Attributes
    ----------
    key: texts of the key's columns; several rows have the same where the table allows it.
    cells: of a changed row, those that differ.
    """

    how: Literal["added", "removed", "changed"]
    key: tuple[str, ...]
    cells: tuple[CellChange, ...] = ()


@dataclass(frozen=True, slots=True)
class TableChange:
    """How the rows of a table differ from those stored before, by their keys.

    Attributes
    ----------
    added, removed, changed: numbers of rows.
    rows: the rows themselves, up to `changes.MOST_ROWS`: changed ones, then those removed, then
        those added, each by key.
    """

    table: str
    added: int
    removed: int
    changed: int
    rows: tuple[RowChange, ...]


@dataclass(frozen=True, slots=True)
class DataChange:
    """One load that changed the stored data.

    Attributes
    ----------
    number: grows with every change.
    created: when it was stored, UTC.
    hash_before, hash_after: what the data were known by, and are since.
    tables: those whose rows differ, in the order of the tables.
    """

    number: int
    created: datetime
    hash_before: str
    hash_after: str
    tables: tuple[TableChange, ...]


@dataclass(frozen=True, slots=True)
class LoadResult:
    """What a load did.

    Attributes
    ----------
    changed: False where the same data were stored already and nothing was written.
    data_hash: identifies the data now stored, whatever the order of their rows.
    counts: rows by table, for every table.
    changes: tables whose rows are not those stored before; empty for the first load.
    """

    changed: bool
    data_hash: str
    counts: dict[str, int]
    changes: tuple[TableChange, ...] = ()


@dataclass(frozen=True, slots=True)
class PlanHeader:
    """A stored plan without its parts.

    Attributes
    ----------
    number: grows with every plan, is never used twice.
    created: when it was stored, UTC.
    seconds: how long the search took.
    input_hash: `data_hash` of the data it was made from.
    options: what it was asked for (seed, seconds and the like).
    versions: of the libraries that made it.
    accepted: when it was last accepted, UTC; None if never.
    retimed_from: the plan of which this one is the re-timing; None where it was searched for.
    builds, late: how many builds it plans, and how many of them miss their promise.
    """

    number: int
    created: datetime
    as_of: date
    status: Status
    objective: Objective
    bound: Fraction
    weighted_late_minutes: Fraction
    seconds: float
    input_hash: str
    options: Mapping[str, Any]
    versions: Mapping[str, str]
    accepted: datetime | None
    retimed_from: int | None
    builds: int
    late: int

    @property
    def gap(self) -> Fraction:
        """The most a better plan could save, as a share of this one's cost."""
        return gap_of(self.objective.total, self.bound)


@dataclass(frozen=True, slots=True)
class StoredPlan:
    """A plan and what is known about it."""

    header: PlanHeader
    plan: Plan


@dataclass(frozen=True, slots=True)
class PlanUses:
    """The parts of a plan that say who has what; reasons and dates of builds are left out."""

    jobs: tuple[PlannedJob, ...]
    operations: tuple[PlannedOperation, ...]
    pegs: tuple[Peg, ...]
    shipments: tuple[Shipment, ...]
    supplies: tuple[Supply, ...]


class QuoteState(StrEnum):
    """What became of a quote."""

    QUOTED = "quoted"
    HELD = "held"
    RELEASED = "released"
    ACCEPTED = "accepted"
    KEPT = "kept"
    RENEWED = "renewed"


@dataclass(frozen=True, slots=True)
class Quote:
    """A quote: what was asked, what was answered, what was decided on it.

    Attributes
    ----------
    number: grows with every quote, is never used twice; Q7 to people.
    created: when it was stored, UTC.
    plan: number of the plan it stands on.
    data_hash: of the data it was made from.
    as_of: the planning date it was made for.
    asked, answer: whole documents.
    state: held ones may have run out; only `held_until` says so. A quote that was accepted is
        kept once a load brought its build or order. A renewed one was asked again, and what was
        decided was decided on the new quote.
    decided: when the state was last changed, UTC; at first when it was stored.
    chosen: which of the offers in the answer is held or accepted.
    held_until: the last day of the hold.
    held_for: whom it is held for, or was accepted for.
    promised: the ship date it was accepted for: the quoted one, or another that was named.
    name: what the accepted build or order is called; of a renewed quote, the new one.
    """

    number: int
    created: datetime
    plan: int
    data_hash: str
    as_of: date
    asked: Mapping[str, Any]
    answer: Mapping[str, Any]
    state: QuoteState
    decided: datetime
    chosen: int | None
    held_until: date | None
    held_for: str | None
    promised: date | None
    name: str | None

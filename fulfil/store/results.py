"""What the store answers with, beside data sets and plans."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction
from typing import Any

from fulfil_models.plan import Objective, Plan, Status, gap_of


@dataclass(frozen=True, slots=True)
class LoadResult:
    """What a load did.

    Attributes
    ----------
    changed: False where the same data were stored already and nothing was written.
    data_hash: identifies the data now stored, whatever the order of their rows.
    counts: rows by table, for every table.
    """

    changed: bool
    data_hash: str
    counts: dict[str, int]


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

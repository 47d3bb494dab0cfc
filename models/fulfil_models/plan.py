"""The answer: a plan as frozen dataclasses, with times of the wall clock of each point.

Quantities are thousandths of the part's unit (`_milli`), money is an exact `Fraction` of the
currency. `fulfil_models.document` writes a plan as the plan document and reads it back.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from datetime import date, datetime
from enum import StrEnum
from fractions import Fraction


class Status(StrEnum):
    """How a search ended. A missing plan is `None`, never an empty one."""

    OPTIMAL = "optimal"
    FEASIBLE = "feasible"
    INFEASIBLE = "infeasible"
    UNKNOWN = "unknown"


class SupplyKind(StrEnum):
    STOCK = "stock"
    PURCHASE = "purchase"
    NEW_PURCHASE = "new_purchase"
    TRANSFER = "transfer"
    JOB = "job"


class BlockerKind(StrEnum):
    PART = "part"
    WORK_CENTRE = "work_centre"
    EARLIEST = "earliest"
    WORK = "work"


@dataclass(frozen=True, slots=True)
class Objective:
    """What a plan costs, by kind, in the currency of the settings."""

    lateness: Fraction = Fraction(0)
    transfers: Fraction = Fraction(0)
    alternates: Fraction = Fraction(0)
    expediting: Fraction = Fraction(0)
    deliveries: Fraction = Fraction(0)

    @property
    def total(self) -> Fraction:
        return self.lateness + self.transfers + self.alternates + self.expediting + self.deliveries


COSTS = tuple(kind.name for kind in fields(Objective))
"""the kinds of cost, as the objective names them"""


def gap_of(total: Fraction, bound: Fraction) -> Fraction:
    """(total - bound) / total: the most a better plan could save; 0 when both are 0."""
    return Fraction(0) if total == 0 else (total - bound) / total


@dataclass(frozen=True, slots=True)
class Blocker:
    """One thing that holds a build up.

    Attributes
    ----------
    kind: part, work centre, the build's `earliest`, or the work itself.
    what: part or work centre by its identifier; the build for the other kinds.
    until: when it lets the build go on; None for the work itself.
    days: calendar days by which the build could ship earlier without it, re-computed.
    why: one sentence a planner can check against the data.
    supply: the supply waited for, of a part.
    ahead: builds that stand before it, at a work centre or for a part.
    """

    kind: BlockerKind
    what: str
    until: datetime | None
    days: int
    why: str
    supply: str | None = None
    ahead: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Reason:
    """One link of the chain that explains a date, from the last operation back to the first."""

    job: str
    operation: int | None
    kind: BlockerKind
    what: str
    at: datetime
    """when the operation started, for this reason"""
    why: str


@dataclass(frozen=True, slots=True)
class PlannedBuild:
    build: str
    product: str
    point: str
    ordered: date
    promised: date | datetime | None
    finish: datetime
    ships: date
    late_minutes: int
    """working minutes of the point between the due moment and the finish"""
    late_days: int
    """calendar days from the promised date to the ship date; 0 when in time or not promised"""
    lead_days: int
    """calendar days from the order to the ship date"""
    reasons: tuple[Reason, ...] = ()
    blockers: tuple[Blocker, ...] = ()


@dataclass(frozen=True, slots=True)
class PlannedJob:
    job: str
    build: str
    part: str
    quantity_milli: int
    for_job: str | None = None
    for_operation: int | None = None


@dataclass(frozen=True, slots=True)
class PlannedOperation:
    job: str
    operation: int
    work_centre: str
    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class Peg:
    """Which supply a need draws on. `part` is called for, `used` is what it gets."""

    job: str
    operation: int | None
    part: str
    used: str
    quantity_milli: int
    supply: str
    point: str
    usable: datetime


@dataclass(frozen=True, slots=True)
class Shipment:
    """What ships for a line of a parts order."""

    order: str
    line: str
    part: str
    used: str
    quantity_milli: int
    supply: str
    point: str
    ships: date
    arrives: date
    late_days: int


@dataclass(frozen=True, slots=True)
class Supply:
    """Where units come from. Fields below `usable` belong to the kinds named there."""

    supply: str
    kind: SupplyKind
    part: str
    point: str
    quantity_milli: int
    usable: datetime
    order: str | None = None  # purchase
    line: str | None = None
    supplier: str | None = None  # new purchase
    place_on: date | None = None
    expedited: bool | None = None
    origin: str | None = None  # transfer
    from_supply: str | None = None
    leaves_on: date | None = None
    arrives_on: date | None = None  # new purchase, transfer
    job: str | None = None  # job


@dataclass(frozen=True, slots=True)
class Stranded:
    """A build or parts order line that can never be filled, and the parts it lacks for ever."""

    kind: str
    """`build` or `parts_order`"""
    key: str
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """One plan: every build's dates, every operation's slot, every need's supply."""

    as_of: date
    status: Status
    objective: Objective
    bound: Fraction
    """proven: no plan of these data costs less"""
    weighted_late_minutes: Fraction
    builds: tuple[PlannedBuild, ...] = ()
    jobs: tuple[PlannedJob, ...] = ()
    operations: tuple[PlannedOperation, ...] = ()
    pegs: tuple[Peg, ...] = ()
    shipments: tuple[Shipment, ...] = ()
    supplies: tuple[Supply, ...] = ()
    stranded: tuple[Stranded, ...] = ()
    notes: tuple[str, ...] = field(default=())
    """what was assumed, to be shown"""

    @property
    def gap(self) -> Fraction:
        """The most a better plan could save, as a share of this one's cost."""
        return gap_of(self.objective.total, self.bound)

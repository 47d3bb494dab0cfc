"""What is asked of plans themselves: which are there, what changed, do they still hold?"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from fulfil_models.compare import Comparison
from fulfil_models.compare import compare as compare_builds
from fulfil_models.plan import Objective

from fulfil.errors import Refused
from fulfil.usecases.basis import (
    Basis,
    Premises,
    as_planned,
    basis_of,
    premises_of,
    require_data,
    settings_at,
    settings_of,
)
from fulfil.usecases.current import plan_taken
from fulfil.usecases.held_quotes import (
    Hold,
    PlanOrders,
    held_today,
    keys_of,
    keys_today,
    taken_by_holds,
)
from fulfil.usecases.worked_by import broken, worked_by

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fulfil_models.believing import Choice
    from fulfil_models.settings import Settings

    from fulfil.store.results import PlanHeader
    from fulfil.store.session import Store

ACCEPTED_PLAN = "accepted_plan"
"""option kept with a plan: number of the plan that was worked by when it was made, None if none"""
HOLDS = "holds"
"""option kept with a plan: what was held when it was made, as `keys_of` tells it"""


@dataclass(frozen=True, slots=True)
class PlanSummary:
    """A stored plan in one line. `seconds` is how long the search for it took."""

    plan: int
    created: datetime
    as_of: date
    status: str
    builds: int
    late: int
    objective: Objective
    total: Fraction
    bound: Fraction
    gap: Fraction
    weighted_late_minutes: Fraction
    seconds: float
    accepted: bool
    goes_on_with: int | None
    data_changed: bool
    options: dict[str, Any]

    @property
    def unproven(self) -> bool:
        """Whether nothing is known of how far it is from the best."""
        return not self.bound and self.total > 0

    @property
    def premises(self) -> Premises:
        """What it was asked to take otherwise than the data have it."""
        return premises_of(self.options)

    @property
    def lead_times(self) -> Choice:
        """Whose word on lead times it takes."""
        return self.premises.lead_times


@dataclass(frozen=True, slots=True)
class PlansAnswer:
    plans: tuple[PlanSummary, ...]


@dataclass(frozen=True, slots=True)
class CompareAnswer:
    before: PlanSummary
    after: PlanSummary
    comparison: Comparison


@dataclass(frozen=True, slots=True)
class Broken:
    """A rule that a plan does not keep with the data as they are now."""

    rule: str
    subject: str
    wrong: str


@dataclass(frozen=True, slots=True)
class AuditAnswer:
    """Whether a plan keeps every rule, with the lead times that it believes."""

    basis: Basis
    good: bool
    violations: tuple[Broken, ...]


@dataclass(frozen=True, slots=True)
class AcceptAnswer:
    """A plan that is worked by from now on.

    Attributes
    ----------
    freeze_days: of the settings as they are stored now.
    replaced: number of another plan that was worked by until now; None if there was none.
    """

    accepted: PlanSummary
    freeze_days: int
    replaced: int | None


def held_before(options: Mapping[str, Any]) -> frozenset[tuple[int, int]]:
    """The keys of what was held when a plan was made.

    Of plans kept with the numbers of the quotes alone, nobody knows which offer was held: it is no
    offer that there is.
    """
    rows = options.get(HOLDS, ())
    return frozenset((row, -1) if isinstance(row, int) else (row[0], row[1]) for row in rows)


def summary(header: PlanHeader, data_hash: str | None) -> PlanSummary:
    return PlanSummary(
        plan=header.number,
        created=header.created,
        as_of=header.as_of,
        status=header.status.value,
        builds=header.builds,
        late=header.late,
        objective=header.objective,
        total=header.objective.total,
        bound=header.bound,
        gap=header.gap,
        weighted_late_minutes=header.weighted_late_minutes,
        seconds=header.seconds,
        accepted=header.accepted is not None,
        goes_on_with=header.retimed_from,
        data_changed=header.input_hash != data_hash,
        options=dict(header.options),
    )


def plans(store: Store) -> PlansAnswer:
    """Every stored plan, the newest first."""
    data_hash = store.data_hash()
    return PlansAnswer(tuple(summary(header, data_hash) for header in store.plan_headers()))


def compare(store: Store, before: int, after: int) -> CompareAnswer:
    """What changed from one plan to another."""
    data_hash = store.data_hash()
    headers = [store.plan_header(number) for number in (before, after)]
    return CompareAnswer(
        before=summary(headers[0], data_hash),
        after=summary(headers[1], data_hash),
        comparison=compare_builds(store.planned_builds(before), store.planned_builds(after)),
    )


def previous(store: Store, number: int) -> int | None:
    """Number of the plan before one; None for the first."""
    older = [header.number for header in store.plan_headers() if header.number < number]
    return max(older, default=None)


def better_known(store: Store, number: int) -> PlanSummary | None:
    """The cheapest other plan of the same data and day, asked for in the same way, if it costs less
    than a plan; else None. What costs more is not to be worked by for having been made later.

    One that breaks promises which the plan that is worked by keeps is no better for costing less.
    """
    headers, standing = store.plan_headers(), worked_by(store)
    (own,) = (header for header in headers if header.number == number)

    def stands_on(header: PlanHeader) -> tuple[object, ...]:
        premises, held = premises_of(header.options), held_before(header.options)
        return header.input_hash, header.as_of, premises, held

    known = [
        header
        for header in headers
        if header.number != number
        and stands_on(header) == stands_on(own)
        and header.objective.total < own.objective.total
        and not (standing is not None and broken(store, standing, header.number))
    ]
    if not known:
        return None
    best = min(known, key=lambda header: (header.objective.total, header.number))
    return summary(best, store.data_hash())


def audit(store: Store, number: int | None = None) -> AuditAnswer:
    """Checks a stored plan against the data as they are now.

    The planning date is the plan's own: the question is whether its dates still hold. So is the
    plan that was worked by when it was made, whose frozen operations it was to keep. A plan that
    believes the record of suppliers is held against the data as that record, as it is now, has
    them.
    """
    from fulfil_models.audit import audit as audit_plan

    require_data(store)
    basis = basis_of(store, number)
    dataset = store.dataset()
    stored = store.plan(basis.plan)
    accepted = stored.header.options.get(ACCEPTED_PLAN)
    before = None if accepted is None else store.plan(accepted).plan
    settings = settings_at(dataset, basis)
    dataset, settings, _ = as_planned(dataset, settings, premises_of(stored.header.options))
    found = audit_plan(dataset, settings, stored.plan, before)
    violations = tuple(Broken(row.rule, row.subject, row.wrong) for row in found)
    return AuditAnswer(basis, not violations, violations)


def accept(store: Store, number: int | None = None) -> AcceptAnswer:
    """Makes a plan the one that is worked by: the next plans keep its frozen days.

    Raises Refused where it has taken what is held for somebody.
    """
    header = store.plan_header(number)
    last = store.accepted_header()
    while True:
        seen = _refuse_clash(store, header)
        with store.deciding() as desk:
            if keys_today(desk) != keys_of(seen):
                continue
            desk.accept_plan(header.number)
        break
    settings = settings_of(store.dataset(["settings"]), header.as_of)
    return AcceptAnswer(
        summary(store.plan_header(header.number), store.data_hash()),
        settings.freeze_days,
        None if last is None or last.number == header.number else last.number,
    )


def _refuse_clash(store: Store, header: PlanHeader) -> tuple[Hold, ...]:
    """The holds that a plan was looked at with. Raises Refused where it takes what one keeps."""
    from fulfil_models.clashes import clashes_between

    holds = held_today(store)
    known = held_before(header.options)
    new = [hold for hold in holds if hold.key not in known]
    if not new:
        return holds
    dataset = store.dataset()
    settings = dataclasses.replace(settings_of(dataset, header.as_of), as_of=header.as_of)
    dataset, settings, _ = as_planned(dataset, settings, premises_of(header.options))
    stood_beside = [hold for hold in holds if hold.key in known]
    base = plan_taken(store, header.number, dataset)
    orders = PlanOrders(header.number, base)
    base += taken_by_holds(stood_beside, dataset, orders)
    clashes = clashes_between(dataset, settings, base, taken_by_holds(new, dataset, orders))
    if clashes:
        raise Refused(
            f"plan {header.number} has taken what is held: {clashes[0].text()}",
            "run `fulfil plan` for one beside what is held, or let the hold go: `fulfil holds`",
        )
    return holds


def premise_notes(before: PlanSummary, after: PlanSummary) -> tuple[str, ...]:
    """What a plan takes otherwise than the one it is compared with; nothing if it does not.

    What moved then need not have moved for the data.
    """
    notes = []
    if before.lead_times != after.lead_times:
        notes.append(
            f"lead times are {before.lead_times} in plan {before.plan}, {after.lead_times} in plan "
            f"{after.plan}"
        )
    days = before.premises.orders_from, after.premises.orders_from
    if days[0] != days[1]:
        first, second = ("as set in the data" if day is None else f"from {day}" for day in days)
        notes.append(
            f"new purchases are placed {first} in plan {before.plan}, {second} in plan {after.plan}"
        )
    return tuple(notes)


def freeze_notes(store: Store, settings: Settings) -> tuple[str, ...]:
    """What the freeze did to a plan that was just made: nothing without an accepted plan."""
    if not settings.freeze_days:
        return ()
    accepted = store.accepted_header()
    if accepted is None:
        return (
            f"freeze_days is {settings.freeze_days}, but no plan is accepted yet: nothing was kept "
            "in its slot",
        )
    until = settings.as_of + timedelta(settings.freeze_days)
    return (
        f"what accepted plan {accepted.number} starts before {until} keeps its slot, where it can",
    )

"""What do new promises stand beside? The plan that is worked by, re-timed where the data changed
since, and the promises that are held open."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from functools import cached_property
from importlib import metadata
from typing import TYPE_CHECKING

from fulfil.clock import today
from fulfil.errors import Refused, RejectedPlan
from fulfil.store.errors import StaleData
from fulfil.usecases.basis import (
    Basis,
    Premises,
    as_planned,
    premises_of,
    require_data,
    settings_of,
    standing_header,
    waiting_until,
)
from fulfil.usecases.held_quotes import (
    Hold,
    PlanOrders,
    held_today,
    keys_of,
    orders_of,
    taken_by_holds,
)

if TYPE_CHECKING:
    from fulfil_models.plan import Plan
    from fulfil_models.room import Room
    from fulfil_models.settings import Settings
    from fulfil_models.tables import Dataset
    from fulfil_models.taken import Taken

    from fulfil.store.desk import Desk
    from fulfil.store.results import DataChange, PlanHeader
    from fulfil.store.session import Store


@dataclass(frozen=True)
class Current:
    """What stands now.

    Attributes
    ----------
    store: where the plan is read from when all of it is needed.
    dataset: as stored.
    believed: the same with the lead times that the plan believes: what is asked beside the plan is
        answered from it.
    settings: with the day from which the plan orders.
    premises: what the plan takes otherwise than the data have it.
    retimed_from: the plan that was re-timed just now since the data, or the day, were others; None
        where it stood already.
    changes: what changed in the data since then; None where that is not known.
    plan_taken: what the plan itself has taken.
    taken: what the plan and the holds have taken.
    """

    store: Store
    basis: Basis
    data_hash: str
    dataset: Dataset
    believed: Dataset
    settings: Settings
    holds: tuple[Hold, ...]
    plan_taken: Taken
    taken: Taken
    room: Room
    premises: Premises
    retimed_from: int | None = None
    changes: tuple[DataChange, ...] | None = ()

    @cached_property
    def plan(self) -> Plan:
        return self.store.plan(self.basis.plan).plan

    @property
    def orders(self) -> PlanOrders:
        """The new orders of the plan."""
        return PlanOrders(self.basis.plan, self.plan_taken)

    @property
    def hold_keys(self) -> tuple[tuple[int, int], ...]:
        return keys_of(self.holds)


def plan_taken(store: Store, number: int, dataset: Dataset) -> Taken:
    """What a stored plan has taken of the data it was made from."""
    from fulfil_models.taken import taken_by

    return store.plan_taken(number) or taken_by(store.plan_uses(number), dataset)


def current(store: Store, number: int | None = None, before: Current | None = None) -> Current:
    """What stands now; `before` again where nothing changed since.

    Parameters
    ----------
    number: a plan other than the one that is worked by. It must be of the data and the day as they
        are: only the plan that is worked by goes on with others.

    Raises Refused where there is no plan, and where it cannot go on with the data as they are.
    """
    while True:
        try:
            return _current(store, number, before)
        except StaleData:
            continue  # somebody loaded data, or went on with the plan, while it was re-timed


def _current(store: Store, number: int | None, before: Current | None) -> Current:
    require_data(store)
    header = standing = standing_header(store)
    if header is not None and number is not None:
        header = store.plan_header(number)
    if header is None or standing is None:
        raise Refused("there is no plan yet to promise beside", "run: fulfil plan")
    data_hash = store.data_hash()
    assert data_hash is not None
    holds = held_today(store, before.holds if before else ())
    if before is not None and _is_same(before, header, data_hash, holds):
        return before
    dataset = store.dataset()
    settings = settings_of(dataset, today())
    if header.input_hash != data_hash or header.as_of != settings.as_of:
        if header.number != standing.number:
            raise Refused(
                f"plan {header.number} is of other data, or of another day",
                "leave --plan out: the plan that is worked by goes on with the data as they are",
            )
        return _retimed(store, header, data_hash, dataset, settings, holds)
    premises = premises_of(header.options)
    return _standing(store, header.number, premises, data_hash, dataset, settings, holds)


def _is_same(before: Current, header: PlanHeader, data_hash: str, holds: tuple[Hold, ...]) -> bool:
    return (
        before.basis.plan == header.number
        and before.data_hash == data_hash == header.input_hash
        and before.hold_keys == keys_of(holds)
        and (before.basis.as_of == today() or _names_its_day(before.dataset))
    )


def _names_its_day(dataset: Dataset) -> bool:
    return any(row.key == "as_of" for row in dataset.settings)


def _standing(
    store: Store,
    number: int,
    premises: Premises,
    data_hash: str,
    dataset: Dataset,
    settings: Settings,
    holds: tuple[Hold, ...],
    retimed_from: int | None = None,
    changes: tuple[DataChange, ...] | None = (),
) -> Current:
    from fulfil_models.room import Room

    believed, settings, _ = as_planned(dataset, settings, premises)
    of_plan = plan_taken(store, number, believed)
    taken = of_plan + taken_by_holds(holds, believed, PlanOrders(number, of_plan))
    return Current(
        store=store,
        basis=Basis(
            number,
            settings.as_of,
            data_changed=False,
            lead_times=premises.lead_times,
            orders_from=waiting_until(settings),
        ),
        data_hash=data_hash,
        dataset=dataset,
        believed=believed,
        settings=settings,
        holds=holds,
        plan_taken=of_plan,
        taken=taken,
        room=Room(believed, settings, taken),
        premises=premises,
        retimed_from=retimed_from,
        changes=changes,
    )


# ---- going on with a plan


def _retimed(
    store: Store,
    header: PlanHeader,
    data_hash: str,
    dataset: Dataset,
    settings: Settings,
    holds: tuple[Hold, ...],
) -> Current:
    """The plan re-timed with the data as they are, and kept: whoever asks next stands beside it."""
    from fulfil_models.taken import taken_by

    began = time.monotonic()
    plan = store.plan(header.number).plan
    premises = premises_of(header.options)
    made = go_on(store, f"plan {header.number}", plan, dataset, settings, holds, premises)
    taken = taken_by(made, dataset)
    with store.deciding() as desk:
        standing = standing_header(desk)
        if standing is None or standing.number != header.number:
            raise StaleData(
                f"plan {header.number} was gone on with by somebody else meanwhile", "ask again"
            )
        number = save_retimed(
            desk,
            made,
            taken,
            header.number,
            data_hash,
            time.monotonic() - began,
            holds,
            premises,
        )
    changes = store.changes_since(header.input_hash)
    return _standing(
        store,
        number,
        premises,
        data_hash,
        dataset,
        settings,
        holds,
        header.number,
        None if changes is None else tuple(changes),
    )


def go_on(
    store: Store,
    name: str,
    plan: Plan,
    dataset: Dataset,
    settings: Settings,
    holds: tuple[Hold, ...],
    premises: Premises,
) -> Plan:
    """A plan gone on with, beside holds: everybody keeps his slots and his units where he can,
    and the sequence where he cannot.

    Parameters
    ----------
    name: what the plan is called.
    dataset, settings: as stored; the plan goes on with what it takes otherwise.

    Raises Refused where something has no place in it any more, RejectedPlan where it breaks a rule.
    """
    from fulfil_models.audit import audit
    from fulfil_models.planning import Workbench
    from fulfil_models.repair import retimed_plan

    from fulfil.usecases.planning import frozen_plan, problem_beside

    dataset, settings, beliefs = as_planned(dataset, settings, premises)
    previous = frozen_plan(store, settings)
    before = replace(orders_of(plan), next_settings=settings, searched=False)
    taken = taken_by_holds(holds, dataset, before)
    problem, notes = problem_beside(dataset, settings, previous, taken)
    retimed = retimed_plan(Workbench(problem), plan, (f"{name}, gone on with", *notes, *beliefs))
    left = [*retimed.unplaced, *("/".join(key) for key in retimed.unshipped)]
    if left:
        raise Refused(
            f"{name} cannot go on with the data as they are: nothing is left for "
            f"{', '.join(left[:8])}",
            "run `fulfil plan`",
        )
    violations = audit(dataset, settings, retimed.plan, previous)
    if violations:
        first = violations[0]
        raise RejectedPlan(
            f"re-timing {name} broke a rule and was not kept "
            f"({first.rule}: {first.subject}: {first.wrong})",
            "this is an error of the program: report it; `fulfil plan` makes a plan anew",
        )
    return retimed.plan


def save_retimed(
    desk: Desk,
    plan: Plan,
    taken: Taken,
    retimed_from: int,
    data_hash: str,
    seconds: float,
    holds: tuple[Hold, ...],
    premises: Premises,
) -> int:
    """Stores a plan that goes on with another; its number."""
    from fulfil.usecases.planning import LIBRARIES
    from fulfil.usecases.plans import ACCEPTED_PLAN, HOLDS

    accepted = desk.accepted_header()
    return desk.save_plan(
        plan,
        input_hash=data_hash,
        options={
            "mode": "re-timed",
            HOLDS: keys_of(holds),
            ACCEPTED_PLAN: None if accepted is None else accepted.number,
            **premises.options,
        },
        seconds=seconds,
        versions={name: metadata.version(name) for name in LIBRARIES},
        retimed_from=retimed_from,
        taken=taken,
    )

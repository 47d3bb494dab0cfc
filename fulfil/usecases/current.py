"""What do new promises stand beside? The plan that is worked by, re-timed where the data changed
since, and the promises that are held open."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from importlib import metadata
from typing import TYPE_CHECKING, Protocol

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
from fulfil.usecases.quote_documents import NAME, Offer, named, offer_of, quote_name

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fulfil_models.plan import Plan
    from fulfil_models.room import Request, Room
    from fulfil_models.settings import Settings
    from fulfil_models.tables import Dataset
    from fulfil_models.taken import Taken

    from fulfil.store.desk import Desk
    from fulfil.store.results import DataChange, PlanHeader, Quote
    from fulfil.store.session import Store

HELD = ("held",)


class Quotes(Protocol):
    """Where quotes can be looked up: the store, or a transaction of it."""

    def quotes(
        self, states: Iterable[str] | None = None, numbers: Iterable[int] | None = None
    ) -> list[Quote]: ...

    def held_keys(self, on: date) -> tuple[tuple[int, int], ...]: ...


@dataclass(frozen=True, slots=True)
class Hold:
    """A promise that is kept open: the quote, and what of it is held."""

    quote: Quote
    offer: Offer

    @property
    def name(self) -> str:
        return quote_name(self.quote.number)

    @property
    def request(self) -> Request:
        """What is held as firm orders under the name of the quote."""
        return named(self.offer.request, {NAME: self.name}, self.offer.ships, told=self.offer.plan)

    @property
    def key(self) -> tuple[int, int]:
        """What tells it from every other hold: an offer of a quote always needs the same."""
        return self.quote.number, self.quote.chosen or 0

    def is_of(self, dataset: Dataset) -> bool:
        """Whether the data still have every operation that it needs."""
        known = {(row.part, row.operation) for row in dataset.routings}
        parts = {job.job: job.part for job in self.offer.plan.jobs}
        return all((parts[row.job], row.operation) in known for row in self.offer.plan.operations)

    def drawing(self, dataset: Dataset, others: Taken) -> Plan:
        """What is held, as it draws on the data as they are, beside other holds."""
        from fulfil_models.received import as_received

        return as_received(self.offer.plan, dataset, others.lots_milli)

    def taken(self, dataset: Dataset, plan: int, others: Taken) -> Taken:
        """What it takes from everybody, beside a plan and other holds: nothing where its work is
        not in the data any more."""
        from fulfil_models.taken import NOTHING, held

        own = self.quote.plan != plan
        piece = self.drawing(dataset, others)
        try:
            return held(piece, dataset, f"{self.name}:", own, self.offer.orders)
        except KeyError:  # an operation is not in the routings
            return NOTHING

    def piece(self, dataset: Dataset, plan: int) -> Plan:
        """What is held as a plan of its own beside another, under the name of the quote."""
        from fulfil_models.renaming import renamed
        from fulfil_models.taken import apart

        piece = renamed(self.offer.plan, {NAME: self.name})
        own = self.quote.plan != plan
        return apart(piece, dataset, f"{self.name}:", own, self.offer.orders)


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
    def hold_keys(self) -> tuple[tuple[int, int], ...]:
        return keys_of(self.holds)


def active(quotes: Iterable[Quote], on: date) -> tuple[Hold, ...]:
    """Those that are held on a day, the oldest first: one that ran out holds nothing."""
    found = [
        Hold(quote, offer_of(quote, quote.chosen or 0))
        for quote in quotes
        if quote.held_until is not None and quote.held_until >= on
    ]
    return tuple(sorted(found, key=lambda hold: hold.quote.number))


def held_today(source: Quotes, known: Iterable[Hold] = ()) -> tuple[Hold, ...]:
    """What is held today, the oldest first.

    An offer never changes, so of what is `known` already only the keys are looked at: whoever
    decides looks at the desk, where others wait.
    """
    there = {hold.key: hold for hold in known}
    keys = keys_today(source)
    new = [number for number, chosen in keys if (number, chosen) not in there]
    if new:
        there |= {hold.key: hold for hold in active(source.quotes(HELD, new), today())}
    return tuple(there[key] for key in keys if key in there)


def keys_today(source: Quotes) -> tuple[tuple[int, int], ...]:
    """The keys of what is held today, as `keys_of` tells them."""
    return source.held_keys(today())


def keys_of(holds: Iterable[Hold]) -> tuple[tuple[int, int], ...]:
    return tuple(hold.key for hold in holds)


def taken_by_holds(holds: Iterable[Hold], dataset: Dataset, plan: int) -> Taken:
    from fulfil_models.taken import NOTHING

    taken = NOTHING
    for hold in holds:
        taken += hold.taken(dataset, plan, taken)
    return taken


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
    taken = of_plan + taken_by_holds(holds, believed, number)
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
    taken = taken_by_holds(holds, dataset, plan=0)
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

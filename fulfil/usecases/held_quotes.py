"""What is held, and what does it take from everybody?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Protocol

from fulfil.clock import today
from fulfil.usecases.basis import standing_header
from fulfil.usecases.quote_documents import NAME, Offer, named, offer_of, quote_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from fulfil_models.plan import Plan
    from fulfil_models.room import Request
    from fulfil_models.settings import Settings
    from fulfil_models.tables import Dataset, Purchase
    from fulfil_models.taken import Taken

    from fulfil.store.results import Quote
    from fulfil.store.session import Store

HELD = ("held",)


class Quotes(Protocol):
    """Where quotes can be looked up: the store, or a transaction of it."""

    def quotes(
        self, states: Iterable[str] | None = None, numbers: Iterable[int] | None = None
    ) -> list[Quote]: ...

    def held_keys(self, on: date) -> tuple[tuple[int, int], ...]: ...


@dataclass(frozen=True, slots=True)
class PlanOrders:
    """The new orders of a plan: what is held may count on what they bring over.

    Attributes
    ----------
    number: of the plan; 0 where it has none yet.
    taken: its orders, and what it draws on them.
    next_settings: those of a plan that is to come in its place, which may place these orders
        for itself and for what is held; None: it is this plan that is worked by.
    searched: whether that plan is searched for, and not gone on with.
    """

    number: int
    taken: Taken
    next_settings: Settings | None = None
    searched: bool = True


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

    def taken(self, dataset: Dataset, plan: PlanOrders, others: Taken) -> Taken:
        """What it takes from everybody, beside a plan and other holds: nothing where its work is
        not in the data any more."""
        from fulfil_models.kept_open import held
        from fulfil_models.taken import NOTHING

        piece, own = self.drawing(dataset, others), self.is_apart_from(plan)
        now = self.orders_now(piece, dataset, plan, others) if own else {}
        try:
            return held(piece, dataset, f"{self.name}:", own, self.offer.orders, now=now)
        except KeyError:  # an operation is not in the routings
            return NOTHING

    def piece(
        self,
        dataset: Dataset,
        plan: PlanOrders,
        others: Taken,
        names: Mapping[str, str] | None = None,
        prefix: str | None = None,
    ) -> Plan:
        """What is held as a plan of its own beside another, as it draws on the data as they are.

        Parameters
        ----------
        names: new ones of its builds and orders, by the old; None: the name of the quote.
        prefix: begins the names of its own orders; None: the name of the quote.
        """
        from fulfil_models.kept_open import apart
        from fulfil_models.renaming import renamed

        names = {NAME: self.name} if names is None else names
        piece, own = renamed(self.drawing(dataset, others), names), self.is_apart_from(plan)
        now = self.orders_now(piece, dataset, plan, others) if own else {}
        return apart(piece, dataset, f"{prefix or self.name}:", own, self.offer.orders, now)

    def is_apart_from(self, plan: PlanOrders) -> bool:
        """Whether it stands beside another plan than the one that it was put beside."""
        return plan.number != self.quote.plan or plan.next_settings is not None

    def orders_now(
        self, piece: Plan, dataset: Dataset, plan: PlanOrders, others: Taken
    ) -> dict[str, Purchase]:
        """On which orders of a plan it draws, by those that it was put beside."""
        from fulfil_models.kept_open import orders_now, placed_together

        orders = self.offer.orders
        now = orders_now(piece, dataset, orders, plan.taken, others.lots_milli)
        if plan.next_settings is None:
            return now
        return placed_together(
            now, dataset, plan.next_settings, others.orders, hurried=not plan.searched
        )


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


def orders_of(plan: Plan, number: int = 0) -> PlanOrders:
    """The new orders of a plan."""
    from fulfil_models.taken import ordered_by

    return PlanOrders(number, ordered_by(plan))


def orders_before(store: Store, next_settings: Settings) -> PlanOrders:
    """The new orders of the plan that is worked by, in whose place another is to come."""
    from fulfil_models.taken import NOTHING, ordered_by

    header = standing_header(store)
    if header is None:
        return PlanOrders(0, NOTHING, next_settings)
    taken = store.plan_taken(header.number) or ordered_by(store.plan_uses(header.number))
    return PlanOrders(header.number, taken, next_settings)


def taken_by_holds(holds: Iterable[Hold], dataset: Dataset, plan: PlanOrders) -> Taken:
    """What holds take from everybody, each beside those before it."""
    from fulfil_models.taken import NOTHING

    taken = NOTHING
    for hold in holds:
        taken += hold.taken(dataset, plan, taken)
    return taken

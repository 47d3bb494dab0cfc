"""What purchasing asks: which parts are short, how does one run, what is to be ordered?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fulfil.usecases.basis import Basis, basis_of, refuse_unknown, settings_at, settings_of

if TYPE_CHECKING:
    from fulfil_models.new_orders import NewOrder
    from fulfil_models.plan import Stranded
    from fulfil_models.shortages import Shortage
    from fulfil_models.timeline import Movement

    from fulfil.store.session import Store

TABLES = (
    "settings",
    "parts",
    "stock",
    "purchases",
    "sources",
    "price_breaks",
    "lanes",
    "parts_orders",
)


@dataclass(frozen=True, slots=True)
class ShortagesAnswer:
    """Parts that hold something up, and what can never be filled at all.

    `assumed` is what the plan took for granted.
    """

    basis: Basis
    shortages: tuple[Shortage, ...]
    stranded: tuple[Stranded, ...]
    assumed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PartAnswer:
    """One part: its state, and all that comes and goes of it, day by day."""

    basis: Basis
    shortage: Shortage
    movements: tuple[Movement, ...]
    stranded: tuple[Stranded, ...]


@dataclass(frozen=True, slots=True)
class PurchasesAnswer:
    basis: Basis
    currency: str
    orders: tuple[NewOrder, ...]


def shortages(store: Store, number: int | None = None) -> ShortagesAnswer:
    from fulfil_models.shortages import shortages as shortages_of

    basis = basis_of(store, number)
    dataset = store.dataset(TABLES)
    plan = store.plan(basis.plan).plan
    found = shortages_of(dataset, settings_at(dataset, basis), plan)
    return ShortagesAnswer(basis, found, plan.stranded, plan.notes)


def part(store: Store, name: str, number: int | None = None) -> PartAnswer:
    """The time-phased state of one part, short or not."""
    from fulfil_models.shortages import shortage
    from fulfil_models.timeline import timeline

    basis = basis_of(store, number)
    dataset = store.dataset(TABLES)
    known = [row.part for row in dataset.parts]
    if name not in known:
        raise refuse_unknown("part", name, known)
    plan = store.plan(basis.plan).plan
    settings = settings_at(dataset, basis)
    return PartAnswer(
        basis=basis,
        shortage=shortage(dataset, settings, plan, name),
        movements=timeline(dataset, settings, plan, name),
        stranded=tuple(row for row in plan.stranded if name in row.parts),
    )


def purchases(
    store: Store, number: int | None = None, *, supplier: str | None = None
) -> PurchasesAnswer:
    """New orders the plan counts on, by the day to place them."""
    from fulfil_models.new_orders import new_orders

    basis = basis_of(store, number)
    dataset = store.dataset((*TABLES, "suppliers"))
    if supplier is not None:
        known = [row.supplier for row in dataset.suppliers]
        if supplier not in known:
            raise refuse_unknown("supplier", supplier, known)
    orders = new_orders(dataset, store.plan(basis.plan).plan)
    return PurchasesAnswer(
        basis=basis,
        currency=settings_of(dataset, basis.as_of).currency,
        orders=tuple(row for row in orders if supplier is None or row.supplier == supplier),
    )

"""What purchasing asks: which parts are short, how does one run, what is to be ordered, what of
what is ordered is doubtful?"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from fulfil.usecases.basis import Basis, basis_of, planned_data, settings_at
from fulfil.usecases.names import meant

if TYPE_CHECKING:
    from fulfil_models.new_orders import NewOrder
    from fulfil_models.open_purchases import OpenPurchase
    from fulfil_models.plan import Stranded
    from fulfil_models.shortages import Shortage
    from fulfil_models.tables import Dataset
    from fulfil_models.timeline import Movement

    from fulfil.store.session import Store

TABLES = (
    "settings",
    "points",
    "calendars",
    "shifts",
    "closures",
    "parts",
    "suppliers",
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

    `total` counts all such parts, `late` those that make something late; `assumed` is what the plan
    took for granted.
    """

    basis: Basis
    total: int
    late: int
    shortages: tuple[Shortage, ...]
    stranded: tuple[Stranded, ...]
    assumed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PartAnswer:
    """One part: its state, and all that comes and goes of it, day by day."""

    basis: Basis
    currency: str
    shortage: Shortage
    movements: tuple[Movement, ...]
    stranded: tuple[Stranded, ...]


@dataclass(frozen=True, slots=True)
class PurchasesAnswer:
    """New orders to place. `total` counts all of the plan.

    `until` is the last day looked at, None for all days; `narrowed` that one supplier or one part
    was asked for.
    """

    basis: Basis
    currency: str
    total: int
    until: date | None
    narrowed: bool
    orders: tuple[NewOrder, ...]

    def order_on(self, row: NewOrder) -> date:
        """Day on which an order is placed: before a weekend, where it is to be placed on one."""
        return ordered_on(row, self.basis)


@dataclass(frozen=True, slots=True)
class OpenAnswer:
    """Open purchase lines. The counts are over all of them."""

    basis: Basis
    total: int
    past_due: int
    unconfirmed: int
    lines: tuple[OpenPurchase, ...]


def shortages(
    store: Store, number: int | None = None, *, late_only: bool = False
) -> ShortagesAnswer:
    from fulfil_models.shortages import shortages as shortages_of

    basis = basis_of(store, number)
    dataset = planned_data(store, basis, TABLES)
    plan = store.plan(basis.plan).plan
    found = shortages_of(dataset, settings_at(dataset, basis), plan)
    stated = _stated_due(store, basis)
    found = tuple(_with_stated_due(row, stated, basis.as_of) for row in found)
    late = tuple(row for row in found if row.late_days)
    return ShortagesAnswer(
        basis=basis,
        total=len(found),
        late=len(late),
        shortages=late if late_only else found,
        stranded=plan.stranded,
        assumed=plan.notes,
    )


def part(store: Store, name: str, number: int | None = None) -> PartAnswer:
    """The time-phased state of one part, short or not."""
    from fulfil_models.shortages import shortage
    from fulfil_models.timeline import timeline

    basis = basis_of(store, number)
    dataset = planned_data(store, basis, TABLES)
    name = meant("part", name, (row.part for row in dataset.parts))
    plan = store.plan(basis.plan).plan
    settings = settings_at(dataset, basis)
    return PartAnswer(
        basis=basis,
        currency=settings.currency,
        shortage=_with_stated_due(
            shortage(dataset, settings, plan, name), _stated_due(store, basis), basis.as_of
        ),
        movements=timeline(dataset, settings, plan, name),
        stranded=tuple(row for row in plan.stranded if name in row.parts),
    )


def purchases(
    store: Store,
    number: int | None = None,
    *,
    supplier: str | None = None,
    part: str | None = None,
    days: int | None = None,
) -> PurchasesAnswer:
    """New orders the plan counts on, by the day to place them.

    Parameters
    ----------
    days: those to place within so many calendar days, the planning date being the first; what
        falls on a weekend is to be placed on the Friday before.
    """
    from fulfil_models.new_orders import new_orders

    basis = basis_of(store, number)
    dataset = planned_data(store, basis, TABLES)
    supplier, part = _names(dataset, supplier, part)
    orders = new_orders(dataset, store.plan(basis.plan).plan)
    until = None if days is None else basis.as_of + timedelta(days - 1)
    return PurchasesAnswer(
        basis=basis,
        currency=settings_at(dataset, basis).currency,
        total=len(orders),
        until=until,
        narrowed=supplier is not None or part is not None,
        orders=tuple(
            row
            for row in orders
            if supplier in (None, row.supplier)
            and part in (None, row.part)
            and (until is None or ordered_on(row, basis) <= until)
        ),
    )


def ordered_on(row: NewOrder, basis: Basis) -> date:
    from fulfil_models.order_days import order_on

    return order_on(row.place_on, max(basis.as_of, basis.orders_from or date.min))


def open_purchases(
    store: Store,
    number: int | None = None,
    *,
    supplier: str | None = None,
    part: str | None = None,
    doubtful_only: bool = False,
) -> OpenAnswer:
    """Open purchase lines, and whom it would hurt if one slipped.

    By the day they are counted on; of doubtful ones those first that may slip least.
    """
    from fulfil_models.open_purchases import open_purchases as open_of

    basis = basis_of(store, number)
    dataset = planned_data(store, basis, TABLES)
    supplier, part = _names(dataset, supplier, part)
    stated = None if basis.lead_times == "stated" else store.dataset(["purchases"]).purchases
    plan = store.plan(basis.plan).plan
    lines = open_of(dataset, settings_at(dataset, basis), plan, stated=stated)
    if doubtful_only:
        never = max((row.slack_days or 0 for row in lines), default=0) + 1
        lines = tuple(sorted(lines, key=lambda p: never if p.slack_days is None else p.slack_days))
    return OpenAnswer(
        basis=basis,
        total=len(lines),
        past_due=sum(1 for row in lines if row.past_due_days),
        unconfirmed=sum(1 for row in lines if not row.confirmed),
        lines=tuple(
            row
            for row in lines
            if supplier in (None, row.supplier)
            and part in (None, row.part)
            and (row.doubtful or not doubtful_only)
        ),
    )


def _stated_due(store: Store, basis: Basis) -> dict[tuple[str, str], date]:
    """Due dates as stated, by order and line, for a plan that believes other days; else nothing.

    A line that is past due stays so whatever day a plan counts on it.
    """
    if basis.lead_times == "stated":
        return {}
    return {(row.order, row.line): row.due for row in store.dataset(["purchases"]).purchases}


def _with_stated_due(
    row: Shortage, stated: Mapping[tuple[str, str], date], as_of: date
) -> Shortage:
    on_order = tuple(
        dataclasses.replace(line, due=due, past_due=due < as_of)
        for line in row.on_order
        for due in [stated.get((line.order, line.line), line.due)]
    )
    return dataclasses.replace(row, on_order=on_order)


def _names(
    dataset: Dataset, supplier: str | None, part: str | None
) -> tuple[str | None, str | None]:
    if supplier is not None:
        supplier = meant("supplier", supplier, (row.supplier for row in dataset.suppliers))
    if part is not None:
        part = meant("part", part, (row.part for row in dataset.parts))
    return supplier, part

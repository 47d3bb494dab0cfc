"""What purchasing asks: which open purchase line is to be chased first?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fulfil.usecases.basis import LEAD_TIME_TABLES, Basis, basis_of, planned_data, settings_at
from fulfil.usecases.held_quotes import held_today, orders_of, taken_by_holds
from fulfil.usecases.names import meant

if TYPE_CHECKING:
    from fulfil_models.chasing import Chase, Expected
    from fulfil_models.order_days import OpenDays
    from fulfil_models.settings import Settings
    from fulfil_models.tables import Dataset

    from fulfil.store.session import Store

TABLES = (
    "settings",
    "points",
    "calendars",
    "shifts",
    "closures",
    "parts",
    "suppliers",
    "sources",
    "stock",
    "purchases",
    "receipts",
    "lanes",
    "work_centres",
    "downtime",
    "progress",
    "routings",
    "builds",
    "deliveries",
    "parts_orders",
)


@dataclass(frozen=True, slots=True)
class ChaseAnswer:
    """Open purchase lines in the order in which they are to be chased.

    The counts and sums are over all of them; `narrowed` says that one supplier or one part was
    asked for. `quotes` are those that are held and draw on a line, by order and line.
    """

    basis: Basis
    currency: str
    total: int
    past_due: int
    unconfirmed: int
    hurting: int
    narrowed: bool
    lines: tuple[Chase, ...]
    quotes: Mapping[tuple[str, str], tuple[str, ...]]


def chase(
    store: Store,
    number: int | None = None,
    *,
    supplier: str | None = None,
    part: str | None = None,
) -> ChaseAnswer:
    """Open purchase lines by the harm that their slipping does.

    Quotes that are held keep the stations that they hold; how much later they would be themselves
    is not looked at.
    """
    from fulfil_models.chasing import chases
    from fulfil_models.order_days import OpenDays
    from fulfil_models.problem import Problem
    from fulfil_models.taken import purchase_key

    basis = basis_of(store, number)
    dataset = planned_data(store, basis, TABLES)
    stated = dataset if basis.lead_times == "stated" else store.dataset(LEAD_TIME_TABLES)
    if supplier is not None:
        supplier = meant("supplier", supplier, (row.supplier for row in dataset.suppliers))
    if part is not None:
        part = meant("part", part, (row.part for row in dataset.parts))
    settings = settings_at(dataset, basis)
    plan = store.plan(basis.plan).plan
    taken = taken_by_holds(held_today(store), dataset, orders_of(plan, basis.plan))
    rows = chases(
        Problem(dataset, settings, taken=taken),
        plan,
        by_the_record(stated, settings, OpenDays(dataset, settings.as_of)),
        stated.purchases,
    )
    return ChaseAnswer(
        basis=basis,
        currency=settings.currency,
        total=len(rows),
        past_due=sum(1 for row in rows if row.line.past_due_days),
        unconfirmed=sum(1 for row in rows if not row.line.confirmed),
        hurting=sum(1 for row in rows if row.hurts),
        narrowed=supplier is not None or part is not None,
        lines=tuple(
            row
            for row in rows
            if supplier in (None, row.line.supplier) and part in (None, row.line.part)
        ),
        quotes={
            (row.order, row.line): taken.drawers[key]
            for row in dataset.purchases
            if (key := purchase_key(row.order, row.line)) in taken.drawers
        },
    )


def by_the_record(stated: Dataset, settings: Settings, days: OpenDays) -> Expected:
    """When open lines come by the record of their suppliers, learnt from stated data."""
    from fulfil_models.expected_days import ExpectedDays
    from fulfil_models.leadtimes import lead_times

    parts = {row.part for row in stated.purchases}
    leads = lead_times(stated, settings, parts=parts, with_drift=False)
    return ExpectedDays(settings, leads, days).by_record

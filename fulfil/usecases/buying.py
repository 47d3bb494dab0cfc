"""What purchasing asks: what is to be bought, from whom, and when is it to be ordered?"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from fulfil.errors import Refused
from fulfil.usecases.basis import Basis, basis_of, planned_data, settings_at
from fulfil.usecases.cover import MONTHS, refuse_made
from fulfil.usecases.cover import TABLES as TO_LAST
from fulfil.usecases.held_quotes import held_today, orders_of, taken_by_holds
from fulfil.usecases.names import meant

if TYPE_CHECKING:
    from fulfil_models.buying import Buying, BuyLine
    from fulfil_models.tables import Dataset, Purchase, Source

    from fulfil.store.session import Store

SERVICE = 0.95
SECONDS = 60.0
SOON_DAYS = 7
"""what is to be ordered within so many days, the planning date being the first, is accepted"""
TABLES = (*TO_LAST, "price_breaks", "lanes", "work_centres", "downtime", "deliveries")
"""what tells how long parts last, and besides what can be ordered, made and sent"""


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked for; None where it was left open. Money in millionths of the currency."""

    months: int = MONTHS
    service: float = SERVICE
    budget_micro: int | None = None
    part: str | None = None
    supplier: str | None = None
    seconds: float = SECONDS

    @property
    def narrowed(self) -> bool:
        return self.part is not None or self.supplier is not None


@dataclass(frozen=True, slots=True)
class BuyAnswer:
    """Lines to order.

    Attributes
    ----------
    found: all that was found; `lines` are those of the part and supplier asked for.
    until: last day of those that are accepted unless all are.
    cautions: of the parts that have one.
    data_hash: of the data that it was found from.
    """

    basis: Basis
    asked: Asked
    currency: str
    found: Buying
    lines: tuple[BuyLine, ...]
    until: date
    cautions: tuple[tuple[str, str | None], ...]
    data_hash: str | None

    def order_on(self, row: BuyLine) -> date:
        """Day on which a line is ordered: before a weekend, where it is to be placed on one."""
        from fulfil_models.order_days import order_on

        return order_on(row.place_on, max(self.basis.as_of, self.basis.orders_from or date.min))


@dataclass(frozen=True, slots=True)
class Accepted:
    """Lines that are open purchases now, and the data's new name."""

    purchases: tuple[Purchase, ...]
    data_hash: str


def buy(store: Store, asked: Asked, number: int | None = None) -> BuyAnswer:
    """What is to be ordered beyond stock and open purchases.

    Units that quotes are held for are nobody else's.

    Raises Refused for names that are not known.
    """
    from fulfil_models.buying import what_to_buy
    from fulfil_models.demand_ahead import demand_ahead
    from fulfil_models.leadtimes import lead_times
    from fulfil_models.problem import Problem

    data_hash = store.data_hash()
    basis = basis_of(store, number)
    dataset = planned_data(store, basis, TABLES)
    asked = _meant(dataset, asked)
    settings = settings_at(dataset, basis)
    plan = store.plan(basis.plan).plan
    taken = taken_by_holds(held_today(store), dataset, orders_of(plan, basis.plan))
    problem = Problem(dataset, settings, taken=taken)
    # a budget is for all parts, so the others take part even where one is asked for
    only = None if asked.part is None or asked.budget_micro is not None else [asked.part]
    found = what_to_buy(
        problem,
        plan,
        demand_ahead(problem, plan, asked.months),
        lead_times(dataset, settings, parts=only, with_drift=False),
        service=asked.service,
        budget_micro=asked.budget_micro,
        parts=only,
        seconds=asked.seconds,
    )
    if basis.lead_times != "stated":
        found = dataclasses.replace(found, lines=_as_stated(store, dataset, found.lines))
    lines = tuple(row for row in found.lines if _is_asked(asked, row))
    caution = {row.part: row.caution for row in dataset.parts}
    return BuyAnswer(
        basis=basis,
        asked=asked,
        currency=settings.currency,
        found=found,
        lines=lines,
        until=basis.as_of + timedelta(SOON_DAYS - 1),
        cautions=tuple((row.part, caution.get(row.part)) for row in lines),
        data_hash=data_hash,
    )


def _meant(dataset: Dataset, asked: Asked) -> Asked:
    """With names as they are in the data."""
    part, supplier = asked.part, asked.supplier
    if part is not None:
        part = meant("part", part, (row.part for row in dataset.parts))
        refuse_made(dataset, part)
    if supplier is not None:
        supplier = meant("supplier", supplier, (row.supplier for row in dataset.suppliers))
    return dataclasses.replace(asked, part=part, supplier=supplier)


def _as_stated(store: Store, dataset: Dataset, lines: Iterable[BuyLine]) -> tuple[BuyLine, ...]:
    """Lines with the due date that the supplier states, whatever lead time the plan believes."""

    def lead_days(sources: Iterable[Source]) -> dict[tuple[str, str, str], int]:
        return {(row.part, row.supplier, row.point): row.lead_days for row in sources}

    stated, believed = lead_days(store.dataset(["sources"]).sources), lead_days(dataset.sources)
    found = []
    for row in lines:
        key = row.part, row.supplier, row.point
        sooner = timedelta(believed[key] - stated[key])
        found.append(dataclasses.replace(row, due_on=max(row.place_on, row.due_on - sooner)))
    return tuple(found)


def _is_asked(asked: Asked, row: BuyLine) -> bool:
    return asked.part in (None, row.part) and asked.supplier in (None, row.supplier)


def accept(store: Store, answer: BuyAnswer, *, every: bool) -> Accepted:
    """Makes lines open purchases, so that the next plan counts on them.

    Parameters
    ----------
    every: all lines of the answer; else those that are to be ordered by `until`.

    Raises Refused where the data changed since they were found, or the planning date is after that
    of the plan, whose days to order may have passed; nothing is changed then.
    """
    from fulfil.store.write import prepared
    from fulfil.usecases.new_purchases import purchases_for, with_purchases

    if answer.basis.age_days:
        raise Refused(
            f"plan {answer.basis.plan} is of {answer.basis.as_of}, and days to order by it may "
            "have passed; nothing was ordered",
            "make a plan of today first: `fulfil plan`, then `fulfil buy --accept`",
        )
    rows = [(row, answer.order_on(row)) for row in answer.lines]
    dataset = store.dataset()
    added = purchases_for(dataset, [(r, day) for r, day in rows if every or day <= answer.until])
    ready = prepared(with_purchases(dataset, added))
    same = prepared(dataset).data_hash == answer.data_hash
    with store.deciding() as desk:
        if not same or desk.data_hash() != answer.data_hash:
            raise Refused(
                "the data were changed while this was worked out; nothing was ordered",
                "run `fulfil buy --accept` again",
            )
        if not added:
            return Accepted((), answer.data_hash or "")
        return Accepted(added, desk.replace_dataset(ready).data_hash)

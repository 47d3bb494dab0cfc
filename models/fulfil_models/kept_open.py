"""What does a promise that is kept open take from everybody, beside one plan or another?

It was put beside a plan, and may draw on what new orders of that plan bring over. Beside another
plan it draws on an order of that one which brings such units no later (`orders_now`). Where yet
another plan is to come, that plan may place the order for itself and for what is held, so that a
supplier's minimum and monthly cap count them as one (`placed_together`). Where neither can be, the
promise has an order of its own, for just what it draws.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType

from fulfil_models.months import month_of
from fulfil_models.plan import Plan, Supply, SupplyKind
from fulfil_models.settings import Settings
from fulfil_models.source_terms import days_to_arrive, is_expedited, whole_orders
from fulfil_models.tables import Dataset, Purchase
from fulfil_models.taken import (
    ORDERED,
    TOGETHER,
    LotKey,
    Taken,
    drawn_by_supply,
    draws_renamed,
    purchase_key,
    taken_by,
)

OrdersNow = Mapping[str, Purchase]
"""by an order of the plan that a piece was put beside: the order that it draws on now"""
_NO_ORDERS: OrdersNow = MappingProxyType({})


def held(
    piece: Plan,
    dataset: Dataset,
    prefix: str,
    own: bool,
    orders: Iterable[Purchase] = (),
    who: str | None = None,
    now: OrdersNow = _NO_ORDERS,
) -> Taken:
    """What a hold has taken: a piece that was put beside a plan, promised and kept open.

    Of an order of its own nothing is left to others, not even what its minimum brings over, and
    its moves are none for others to go with: the hold may end, and these with it.

    Parameters
    ----------
    prefix: begins the names of the hold's own orders, so that no two holds share one.
    own, orders, now: as in `apart`. Orders to be placed together are among those taken, and of
        them only what the piece draws is gone.
    who: its name; None: the prefix without the colon.
    """
    piece = apart(piece, dataset, prefix, own, orders, now)
    taken = taken_by(piece, dataset, who or prefix.rstrip(":"))
    wholly = {purchase_key(row.order, row.line): row.quantity_milli for row in taken.orders}
    drawn_on = {supply.order for supply in piece.supplies if supply.line == TOGETHER}
    together = {row.order: row for row in now.values() if row.order in drawn_on}
    return replace(
        taken,
        lots_milli={**taken.lots_milli, **wholly},
        orders=taken.orders + tuple(together.values()),
        moves=frozenset(),
    )


def apart(
    piece: Plan,
    dataset: Dataset,
    prefix: str,
    own: bool,
    orders: Iterable[Purchase] = (),
    now: OrdersNow = _NO_ORDERS,
) -> Plan:
    """A piece with the orders and moves that it needs under names that begin with `prefix`.

    Parameters
    ----------
    own: whether the plan that it was put beside is gone. For what it draws on new orders of that
        plan it then draws on those of `now`, and where there is none has orders of its own, for
        just these quantities on the same days. Else it goes on drawing on them.
    orders: new orders of the plan that it was put beside, as `taken_by` tells them. Needed where
        `own`: the piece knows neither their supplier nor their days.

    Raises LookupError where such an order is not among them.
    """
    known = {(row.order, row.line) for row in dataset.purchases}
    before = {row.order: row for row in orders}
    sources = {(row.part, row.supplier, row.point): row for row in dataset.sources}

    def kept(supply: Supply) -> Supply:
        if supply.kind in (SupplyKind.NEW_PURCHASE, SupplyKind.TRANSFER):
            return replace(supply, supply=prefix + supply.supply)
        if not own or not _counts_on_an_order(supply) or (supply.order, supply.line) in known:
            return supply
        name = supply.order or ""
        if name in now:
            return replace(supply, order=now[name].order, line=now[name].line)
        if name not in before:
            raise LookupError(
                f"the order {name} that the piece draws on is unknown; "
                "give the new orders of the plan that it was put beside"
            )
        row = before[name]
        source = sources.get((row.part, row.supplier, row.point))
        return replace(
            supply,
            supply=prefix + supply.supply,
            kind=SupplyKind.NEW_PURCHASE,
            order=None,
            line=None,
            supplier=row.supplier,
            place_on=row.ordered,
            arrives_on=row.due,
            expedited=source is not None and is_expedited(row, source),
        )

    supplies = [kept(supply) for supply in piece.supplies]
    names = {old.supply: new.supply for old, new in zip(piece.supplies, supplies, strict=True)}
    return draws_renamed(replace(piece, supplies=tuple(supplies)), names)


def _counts_on_an_order(supply: Supply) -> bool:
    """Whether a supply of a piece stands for a new order of the plan that it was put beside."""
    return supply.kind is SupplyKind.PURCHASE and supply.line == ORDERED


# ---- beside another plan


def orders_now(
    piece: Plan,
    dataset: Dataset,
    orders: Iterable[Purchase],
    plan: Taken,
    others: Mapping[LotKey, int],
) -> dict[str, Purchase]:
    """On which orders of another plan a piece draws, instead of those it was put beside: on the
    same one if it is still there, else on the latest that brings its units in time.

    Parameters
    ----------
    orders: as in `apart`.
    plan: what the other plan orders, and draws.
    others: what other promises kept open draw on each lot, in thousandths.
    """
    known = {(row.order, row.line) for row in dataset.purchases}
    before = {row.order: row for row in orders}
    drawn = drawn_by_supply(piece)
    left = Counter({purchase_key(row.order, row.line): row.quantity_milli for row in plan.orders})
    left.subtract({key: plan.lots_milli.get(key, 0) + others.get(key, 0) for key in left})
    found: dict[str, Purchase] = {}
    for supply in piece.supplies:
        old = before.get(supply.order or "")
        if old is None or not _counts_on_an_order(supply) or (old.order, old.line) in known:
            continue
        milli = drawn[supply.supply]
        fit = [
            row
            for row in plan.orders
            if (row.part, row.point) == (old.part, old.point)
            and row.due <= old.due
            and left[purchase_key(row.order, row.line)] >= milli
        ]
        if fit:
            row = max(fit, key=lambda row: (row.order == old.order, row.due, row.order))
            left[purchase_key(row.order, row.line)] -= milli
            found[old.order] = row
    return found


def placed_together(
    orders: OrdersNow,
    dataset: Dataset,
    settings: Settings,
    others: Iterable[Purchase],
    *,
    hurried: bool,
) -> dict[str, Purchase]:
    """Those orders of a plan that the next one can still place as they are, as orders for itself
    and for what is held: on their day, within minimum, multiple and cap.

    Parameters
    ----------
    others: what is ordered for other promises kept open.
    hurried: whether expedited ones, too. Whoever searches for a plan would take them for free.
    """
    sources = {(row.part, row.supplier, row.point): row for row in dataset.sources}
    caps: dict[tuple[str, str], int] = {}
    for source in dataset.sources:
        if source.monthly_cap_milli is not None:
            key = source.part, source.supplier
            caps[key] = min(source.monthly_cap_milli, caps.get(key, source.monthly_cap_milli))
    arriving: Counter[tuple[str, str, str]] = Counter()

    def month(row: Purchase) -> tuple[str, str, str]:
        return row.part, row.supplier, month_of(settings.counted_on(row.due))

    there = {(row.order, row.line): row for row in (*dataset.purchases, *others)}
    for row in there.values():
        arriving[month(row)] += row.quantity_milli
    found: dict[str, Purchase] = {}
    for name, order in sorted(orders.items()):
        row = replace(order, line=TOGETHER)
        terms = sources.get((row.part, row.supplier, row.point))
        if (
            terms is None
            or row.ordered < settings.first_order_day
            or (row.due - row.ordered).days < days_to_arrive(terms, expedited=hurried)
            or whole_orders(terms, row.quantity_milli) != row.quantity_milli
        ):
            continue
        if (row.order, row.line) not in there:
            cap = caps.get((row.part, row.supplier))
            if cap is not None and arriving[month(row)] + row.quantity_milli > cap:
                continue
            there[row.order, row.line] = row
            arriving[month(row)] += row.quantity_milli
        found[name] = row
    return found

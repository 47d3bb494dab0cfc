"""Which new orders bring what is drawn on a lot of a source, and when does each arrive?"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

from fulfil_models.compiled import ordered_milli
from fulfil_models.existing_first import Claim, Pile, pile_of
from fulfil_models.months import next_month
from fulfil_models.plan import Supply, SupplyKind
from fulfil_models.problem import Problem
from fulfil_models.shared_cap import first_hurried
from fulfil_models.source_terms import days_to_arrive, is_expedited
from fulfil_models.supply import UNLIMITED_MILLI, Lot
from fulfil_models.tables import Purchase, Source
from fulfil_models.taken import TOGETHER, purchase_key

ORDER_COVERS_DAYS = 28
"""an order without a cap covers the needs of so many days from its arrival"""


def orders_for(problem: Problem, lot: Lot, pieces: list[tuple[Claim, int]]) -> list[Pile]:
    """Orders that bring what is drawn on a lot of a source, each arriving as late as will do."""
    assert lot.source is not None
    hurried = [(claim, q) for claim, q in pieces if claim.advanced or lot.expedited]
    calm = [(claim, q) for claim, q in pieces if not (claim.advanced or lot.expedited)]
    orders: list[Pile] = []
    if hurried and not lot.expedited:
        advanced, calm = _advanced(problem, lot, hurried, calm)
        orders.append(advanced)
    elif hurried:
        orders.append(_order(problem, lot, hurried, expedited=True))
    if not calm:
        return orders
    calm.sort(key=lambda piece: piece[0].by)
    if lot.quantity_milli < UNLIMITED_MILLI:
        return [*orders, _order(problem, lot, calm)]
    while calm:
        arrives = _arrival(problem, lot, calm[0][0].by, expedited=False)
        until = max(arrives, calm[0][0].by) + timedelta(ORDER_COVERS_DAYS)
        covered = [piece for piece in calm if piece[0].by < until]
        spare = ordered_milli(lot.source, sum(q for _, q in covered))
        count = 0
        for _, quantity in calm:
            if quantity > spare:
                break
            spare -= quantity
            count += 1
        orders.append(_order(problem, lot, calm[:count]))
        calm = calm[count:]
    return orders


def _advanced(
    problem: Problem,
    lot: Lot,
    hurried: list[tuple[Claim, int]],
    calm: list[tuple[Claim, int]],
) -> tuple[Pile, list[tuple[Claim, int]]]:
    """Expedite part of a monthly lot; what the order brings over and above serves others of that
    month. Returns it, and what is left for an order that is not expedited."""
    assert lot.source is not None
    total = sum(q for _, q in hurried)
    ordered = ordered_milli(lot.source, total)
    rest = sum(q for _, q in calm) - (ordered - total)
    if rest > 0 and ordered + ordered_milli(lot.source, rest) > lot.quantity_milli:
        ordered = ordered_milli(lot.source, total + sum(q for _, q in calm))
    spare = ordered - total
    own = list(hurried)
    left = []
    for claim, quantity in sorted(calm, key=lambda piece: piece[0].by):
        served = min(quantity, spare)
        spare -= served
        if served:
            own.append((claim, served))
        if quantity > served:
            left.append((claim, quantity - served))
    return _order(problem, lot, own, ordered, expedited=True), left


def _arrival(problem: Problem, lot: Lot, by: date, *, expedited: bool) -> date:
    """Latest day on which an order may arrive for its first use, within what its lot allows."""
    assert lot.source is not None
    assert lot.arrives_on is not None
    earliest = lot.arrives_on
    if expedited:
        earliest = first_hurried(problem, lot.source)
        if lot.source.monthly_cap_milli is not None:
            earliest = max(earliest, lot.arrives_on.replace(day=1))
    if lot.source.monthly_cap_milli is not None:
        by = min(by, next_month(lot.arrives_on) - timedelta(1))
    return max(earliest, by)


def _order(
    problem: Problem,
    lot: Lot,
    pieces: list[tuple[Claim, int]],
    ordered: int | None = None,
    *,
    expedited: bool = False,
) -> Pile:
    """One order of a source for all these pieces."""
    assert lot.source is not None
    by = min(claim.by for claim, _ in pieces)
    arrives = _arrival(problem, lot, by, expedited=expedited)
    if ordered is None:
        ordered = ordered_milli(lot.source, sum(quantity for _, quantity in pieces))
    made = pile_of(lot, problem.axes[lot.point].next_open_day(arrives), ordered, pieces)
    made.arrives_on, made.expedited = arrives, expedited
    return made


def order_supply(problem: Problem, pile: Pile, new_name: Callable[[str], str]) -> Supply:
    """An order as it is placed: as late as will do for those who draw on it in the end. What ships
    as it comes leaves on the day that it was made for."""
    lot, source, arrives = pile.lot, pile.lot.source, pile.arrives_on
    assert source is not None
    assert arrives is not None
    if all(share.box is None for share in pile.shares):
        by = min(share.claim.by for share in pile.shares)
        arrives = _arrival(problem, lot, by, expedited=pile.expedited)
    axis = problem.axes[lot.point]
    return Supply(
        new_name(_order_name(source.supplier, lot.point, lot.part, arrives, pile.expedited)),
        SupplyKind.NEW_PURCHASE,
        lot.part,
        lot.point,
        pile.quantity_milli,
        axis.start_moment(axis.opening(arrives)),
        supplier=source.supplier,
        place_on=arrives - timedelta(days_to_arrive(source, expedited=pile.expedited)),
        arrives_on=arrives,
        expedited=pile.expedited,
    )


def _order_name(supplier: str, point: str, part: str, arrives: date, expedited: bool) -> str:
    return f"new/{supplier}/{point}/{part}/{arrives}" + "/expedited" * expedited


# ---- orders for a plan and for what is held


def is_together(lot: Lot) -> bool:
    """Whether a lot is an order of an earlier plan that this one may place for itself and for what
    is held."""
    return lot.purchase is not None and lot.purchase.line == TOGETHER


def is_expedited_together(problem: Problem, lot: Lot) -> bool:
    """Whether such a lot is expedited."""
    row, source = _order_and_source(problem, lot)
    return is_expedited(row, source)


def order_together(problem: Problem, pile: Pile, new_name: Callable[[str], str]) -> Supply:
    """Such an order as it is placed: on its day, as small as brings both."""
    row, source = _order_and_source(problem, pile.lot)
    expedited = is_expedited(row, source)
    held_milli = problem.taken.lots_milli.get(purchase_key(row.order, row.line), 0)
    return Supply(
        new_name(_order_name(row.supplier, row.point, row.part, row.due, expedited)),
        SupplyKind.NEW_PURCHASE,
        row.part,
        row.point,
        ordered_milli(source, pile.drawn_milli + held_milli),
        problem.axes[row.point].start_moment(pile.lot.usable),
        supplier=row.supplier,
        place_on=row.ordered,
        arrives_on=row.due,
        expedited=expedited,
    )


def _order_and_source(problem: Problem, lot: Lot) -> tuple[Purchase, Source]:
    row = lot.purchase
    assert row is not None
    key = row.part, row.supplier, row.point
    return row, next(s for s in problem.dataset.sources if (s.part, s.supplier, s.point) == key)

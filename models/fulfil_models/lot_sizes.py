"""What is ordered of each part, when and how much at a time, for the least cost?

Parts are planned one by one unless a limit of cash couples them. The ways, each with a proof:

- by runs of periods, where neither minimum nor caps nor breaks turn out to matter;
- by levels, where they do: exact as well;
- by a mixed-integer model, where a part has too many levels: to a gap;
- with a limit of cash, all parts together (`lot_cash.py`).

Nothing waits that can come in time. What cannot come in time comes as soon as it can, and is told
as a shortfall. The payments of an order fall in the period of its arrival. Money that a period
leaves is not carried on to the next.
"""

from __future__ import annotations

import threading
import time
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fulfil_models.cells import MILLI
from fulfil_models.lot_cash import plan_with_cash
from fulfil_models.lot_levels import Order, cheapest_levels, has_few_levels
from fulfil_models.lot_model import solve_lots
from fulfil_models.lot_orders import (
    Solved,
    as_late_as_can_be,
    as_late_for_no_more,
    by_the_first_offer,
    cost_of,
    keeps_terms,
    short_early,
)
from fulfil_models.lot_runs import Runs, runs_of, wagner_whitin
from fulfil_models.lot_terms import (
    NANO_PER_MICRO,
    LotOffer,
    NeverOrdered,
    PartLots,
    Terms,
    terms_of,
)

__all__ = [
    "LotOffer",
    "LotOrder",
    "LotPlan",
    "NeverOrdered",
    "PartLots",
    "Shortfall",
    "plan_lots",
    "wagner_whitin",
]


UNPROVEN = "as late as can be"
"""the way of a part whose orders nothing has proved best"""


@dataclass(frozen=True, slots=True)
class LotOrder:
    """One order; `period` is that of its arrival, `cost_micro` ordering and all units."""

    part: str
    offer: str
    period: int
    milli: int
    price_micro: int
    cost_micro: int


@dataclass(frozen=True, slots=True)
class Shortfall:
    """What is needed by the end of a period and not there.

    `for_cash_milli` is how much of it could have been there with more cash; `early_milli` how much
    could have been there sooner within the period, before some offer can deliver.
    """

    part: str
    period: int
    milli: int
    for_cash_milli: int = 0
    early_milli: int = 0


@dataclass(frozen=True, slots=True)
class LotPlan:
    """Orders of all parts and their cost.

    Attributes
    ----------
    cost_micro: ordering, buying and holding.
    waiting_micro: price of what waits for cash: no money that is paid, only what decides who waits.
    bound_micro: no orders cost less, waiting included.
    gap: (cost + waiting - bound) / (cost + waiting), 0 where both are 0.
    ways: how many parts were planned in which way.
    """

    orders: tuple[LotOrder, ...]
    shortfalls: tuple[Shortfall, ...]
    never: tuple[NeverOrdered, ...]
    ordering_micro: int
    buying_micro: int
    holding_micro: int
    waiting_micro: int
    bound_micro: int
    gap: float
    ways: Mapping[str, int]
    cut_by_clock: bool

    @property
    def cost_micro(self) -> int:
        return self.ordering_micro + self.buying_micro + self.holding_micro


def plan_lots(
    parts: Sequence[PartLots],
    *,
    cash_micro: Sequence[int] | None = None,
    gap: float = 0.001,
    seconds: float = 60.0,
    stop: threading.Event | None = None,
) -> LotPlan:
    """Orders of the least cost for all parts.

    Parameters
    ----------
    cash_micro: the most that may be paid in each period for all parts; None = no limit.
    gap: relative, at which a search may end.
    seconds: a cap. Parts that are not planned when it is over get orders as late as can be, with
        their bound.
    stop: as if the seconds were over.

    Raises ValueError where parts, or the cash, are not for the same number of periods.
    """
    lengths = {len(part.needs_milli) for part in parts}
    if cash_micro is not None:
        lengths.add(len(cash_micro))
        if min(cash_micro, default=0) < 0:
            raise ValueError("cash of a period is below 0; give 0 or more")
    if len(lengths) > 1:
        raise ValueError(f"needs and cash are for {sorted(lengths)} periods; give all for the same")
    terms = [terms_of(part, waits=cash_micro is not None) for part in parts]
    if cash_micro is None:
        solved = _one_by_one(terms, gap, seconds, stop)
        bound = sum(one.bound_nano for one in solved)
    else:
        cash = [micro * NANO_PER_MICRO for micro in cash_micro]
        solved, bound = plan_with_cash(terms, cash, gap=gap, seconds=seconds, stop=stop)
    return _told(terms, solved, bound)


def _one_by_one(
    parts: Sequence[Terms], gap: float, seconds: float, stop: threading.Event | None
) -> list[Solved]:
    """All parts without a limit of cash. Those that need a model share the time that is left."""
    ends = time.monotonic() + seconds

    def left() -> float:
        return 0.0 if stop is not None and stop.is_set() else ends - time.monotonic()

    solved = [_tried(terms) if left() > 0 else _hurried(terms) for terms in parts]
    open_ones = [number for number, one in enumerate(solved) if one.way == UNPROVEN and left() > 0]
    for done, number in enumerate(open_ones):
        share = left() / (len(open_ones) - done)
        if share > 0:
            solved[number] = _by_model(parts[number], solved[number], gap, share, stop)
    return solved


def _tried(terms: Terms) -> Solved:
    """A part by runs, else by levels, else as late as can be."""
    proven, bound = _by_runs(terms)
    if proven is not None:
        return proven
    if has_few_levels(terms):
        cost, orders = cheapest_levels(terms)
        return Solved(orders, int(cost) + terms.rounding_nano, "by levels")
    return Solved(as_late_as_can_be(terms), bound, UNPROVEN, cut_by_clock=True)


def _hurried(terms: Terms) -> Solved:
    """A part by runs, else as late as can be."""
    proven, bound = _by_runs(terms)
    return proven or Solved(as_late_as_can_be(terms), bound, UNPROVEN, cut_by_clock=True)


def _by_runs(terms: Terms) -> tuple[Solved | None, int]:
    """A part by runs, None where its terms forbid those orders, and a bound on its cost."""
    if not terms.top:
        return Solved((), terms.rounding_nano, "nothing to order"), terms.rounding_nano
    runs, kept = runs_of(terms)
    bound = runs.cost + terms.rounding_nano
    return Solved(_orders_of(terms, runs), bound, "by runs") if kept else None, bound


def _by_model(
    terms: Terms, late: Solved, gap: float, seconds: float, stop: threading.Event | None
) -> Solved:
    """A part by a mixed-integer model, unless what there is already costs less."""
    answer = solve_lots([terms], gap=gap, seconds=seconds, stop=stop)
    orders = late.orders
    if answer.orders is not None and keeps_terms(terms, answer.orders[0]):
        modelled = as_late_for_no_more(terms, answer.orders[0])
        orders = min(orders, modelled, key=lambda found: cost_of(terms, found).total)
    bound = max(late.bound_nano, int(answer.bound_nano) + terms.rounding_nano)
    bound = min(bound, cost_of(terms, orders).total)
    return Solved(orders, bound, "by a model", cut_by_clock=answer.cut_by_clock)


def _orders_of(terms: Terms, runs: Runs) -> tuple[Order, ...]:
    flat = [[mode for offer in row for mode in offer] for row in terms.modes]
    return tuple(Order(run.period, flat[run.period][run.line], run.quantity) for run in runs.orders)


def _told(terms: Sequence[Terms], solved: Sequence[Solved], bound_nano: int) -> LotPlan:
    solved = [
        replace(one, orders=by_the_first_offer(row, one.orders))
        for row, one in zip(terms, solved, strict=True)
    ]
    costs = [cost_of(row, one.orders) for row, one in zip(terms, solved, strict=True)]
    total = sum(cost.total for cost in costs)
    orders, shortfalls = [], []
    for row, one in zip(terms, solved, strict=True):
        orders += [_order(row, order) for order in one.orders]
        shortfalls += _shortfalls(row, one.orders)
    return LotPlan(
        orders=tuple(orders),
        shortfalls=tuple(shortfalls),
        never=tuple(never for row in terms for never in row.never),
        ordering_micro=_micro(sum(cost.ordering for cost in costs)),
        buying_micro=_micro(sum(cost.buying for cost in costs)),
        holding_micro=_micro(sum(cost.holding for cost in costs)),
        waiting_micro=_micro(sum(cost.waiting for cost in costs)),
        bound_micro=bound_nano // NANO_PER_MICRO,
        gap=(total - bound_nano) / total if total else 0.0,
        ways=dict(sorted(Counter(one.way for one in solved).items())),
        cut_by_clock=any(one.cut_by_clock for one in solved),
    )


def _order(terms: Terms, order: Order) -> LotOrder:
    offer = terms.part.offers[order.mode.offer]
    milli = order.levels * terms.unit_milli
    return LotOrder(
        part=terms.part.part,
        offer=offer.offer,
        period=order.period,
        milli=milli,
        price_micro=order.mode.price_micro,
        cost_micro=offer.ordering_micro + _micro(order.mode.price_micro * milli),
    )


def _shortfalls(terms: Terms, orders: Sequence[Order]) -> list[Shortfall]:
    """Shortfalls at the ends of periods, unavoidable ones and those for want of cash; within them
    for want of cash alone."""
    came, needed, found = 0, 0, []
    early: defaultdict[int, int] = defaultdict(int)
    for period, levels in short_early(terms, orders):
        early[period] = max(early[period], levels * terms.unit_milli)
    for period, need in enumerate(terms.part.needs_milli):
        needed += need
        came += sum(order.levels for order in orders if order.period == period)
        due = needed - terms.short_milli[period]
        for_cash = max(0, due - came * terms.unit_milli)
        short = terms.short_milli[period] + for_cash
        if short or early[period]:
            found.append(Shortfall(terms.part.part, period, short, for_cash, early[period]))
    return found


def _micro(nano: int) -> int:
    """Nano-currency as micro-currency, rounded up."""
    return -(-nano // MILLI)

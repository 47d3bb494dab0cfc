"""What is to be bought: which quantity of which part from whom, placed on which day, and why?

Needs are netted at the dates that are stated (`buying_needs`), what is expected is guarded by a
safety stock (`buying_safety`), sizes cost the least (`buying_lots`). Each order is placed so early
that 90 of 100 deliveries come by the day on which the first of it is wanted; what cannot be placed
so early is placed at once.
"""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from fulfil_models.buying_lines import BuyLine, Served, line_of
from fulfil_models.buying_lots import Buyer, Key, Orders
from fulfil_models.buying_needs import Want, Wanted, Why, home_points, usable_sources, wanted
from fulfil_models.buying_pegs import Peg, pegged
from fulfil_models.buying_safety import safety_stocks
from fulfil_models.cells import MILLI
from fulfil_models.demand_ahead import DemandAhead
from fulfil_models.harms import harms
from fulfil_models.leadtimes import LeadTime
from fulfil_models.lot_terms import NeverOrdered
from fulfil_models.months import month_of
from fulfil_models.plan import Plan
from fulfil_models.problem import Problem
from fulfil_models.source_terms import can_order, first_arrival, whole_orders

__all__ = ["BuyLine", "Buying", "Served", "ShortWant", "what_to_buy"]


@dataclass(frozen=True, slots=True)
class ShortWant:
    """Units that come too late or not at all.

    `comes_on` is None where no order brings them; `why_not` says why. `for_cash`: a larger budget
    could bring them sooner; else nothing could, whatever is ordered.
    """

    part: str
    point: str
    why: Why
    who: str
    quantity_milli: int
    day: date
    comes_on: date | None
    why_not: str
    for_cash: bool = False


@dataclass(frozen=True, slots=True)
class Buying:
    """All lines, by the day to place them, and how good they are.

    Attributes
    ----------
    short: by part and day.
    never: orders that no supplier would take, in words.
    safety_milli: safety stock of each part.
    ordering_micro, buying_micro, holding_micro: cost of what nobody expedites, over all months.
    waiting_micro: price put on what waits for cash, which nobody pays; see `LotPlan`.
    bound_micro, gap: no orders for these wants cost less; see `LotPlan`.
    """

    months: tuple[str, ...]
    lines: tuple[BuyLine, ...]
    short: tuple[ShortWant, ...]
    never: tuple[str, ...]
    safety_milli: Mapping[str, int]
    ordering_micro: int
    buying_micro: int
    holding_micro: int
    waiting_micro: int
    bound_micro: int
    gap: float
    cut_by_clock: bool
    notes: tuple[str, ...]


def what_to_buy(
    problem: Problem,
    plan: Plan,
    demand: DemandAhead,
    leads: Mapping[tuple[str, str], LeadTime],
    *,
    service: float = 0.95,
    budget_micro: int | None = None,
    parts: Iterable[str] | None = None,
    gap: float = 0.001,
    seconds: float = 60.0,
    stop: threading.Event | None = None,
) -> Buying:
    """Lines to order for all that nothing covers yet.

    Parameters
    ----------
    demand: its months are looked at, those beyond in which firm needs are drawn, and those until
        what is wanted can come for the first time.
    leads: learnt lead times by part and supplier; where one is missing what is stated stands.
    service: share of order cycles that the safety stock is to bring to an end without a shortage.
    budget_micro: the most that may be paid for lines due in one month, what it costs to place them
        included; None = no limit. What the plan expedites is bought all the same, and counted.
    parts: only these; None for all.
    gap, seconds, stop: of the search for sizes.

    Raises ValueError for a service or a budget that cannot be.
    """
    if budget_micro is not None and budget_micro < 0:
        raise ValueError("the budget of a month is below 0; give 0 or more")
    only = None if parts is None else set(parts)
    safety = safety_stocks(problem, demand, leads, service, parts=only)
    found = wanted(problem, plan, demand, safety, parts=only)
    buyer = Buyer(
        problem=problem,
        plan=plan,
        leads=leads,
        wants=found.wants,
        homes=home_points(demand, usable_sources(problem)),
        least_months=len(demand.months),
        budget_micro=budget_micro,
    )
    orders = buyer.orders(gap=gap, seconds=seconds, stop=stop)
    harm = harms(problem, plan)
    lines: list[BuyLine] = []
    short = [_never(want, problem) for want in found.sourceless]
    for key, rows in found.wants.items():
        pegs, unserved = pegged(buyer, rows, orders.by_key[key])
        made = [
            line_of(buyer, order, rows_of, harm)
            for order, rows_of in zip(orders.by_key[key], pegs, strict=True)
        ]
        lines += made
        short += _short(buyer, made, unserved, orders, key)
    return Buying(
        months=buyer.months,
        lines=tuple(sorted(lines, key=lambda r: (r.place_on, r.supplier, r.part, r.point))),
        short=tuple(sorted(short, key=lambda r: (r.part, r.day, r.who))),
        never=tuple(_never_ordered(problem, found, orders.lots.never, buyer.months[-1])),
        safety_milli=safety,
        ordering_micro=orders.lots.ordering_micro,
        buying_micro=orders.lots.buying_micro,
        holding_micro=orders.lots.holding_micro,
        waiting_micro=orders.lots.waiting_micro,
        bound_micro=orders.lots.bound_micro,
        gap=orders.lots.gap,
        cut_by_clock=orders.lots.cut_by_clock,
        notes=demand.notes,
    )


# ---- what is short


NOT_SOONER, ONLY_HURRIED = "no order brings it sooner", "only expedited could it come sooner"
NO_CASH, NO_MORE_CASH = "the budget lets it come no sooner", "the budget lets no more come"
NO_MORE = "monthly caps let no more come"


def _short(
    buyer: Buyer, lines: Sequence[BuyLine], unserved: Iterable[Peg], orders: Orders, key: Key
) -> list[ShortWant]:
    """What comes late or not at all of a part at a point, of which these are all lines."""
    found = []
    for_cash = orders.for_cash[key]
    for line in lines:
        for row in line.served:
            if row.late_days:
                by = buyer.due_by(key, row.day)
                waits = month_of(by) in for_cash and month_of(by) < month_of(line.due_on)
                waits |= month_of(line.due_on) in orders.early_for_cash[key] and any(
                    buyer.soonest(source) < line.due_on for source in buyer.sources[key]
                )
                hurried = _could_be_hurried(buyer, line, lines, key)
                reason = ONLY_HURRIED if hurried else NOT_SOONER
                found.append(
                    ShortWant(
                        line.part,
                        line.point,
                        row.why,
                        row.who,
                        row.quantity_milli,
                        row.day,
                        line.due_on,
                        NO_CASH if waits else reason,
                        waits,
                    )
                )
    waits = buyer.months[-1] in for_cash
    limit = NO_MORE_CASH if waits else NO_MORE
    found += [
        ShortWant(
            want.part,
            want.point,
            want.why,
            want.who,
            milli,
            want.day,
            None,
            f"{limit} until {buyer.months[-1]}",
            waits,
        )
        for want, milli in unserved
    ]
    return found


def _could_be_hurried(buyer: Buyer, line: BuyLine, lines: Iterable[BuyLine], key: Key) -> bool:
    """Whether some source could bring before a line what that brings, if it were expedited: within
    its cap, beside the other lines."""
    if line.expedited:
        return False
    coming = Counter[tuple[str, str]]()
    for row in lines:
        # what the plan expedites is taken off the caps already
        if row is not line and (row.saves_micro or not row.expedited):
            coming[row.supplier, month_of(row.due_on)] += row.quantity_milli
    for source in buyer.sources[key]:
        comes = first_arrival(buyer.problem.settings, source, expedited=True)
        if source.expedite_days and comes < line.due_on:
            cap = buyer.cap_milli(key, source, comes)
            if cap is None or whole_orders(source, cap - coming[source.supplier, month_of(comes)]):
                return True
    return False


def _never(want: Want, problem: Problem) -> ShortWant:
    able = any(row.part == want.part for row in problem.dataset.sources)
    why = "no order of it can ever be placed" if able else "nobody supplies it"
    return ShortWant(want.part, want.point, want.why, want.who, want.milli, want.day, None, why)


def _never_ordered(
    problem: Problem, found: Wanted, lots: Iterable[NeverOrdered], last_month: str
) -> list[str]:
    """In words: sources of what is wanted of which no order fits under their cap, or under what
    others leave of it until the last month."""
    parts = {part for part, _ in found.wants} | {want.part for want in found.sourceless}
    texts = [
        f"{row.part} from {row.supplier} to {row.point} can never be ordered: its cap is below its "
        "smallest order; raise the cap or lower the minimum"
        for row in sorted(problem.dataset.sources, key=lambda r: (r.part, r.supplier, r.point))
        if row.part in parts and not can_order(row)
    ]
    # what is left has an order that fits, but not beside what comes of it already
    texts += [
        f"no more of {row.part} from {row.offer} can be ordered to come by {last_month}: of its "
        f"cap at most {row.cap_milli / MILLI:g} is left in a month, and its smallest order is "
        f"{row.least_milli / MILLI:g}"
        for row in lots
    ]
    return list(dict.fromkeys(texts))

"""What do orders of a part cost, do they keep to its terms, and which can always be placed?"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from fulfil_models.lot_levels import Order
from fulfil_models.lot_terms import Mode, Terms

Orders = tuple[Order, ...]


@dataclass(frozen=True, slots=True)
class Solved:
    """The orders of a part, a bound on their cost in nano-currency, and how they were found."""

    orders: Orders
    bound_nano: int
    way: str
    cut_by_clock: bool = False


@dataclass(frozen=True, slots=True)
class LotCost:
    """In nano-currency, exact. `waiting` is the price of what comes later than it is due."""

    ordering: int
    buying: int
    holding: int
    waiting: int

    @property
    def total(self) -> int:
        return self.ordering + self.buying + self.holding + self.waiting


def levels_by_period(terms: Terms, orders: Sequence[Order]) -> list[int]:
    """Levels that have come by the end of each period."""
    coming = [0] * len(terms.due)
    for order in orders:
        coming[order.period] += order.levels
    level, came = 0, []
    for levels in coming:
        level += levels
        came.append(level)
    return came


def short_early(terms: Terms, orders: Sequence[Order]) -> list[tuple[int, int]]:
    """Periods, and levels that are due within them before some offer and are not there then: see
    `Terms.early`."""
    if not terms.comes_early:
        return []
    found = []
    for period, row in enumerate(terms.early):
        for place, due in enumerate(row):
            sooner = terms.offers[period][:place]
            came = sum(
                order.levels
                for order in orders
                if order.period < period or (order.period == period and order.mode.offer in sooner)
            )
            if came < due:
                found.append((period, due - came))
    return found


def cost_of(terms: Terms, orders: Sequence[Order]) -> LotCost:
    """What orders of a part cost.

    What waits is counted in whole levels; the cost of rounding is counted in every period, as
    holding, or as waiting where something waits.
    """
    over = [
        came - due for came, due in zip(levels_by_period(terms, orders), terms.due, strict=True)
    ]
    rounded = terms.part.holding_micro
    holding = waiting = 0
    for period, levels in enumerate(over):
        left = terms.due[period] * terms.unit_milli - terms.due_milli[period]
        if levels >= 0:
            holding += levels * terms.holding_nano + left * rounded
        else:
            waiting += terms.waiting_nano(period, -levels) + left * rounded
    for period, levels in short_early(terms, orders):
        waiting += terms.waiting_nano(period, levels)
    return LotCost(
        ordering=sum(order.mode.fixed_nano for order in orders),
        buying=sum(order.mode.price_nano * order.levels for order in orders),
        holding=holding,
        waiting=waiting,
    )


def paid_by_period(terms: Terms, orders: Sequence[Order]) -> list[int]:
    """What is paid for orders in each period, in nano-currency."""
    paid = [0] * len(terms.due)
    for order in orders:
        paid[order.period] += order.mode.fixed_nano + order.mode.price_nano * order.levels
    return paid


def keeps_terms(terms: Terms, orders: Sequence[Order], *, waits: bool = False) -> bool:
    """Whether every order is one that its offer allows, and all comes in time unless it may wait.

    There is at most one order of an offer in a period.
    """
    places = {(order.period, order.mode.offer) for order in orders}
    if len(places) < len(orders):
        return False
    allowed = all(
        order.mode in (mode for offer in terms.modes[order.period] for mode in offer)
        and order.mode.allows(order.levels)
        for order in orders
    )
    came = levels_by_period(terms, orders)
    in_time = all(c >= d for c, d in zip(came, terms.due, strict=True))
    return allowed and (waits or (in_time and not short_early(terms, orders)))


def as_late_for_no_more(terms: Terms, orders: Sequence[Order]) -> Orders:
    """The same orders, each moved to the latest period in which all together cost no more and
    everything is in time."""
    found = list(orders)
    for place in sorted(range(len(found)), key=lambda n: -found[n].period):
        order = found[place]
        for period in range(len(terms.due) - 1, order.period, -1):
            modes = [mode for offer in terms.modes[period] for mode in offer]
            same = [m for m in modes if m.offer == order.mode.offer and m.allows(order.levels)]
            moved = [*found[:place], *(Order(period, m, order.levels) for m in same[:1])]
            moved += found[place + 1 :]
            in_time = len(moved) == len(found) and keeps_terms(terms, moved)
            if in_time and cost_of(terms, moved).total <= cost_of(terms, found).total:
                found = moved
                break
    return tuple(sorted(found, key=lambda one: one.period))


def by_the_first_offer(terms: Terms, orders: Sequence[Order]) -> Orders:
    """The same orders, each by the first offer that takes it in its period at the same price, has
    none there yet, and can deliver as soon: offers stand in order of preference."""
    places = {(order.period, order.mode.offer) for order in orders}
    found = []
    for order in orders:
        sooner = terms.offers[order.period]
        sooner = sooner[: sooner.index(order.mode.offer)]
        same = [
            mode
            for offer in terms.modes[order.period]
            for mode in offer
            if mode.offer in sooner
            and mode.offer < order.mode.offer
            and (order.period, mode.offer) not in places
            and (mode.fixed_nano, mode.price_nano) == (order.mode.fixed_nano, order.mode.price_nano)
            and mode.allows(order.levels)
        ]
        if same:
            mode = min(same, key=lambda mode: mode.offer)
            places.remove((order.period, order.mode.offer))
            places.add((order.period, mode.offer))
            found.append(Order(order.period, mode, order.levels))
        else:
            found.append(order)
    return tuple(found)


def as_late_as_can_be(terms: Terms) -> tuple[Order, ...]:
    """Orders that keep to the terms and bring everything in time, each as late as it can be.

    Begins with the largest orders of every offer and period, which bring all that is due, and takes
    from them what can be spared, from the first on.
    """
    largest = [
        Order(period, max(offer, key=lambda mode: mode.most), max(mode.most for mode in offer))
        for period, row in enumerate(terms.modes)
        for offer in row
        if offer
    ]
    # by day: a period, a place in it (after all offers at its end), and what is due there
    days = [(t, place, due) for t, row in enumerate(terms.early) for place, due in enumerate(row)]
    days = sorted([*days, *((t, len(terms.offers[t]), due) for t, due in enumerate(terms.due))])
    spare = [-due for _, _, due in days]
    places = [terms.offers[order.period].index(order.mode.offer) for order in largest]
    for order, place in zip(largest, places, strict=True):
        for n in range(bisect_right(days, (order.period, place, inf)), len(days)):
            spare[n] += order.levels
    kept: list[Order] = []
    for order, place in zip(largest, places, strict=True):
        first = bisect_right(days, (order.period, place, inf))
        offer = next(row for row in terms.modes[order.period] if order.mode in row)
        less = _smallest(offer, order.levels - min(spare[first:]))
        levels = 0 if less is None else less[1]
        for n in range(first, len(days)):
            spare[n] -= order.levels - levels
        if less is not None:
            kept.append(Order(order.period, *less))
    return tuple(kept)


def _smallest(offer: Sequence[Mode], wanted: int) -> tuple[Mode, int] | None:
    """The smallest order of an offer that brings so much, with its mode; None if nothing is."""
    if wanted <= 0:
        return None
    sizes = [
        (max(mode.least, -(-wanted // mode.step) * mode.step), mode)
        for mode in offer
        if mode.most >= wanted
    ]
    size, mode = min(sizes, key=lambda found: found[0])
    return mode, size

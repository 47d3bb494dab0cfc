"""Small random lot-sizing cases, and the search through all their orders."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fulfil_models.cells import MICRO, MILLI
from fulfil_models.lot_sizes import LotOffer, LotPlan, PartLots
from hypothesis import strategies as st

WAITING_PERIODS = 4


@st.composite
def offers(draw: st.DrawFn, name: str, periods: int) -> LotOffer:
    capped = draw(st.booleans())
    caps = st.lists(
        st.one_of(st.none(), st.integers(0, 4).map(lambda units: units * MILLI)),
        min_size=periods,
        max_size=periods,
    )
    breaks = st.lists(
        st.tuples(
            st.integers(1, 4).map(lambda units: units * MILLI),
            st.integers(0, 9).map(lambda price: price * MICRO),
        ),
        max_size=2,
        unique_by=lambda row: row[0],
    )
    return LotOffer(
        offer=name,
        price_micro=draw(st.integers(0, 9)) * MICRO,
        ordering_micro=draw(st.integers(0, 12)) * MICRO,
        first_period=draw(st.integers(0, periods - 1)),
        minimum_milli=draw(st.integers(0, 2)) * MILLI,
        multiple_milli=draw(st.integers(0, 3)) * MILLI,
        caps_milli=tuple(draw(caps)) if capped else (),
        breaks=tuple(sorted(draw(breaks))),
    )


@st.composite
def part_lots(draw: st.DrawFn, name: str = "P", most_offers: int = 2) -> PartLots:
    """A part with at most six decisions, so that all orders can be tried."""
    count = draw(st.integers(1, most_offers))
    periods = draw(st.integers(1, 4 if count == 1 else 3))
    needs = draw(st.lists(st.integers(0, 3000), min_size=periods, max_size=periods))
    whole = draw(st.booleans())
    return PartLots(
        part=name,
        needs_milli=tuple(need // MILLI * MILLI if whole else need for need in needs),
        offers=tuple(draw(offers(f"S{number}", periods)) for number in range(count)),
        holding_micro=draw(st.integers(0, 4)) * MICRO,
    )


@st.composite
def waiting_parts(draw: st.DrawFn) -> PartLots:
    """A part whose needs may wait, with one offer or two of any kind."""
    needs = draw(st.lists(st.integers(0, 5000), min_size=WAITING_PERIODS, max_size=WAITING_PERIODS))
    count = draw(st.integers(1, 2))
    return PartLots(
        part="P",
        needs_milli=tuple(needs),
        offers=tuple(draw(offers(f"S{number}", WAITING_PERIODS)) for number in range(count)),
        holding_micro=draw(st.integers(0, 4)) * MICRO,
        short_micro=draw(st.integers(0, 30)) * MICRO,
        short_fixed_micro=draw(st.integers(0, 20)) * MICRO,
        firm_milli=tuple(draw(st.integers(0, need)) for need in needs),
        short_firm_micro=draw(st.integers(0, 30)) * MICRO,
    )


@dataclass(frozen=True, slots=True)
class Tried:
    """One way to order: quantities by offer and period."""

    quantities: tuple[tuple[int, ...], ...]
    came: tuple[int, ...]
    """thousandths that have come by the end of each period"""
    short: tuple[int, ...]
    nano: int
    """ordering, buying and holding, in 10^-9 of the currency"""
    paid_nano: tuple[int, ...]


def sizes(part: PartLots, offer: LotOffer, period: int) -> list[int]:
    """Every order of an offer in a period that can be worth having, and none."""
    found = [0]
    multiple = offer.multiple_milli or part.step_milli
    end = sum(part.needs_milli) + multiple + offer.minimum_milli
    end += max((row[0] for row in offer.breaks), default=0)
    cap = offer.caps_milli[period] if offer.caps_milli else None
    if period < offer.first_period:
        return found
    for milli in range(multiple, (end if cap is None else min(end, cap)) + 1, multiple):
        if milli >= offer.minimum_milli:
            found.append(milli)
    return found


def order_nano(offer: LotOffer, milli: int) -> int:
    price = offer.price_micro
    for start, reached in offer.breaks:
        if milli >= start:
            price = reached
    return offer.ordering_micro * MILLI + price * milli if milli else 0


def every_way(part: PartLots) -> Iterator[Tried]:
    periods = range(len(part.needs_milli))
    slots = [(offer, t) for offer in part.offers for t in periods]
    for amounts in itertools.product(*(sizes(part, offer, t) for offer, t in slots)):
        yield tried(
            part, [amounts[n : n + len(periods)] for n in range(0, len(slots), len(periods))]
        )


def tried(part: PartLots, quantities: Sequence[Sequence[int]]) -> Tried:
    level = needed = nano = 0
    came, short, paid = [], [], []
    for period, need in enumerate(part.needs_milli):
        needed += need
        level += sum(row[period] for row in quantities)
        paid.append(
            sum(
                order_nano(offer, row[period])
                for offer, row in zip(part.offers, quantities, strict=True)
            )
        )
        came.append(level)
        short.append(max(0, needed - level))
        nano += paid[-1] + part.holding_micro * max(0, level - needed)
    return Tried(tuple(map(tuple, quantities)), tuple(came), tuple(short), nano, tuple(paid))


def best_way(part: PartLots) -> Tried:
    """The way that is short of least in every period, and costs least of those."""
    ways = list(every_way(part))
    least = [min(way.short[t] for way in ways) for t in range(len(part.needs_milli))]
    return min((way for way in ways if list(way.short) == least), key=lambda way: way.nano)


def as_tried(part: PartLots, plan: LotPlan) -> Tried:
    """What a plan orders of one part; an order that its offer does not allow is an error."""
    quantities = [[0] * len(part.needs_milli) for _ in part.offers]
    names = [offer.offer for offer in part.offers]
    for order in plan.orders:
        if order.part == part.part:
            row = names.index(order.offer)
            assert not quantities[row][order.period], "two orders of an offer in a period"
            quantities[row][order.period] = order.milli
            offer = part.offers[row]
            assert order.milli in sizes(part, offer, order.period)
            nano = order_nano(offer, order.milli)
            assert order.cost_micro == -(-nano // MILLI)
            assert order.price_micro * order.milli == nano - offer.ordering_micro * MILLI
    return tried(part, quantities)

"""Small lot-sizing cases, by hand and at random, and the search through all their orders."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from fulfil_models.cells import MICRO, MILLI
from fulfil_models.lot_sizes import LotOffer, LotPlan, PartLots
from fulfil_models.lot_terms import terms_of
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


DAYS = 3
"""of a period, that tests tell apart"""


def with_days(draw: st.DrawFn, lots: PartLots) -> PartLots:
    """With days within periods on which offers can deliver for the first time, and on which what
    is needed in a period is needed."""
    early = [draw(_early(need)) for need in lots.needs_milli]
    found = []
    for offer in lots.offers:
        day = draw(st.integers(0, DAYS - 1))
        found.append(
            replace(offer, first_day=day, early_milli=sum(early[offer.first_period][:day]))
        )
    return replace(lots, offers=tuple(found))


def _early(need: int) -> st.SearchStrategy[list[int]]:
    """What of a need is needed before the second day, and before the third, besides."""
    whole = need % MILLI == 0
    shares = st.lists(st.integers(0, 4), min_size=DAYS - 1, max_size=DAYS - 1)
    return shares.filter(lambda row: sum(row) <= 4).map(
        lambda row: [
            need * share // 4 // (MILLI if whole else 1) * (MILLI if whole else 1) for share in row
        ]
    )


def cut(lots: PartLots, periods: int, unit_milli: int = 1) -> PartLots:
    """The first periods of a part, with needs in whole units."""

    def whole(milli: int) -> int:
        return milli // unit_milli * unit_milli

    return replace(
        lots,
        needs_milli=tuple(map(whole, lots.needs_milli[:periods])),
        firm_milli=tuple(map(whole, lots.firm_milli[:periods])),
        offers=tuple(
            replace(
                offer,
                caps_milli=offer.caps_milli[:periods],
                early_milli=whole(offer.early_milli) if offer.first_period < periods else 0,
            )
            for offer in lots.offers
        ),
    )


@st.composite
def part_lots(draw: st.DrawFn, name: str = "P", most_offers: int = 2) -> PartLots:
    """A part with at most six decisions, so that all orders can be tried."""
    count = draw(st.integers(1, most_offers))
    periods = draw(st.integers(1, 4 if count == 1 else 3))
    needs = draw(st.lists(st.integers(0, 3000), min_size=periods, max_size=periods))
    whole = draw(st.booleans())
    lots = PartLots(
        part=name,
        needs_milli=tuple(need // MILLI * MILLI if whole else need for need in needs),
        offers=tuple(draw(offers(f"S{number}", periods)) for number in range(count)),
        holding_micro=draw(st.integers(0, 4)) * MICRO,
    )
    return with_days(draw, lots)


@st.composite
def waiting_parts(draw: st.DrawFn) -> PartLots:
    """A part whose needs may wait, with one offer or two of any kind."""
    needs = draw(st.lists(st.integers(0, 5000), min_size=WAITING_PERIODS, max_size=WAITING_PERIODS))
    count = draw(st.integers(1, 2))
    lots = PartLots(
        part="P",
        needs_milli=tuple(needs),
        offers=tuple(draw(offers(f"S{number}", WAITING_PERIODS)) for number in range(count)),
        holding_micro=draw(st.integers(0, 4)) * MICRO,
        short_micro=draw(st.integers(0, 30)) * MICRO,
        short_fixed_micro=draw(st.integers(0, 20)) * MICRO,
        firm_milli=tuple(draw(st.integers(0, need)) for need in needs),
        short_firm_micro=draw(st.integers(0, 30)) * MICRO,
    )
    return with_days(draw, lots)


@dataclass(frozen=True, slots=True)
class Tried:
    """One way to order: quantities by offer and period."""

    quantities: tuple[tuple[int, ...], ...]
    came: tuple[int, ...]
    """thousandths that have come by the end of each period"""
    short: tuple[int, ...]
    early_short: tuple[tuple[int, ...], ...]
    """for every period, before each offer that can deliver in it for the first time: what is needed
    by then and has not come"""
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
    came, short, paid, early = [], [], [], []
    for period, need in enumerate(part.needs_milli):
        early.append(_early_short(part, quantities, period, needed, level))
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
    return Tried(
        *(tuple(map(tuple, quantities)), tuple(came), tuple(short)),
        *(tuple(early), nano, tuple(paid)),
    )


def _early_short(
    part: PartLots, quantities: Sequence[Sequence[int]], period: int, needed: int, came: int
) -> tuple[int, ...]:
    """On the first day of each offer that begins in a period, from what was needed and had come
    before it: what those that could deliver sooner did not bring."""

    def day(offer: LotOffer) -> int:
        return offer.first_day if offer.first_period == period else 0

    found = []
    for offer in part.offers:
        sooner = [
            row[period]
            for other, row in zip(part.offers, quantities, strict=True)
            if day(other) < day(offer)
        ]
        early = offer.early_milli if offer.first_period == period else 0
        found.append(max(0, needed + early - came - sum(sooner)))
    return tuple(found)


def best_way(part: PartLots) -> Tried:
    """The way that is short of least in every period, and costs least of those."""
    ways = list(every_way(part))
    shorts = [(*way.short, *(short for row in way.early_short for short in row)) for way in ways]
    least = tuple(map(min, zip(*shorts, strict=True)))
    return min(
        (way for way, short in zip(ways, shorts, strict=True) if short == least),
        key=lambda way: way.nano,
    )


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


def part(name: str, needs: tuple[int, ...], price: int, ordering: int = 0, **more: int) -> PartLots:
    """A part with one offer, in units and whole currency; nothing is paid for holding."""
    offer = LotOffer("S", price * MICRO, ordering * MICRO)
    short = more.get("short")
    return PartLots(
        name,
        tuple(need * MILLI for need in needs),
        (offer,),
        more.get("holding", 0) * MICRO,
        short_micro=None if short is None else short * MICRO,
    )


def paid(plan: LotPlan, periods: int) -> list[int]:
    """What is paid in each period, in micro-currency."""
    return [sum(o.cost_micro for o in plan.orders if o.period == t) for t in range(periods)]


def waiting_nano(lots: PartLots, way: Tried) -> int:
    """Price of what a way is short of and might have had, in whole units (every step is one).

    What is not firm of the needs so far, and not among what cannot come in any way, waits first.
    """
    assert lots.short_micro is not None
    nano = needed = firm = 0
    for period, (short, unavoidable) in enumerate(
        zip(way.short, terms_of(lots, waits=True).short_milli, strict=True)
    ):
        needed += lots.needs_milli[period]
        firm += lots.firm_milli[period] if lots.firm_milli else 0
        waits = max(0, short - unavoidable)
        dear = max(0, waits - max(0, needed - unavoidable - firm))
        nano += waits * lots.short_micro + dear * lots.short_firm_micro
        nano += lots.short_fixed_micro * MILLI if waits else 0
    return nano

"""Lot sizes under a limit of cash: against the search through all orders, and as a law."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from fulfil_models import lot_cash, lot_network, lot_prices
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.lot_network import Networks
from fulfil_models.lot_orders import cost_of, keeps_terms
from fulfil_models.lot_prices import Clock
from fulfil_models.lot_sizes import PartLots, plan_lots
from fulfil_models.lot_terms import terms_of
from hypothesis import given, settings
from hypothesis import strategies as st
from lot_cases import (
    WAITING_PERIODS,
    Tried,
    as_tried,
    best_way,
    cut,
    every_way,
    paid,
    part_lots,
    waiting_nano,
)


def _least(parts: list[PartLots], cash_nano: list[int]) -> int:
    """Least cost with waiting over all orders of all parts that the cash suffices for."""
    ways = [_worth_having(lots) for lots in parts]
    found = []
    for chosen in itertools.product(*ways):
        together = [sum(way.paid_nano[t] for _, way in chosen) for t in range(len(cash_nano))]
        if all(nano <= cash for nano, cash in zip(together, cash_nano, strict=True)):
            found.append(sum(cost for cost, _ in chosen))
    return min(found)


def _worth_having(lots: PartLots) -> list[tuple[int, Tried]]:
    """The cheapest way of a part for each row of payments, with waiting priced."""
    best: dict[tuple[int, ...], tuple[int, Tried]] = {}
    for way in every_way(lots):
        cost = way.nano + waiting_nano(lots, way)
        if way.paid_nano not in best or cost < best[way.paid_nano][0]:
            best[way.paid_nano] = (cost, way)
    return list(best.values())


@st.composite
def _parts_and_cash(draw: st.DrawFn) -> tuple[list[PartLots], list[int]]:
    """One or two parts in whole units, and cash for each period."""
    parts = []
    for number in range(draw(st.integers(1, 2))):
        lots = cut(draw(part_lots(f"P{number}", most_offers=1)), WAITING_PERIODS, MILLI)
        firm = tuple(draw(st.integers(0, need // MILLI)) * MILLI for need in lots.needs_milli)
        parts.append(
            replace(
                lots,
                offers=tuple(replace(offer, multiple_milli=0) for offer in lots.offers),
                short_micro=draw(st.integers(0, 40)) * MICRO,
                short_fixed_micro=draw(st.sampled_from((0, 0, 7, 25))) * MICRO,
                firm_milli=draw(st.sampled_from(((), firm))),
                short_firm_micro=draw(st.integers(0, 30)) * MICRO,
            )
        )
    length = min(2, *(len(lots.needs_milli) for lots in parts))
    cash = draw(st.lists(st.integers(0, 40), min_size=length, max_size=length))
    return [cut(lots, length) for lots in parts], [amount * MICRO for amount in cash]


@settings(max_examples=50, deadline=None)
@given(_parts_and_cash())
def test_best_of_all_orders(case: tuple[list[PartLots], list[int]]) -> None:
    parts, cash = case
    best = _least(parts, [micro * MILLI for micro in cash])
    plan = plan_lots(parts, cash_micro=cash, gap=0)
    for lots in parts:
        as_tried(lots, plan)
    assert all(p <= c for p, c in zip(paid(plan, len(cash)), cash, strict=True))
    assert (plan.cost_micro + plan.waiting_micro) * MILLI == best
    assert plan.bound_micro * MILLI <= best


def _early_nano(lots: PartLots, way: Tried, least: Tried) -> int:
    """Price of what is needed before an offer can deliver for the first time, and might have come
    from others, as it does in the way that is short of least; nothing where no more had to come by
    then than before the period. All of it in whole units, nothing firm."""
    assert lots.short_micro is not None
    terms = terms_of(lots, waits=True)
    nano = 0
    for period, row in enumerate(way.early_short):
        needed = sum(lots.needs_milli[:period])
        days = {}
        for offer, short, unavoidable in zip(
            lots.offers, row, least.early_short[period], strict=True
        ):
            if offer.first_period == period:
                due = needed + offer.early_milli - unavoidable
                days[offer.first_day] = (due, short - unavoidable)
        for due, waits in days.values():
            if waits and due > (terms.due_milli[period - 1] if period else 0):
                nano += waits * lots.short_micro + lots.short_fixed_micro * MILLI
    return nano


@settings(max_examples=60, deadline=None)
@given(
    part_lots(),
    st.integers(0, 40),
    st.sampled_from((0, 7, 25)),
    st.lists(st.integers(0, 40), min_size=3, max_size=3),
)
def test_best_of_all_orders_of_offers_that_begin_within_a_period(
    lots: PartLots, short: int, fixed: int, cash: list[int]
) -> None:
    length = min(3, len(lots.needs_milli))
    lots = replace(
        cut(lots, length, MILLI),
        offers=tuple(replace(one, multiple_milli=0) for one in cut(lots, length, MILLI).offers),
        short_micro=short * MICRO,
        short_fixed_micro=fixed * MICRO,
    )
    cash_micro = [amount * MICRO for amount in cash[:length]]
    ways = list(every_way(lots))
    least = max(ways, key=lambda way: way.came)
    assert least.early_short == best_way(lots).early_short
    best = min(
        way.nano + waiting_nano(lots, way) + _early_nano(lots, way, least)
        for way in ways
        if all(p <= c * MILLI for p, c in zip(way.paid_nano, cash_micro, strict=True))
    )
    plan = plan_lots([lots], cash_micro=cash_micro, gap=0)
    assert (plan.cost_micro + plan.waiting_micro) * MILLI == best
    assert plan.bound_micro * MILLI <= best
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lot_cash, "ENOUGH", 1e9)
        patch.setattr(lot_cash, "FEW_ARCS", -1)
        patch.setattr(lot_prices, "TABLE_LEVELS", 0)
        priced = plan_lots([lots], cash_micro=cash_micro, gap=0)
    assert priced.bound_micro * MILLI <= best <= (priced.cost_micro + priced.waiting_micro) * MILLI
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lot_network, "MOST_ARCS", 0)
        sized = plan_lots([lots], cash_micro=cash_micro, gap=0)
    assert sized.bound_micro * MILLI <= best <= (sized.cost_micro + sized.waiting_micro) * MILLI


@settings(max_examples=40, deadline=None)
@given(_parts_and_cash())
def test_prices_of_cash_give_a_bound_and_a_plan(case: tuple[list[PartLots], list[int]]) -> None:
    parts, cash = case
    best = _least(parts, [micro * MILLI for micro in cash])
    terms = [terms_of(lots, waits=True) for lots in parts]
    cash_nano = [micro * MILLI for micro in cash]
    found = lot_cash._Found(terms, cash_nano)
    found.by_prices(0.0, Clock(20, None))
    assert found.bound_nano <= best <= _checked(found)


def _checked(found: lot_cash._Found) -> int:
    """The cost of what is found, which keeps to the terms and the cash."""
    total = 0
    for row, orders in zip(found.parts, found.orders, strict=True):
        assert keeps_terms(row, orders, waits=True)
        total += cost_of(row, orders).total
    spent = [0] * len(found.cash_nano)
    for orders in found.orders:
        for order in orders:
            spent[order.period] += order.mode.fixed_nano + order.mode.price_nano * order.levels
    assert all(nano <= most for nano, most in zip(spent, found.cash_nano, strict=True))
    assert total == found.cost_nano
    return total


@settings(max_examples=40, deadline=None)
@given(_parts_and_cash(), st.sampled_from((0.0, 0.1, 0.4, 1.0)), st.booleans())
def test_a_model_of_arcs_that_lose_little_gives_a_bound(
    case: tuple[list[PartLots], list[int]], share: float, sized: bool
) -> None:
    parts, cash = case
    best = _least(parts, [micro * MILLI for micro in cash])
    terms = [terms_of(lots, waits=True) for lots in parts]
    found = lot_cash._Found(terms, [micro * MILLI for micro in cash])
    clock = Clock(20, None)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lot_prices, "ROUNDS", 1)  # no prices: a gap that is worth a model
        found.by_prices(0.0, clock)
        if sized:
            patch.setattr(lot_network, "MOST_ARCS", 3)
        every = found.cost_nano - found.priced_nano
        networks = Networks(terms, found.cash_nano, found.prices, every)
    assert found._modelled(networks, every * share, 0.0, 1000, clock)
    assert found.bound_nano <= best <= _checked(found)
    if share == 1.0:
        assert found.cost_nano == best


@settings(max_examples=40, deadline=None)
@given(_parts_and_cash(), st.sampled_from((1, 10, 40)))
def test_many_parts_are_put_to_a_model_twice_and_it_is_exact_too(
    case: tuple[list[PartLots], list[int]], most: int
) -> None:
    parts, cash = case
    best = _least(parts, [micro * MILLI for micro in cash])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lot_cash, "FEW_ARCS", -1)
        patch.setattr(lot_cash, "ENOUGH", 0.0)
        plan = plan_lots(parts, cash_micro=cash, gap=0)
        assert (plan.cost_micro + plan.waiting_micro) * MILLI == best
        patch.setattr(lot_cash, "MOST_ARCS", most)
        cut = plan_lots(parts, cash_micro=cash, gap=0)
    assert cut.bound_micro * MILLI <= best <= (cut.cost_micro + cut.waiting_micro) * MILLI
    assert all(p <= c for p, c in zip(paid(cut, len(cash)), cash, strict=True))


@settings(max_examples=40, deadline=None)
@given(_parts_and_cash(), st.lists(st.integers(0, 25), min_size=2, max_size=2))
def test_a_larger_budget_never_costs_more(
    case: tuple[list[PartLots], list[int]], more: list[int]
) -> None:
    parts, cash = case
    larger = [micro + add * MICRO for micro, add in zip(cash, more, strict=False)]
    less, greater = (plan_lots(parts, cash_micro=some, gap=0) for some in (larger, cash))
    assert less.cost_micro + less.waiting_micro <= greater.cost_micro + greater.waiting_micro


@settings(max_examples=50, deadline=None)
@given(part_lots())
def test_ample_cash_is_no_limit(lots: PartLots) -> None:
    free = plan_lots([lots])
    ample = plan_lots([lots], cash_micro=[10**6 * MICRO] * len(lots.needs_milli), gap=0)
    assert ample.cost_micro == free.cost_micro
    assert ample.waiting_micro == 0
    assert ample.shortfalls == free.shortfalls

"""Prices of cash, and the choice of plans within it: pieces of the search with a limit of cash."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from fulfil_models import lot_choice, lot_prices
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.lot_choice import choose, chosen_from
from fulfil_models.lot_prices import Clock, PricedParts, PriceSearch
from fulfil_models.lot_sizes import LotOffer, PartLots, plan_lots
from fulfil_models.lot_terms import Terms, terms_of
from fulfil_models.lot_turns import Turns
from fulfil_models.lot_within import best_within, narrowed, within_cash
from hypothesis import given, settings
from hypothesis import strategies as st
from lot_cases import WAITING_PERIODS as PERIODS
from lot_cases import waiting_parts

NANO = MICRO * MILLI


def one_unit(name: str, short: int, price: int = 10) -> Terms:
    """A part of which one is wanted at once, that costs so much to wait a period for."""
    offer = LotOffer("S", price * MICRO, 0)
    needs = (MILLI, 0, 0)
    return terms_of(PartLots(name, needs, (offer,), 0, short_micro=short * MICRO), waits=True)


def several(count: int) -> tuple[list[Terms], list[int]]:
    """Parts that want more in the first of six periods than its cash can pay."""
    parts = []
    for n in range(count):
        needs = tuple(((n * 7 + t * 5) % 11 + (6 if t == 0 else 0)) * MILLI for t in range(6))
        caps = (15 * MILLI,) * 6 if n % 3 == 0 else ()
        offer = LotOffer(
            "S", (1 + n * 37 % 101) * MICRO, 5 * MICRO, minimum_milli=2000, caps_milli=caps
        )
        lots = PartLots(
            f"P{n}", needs, (offer,), MICRO // 10, short_micro=(9 + n * 13 % 80) * MICRO
        )
        parts.append(terms_of(lots, waits=True))
    need = sum(
        terms.due[-1] * terms.unit_milli * terms.part.offers[0].price_micro for terms in parts
    )
    cash = [need // 5 + 20 * count * NANO // 10] * 6
    return [narrowed(terms, cash) for terms in parts], cash


# ---- prices


def test_the_price_of_cash_is_what_it_saves_at_the_margin() -> None:
    # cash for one of three; A waits at 20 a period, B at 40, C at 70: a unit of cash in period 0
    # brings the second of them a period forward, so it is worth between 20 and 40 for 10
    terms = [one_unit("A", 20), one_unit("B", 40), one_unit("C", 70)]
    search = PriceSearch(terms, [10 * NANO] * 3)
    assert search.run(0.0, Clock(20, None), 1.0) is False
    assert search.bound_nano == pytest.approx((30 + 40 + 2 * 20) * NANO)
    assert 2.0 <= search.prices[0] - search.prices[1] <= 7.0


def test_ample_cash_has_no_price_and_the_bound_is_the_least_cost() -> None:
    parts, cash = several(12)
    dear = [terms_of(replace(terms.part, short_micro=None), waits=True) for terms in parts]
    search = PriceSearch(dear, [1000 * nano for nano in cash])
    assert search.run(0.0, Clock(20, None), 1.0) is False
    assert list(search.prices) == [0.0] * 6
    free = plan_lots([replace(terms.part, short_micro=None) for terms in parts])
    assert search.bound_nano == pytest.approx(free.cost_micro * MILLI, rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(waiting_parts(), min_size=1, max_size=3),
    st.lists(st.integers(0, 6), min_size=PERIODS, max_size=PERIODS),
)
def test_large_parts_are_priced_as_small_ones_are(lots: list[PartLots], prices: list[int]) -> None:
    terms = [terms_of(row, waits=True) for row in lots]
    priced = PricedParts(terms)
    assert len(priced.small) == len(terms)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lot_prices, "TABLE_LEVELS", 0)
        alone = PricedParts(terms)
    assert len(alone.large) == len(terms)
    weights = np.array(prices, dtype=np.float64)
    costs, paid = priced.solve(weights)
    others, also_paid = alone.solve(weights)
    assert costs == pytest.approx(others, rel=1e-9)
    for plans, number in ((priced.plans, paid), (alone.plans, also_paid)):
        for one, nano in zip(plans, number.tolist(), strict=True):
            assert nano in one.paid


def test_prices_are_cut_short_by_the_clock_and_the_bound_holds() -> None:
    parts, cash = several(20)
    whole = PriceSearch(parts, cash)
    assert whole.run(0.0, Clock(30, None), 1.0) is False
    for seconds in (0.0, 0.05):
        cut = PriceSearch(parts, cash)
        cut.run(0.0, Clock(seconds, None), 0.5)
        assert cut.bound_nano <= whole.bound_nano * (1 + 1e-9)


# ---- choices


def searched(count: int) -> tuple[PriceSearch, list[int]]:
    parts, cash = several(count)
    search = PriceSearch(parts, cash)
    search.run(0.001, Clock(30, None), 1.0)
    return search, cash


def cost_of_choice(search: PriceSearch, numbers: list[int]) -> int:
    return sum(one.cost[number] for one, number in zip(search.priced.plans, numbers, strict=True))


def keeps_cash(search: PriceSearch, numbers: list[int], cash: list[int]) -> bool:
    paid = [one.paid[n] for one, n in zip(search.priced.plans, numbers, strict=True)]
    return all(sum(row) <= nano for row, nano in zip(zip(*paid, strict=True), cash, strict=True))


def test_a_choice_keeps_to_the_cash_and_costs_little_more_than_the_bound() -> None:
    search, cash = searched(150)
    numbers = choose(search.priced.plans, cash, search.prices, Clock(30, None))
    assert search.prices.max() > 0.1  # cash is scarce
    assert keeps_cash(search, numbers, cash)
    cost = cost_of_choice(search, numbers)
    assert search.bound_nano * (1 - 1e-9) <= cost <= search.bound_nano * 1.01


def test_changes_mend_what_greed_alone_would_lose(monkeypatch: pytest.MonkeyPatch) -> None:
    search, cash = searched(150)
    monkeypatch.setattr(lot_choice, "MOST_CHANGES", 0)
    rounded = choose(search.priced.plans, cash, search.prices, Clock(30, None))
    monkeypatch.undo()
    mended = choose(search.priced.plans, cash, search.prices, Clock(30, None))
    assert cost_of_choice(search, mended) < cost_of_choice(search, rounded)
    assert keeps_cash(search, rounded, cash)


def test_turns_never_cost_more_and_keep_to_the_cash() -> None:
    search, cash = searched(30)
    plans = search.priced.plans
    numbers = within_cash(plans, [None] * len(plans), cash, search.prices)
    before = cost_of_choice(search, numbers)
    turns = Turns(plans, cash, search.prices, list(numbers))
    assert turns.run(search.bound_nano, Clock(30, None)) is False
    assert keeps_cash(search, turns.numbers, cash)
    assert turns.cost_nano == cost_of_choice(search, turns.numbers) < before
    again = chosen_from(plans, turns.numbers, cash, search.prices, Clock(30, None))
    assert keeps_cash(search, again, cash)


def test_turns_are_the_same_again_and_end_with_the_clock() -> None:
    found = []
    for _ in range(2):
        search, cash = searched(30)
        plans = search.priced.plans
        turns = Turns(plans, cash, search.prices, [0] * len(plans))
        turns.run(0.0, Clock(60, None))
        found.append(turns.numbers)
    assert found[0] == found[1]
    assert Turns(plans, cash, search.prices, [0] * len(plans)).run(0.0, Clock(0, None)) is True


def test_the_best_plan_within_what_is_left() -> None:
    # 2 wanted at 10: with 15 in the first period and 30 in the second one comes late
    offer = LotOffer("S", 10 * MICRO, 0)
    terms = terms_of(PartLots("P", (2000, 0), (offer,), 0, short_micro=20 * MICRO), waits=True)
    plans = lot_prices.Plans(terms)
    left = [15 * NANO, 30 * NANO]
    number = best_within(plans, 0, left, np.zeros(2))
    assert plans.paid[number] == [10 * NANO, 10 * NANO]
    assert plans.cost[number] == 40 * NANO

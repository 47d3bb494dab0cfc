"""Many parts by levels together: the same as each alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from fulfil_models import lot_tables
from fulfil_models.cells import MICRO
from fulfil_models.lot_levels import cheapest_levels
from fulfil_models.lot_orders import cost_of, keeps_terms, paid_by_period
from fulfil_models.lot_sizes import LotOffer, PartLots
from fulfil_models.lot_tables import LevelTables
from fulfil_models.lot_terms import Terms, terms_of
from hypothesis import given, settings
from hypothesis import strategies as st
from lot_cases import WAITING_PERIODS as PERIODS
from lot_cases import waiting_parts


@settings(max_examples=120, deadline=None)
@given(
    st.lists(waiting_parts(), min_size=1, max_size=4),
    st.lists(st.integers(0, 6), min_size=PERIODS, max_size=PERIODS),
)
def test_each_part_costs_what_it_costs_alone(parts: list[PartLots], prices: list[int]) -> None:
    terms = [terms_of(lots, waits=True) for lots in parts]
    weights = 1.0 + np.array(prices, dtype=np.float64)
    costs, orders = LevelTables(terms).solve(weights)
    for row, cost, one in zip(terms, costs, orders, strict=True):
        alone, _ = cheapest_levels(row, list(weights))
        assert cost == pytest.approx(alone, rel=1e-9)
        assert keeps_terms(row, one, waits=True)
        assert weighed(row, one, prices) == pytest.approx(cost, rel=1e-9)


def weighed(terms: Terms, orders: tuple[lot_tables.Order, ...], prices: list[int]) -> float:
    """What orders cost with what is paid weighed, without the cost of rounding."""
    paid = paid_by_period(terms, orders)
    more = sum(price * nano for price, nano in zip(prices, paid, strict=True))
    return cost_of(terms, orders).total - terms.rounding_nano + more


def test_tables_that_are_cut_small_answer_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    parts = [lots_of(number) for number in range(12)]
    terms = [terms_of(lots, waits=True) for lots in parts]
    weights = np.array([3.0, 2.0, 1.5, 1.0])
    whole = LevelTables(terms)
    monkeypatch.setattr(lot_tables, "CELLS", 1)
    cut = LevelTables(terms)
    assert len(cut.tables) == len(terms) > len(whole.tables)
    for one, other in zip(whole.solve(weights), cut.solve(weights), strict=True):
        assert list(one) == list(other)


def lots_of(number: int) -> PartLots:
    offer = LotOffer("S", (1 + number) * MICRO, 5 * MICRO, minimum_milli=2000)
    caps = (4000,) * PERIODS if number % 2 else ()
    needs = tuple((number * 7 + t * 5) % 11 * 1000 for t in range(PERIODS))
    return PartLots("P", needs, (replace(offer, caps_milli=caps),), MICRO, short_micro=9 * MICRO)

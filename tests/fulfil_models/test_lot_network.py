"""The shortest path through a network of orders is the best plan of a part."""

from __future__ import annotations

import pytest
from fulfil_models import lot_network
from fulfil_models.lot_levels import cheapest_levels
from fulfil_models.lot_network import Networks
from fulfil_models.lot_orders import cost_of
from fulfil_models.lot_sizes import PartLots
from fulfil_models.lot_terms import terms_of
from hypothesis import given, settings
from hypothesis import strategies as st
from lot_cases import part_lots


@settings(max_examples=60, deadline=None)
@given(part_lots(), st.lists(st.integers(0, 5), min_size=4, max_size=4))
def test_the_shortest_path_through_a_network_is_the_best_plan(
    lots: PartLots, weights: list[int]
) -> None:
    terms = terms_of(lots, waits=True)
    some = [1.0 + weight for weight in weights[: len(terms.due)]]
    least, orders = cheapest_levels(terms, some)
    arcs = lot_network.arcs_of(terms, some, 0.0)
    # every arc that loses nothing is on a best path, and the orders of one are among them
    on_path = {
        (one.period, one.mode, levels)
        for one in lot_network.arcs_of(terms, some, 1e-6 * max(1.0, least))
        for levels in one.levels.tolist()
    }
    assert {(order.period, order.mode, order.levels) for order in orders} <= on_path
    assert all(float(one.lost.min(initial=0.0)) >= -1e-6 * max(1.0, least) for one in arcs)
    networks = Networks([terms], [10**15] * len(some), [w - 1 for w in some], 1e18)
    answer = networks.solve(1e18, gap=0.0, seconds=20, nodes=1000, stop=None)
    free, _ = cheapest_levels(terms, [1.0] * len(some))
    assert answer.bound_nano == pytest.approx(free, rel=1e-6, abs=1e3)
    assert answer.orders is not None
    cost = cost_of(terms, answer.orders[0])
    assert cost.total - terms.rounding_nano == pytest.approx(free, rel=1e-6, abs=1e3)

"""Runs of orders with waiting are the best there are for one offer without caps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from fulfil_models.cells import MICRO
from fulfil_models.lot_orders import cost_of, keeps_terms
from fulfil_models.lot_terms import terms_of
from fulfil_models.lot_waiting import WaitingRuns
from hypothesis import given, settings
from hypothesis import strategies as st
from lot_cases import (
    every_way,
    part,
    waiting_nano,
)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, 4), min_size=3, max_size=3),
    *(st.integers(0, 9) for _ in range(5)),
    st.lists(st.integers(0, 3), min_size=3, max_size=3),
)
def test_runs_with_waiting_are_the_best_for_one_uncapped_offer(
    needs: list[int],
    price: int,
    ordering: int,
    holding: int,
    short: int,
    fixed: int,
    weights: list[int],
) -> None:
    lots = replace(
        part("P", (needs[0], needs[1], needs[2]), price, ordering, holding=holding, short=short),
        short_fixed_micro=fixed * MICRO,
    )
    terms = terms_of(lots, waits=True)
    answer = WaitingRuns([terms]).solve(1.0 + np.array(weights, dtype=np.float64))
    best = min(
        sum(nano * (1 + w) for nano, w in zip(way.paid_nano, weights, strict=True))
        + way.nano
        - sum(way.paid_nano)
        + waiting_nano(lots, way)
        for way in every_way(lots)
    )
    assert answer.costs[0] == best
    orders = answer.orders(0)
    assert keeps_terms(terms, orders, waits=True)
    weighed = sum(
        (1 + weights[o.period]) * (o.mode.fixed_nano + o.mode.price_nano * o.levels) for o in orders
    )
    cost = cost_of(terms, orders)
    assert weighed + cost.holding + cost.waiting == best

"""Planning beside what holds have taken: as a law, and against trying everything."""

from __future__ import annotations

from dataclasses import replace

import pytest
from beside_books import (
    broken,
    hold,
    listed,
    only,
    reduced,
    searched,
    split_book,
    without,
)
from books import Shape, settings_of
from fulfil_models.audit import audit
from fulfil_models.kept_open import apart, held
from fulfil_models.plan import Plan, Status, SupplyKind
from fulfil_models.tables import (
    Dataset,
    Purchase,
)
from fulfil_models.taken import (
    NOTHING,
    Taken,
    joined,
    taken_by,
    with_orders,
)
from oracle import Unsupported, optimum
from tiny_shop import (
    shop,
    source,
)

SHAPES = (
    Shape(builds=3, points=1),
    Shape(builds=3),
    Shape(builds=3, alternates=False),
    Shape(builds=3, points=1, alternates=False, purchases=False),
)
CUT = "purchase/"
"""begins the names, after the prefix, of orders that stand for a part of one of the old plan"""


def with_hold(seed: int) -> tuple[Dataset, Dataset, Taken, Plan] | None:
    """A random book, the same without one build or its parts orders, what a hold for that takes
    which was made beside a plan that is gone, and its piece."""
    found = split_book(seed, SHAPES[seed % len(SHAPES)], asked=1)
    if found is None:
        return None
    data, (asked,) = found
    settings = settings_of(data)
    rest, alone = without(data, (asked,)), only(data, (asked,))
    if seed % 3 == 2:
        rest = replace(data, parts_orders=())
        alone = replace(only(data, ()), parts_orders=data.parts_orders)
    before = listed(rest, settings)
    if before is None:
        return None
    old = taken_by(before, data)
    piece = listed(alone, settings, old)
    if piece is None:
        return None
    taken = held(piece, data, "Q7:", True, old.orders)
    return data, rest, taken, apart(piece, data, "Q7:", True, old.orders)


@pytest.mark.parametrize("seed", range(40))
def test_a_plan_beside_a_hold_is_one_and_both_together_are(seed: int) -> None:
    found = with_hold(seed)
    if found is None:
        pytest.skip("a list schedule leaves something out")
    data, rest, taken, piece = found
    settings = settings_of(data)
    plan = searched(rest, settings, taken, seconds=0.1)
    assert audit(rest, settings, plan) == ()
    assert not any(str(s.order or s.supply).startswith("Q7:") for s in plan.supplies)
    whole = joined(plan, piece)
    wrong = [
        row
        for row in broken(data, whole)
        # part of an old order may be less than the least order, and no multiple
        if row.rule != "new purchases" or f"Q7:{CUT}" not in row.subject
    ]
    assert wrong == []


@pytest.mark.parametrize("seed", range(1000, 1030))
def test_bound_and_plan_beside_a_hold_against_trying_everything(seed: int) -> None:
    found = with_hold(seed)
    if found is None:
        pytest.skip("a list schedule leaves something out")
    data, rest, taken, _ = found
    settings = settings_of(data)
    left = reduced(rest, taken)
    plan = searched(rest, settings, taken, seconds=0.2)
    assert broken(left, plan) == []
    try:
        least = optimum(left, settings)
    except Unsupported:
        pytest.skip("a book that is not tried exhaustively")
    assert plan.bound <= least <= plan.objective.total
    if plan.status is Status.OPTIMAL:
        assert plan.objective.total == least


def test_holds_of_random_books_take_all_kinds_of_things() -> None:
    """So that the laws above are not kept by holds that take nothing of interest."""
    kinds = set()
    cut = 0
    for seed in range(40):
        found = with_hold(seed)
        if found is not None:
            _, _, taken, piece = found
            kinds |= {supply.kind for supply in piece.supplies}
            cut += any(supply.supply.startswith(f"Q7:{CUT}") for supply in piece.supplies)
            assert all(row.who == "Q7" for row in (*taken.busy, *taken.holdings))
    assert kinds == set(SupplyKind)
    assert cut >= 2


def test_orders_stand_among_the_purchases_and_nothing_else_changes() -> None:
    data = shop(sources=(source(10),))
    taken = hold(data)
    assert with_orders(data, taken) == replace(data, purchases=taken.orders)
    assert with_orders(data, NOTHING) == data
    (row,) = taken.orders
    assert isinstance(row, Purchase)
    assert not row.confirmed

"""Who draws on which supply, and when."""

from __future__ import annotations

import small_shop
from fulfil_models.plan_index import PlanIndex

INDEX = PlanIndex(small_shop.plan())


def test_a_phantom_is_needed_when_its_parent_is() -> None:
    # the kit has no operations of its own: its bolts are taken at the test of B1
    assert INDEX.start_of("B1/20/KIT", None) == small_shop.march(2, "12:30")
    assert INDEX.start_of("B1/20/MAST", 10) == small_shop.march(2, "08:00")
    assert INDEX.start_of("B1", 99) is None


def test_draws_through_a_transfer_count_for_what_was_moved() -> None:
    assert [use.who for use in INDEX.uses_of["stock/RNO/ENG-A"]] == ["B3"]
    assert [use.who for use in INDEX.uses_of["move/RNO/ENG-A"]] == ["B3"]
    moved = INDEX.supplies["move/RNO/ENG-A"]
    assert INDEX.root(moved).supply == "stock/RNO/ENG-A"


def test_every_peg_and_shipment_is_a_draw() -> None:
    # 5 builds of 6 pegs, one more for the valve of B2, and 3 shipments
    assert len(INDEX.uses) == 5 * 6 + 1 + 3
    assert [use.who for use in INDEX.uses_of_part["LAMP"]] == ["O1/1", "O1/1", "O2/1"]

"""How much more of a rationed part can come at all: by hand on the shop of one station.

The planning date is Monday 2026-03-02, and what is looked at goes to the end of May.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from fulfil_models.cells import MILLI
from fulfil_models.cover import PartCover, cover
from fulfil_models.demand_ahead import demand_ahead
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset, Demand, Source
from fulfil_models.taken import NOTHING, ORDERED, Taken
from tiny_shop import AS_OF, hurried, march, purchase, shop, source


def engine(data: Dataset, taken: Taken = NOTHING, point: str | None = None) -> PartCover:
    problem = Problem(data, Settings(as_of=AS_OF), taken=taken)
    rows = cover(problem, None, demand_ahead(problem, None, 3), {}, parts=["ENGINE"], point=point)
    return rows[0]


def wanting(units: int, *sources: Source, **tables: Any) -> Dataset:
    """So many engines are expected in May."""
    need = Demand(part="ENGINE", month="2026-05", quantity_milli=units * MILLI)
    return shop(sources=sources, demand=(need,), **tables)


@pytest.mark.parametrize(
    ("terms", "most"),
    [
        (source(10), None),  # no cap
        (source(10, 3), 9),  # three months: from 12 March on
        (source(30, 3), 6),  # from 1 April on
        (hurried(30, 5, 100, 3), 9),  # expedited from 27 March on
        (source(91, 3), 0),  # on 1 June
        (source(10, 3, multiple_milli=2 * MILLI), 6),  # two of each month
        (source(10, 3, minimum_milli=4 * MILLI), None),  # no order ever: nobody to be asked
    ],
)
def test_what_the_months_let_come(terms: Source, most: int | None) -> None:
    row = engine(wanting(10, terms))
    assert row.most_milli == (None if most is None else most * MILLI)
    assert row.never_milli == (0 if most is None else (10 - most) * MILLI)


def test_nothing_stays_short_where_the_caps_let_enough_come() -> None:
    assert engine(wanting(9, source(10, 3))).never_milli == 0
    assert engine(wanting(0, source(10, 3))).never_milli == 0


def test_what_is_on_order_takes_its_part_of_a_month() -> None:
    # two of March are on order, so one more can come then: 1 + 3 + 3 = 7, and 10 - 2 = 8 lack
    row = engine(wanting(10, source(10, 3), purchases=(purchase("P1", march(20), 2),)))
    assert (row.most_milli, row.never_milli) == (7 * MILLI, 1 * MILLI)


def test_so_does_what_is_to_be_ordered_for_a_held_quote() -> None:
    held = Taken(orders=(purchase("Q1:new", date(2026, 4, 7), 1, line=ORDERED),))
    assert engine(wanting(10, source(10, 3)), held).most_milli == 8 * MILLI


def test_two_suppliers_have_a_cap_each_and_two_points_have_one() -> None:
    here, other = source(10, 3), source(30, 2, supplier="OTHER")
    assert engine(wanting(20, here, other)).most_milli == (9 + 4) * MILLI
    there = replace(here, point="B", lead_days=30)
    assert engine(wanting(20, here, there)).most_milli == 9 * MILLI


def test_with_one_supplier_who_has_no_cap_any_quantity_can_come() -> None:
    assert engine(wanting(20, source(10, 3), source(30, supplier="OTHER"))).most_milli is None


def test_at_one_point_its_own_sources_count() -> None:
    there = source(30, 3, point="B")
    assert engine(wanting(20, source(10), there), point="B").most_milli == 6 * MILLI

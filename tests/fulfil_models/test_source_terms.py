"""What the terms of a source allow: lead times, and orders by minimum, multiple and cap."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from fulfil_models.settings import Settings
from fulfil_models.source_terms import (
    can_order,
    days_to_arrive,
    first_arrival,
    order_for,
    whole_orders,
)
from fulfil_models.tables import Source


def source(**terms: Any) -> Source:
    return Source(**{"part": "P", "supplier": "S", "point": "A", "lead_days": 10, **terms})


@pytest.mark.parametrize(
    ("expedite_days", "ordinary", "expedited"),
    [
        (None, 10, 10),  # nobody expedites it
        (0, 10, 10),
        (4, 10, 6),
        (10, 10, 0),
        (12, 10, 0),  # never before it is ordered
    ],
)
def test_days_from_the_order_to_its_arrival(
    expedite_days: int | None, ordinary: int, expedited: int
) -> None:
    row = source(expedite_days=expedite_days)
    assert days_to_arrive(row) == ordinary
    assert days_to_arrive(row, expedited=True) == expedited


def test_the_first_arrival_is_counted_from_the_first_day_of_orders() -> None:
    row, settings = source(expedite_days=4), Settings(as_of=date(2026, 3, 2))
    assert first_arrival(settings, row) == date(2026, 3, 12)
    later = Settings(as_of=date(2026, 3, 2), orders_from=date(2026, 3, 16))
    assert first_arrival(later, row) == date(2026, 3, 26)
    assert first_arrival(later, row, expedited=True) == date(2026, 3, 22)


@pytest.mark.parametrize(
    ("minimum", "multiple", "left", "most"),
    [
        (0, 0, 7, 7),
        (5, 0, 7, 7),
        (5, 0, 4, 0),  # less than can be ordered at once
        (0, 4, 11, 8),  # two fours
        (0, 4, 3, 0),
        (5, 4, 7, 0),  # four is too few, eight too many
        (5, 4, 8, 8),
        (0, 0, 0, 0),
        (0, 0, -3, 0),  # open purchases have used up more than the cap
        (0, 4, -3, 0),
    ],
)
def test_whole_orders_and_whether_one_fits_the_cap(
    minimum: int, multiple: int, left: int, most: int
) -> None:
    row = source(
        minimum_milli=minimum * 1000,
        multiple_milli=multiple * 1000,
        monthly_cap_milli=max(left, 0) * 1000,
    )
    assert whole_orders(row, left * 1000) == most * 1000
    assert can_order(row) is (most > 0)


def test_without_a_cap_there_is_always_an_order() -> None:
    assert can_order(source(minimum_milli=10**9, multiple_milli=7))


@pytest.mark.parametrize(
    ("minimum", "multiple", "wanted", "ordered"),
    [
        (0, 0, 3, 3),
        (5, 0, 3, 5),
        (0, 4, 3, 4),
        (0, 4, 5, 8),
        (5, 4, 3, 8),  # four is too few
        (5, 4, 9, 12),
        (5.5, 0, 3, 6),  # in whole steps of the part
    ],
)
def test_the_smallest_order_that_brings_so_many(
    minimum: float, multiple: int, wanted: int, ordered: int
) -> None:
    row = source(minimum_milli=round(minimum * 1000), multiple_milli=multiple * 1000)
    assert order_for(row, wanted * 1000, step_milli=1000) == ordered * 1000

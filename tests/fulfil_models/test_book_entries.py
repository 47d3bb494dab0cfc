"""What a late day weighs, and which day of a line is held against its promise."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest
from fulfil_models.book_entries import (
    build_late_days,
    due_and_done,
    is_promised,
    order_late_days,
    weight_of,
)
from fulfil_models.cells import PPM
from fulfil_models.tables import Build, PartsOrder
from tiny_shop import AS_OF, build, march, order


@pytest.mark.parametrize(
    ("row", "promised", "weight"),
    [
        (build("B1", march(4), weight_ppm=3 * PPM), True, 3),
        (build("B1", None, weight_ppm=3 * PPM), False, Fraction(1, 1000)),
        (order("S1", 1, march(4), weight_ppm=PPM // 2), True, Fraction(1, 2)),
        (order("S1", 1, None, within_days=3, weight_ppm=0), True, 0),
        (order("S1", 1, None, weight_ppm=3 * PPM), False, Fraction(1, 1000)),
    ],
)
def test_weight_of_what_is_promised_and_of_what_is_not(
    row: Build | PartsOrder, promised: bool, weight: Fraction
) -> None:
    assert is_promised(row) is promised
    assert weight_of(row) == weight


def test_late_days_of_a_build() -> None:
    assert build_late_days(build("B1", march(4)), march(9)) == 5
    assert build_late_days(build("B1", march(4)), march(3)) == 0
    assert build_late_days(build("B1", None), march(9)) == 0


@pytest.mark.parametrize(
    ("promised", "within_days", "due", "done", "late"),
    [
        (march(4), None, march(4), march(9), 5),
        # ordered on Friday 27 February: three carrier days end on Wednesday 4 March; it arrives
        # on the 11th
        (None, 3, march(4), march(11), 7),
        # promised to nobody: late from the planning date on, the 2nd
        (None, None, None, march(9), 7),
    ],
)
def test_late_days_of_a_line(
    promised: date | None, within_days: int | None, due: date | None, done: date, late: int
) -> None:
    row = order("S1", 1, promised, within_days=within_days)
    assert due_and_done(row, march(9), march(11)) == (due, done)
    assert order_late_days(row, march(9), march(11), AS_OF) == late

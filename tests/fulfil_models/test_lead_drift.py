"""Whether a supplier became slower: small records by hand."""

from __future__ import annotations

import math
from datetime import date
from fractions import Fraction

import pytest
from delivery_records import AS_OF, came, data, learnt, source
from fulfil_models.lead_drift import months_before


def test_the_turn_is_six_months_back() -> None:
    assert months_before(date(2026, 3, 2), 6) == date(2025, 9, 2)
    assert months_before(date(2026, 8, 31), 6) == date(2026, 2, 28)
    assert months_before(date(2026, 1, 15), 14) == date(2024, 11, 15)


def test_a_supplier_who_became_slower_is_found_out() -> None:
    """Six took 20 to 25 days a year ago, six 40 to 45 of late. Those of late are all open when the
    others end, so at the ends 20 ... 25 one of 12, 11, ... 7 is expected of each with 6 of late."""
    before, recent = came(20, 21, 22, 23, 24, 25, ago=365), came(40, 41, 42, 43, 44, 45, ago=100)
    drift = learnt(data([source(20)], (*before, *recent))).drift
    assert drift is not None
    assert (drift.since, drift.earlier_records, drift.recent_records) == (date(2025, 9, 2), 6, 6)
    assert (drift.earlier_days, drift.recent_days) == (22, 42)
    expected = sum(Fraction(6, n) for n in range(7, 13))
    variance = sum(Fraction(6 * (n - 6), n * n) for n in range(7, 13))
    chi_squared = float((0 - expected) ** 2 / variance)  # none of late ended among them
    assert drift.p_value == pytest.approx(math.erfc(math.sqrt(chi_squared / 2)))
    assert drift.more_than_chance


def test_a_supplier_who_stayed_as_he_was_is_not() -> None:
    before, recent = came(20, 21, 22, 23, 24, 25, ago=365), came(20, 21, 22, 23, 24, 25, ago=100)
    drift = learnt(data([source(20)], (*before, *recent))).drift
    assert drift is not None
    assert drift.p_value == pytest.approx(1)
    assert not drift.more_than_chance


def test_lines_under_way_at_the_turn_tell_of_both_sides() -> None:
    """Ordered 30 days before the turn (2025-09-02) they took 60 days: before it they had not come
    for 29 days, and the deliveries are of after it."""
    ago = (AS_OF - date(2025, 9, 2)).days + 30
    over = came(60, 60, 60, ago=ago)
    before = came(20, 20, 20, ago=365)
    drift = learnt(data([source(20)], (*before, *over))).drift
    assert drift is None  # nobody was under way for 20 days on both sides: nothing to compare
    recent = came(60, 60, 60, ago=100)
    drift = learnt(data([source(20)], (*before, *over, *recent))).drift
    assert drift is not None
    assert (drift.earlier_records, drift.recent_records) == (3, 6)
    # at 20 days: 3 + 3 lines of before the turn, 3 of after it; at 60 six of after it alone
    chi_squared = float((Fraction(0) - 3 * Fraction(3, 9)) ** 2 / Fraction(3 * 3 * 6 * 6, 81 * 8))
    assert drift.p_value == pytest.approx(math.erfc(math.sqrt(chi_squared / 2)))


def test_few_deliveries_on_one_side_say_nothing() -> None:
    before, recent = came(20, 21, 22, 23, ago=365), came(40, 41, ago=100)
    assert learnt(data([source(20)], (*before, *recent))).drift is None

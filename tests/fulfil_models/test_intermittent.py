"""Intermittent demand: a computed series, by hand, and laws of smoothing."""

from __future__ import annotations

from fractions import Fraction

import pytest
from fulfil_models.intermittent import croston, sba
from hypothesis import given
from hypothesis import strategies as st

TENTH = Fraction(1, 10)


def test_a_series_that_others_computed_too() -> None:
    """An invented series (no published worked table is known): Croston 0.76058147, SBA 0.72255240
    at alpha 0.1, by hand code and by the package statsforecast 2.1.1."""
    series = [0, 0, 2, 0, 0, 0, 5, 0, 1, 0, 0, 3, 0, 0, 0, 0, 4, 0]
    found = croston(series, TENTH)
    assert found.interval is not None
    # sizes 2, 2.3, 2.17, 2.253, 2.4277; intervals 3, 3.1, 2.99, 2.991, 3.1919
    assert found.size == Fraction("2.4277")
    assert found.interval == Fraction("3.1919")
    assert float(found.rate) == pytest.approx(0.76058147, abs=5e-9)
    assert float(sba(series, TENTH).rate) == pytest.approx(0.72255240, abs=5e-9)


def test_by_hand() -> None:
    # sizes 4, then 4 + (2 - 4) / 2 = 3; intervals 2, then 2 + (3 - 2) / 2 = 2.5; 3 / 2.5 = 1.2
    found = croston([0, 4, 0, 0, 2], Fraction(1, 2))
    assert (found.size, found.interval, found.rate) == (3, Fraction(5, 2), Fraction(6, 5))
    # times 1 - 1/4
    assert sba([0, 4, 0, 0, 2], Fraction(1, 2)).rate == Fraction(9, 10)


def test_where_nothing_was_ever_asked_for() -> None:
    for series in ([], [0, 0, 0]):
        found = croston(series, TENTH)
        assert (found.size, found.interval, found.rate) == (0, None, 0)
        assert sba(series, TENTH).rate == 0


@pytest.mark.parametrize(
    ("series", "alpha", "wrong"),
    [([1], Fraction(0), "alpha"), ([1], Fraction(11, 10), "alpha"), ([1, -1], TENTH, "below 0")],
)
def test_what_cannot_be(series: list[int], alpha: Fraction, wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        croston(series, alpha)


SERIES = st.lists(st.one_of(st.just(0), st.integers(0, 20)), max_size=30)
ALPHAS = st.fractions(Fraction(1, 20), 1, max_denominator=20)


@given(st.integers(1, 50), st.integers(1, 6), st.integers(1, 5), ALPHAS)
def test_steady_demand_is_found_exactly(size: int, every: int, times: int, alpha: Fraction) -> None:
    found = croston(([0] * (every - 1) + [size]) * times, alpha)
    assert (found.size, found.interval) == (size, every)
    assert found.rate == Fraction(size, every)


@given(SERIES, ALPHAS, st.integers(1, 9))
def test_the_unit_does_not_matter_and_figures_stay_within_what_was_seen(
    series: list[int], alpha: Fraction, times: int
) -> None:
    found = croston(series, alpha)
    assert croston([each * times for each in series], alpha).rate == found.rate * times
    seen = [each for each in series if each]
    if seen:
        assert found.interval is not None
        assert min(seen) <= found.size <= max(seen)
        assert 1 <= found.interval <= len(series)
        assert 0 < sba(series, alpha).rate < found.rate


@given(SERIES, ALPHAS)
def test_an_empty_period_at_the_end_changes_nothing(series: list[int], alpha: Fraction) -> None:
    assert croston([*series, 0], alpha) == croston(series, alpha)

"""Times of which some still go on: published figures, and laws that hold for any times."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from fulfil_models.survival import (
    FROM_ITS_BEGINNING,
    Times,
    kaplan_meier,
    log_rank,
    times,
)
from fulfil_models.survival_laws import (
    FAR_TAIL,
    Exponential,
    Law,
    Lognormal,
    Weibull,
    aic,
    best_law,
    exponential,
    log_upper_tail,
    lognormal,
    weibull,
)
from hypothesis import given
from hypothesis import strategies as st


def marked(text: str) -> Times:
    """Times as they are printed: those with a + still go on."""
    words = text.split()
    return times([float(word.rstrip("+")) for word in words], ["+" not in word for word in words])


# Remission times of leukaemia patients in weeks: Freireich et al. 1963, Blood 21:699-716; the
# placebo arm also in Cox & Oakes, Analysis of Survival Data, Table 1.1.
TREATED = marked("6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+")
PLACEBO = marked("1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23")
# Hours to failure of 20 units on test for 500 hours: NIST/SEMATECH e-Handbook of Statistical
# Methods, 8.4.1.3
ON_TEST = marked("54 187 216 240 244 335 361 373 375 386" + " 500+" * 10)


# ---- published figures


def test_the_curve_of_the_treated_patients() -> None:
    curve = kaplan_meier(TREATED)
    assert curve.steps == (6, 7, 10, 13, 16, 22, 23)
    published = [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482]
    assert list(curve.survival) == pytest.approx(published, abs=5e-5)
    greenwood = [0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346]
    assert list(curve.errors) == pytest.approx(greenwood, abs=5e-5)
    assert (curve.quantile(0.5), curve.quantile(0.25)) == (23, 13)
    assert curve.quantile(0.6) is None  # S ends at 0.4482
    assert curve.longest == 35


def test_leaving_out_what_goes_on_halves_the_median() -> None:
    """The mean of the nine that ended is 12.1; their median, the fifth, is 10, where it is 23."""
    ended = times(TREATED.lasted[TREATED.completed].tolist(), [True] * 9)
    assert ended.lasted.mean() == pytest.approx(12.1, abs=0.05)
    assert kaplan_meier(ended).quantile(0.5) == 10


def test_the_placebo_arm_and_the_comparison() -> None:
    assert kaplan_meier(PLACEBO).quantile(0.5) == 8
    compared = log_rank(TREATED, PLACEBO)
    assert compared is not None
    assert compared.chi_squared == pytest.approx(16.793, abs=5e-4)
    assert compared.p_value == pytest.approx(4.17e-5, abs=5e-8)


def test_laws_of_units_on_test() -> None:
    by_weibull, by_lognormal = weibull(ON_TEST), lognormal(ON_TEST)
    assert by_weibull is not None
    assert by_lognormal is not None
    assert by_weibull.scale == pytest.approx(606.5280, rel=1e-6)
    assert by_weibull.shape == pytest.approx(1.7208, abs=5e-5)
    assert by_weibull.log_likelihood == pytest.approx(-75.135, abs=5e-4)
    assert aic(by_weibull) == pytest.approx(154.27, abs=5e-3)
    # mu, sigma and likelihood as the lifelines library gives them, a little short of the top; the
    # AIC is NIST's
    assert by_lognormal.mu == pytest.approx(6.225998, rel=1e-5)
    assert by_lognormal.sigma == pytest.approx(0.908907, rel=1e-5)
    assert by_lognormal.log_likelihood == pytest.approx(-75.19628, abs=2e-5)
    assert by_lognormal.log_likelihood > -75.19628
    assert aic(by_lognormal) == pytest.approx(154.39, abs=5e-3)
    assert best_law(ON_TEST) == by_weibull


def test_mean_and_deviation_of_units_on_test_by_integration() -> None:
    """The mean is the integral of S, the mean square that of 2 t S (figures of the same page)."""
    law = weibull(ON_TEST)
    assert law is not None
    grid = np.linspace(0, 6000, 60_001)
    survival = np.array([law.survival(time) for time in grid])
    mean = float(np.trapezoid(survival, grid))
    square = float(np.trapezoid(2 * grid * survival, grid))
    assert mean == pytest.approx(540.737, abs=2e-3)
    assert math.sqrt(square - mean * mean) == pytest.approx(323.806, abs=2e-3)


def test_laws_of_the_treated_patients() -> None:
    """The exponential law by hand, the two others as the lifelines library gives them."""
    by_exponential = exponential(TREATED)
    assert by_exponential is not None
    assert by_exponential.mean == pytest.approx(359 / 9)  # 39.8889: all weeks over the nine ends
    by_weibull, by_lognormal = weibull(TREATED), lognormal(TREATED)
    assert by_weibull is not None
    assert by_lognormal is not None
    assert (by_weibull.scale, by_weibull.shape) == pytest.approx((33.7652, 1.35373), rel=1e-5)
    assert (by_lognormal.mu, by_lognormal.sigma) == pytest.approx((3.20307, 0.97873), rel=1e-5)


@pytest.mark.parametrize(
    ("share", "standard"), [(0.9, 1.2816), (0.95, 1.6449), (0.975, 1.9600), (0.99, 2.3263)]
)
def test_upper_tail_of_the_normal(share: float, standard: float) -> None:
    """Quantiles of any table of the normal distribution."""
    assert math.exp(log_upper_tail(standard)) == pytest.approx(1 - share, abs=1e-5)


def test_the_far_tail_goes_on_from_the_near_one() -> None:
    below, above = np.nextafter(FAR_TAIL, 0), FAR_TAIL
    assert log_upper_tail(above) == pytest.approx(log_upper_tail(float(below)), rel=1e-9)
    # d/dz of the logarithm is minus the hazard, which is between z and z + 1/z
    slope = log_upper_tail(100.0) - log_upper_tail(100.001)
    assert 100 * 0.001 <= slope <= 100.011 * 0.001


# ---- the curve, for any times

WHOLE = st.integers(0, 12)
OBSERVED = st.lists(st.tuples(WHOLE, st.booleans(), st.integers(-1, 5)), max_size=14)


def entered_times(rows: list[tuple[int, bool, int]]) -> Times:
    return times([row[0] for row in rows], [row[1] for row in rows], [row[2] for row in rows])


@given(OBSERVED)
def test_the_curve_is_the_product_of_shares_that_go_on(rows: list[tuple[int, bool, int]]) -> None:
    """By the definition, in fractions: at each end so many of those under way did not end."""
    rows = [row for row in rows if row[0] > row[2]]
    left = Fraction(1)
    wanted = {}
    for step in sorted({lasted for lasted, completed, _ in rows if completed}):
        risked = sum(entered < step <= lasted for lasted, _, entered in rows)
        ended = sum(completed and lasted == step for lasted, completed, _ in rows)
        left *= 1 - Fraction(ended, risked)
        wanted[step] = float(left)
    curve = kaplan_meier(entered_times(rows))
    assert dict(zip(curve.steps, curve.survival, strict=True)) == pytest.approx(wanted, abs=1e-12)
    assert curve.at(-1) == 1


@given(st.lists(WHOLE, min_size=1, max_size=20), st.sampled_from([0.5, 0.8, 0.9]))
def test_with_all_completed_the_quantile_is_that_of_the_sorted_list(
    lasted: list[int], share: float
) -> None:
    """The first value that at least the share does not exceed: number ceil(share n) of the list."""
    place = math.ceil(Fraction(str(share)) * len(lasted))
    curve = kaplan_meier(times(lasted, [True] * len(lasted)))
    assert curve.quantile(share) == sorted(lasted)[place - 1]


@given(OBSERVED, st.lists(WHOLE, min_size=1, max_size=8), st.sampled_from([0.5, 0.8, 0.9]))
def test_what_goes_on_never_makes_the_curve_lower(
    rows: list[tuple[int, bool, int]], open_: list[int], share: float
) -> None:
    rows = [(lasted, completed, -1) for lasted, completed, _ in rows]
    without = kaplan_meier(entered_times(rows))
    along = kaplan_meier(entered_times(rows + [(lasted, False, -1) for lasted in open_]))
    assert all(along.at(time) >= without.at(time) - 1e-12 for time in range(13))
    later, sooner = along.quantile(share), without.quantile(share)
    assert later is None or (sooner is not None and later >= sooner)


@given(OBSERVED, WHOLE, st.sampled_from([0.5, 0.8, 0.9]))
def test_of_those_older_than_an_age_the_share_is_counted_anew(
    rows: list[tuple[int, bool, int]], age: int, share: float
) -> None:
    """The same as the curve of those alone that took longer than the age."""
    rows = [(lasted, completed, -1) for lasted, completed, _ in rows]
    older = [row for row in rows if row[0] > age]
    wanted = kaplan_meier(entered_times(older)).quantile(share)
    whole = kaplan_meier(entered_times(rows))
    if whole.at(age) == 0:
        assert whole.quantile(share, age) is None
    else:
        assert whole.quantile(share, age) == wanted


@given(OBSERVED, OBSERVED)
def test_the_log_rank_test_is_the_sum_over_all_ends(
    one: list[tuple[int, bool, int]], other: list[tuple[int, bool, int]]
) -> None:
    """At each end: how many of the first were to be expected, with the hypergeometric variance."""
    one, other = ([row for row in rows if row[0] > row[2]] for rows in (one, other))
    excess = variance = Fraction(0)
    for step in {row[0] for row in one + other if row[1]}:
        n1, n2 = (sum(e < step <= t for t, _, e in rows) for rows in (one, other))
        d1, d2 = (sum(c and t == step for t, c, _ in rows) for rows in (one, other))
        n, d = n1 + n2, d1 + d2
        excess += d1 - Fraction(d * n1, n)
        if n > 1:
            variance += Fraction(d * n1 * n2 * (n - d), n * n * (n - 1))
    found = log_rank(entered_times(one), entered_times(other))
    if variance == 0:
        assert found is None
    else:
        assert found is not None
        assert found.chi_squared == pytest.approx(float(excess**2 / variance), abs=1e-9)
        swapped = log_rank(entered_times(other), entered_times(one))
        assert swapped is not None
        assert swapped.p_value == pytest.approx(found.p_value, abs=1e-9)


def test_times_that_cannot_be() -> None:
    with pytest.raises(ValueError, match="below 0"):
        times([-1], [True])
    with pytest.raises(ValueError, match="not as many"):
        times([1, 2], [True])
    assert len(times([3, 3], [True, True], [3, FROM_ITS_BEGINNING])) == 1


# ---- laws, for any times

LAWS: list[Law] = [
    Weibull(100.0, 2.5, 0.0),
    Weibull(3.0, 0.7, 0.0),
    Lognormal(4.5, 0.3, 0.0),
    Exponential(40.0, 0.0),
]


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("after", [0.0, 1.0, 60.0, 130.0])
@pytest.mark.parametrize("share", [0.5, 0.8, 0.9])
def test_a_quantile_leaves_the_share_that_is_wanted(law: Law, after: float, share: float) -> None:
    time = law.quantile(share, after)
    assert time > after
    assert law.survival(time) == pytest.approx((1 - share) * law.survival(after), rel=1e-6)


@pytest.mark.parametrize("share", [0.5, 0.9])
def test_a_lognormal_quantile_far_out_is_still_one(share: float) -> None:
    """Where the share that is left is too small for a float its logarithm is not."""
    law = Lognormal(4.5, 0.1, 0.0)
    for after in (500.0, 1090.0, 1100.0, 5000.0):  # 17.2, 24.9, 25.03 and 40.2 deviations out
        time = law.quantile(share, after)
        gone = (math.log(time) - 4.5) / 0.1
        lost = log_upper_tail((math.log(after) - 4.5) / 0.1) - log_upper_tail(gone)
        assert lost == pytest.approx(-math.log(1 - share), rel=2e-2)


TIMES = st.lists(st.tuples(st.integers(1, 200), st.booleans()), min_size=8, max_size=25).filter(
    lambda rows: len({lasted for lasted, completed in rows if completed}) >= 4
)


def log_likelihood(law: Law, found: Times) -> float:
    """By the definition: the density, which is the slope of S, of what ended; S of what goes on."""
    total = 0.0
    for lasted, completed in zip(found.lasted.tolist(), found.completed.tolist(), strict=True):
        if completed:
            step = lasted * 1e-5
            slope = (law.survival(lasted - step) - law.survival(lasted + step)) / (2 * step)
            total += math.log(slope) if slope > 0 else -math.inf
        else:
            left = law.survival(lasted)
            total += math.log(left) if left > 0 else -math.inf
    return total


@given(TIMES)
def test_no_law_nearby_is_likelier(rows: list[tuple[int, bool]]) -> None:
    found = times([row[0] for row in rows], [row[1] for row in rows])
    by_weibull, by_lognormal, by_mean = weibull(found), lognormal(found), exponential(found)
    assert by_weibull is not None
    assert by_lognormal is not None
    assert by_mean is not None
    for law in (by_weibull, by_lognormal, by_mean):
        assert log_likelihood(law, found) == pytest.approx(law.log_likelihood, abs=1e-3)
    for by in (0.97, 1.03):
        others: list[tuple[Law, Law]] = [
            (by_weibull, Weibull(by_weibull.scale * by, by_weibull.shape, 0.0)),
            (by_weibull, Weibull(by_weibull.scale, by_weibull.shape * by, 0.0)),
            (by_lognormal, Lognormal(by_lognormal.mu + by - 1, by_lognormal.sigma, 0.0)),
            (by_lognormal, Lognormal(by_lognormal.mu, by_lognormal.sigma * by, 0.0)),
            (by_mean, Exponential(by_mean.mean * by, 0.0)),
        ]
        for best, other in others:
            assert log_likelihood(other, found) < best.log_likelihood + 1e-4
    chosen = best_law(found)
    assert chosen is not None
    assert aic(chosen) == min(aic(by_weibull), aic(by_lognormal))


@given(TIMES, st.integers(2, 50))
def test_a_law_scales_with_its_unit(rows: list[tuple[int, bool]], unit: int) -> None:
    found = times([row[0] for row in rows], [row[1] for row in rows])
    scaled = times([row[0] / unit for row in rows], [row[1] for row in rows])
    for fit in (weibull, lognormal):
        law, other = fit(found), fit(scaled)
        assert law is not None
        assert other is not None
        assert other.quantile(0.9) * unit == pytest.approx(law.quantile(0.9), rel=1e-5)


def test_where_no_law_is_likeliest_there_is_none() -> None:
    """Equal times: the sharper the law the likelier. Nothing ended: the later the likelier."""
    equal = times([7.0] * 9, [True] * 9)
    assert (weibull(equal), lognormal(equal)) == (None, None)
    open_ = times([3.0, 9.0], [False, False])
    assert (weibull(open_), lognormal(open_), exponential(open_)) == (None, None, None)
    assert best_law(times([], [])) is None
    assert best_law(times([0.0] * 8, [True] * 8)) is None


def test_an_end_at_once_counts_as_half_the_least_time() -> None:
    at_once, half = times([0, 4, 9], [True] * 3), times([2, 4, 9], [True] * 3)
    assert weibull(at_once) == weibull(half)
    assert lognormal(at_once) == lognormal(half)

"""Safety stock and service: published tables and worked examples, and laws."""

from __future__ import annotations

from math import exp, lgamma, log

import pytest
from fulfil_models.safety import (
    LeadTimeDemand,
    cycle_service,
    fill_rate,
    lead_time_demand,
    newsvendor,
    newsvendor_poisson,
    normal_density,
    normal_share,
    normal_z,
    poisson_cost,
    poisson_share,
    reorder_point,
    reorder_point_of_leads,
    safety_for_fill_rate,
    safety_stock,
    short_per_cycle,
    unit_loss,
    z_of_unit_loss,
)
from hypothesis import given
from hypothesis import strategies as st

# ---- the normal distribution

# the unit normal loss table of the textbooks, four decimals
UNIT_LOSS = dict(
    [
        *((0, 0.3989), (0.25, 0.2863), (0.5, 0.1978), (0.75, 0.1312), (1, 0.0833), (1.25, 0.0506)),
        *((1.28, 0.0475), (1.5, 0.0293), (1.65, 0.0206), (2, 0.0085), (2.33, 0.0034)),
        *((2.5, 0.0020), (3, 0.0004), (-1, 1.0833)),
    ]
)
Z = {0.90: 1.2816, 0.95: 1.6449, 0.97: 1.8808, 0.98: 2.0537, 0.99: 2.3263}


@pytest.mark.parametrize(("z", "loss"), UNIT_LOSS.items())
def test_unit_loss_table(z: float, loss: float) -> None:
    assert round(unit_loss(z), 4) == loss


def test_unit_loss_to_seven_places() -> None:
    # Snyder and Shen, Fundamentals of Supply Chain Theory: G(1.3) = .0455280
    assert round(unit_loss(1.3), 7) == 0.0455280


@pytest.mark.parametrize(("share", "z"), Z.items())
def test_z_table(share: float, z: float) -> None:
    assert round(normal_z(share), 4) == z


@given(st.floats(-6, 6))
def test_the_normal_distribution_is_one_thing(z: float) -> None:
    assert normal_share(z) + normal_share(-z) == pytest.approx(1)
    assert normal_z(normal_share(z)) == pytest.approx(z, abs=1e-6)
    # the loss falls at the rate of what is above z; what is above less what is below is -z
    step = 1e-5
    slope = (unit_loss(z + step) - unit_loss(z - step)) / (2 * step)
    assert slope == pytest.approx(-normal_share(-z), abs=1e-6)
    assert unit_loss(z) - unit_loss(-z) == pytest.approx(-z, abs=1e-12)


def test_unit_loss_by_adding_up() -> None:
    # the mean of what is above z in thin slices, far out too
    for z in (-2.0, 0.3, 1.7, 4.0):
        width = 1e-4
        above = sum(
            (n + 0.5) * width * normal_density(z + (n + 0.5) * width) * width
            for n in range(120_000)
        )
        assert unit_loss(z) == pytest.approx(above, rel=1e-6)


@given(st.floats(-8, 8))
def test_z_of_a_loss_and_back(z: float) -> None:
    assert z_of_unit_loss(unit_loss(z)) == pytest.approx(z, abs=1e-6)


# ---- safety stock, published


def test_given_demand_in_the_lead_time() -> None:
    """Stevenson, Operations Management (14th ed.), chapter 12, example 8."""
    demand = LeadTimeDemand(50, 5)
    assert round(safety_stock(demand, 0.97), 1) == 9.4
    assert round(reorder_point(demand, 0.97), 1) == 59.4


def test_carpet() -> None:
    """Taylor, Introduction to Management Science, chapter 16: 30 a day, deviation 5, 10 days, z
    1.65.

    The first from the text, the other two from memory: sqrt(10 x 25 + 900 x 9) = 91.38.
    """
    service = normal_share(1.65)
    only_demand = lead_time_demand(30, 5, 10)
    assert round(safety_stock(only_demand, service), 2) == 26.09
    assert round(reorder_point(only_demand, service), 2) == 326.09
    assert round(reorder_point(lead_time_demand(30, 0, 10, 3), service), 2) == 448.5
    both = lead_time_demand(30, 5, 10, 3)
    assert round(both.deviation, 2) == 91.38
    assert round(safety_stock(both, service), 2) == 150.77
    assert round(reorder_point(both, service), 2) == 450.77


def test_service_of_a_given_reorder_point() -> None:
    """Chopra and Meindl, Supply Chain Management, exercise 11-4: 250 a week, deviation 150, 2
    weeks, orders of 1000 at 600."""
    demand = lead_time_demand(250, 150, 2)
    safety = 600 - demand.mean
    assert round(demand.deviation, 2) == 212.13
    assert safety == 100
    assert round(cycle_service(demand, safety), 4) == 0.6813
    assert round(short_per_cycle(demand, safety), 3) == 43.861
    assert round(fill_rate(demand, safety, 1000), 5) == 0.95614


def test_fill_rate_and_the_stock_for_one() -> None:
    """Chopra and Meindl: 2500 a week, deviation 500, 2 weeks, orders of 10 000 at 6000; inputs from
    memory."""
    demand = lead_time_demand(2500, 500, 2)
    assert round(cycle_service(demand, 1000), 5) == 0.92135
    assert round(short_per_cycle(demand, 1000), 3) == 25.127
    assert round(fill_rate(demand, 1000, 10_000), 6) == 0.997487
    assert round(safety_for_fill_rate(demand, 0.975, 10_000), 2) == 66.70


def test_lead_times_that_vary() -> None:
    """Chopra and Meindl: 2500 a day, deviation 500, 7 days, service 0.9; inputs from memory."""
    published = [1695, 3625, 6628, 9760, 12927, 16109, 19298, 22491]
    found = [safety_stock(lead_time_demand(2500, 500, 7, sd), 0.9) for sd in range(8)]
    assert [round(stock) for stock in found] == published


# ---- safety stock, laws


_DEMAND = st.builds(LeadTimeDemand, st.floats(0, 1000), st.floats(0.1, 300))


@given(_DEMAND, st.floats(0.05, 0.95), st.floats(1, 5000))
def test_service_and_stock_belong_together(
    demand: LeadTimeDemand, share: float, lot: float
) -> None:
    assert cycle_service(demand, safety_stock(demand, share)) == pytest.approx(share)
    stock = safety_for_fill_rate(demand, share, lot)
    assert fill_rate(demand, stock, lot) == pytest.approx(share, abs=1e-6)
    assert fill_rate(demand, stock + 1, lot) > fill_rate(demand, stock, lot) - 1e-12


def test_certain_demand() -> None:
    demand = lead_time_demand(10, 0, 3)
    assert (demand.mean, demand.deviation) == (30, 0)
    assert safety_stock(demand, 0.99) == 0
    assert [cycle_service(demand, safety) for safety in (-1, 0, 1)] == [0, 1, 1]
    assert [short_per_cycle(demand, safety) for safety in (-4, 0)] == [4, 0]
    # 5 of every 50 may be short
    assert safety_for_fill_rate(demand, 0.9, 50) == pytest.approx(-5)


@given(st.floats(0.02, 0.98), st.integers(1, 9))
def test_one_lead_time_is_that_lead_time(service: float, lead: int) -> None:
    known = reorder_point(lead_time_demand(20, 6, lead), service)
    assert reorder_point_of_leads(20, 6, {lead: 1.0}, service) == pytest.approx(known, abs=1e-6)


@given(
    st.dictionaries(st.integers(1, 20), st.integers(1, 9), min_size=1, max_size=5),
    st.floats(0.1, 0.95),
)
def test_the_point_of_several_lead_times_has_the_service(
    counts: dict[int, int], service: float
) -> None:
    leads = {lead: count / sum(counts.values()) for lead, count in counts.items()}
    point = reorder_point_of_leads(20, 6, leads, service)
    covered = sum(
        share * cycle_service(lead_time_demand(20, 6, lead), point - 20 * lead)
        for lead, share in leads.items()
    )
    assert covered == pytest.approx(service, abs=1e-6)


def test_a_steadier_lead_time_may_ask_for_more() -> None:
    """Chopra, Reinhardt and Dada, Decision Sciences 35 (2004): below a service that is itself above
    0.5, less varying lead times raise the point; the normal formula says the opposite.

    Lead times of mean 10 that are mostly short and sometimes very long, against always 10.
    """
    steady, varying = {10: 1.0}, {8: 0.8, 18: 0.2}
    deviation = (0.8 * 2**2 + 0.2 * 8**2) ** 0.5
    low, high = 0.6, 0.95
    points = {
        service: [reorder_point_of_leads(20, 10, leads, service) for leads in (steady, varying)]
        for service in (low, high)
    }
    assert points[low][0] > points[low][1]
    assert points[high][0] < points[high][1]
    normal = [reorder_point(lead_time_demand(20, 10, 10, spread), low) for spread in (0, deviation)]
    assert normal[0] < normal[1]


# ---- one order for one season


def test_newsvendor() -> None:
    """Snyder and Shen, Fundamentals of Supply Chain Theory (2nd ed., 2019), example 4.3."""
    level = newsvendor(0.18, 0.70, 50, 8)
    assert level.quantity == pytest.approx(56.6039559, abs=5e-8)
    assert level.cost == pytest.approx(1.9976052, abs=5e-8)


def test_newsvendor_with_poisson_demand() -> None:
    """The same with Poisson demand of mean 50."""
    level = newsvendor_poisson(0.18, 0.70, 50)
    assert level.quantity == 56
    assert level.cost == pytest.approx(1.7972352, abs=5e-8)


@given(st.floats(0.1, 5), st.floats(0.1, 5), st.floats(0, 30))
def test_no_other_quantity_is_better(holding: float, penalty: float, mean: float) -> None:
    best = newsvendor_poisson(holding, penalty, mean)
    for quantity in range(60):
        assert poisson_cost(quantity, holding, penalty, mean) >= best.cost - 1e-9


def test_poisson_cost_by_adding_up() -> None:
    def share(count: int) -> float:
        return exp(count * log(7.5) - 7.5 - lgamma(count + 1))

    by_hand = sum((2 * max(9 - n, 0) + 3 * max(n - 9, 0)) * share(n) for n in range(80))
    assert poisson_cost(9, 2, 3, 7.5) == pytest.approx(by_hand)
    assert sum(poisson_share(n, 7.5) for n in range(80)) == pytest.approx(1)
    assert [poisson_share(n, 0) for n in (0, 1)] == [1, 0]


# ---- what cannot be


@pytest.mark.parametrize("share", [0.0, 1.0, -0.1, 1.5])
def test_no_such_service(share: float) -> None:
    with pytest.raises(ValueError, match="give one above 0 and below 1"):
        safety_stock(LeadTimeDemand(1, 1), share)


def test_what_cannot_be() -> None:
    with pytest.raises(ValueError, match="give one above 0"):
        z_of_unit_loss(0)
    with pytest.raises(ValueError, match="give 0 or more"):
        lead_time_demand(1, -1, 1)
    with pytest.raises(ValueError, match="give a size above 0"):
        fill_rate(LeadTimeDemand(1, 1), 0, 0)
    with pytest.raises(ValueError, match="from 0 to below 1"):
        safety_for_fill_rate(LeadTimeDemand(1, 1), 1.0, 5)
    with pytest.raises(ValueError, match="add up to 1"):
        reorder_point_of_leads(1, 1, {1: 0.5}, 0.9)
    with pytest.raises(ValueError, match="give both"):
        newsvendor(0, 1, 1, 1)

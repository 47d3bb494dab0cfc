"""What will be ordered beyond the book: given, or from the past; used up by firm orders."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from fractions import Fraction
from typing import Any

import pytest
from fulfil_models.cells import MILLI
from fulfil_models.expected_orders import (
    Expected,
    ProductForecast,
    expected_orders,
)
from fulfil_models.intermittent import sba
from fulfil_models.months import first_day, months_ahead
from fulfil_models.tables import Dataset, Delivered, Demand
from hypothesis import given
from hypothesis import strategies as st
from tiny_shop import AS_OF, build, order, problem_of, shop

MACHINE, ENGINE = "MACHINE", "ENGINE"


def forecast(month: str, units: float, part: str = MACHINE) -> Demand:
    return Demand(part=part, month=month, quantity_milli=round(units * MILLI))


def sold(*months: str, product: str = MACHINE, **more: Any) -> tuple[Delivered, ...]:
    """One machine ordered in each of these months."""
    return tuple(
        Delivered(
            order=f"D{number}-{product}",
            product=product,
            ordered=date.fromisoformat(f"{month}-11"),
            shipped=date(2026, 2, 20),
            **more,
        )
        for number, month in enumerate(months)
    )


def expect(data: Dataset, months: int = 3) -> Expected:
    return expected_orders(problem_of(data), months_ahead(AS_OF, months))


def left(data: Dataset, part: str = MACHINE, months: int = 3) -> list[tuple[str, int]]:
    return [(row.month, row.left_milli) for row in expect(data, months).get(part, ())]


# ---- months


def test_months_begin_with_that_of_today() -> None:
    assert months_ahead(date(2026, 11, 30), 4) == ("2026-11", "2026-12", "2027-01", "2027-02")
    assert first_day("2027-01") == date(2027, 1, 1)
    with pytest.raises(ValueError, match="0 months"):
        months_ahead(AS_OF, 0)


# ---- given, and used up


def test_firm_builds_use_up_the_forecast_of_the_month_they_are_promised_in() -> None:
    data = shop(
        demand=(forecast("2026-03", 4), forecast("2026-04", 1), forecast("2026-05", 2)),
        builds=(
            build("B1", date(2026, 3, 20)),
            build("B2", None),  # counts in the month of today
            build("B3", date(2026, 4, 1)),
            build("B4", datetime(2026, 4, 30, 12)),
            build("B5", date(2026, 2, 27)),  # late already: no month that is looked at
            build("B6", date(2026, 5, 5), status="quoted"),  # nobody ordered it
        ),
    )
    assert expect(data)[MACHINE] == (
        ProductForecast("2026-03", 4000, 2000, 2000, "given"),
        ProductForecast("2026-04", 1000, 1000, 0, "given"),  # two are firm: never below 0
        ProductForecast("2026-05", 2000, 0, 2000, "given"),
    )


def test_parts_orders_use_it_up_by_ship_date_else_limit_else_order() -> None:
    data = shop(
        demand=tuple(forecast(month, 9, ENGINE) for month in ("2026-03", "2026-04", "2026-05")),
        parts_orders=(
            order("O1", 1, date(2026, 5, 4), within_days=1),
            # 45 carrier days are nine weeks: 2026-02-27 + 63 = 2026-05-01
            order("O2", 2, None, within_days=45),
            order("O3", 4, None, ordered=date(2026, 3, 1)),
        ),
    )
    assert left(data, ENGINE) == [("2026-03", 5000), ("2026-04", 9000), ("2026-05", 6000)]


def test_what_is_sold_as_a_part_and_as_a_machine_is_used_up_by_both() -> None:
    data = shop(
        demand=(forecast("2026-03", 5),),
        builds=(build("B1", date(2026, 3, 20)),),
        parts_orders=(order("O1", 2, date(2026, 3, 9), part=MACHINE),),
    )
    assert left(data) == [("2026-03", 2000)]


def test_what_is_done_or_has_shipped_uses_the_forecast_of_its_month_up_each_once() -> None:
    """On 20 March, seven being given for March. B1 is done; B2 has shipped and is still in the
    book; B3 is in the book as firm, whatever shipped by its name; D4 was promised for March and
    shipped before, D5 shipped without a promise. D6 was promised for February, D7 ships only later,
    of B8 nothing tells the month."""

    def shipped(name: str, day: date, promised: date | None = None) -> Delivered:
        return Delivered(
            order=name,
            product=MACHINE,
            ordered=date(2026, 2, 2),
            promised=promised,
            shipped=day,
        )

    data = shop(
        demand=(forecast("2026-03", 7), forecast("2026-04", 7)),
        builds=(
            build("B1", date(2026, 3, 5), status="done"),
            build("B2", date(2026, 3, 6), status="done"),
            build("B3", date(2026, 3, 27)),
            build("B8", None, status="done"),
            build("B9", date(2026, 3, 9), status="cancelled"),
        ),
        delivered=(
            shipped("B2", date(2026, 3, 6)),
            shipped("B3", date(2026, 3, 6)),
            shipped("D4", date(2026, 2, 27), date(2026, 3, 2)),
            shipped("D5", date(2026, 3, 19)),
            shipped("D6", date(2026, 3, 19), date(2026, 2, 27)),
            shipped("D7", date(2026, 3, 21)),
        ),
    )
    found = expected_orders(problem_of(data, as_of=date(2026, 3, 20)), ("2026-03", "2026-04"))
    assert found[MACHINE] == (
        ProductForecast("2026-03", 7000, 5000, 2000, "given"),
        ProductForecast("2026-04", 7000, 0, 7000, "given"),
    )


def test_a_build_that_is_done_is_for_the_month_it_was_promised_in_though_it_shipped_later() -> None:
    late = Delivered(
        order="B1", product=MACHINE, ordered=date(2026, 2, 2), shipped=date(2026, 4, 1)
    )
    data = shop(
        demand=(forecast("2026-04", 1),),
        builds=(build("B1", date(2026, 3, 30), status="done"),),
        delivered=(late,),
    )
    found = expected_orders(problem_of(data, as_of=date(2026, 4, 2)), ("2026-04",))
    assert [row.left_milli for row in found[MACHINE]] == [1000]


def test_a_month_that_is_not_given_is_one_without_orders() -> None:
    """Even where the past had some; what is given for months that are over says nothing."""
    past = sold(*(f"2025-{month:02}" for month in range(3, 13)))
    given_once = shop(demand=(forecast("2026-04", 2),), delivered=past)
    assert left(given_once) == [("2026-04", 2000)]
    assert left(shop(demand=(forecast("2026-04", 0),), delivered=past)) == []
    over = shop(demand=(forecast("2026-02", 2),), delivered=past)
    assert [row.how for row in expect(over)[MACHINE]] == ["past orders"] * 3


def test_without_forecast_and_past_nothing_is_expected() -> None:
    assert expect(shop()) == {}


# ---- from the past


def test_nearly_every_month_gives_the_mean() -> None:
    # ten of the twelve months 2025-03 to 2026-02 have one, of 2025-02 none counts: 10 / 12
    months = [f"2025-{month:02}" for month in range(2, 13)]
    rows = expect(shop(delivered=sold(*months)))[MACHINE]
    assert [(row.month, row.given_milli, row.how) for row in rows] == [
        (month, 834, "past orders") for month in ("2026-03", "2026-04", "2026-05")
    ]


def test_now_and_then_gives_the_average_of_intermittent_demand() -> None:
    # of 2025-03 ... 2026-02 the 4th and the 10th: sizes 1, interval 4 + 0.1 x (6 - 4) = 4.2;
    # 1 / 4.2 x 0.95 = 0.2262
    rows = expect(shop(delivered=sold("2025-06", "2025-12")))[MACHINE]
    assert {(row.given_milli, row.how) for row in rows} == {(227, "intermittent")}


def test_machines_not_delivered_yet_were_ordered_too() -> None:
    """Each once, in the month of its order; quoted and cancelled ones were not."""
    data = shop(
        delivered=sold("2025-03"),
        builds=(
            build("B1", None, ordered=date(2026, 1, 5)),
            build("B2", None, ordered=date(2026, 1, 7), status="done"),
            build("D0-MACHINE", None, ordered=date(2026, 1, 7), status="done"),
            build("B3", None, ordered=date(2026, 1, 5), status="quoted"),
            build("B4", None, ordered=date(2026, 1, 5), status="cancelled"),
        ),
    )
    series = [1, *[0] * 9, 2, 0]  # 2025-03, 2026-01
    rate = sba(series, Fraction(1, 10)).rate * MILLI
    (row, *_) = expect(data, 1)[MACHINE]
    assert row.given_milli == -(-rate.numerator // rate.denominator)


def test_spare_parts_have_a_past_of_their_own() -> None:
    orders = tuple(
        order(f"O{number}", 3, date(2026, 3, 9), ordered=date.fromisoformat(f"{month}-20"))
        for number, month in enumerate(["2025-07", *(f"2025-{n:02}" for n in range(4, 13))])
    )
    # ten orders, two of them in one month: nine months of twelve have some
    assert expect(shop(parts_orders=orders))[ENGINE][0].how == "intermittent"
    one_more = (*orders, order("P", 3, None, ordered=date(2026, 1, 2)))
    row = expect(shop(parts_orders=one_more))[ENGINE][0]
    # 33 / 12 = 2.75; 30 are to ship this month, which is more than is expected
    assert row == ProductForecast("2026-03", 2750, 2750, 0, "past orders")


@pytest.mark.parametrize(
    ("day", "expected"),
    [(1, 2000), (2, 2000), (17, 1000), (31, 91), (29, 182)],
)
def test_of_a_month_that_has_begun_an_average_is_for_the_working_days_left(
    day: int, expected: int
) -> None:
    """Two a month. March has 22 working days, the 1st is a Sunday: 11 from the 17th on, one on the
    31st, 2 x 1 / 22 = 0.0909, two from Sunday the 29th on. A forecast that is given stands."""
    past = tuple(
        replace(row, order=f"{row.order}-{copy}", shipped=row.ordered)
        for row in sold(*(f"2025-{month:02}" for month in range(3, 13)), "2026-01", "2026-02")
        for copy in range(2)
    )

    def of(data: Dataset) -> list[int]:
        found = expected_orders(problem_of(data, as_of=date(2026, 3, day)), ("2026-03", "2026-04"))
        return [row.left_milli for row in found[MACHINE]]

    assert of(shop(delivered=past)) == [expected, 2000]
    assert of(shop(delivered=past, demand=(forecast("2026-03", 2),))) == [2000]
    # one is firm for March: of the other the same share
    firm = shop(delivered=past, builds=(build("B1", date(2026, 3, 31), ordered=date(2026, 3, 1)),))
    assert of(firm)[0] == -(-expected // 2)


def test_nothing_is_left_of_an_average_when_the_last_working_day_is_over() -> None:
    # 31 May 2026 is a Sunday
    past = tuple(
        replace(row, shipped=row.ordered)
        for row in sold(*(f"2025-{month:02}" for month in range(5, 13)), "2026-01", "2026-02")
    )
    found = expected_orders(
        problem_of(shop(delivered=past), as_of=date(2026, 5, 31)), ("2026-05", "2026-06")
    )
    assert [row.left_milli for row in found[MACHINE]] == [0, 834]


def test_a_product_nobody_knows_any_more_is_left_out() -> None:
    assert expect(shop(delivered=sold("2025-06", product="OLD"))) == {}


def test_orders_of_this_month_are_no_whole_month() -> None:
    assert expect(shop(parts_orders=(order("O1", 1, None, ordered=AS_OF),))) == {}


@given(
    st.lists(st.integers(0, 5), min_size=1, max_size=4),
    st.lists(st.integers(0, 4), max_size=12),
    st.lists(st.integers(0, 4), max_size=6),
)
def test_nothing_is_used_up_twice_or_below_nothing(
    given_units: list[int], firm_months: list[int], past_months: list[int]
) -> None:
    months = months_ahead(AS_OF, 5)
    data = shop(
        demand=tuple(forecast(month, n) for month, n in zip(months, given_units, strict=False)),
        builds=tuple(
            build(f"B{number}", first_day(months[at])) for number, at in enumerate(firm_months)
        ),
        delivered=sold(*(f"2025-{month + 4:02}" for month in past_months)),
    )
    for row in expect(data, 5).get(MACHINE, ()):
        firm = firm_months.count(months.index(row.month))
        assert row.left_milli == max(0, row.given_milli - firm * MILLI)
        assert row.consumed_milli + row.left_milli == row.given_milli > 0

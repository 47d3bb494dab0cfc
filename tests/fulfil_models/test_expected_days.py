"""On which day an open line is expected: as stated, by the record, and never sooner than stated.

The planning date is Monday 2026-03-02, and what is past due is counted on a week later.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from fulfil_models.believing import SHARE_OF, as_believed
from fulfil_models.expected_days import ExpectedDays, order_days
from fulfil_models.leadtimes import Share, lead_times
from fulfil_models.order_days import OpenDays
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset, Purchase, Receipt
from hypothesis import given
from hypothesis import strategies as st
from tiny_shop import AS_OF, march, purchase, shop, source

SETTINGS = Settings(as_of=AS_OF)
LONG_AGO = AS_OF - timedelta(400)


def shop_of(line: Purchase, *took_days: int) -> Dataset:
    """A shop with one open line, and with a record of engines that took so many days each."""
    receipts = tuple(
        Receipt(
            order="R",
            line=str(number),
            part="ENGINE",
            supplier="S",
            point="A",
            quantity_milli=1000,
            ordered=LONG_AGO,
            received=LONG_AGO + timedelta(days),
        )
        for number, days in enumerate(took_days)
    )
    return shop(purchases=(line,), sources=(source(14),), receipts=receipts)


def expected(data: Dataset) -> ExpectedDays:
    leads = lead_times(data, SETTINGS, with_drift=False)
    return ExpectedDays(SETTINGS, leads, OpenDays(data, AS_OF))


def days(line: Purchase, *took_days: int) -> tuple[date, date, date]:
    """As stated, and with 50 and 90 chances in a hundred."""
    told = expected(shop_of(line, *took_days))
    return told.stated(line), told.by_record(line, "50"), told.by_record(line, "90")


def test_by_the_record_it_comes_later() -> None:
    """Ordered on 2026-02-16, 14 days ago; half of those that took longer took 21, nine in ten 28
    and more: Monday 9 and Monday 16 March."""
    line = purchase("P1", march(4), ordered=date(2026, 2, 16))
    assert days(line, 21, 21, 21, 21, 21, 28, 28, 28) == (march(4), march(9), march(16))


def test_a_supplier_who_was_sooner_has_promised_no_more_for_that() -> None:
    """All took 16 days, which would be Wednesday 4; the 20th was agreed upon."""
    line = purchase("P1", march(20), ordered=date(2026, 2, 16))
    assert days(line, *[16] * 8) == (march(20), march(20), march(20))


def test_what_is_past_due_comes_no_sooner_than_it_is_counted_on() -> None:
    """By the record it would be here on Wednesday 4; the plan counts on it on the 9th."""
    line = purchase("P1", march(1), ordered=date(2026, 2, 16))
    assert days(line, *[16] * 8) == (march(9), march(9), march(9))


def test_without_a_record_what_is_stated_stands() -> None:
    assert days(purchase("P1", march(12))) == (march(12),) * 3
    assert days(purchase("P1", march(1))) == (march(9),) * 3


def test_what_comes_on_a_day_off_is_there_on_the_next_working_day() -> None:
    """Stated for Saturday 7; by the record, after 20 days, on Sunday 8."""
    line = purchase("P1", march(7), ordered=date(2026, 2, 16))
    assert days(line, *[20] * 8) == (march(9), march(9), march(9))


def test_of_a_supplier_nobody_knows_what_is_stated_stands() -> None:
    line = purchase("P1", march(12), supplier="NEW", ordered=AS_OF + timedelta(1))
    data = shop_of(line, *[40] * 8)
    assert ("ENGINE", "NEW") not in lead_times(data, SETTINGS)
    assert expected(data).by_record(line, "90") == march(12)


def came(point: str, *took_days: int) -> tuple[Receipt, ...]:
    rows = shop_of(purchase("P1", march(4)), *took_days).receipts
    return tuple(replace(row, order=f"R-{point}", point=point) for row in rows)


def new_orders(data: Dataset, settings: Settings = SETTINGS) -> list[tuple[int, int]]:
    """Of each source, days within which 50 and 90 of 100 new orders come."""
    leads = lead_times(data, settings, with_drift=False)
    return [
        (order_days(row, lead, "50"), order_days(row, lead, "90"))
        for row in data.sources
        for lead in [leads.get((row.part, row.supplier))]
    ]


def test_a_new_order_takes_as_long_as_the_record_says_and_never_less_than_stated() -> None:
    """Half came within 20 days, nine in ten within 40; so long is 30 days stated."""
    data = shop(receipts=came("A", *[20] * 5, 30, 30, 30, 40, 50))
    assert new_orders(replace(data, sources=(source(14),))) == [(20, 40)]
    assert new_orders(replace(data, sources=(source(30),))) == [(30, 40)]
    assert new_orders(replace(data, sources=(source(60),))) == [(60, 60)]
    soon = replace(SETTINGS, horizon_days=35)
    assert new_orders(replace(data, sources=(source(30),)), soon) == [(30, 35)]
    assert new_orders(shop(sources=(source(14),))) == [(14, 14)]


def test_a_new_order_to_another_point_takes_longer_in_proportion() -> None:
    """Twelve to A on the 10 days stated, eight to B on the 60 stated. And where all came to A after
    15 days, half as long again, it is 90 days to B."""
    sources = (source(10), source(60, point="B"))
    as_stated = (*came("A", *[10] * 12), *came("B", *[60] * 8))
    assert new_orders(shop(sources=sources, receipts=as_stated)) == [(10, 10), (60, 60)]
    late = came("A", *[15] * 12)
    assert new_orders(shop(sources=sources, receipts=late)) == [(15, 15), (90, 90)]


@given(
    took=st.lists(st.integers(1, 80), max_size=12),
    age=st.integers(0, 60),
    due=st.integers(-30, 60),
    choice=st.sampled_from(sorted(SHARE_OF)),
)
def test_a_plan_that_believes_the_record_counts_on_that_day(
    took: list[int], age: int, due: int, choice: str
) -> None:
    line = purchase("P1", AS_OF + timedelta(due), ordered=AS_OF - timedelta(age))
    data = shop_of(line, *took)
    share: Share = SHARE_OF[choice]
    (believed,) = as_believed(data, SETTINGS, choice).purchases  # type: ignore[arg-type]
    told = expected(data)
    assert told.stated(believed) == told.by_record(line, share)
    assert told.stated(line) <= told.by_record(line, "50") <= told.by_record(line, "90")


@pytest.mark.parametrize("share", ["50", "80", "90"])
def test_a_line_of_today_takes_as_long_as_others_did(share: Share) -> None:
    """Ten took 10, 20, ... 100 days: five of them 50 at most, eight 80, nine 90."""
    line = purchase("P1", AS_OF, ordered=AS_OF)
    told = expected(shop_of(line, *range(10, 101, 10)))
    after = {"50": 50, "80": 80, "90": 90}[share]
    day = AS_OF + timedelta(after)
    assert told.by_record(line, share) == OpenDays(shop_of(line), AS_OF).onward("A", day)

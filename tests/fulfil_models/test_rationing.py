"""Rationed parts: who gets them, who waits for another month, and what that costs."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from books import books, settings_of
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.one_more import worth_for
from fulfil_models.problem import Problem
from fulfil_models.rationing import Ration, capped_parts, rations, weighted_late_days
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset
from hypothesis import given
from hypothesis import settings as effort
from rationed_shop import FAR, two_wait
from tiny_shop import (
    SETTINGS,
    build,
    delivery,
    march,
    order,
    planned,
    purchase,
    shop,
    source,
    stand_in,
    stock,
)


def rationed(data: Dataset) -> Ration:
    (row,) = rations(Problem(data, SETTINGS), planned(data))
    return row


# ---- who gets it


def test_who_waits_and_what_it_costs() -> None:
    """Done on the 9th, the first is three working days late (5, 6, 9); on the 16th the other is
    eight."""
    row = rationed(two_wait())
    assert (row.part, row.suppliers, row.shelf_milli) == ("ENGINE", ("S",), 0)
    assert [(t.weighted_late_days, t.cost, t.late_days) for t in row.waiting] == [
        (8, 8000, 12),
        (3, 3000, 5),
    ]
    assert {t.who for t in row.waiting} == {"B1", "B2"}
    assert {t.wanted_on for t in row.waiting} == {march(4)}
    assert row.cost == 11_000
    (month,) = row.months
    assert (month.month, month.cap_milli, month.open_milli) == ("2026-03", 1000, 2000)
    assert month.wanted_milli == 2000
    assert month.over_cap
    assert len(month.given) == 2
    assert month.waiting == ()


def test_who_waits_for_another_month() -> None:
    """The second engine comes on the first Monday of April: one waits all of March for it."""
    row = rationed(two_wait(date(2026, 4, 6)))
    march_, april = row.months
    (waits,) = march_.waiting
    assert (waits.given_on, waits.comes) == (date(2026, 4, 6), "2026-04")
    assert [t.who for t in april.given] == [waits.who]
    assert (april.wanted_milli, april.waiting, april.over_cap) == (0, (), False)


def test_weight_decides_who_waits() -> None:
    data = two_wait()
    heavy = replace(
        data, builds=(build("B1", march(4)), build("B2", march(4), weight_ppm=3 * MICRO))
    )
    row = rationed(heavy)
    # 8 days at weight 1, 3 at weight 3
    assert [(t.who, t.cost) for t in row.waiting] == [("B2", 9000), ("B1", 8000)]


def test_what_is_on_the_shelf_goes_first_and_nobody_waits() -> None:
    data = replace(two_wait(), stock=(stock(2),))
    problem, plan = Problem(data, SETTINGS), planned(data)
    assert rations(problem, plan) == ()
    (row,) = rations(problem, plan, ("ENGINE",))
    assert not row.waiting
    assert row.shelf_milli == 2000


def test_a_part_without_a_cap_is_not_rationed() -> None:
    data = replace(two_wait(), sources=(source(FAR),))
    problem = Problem(data, SETTINGS)
    assert capped_parts(problem) == ()
    assert rations(problem, planned(data)) == ()


def test_caps_of_two_suppliers_add_up_and_one_without_is_no_limit() -> None:
    data = replace(two_wait(), sources=(source(FAR, cap=1), source(FAR, cap=2, supplier="T")))
    assert rationed(data).months[0].cap_milli == 3000
    data = replace(data, sources=(source(FAR, cap=1), source(FAR, supplier="T")))
    assert rationed(data).months[0].cap_milli is None


def test_a_supplier_of_whom_nothing_can_be_ordered_lets_nothing_go() -> None:
    """T lets three go a month and sells in fives."""
    never = source(FAR, cap=3, supplier="T", multiple_milli=5 * MILLI)
    data = replace(two_wait(), sources=(source(FAR, cap=1), never))
    assert rationed(data).months[0].cap_milli == 1000
    assert rationed(replace(data, sources=(never,))).months[0].cap_milli == 0


def test_who_gets_another_part() -> None:
    """One takes ENGINE2 for 100 more, the other the engine of the 3rd."""
    data = shop(
        builds=(build("B1", march(4)), build("B2", march(5))),
        purchases=(purchase("P1", march(3)),),
        stock=(stock(1, part="ENGINE2"),),
        sources=(source(FAR, cap=1),),
        alternates=(stand_in(100),),
    )
    row = rationed(data)
    assert not row.waiting
    (taker,) = row.stand_ins
    assert (taker.called, taker.used, taker.cost) == ("ENGINE", "ENGINE2", 0)
    # both call for an engine in March
    assert row.months[0].wanted_milli == 2000


def test_a_parts_order_waits() -> None:
    data = shop(
        parts_orders=(order("S1", 1, march(4), weight_ppm=2 * MICRO),),
        deliveries=(delivery("A"),),
        purchases=(purchase("P1", march(9)),),
        sources=(source(FAR, cap=1),),
    )
    (taker,) = rationed(data).waiting
    assert (taker.who, taker.wanted_on, taker.given_on) == ("S1/1", march(4), march(9))
    assert (taker.late_days, taker.cost) == (5, 10_000)


# ---- months


@pytest.mark.parametrize("day", [28, 29, 30, 31])
def test_on_the_last_days_of_a_month_its_month_is_told(day: int) -> None:
    """What is wanted and comes today is of this month, on whichever day of it that is; so is what
    one more unit saves who takes another part."""
    today = march(day)
    settings = Settings(as_of=today)
    data = shop(
        builds=(build("B1", march(20)), build("B2", march(20))),
        purchases=(purchase("P1", today),),
        stock=(stock(1, part="ENGINE2"),),
        sources=(source(300, cap=1),),
        alternates=(stand_in(1),),
    )
    problem, plan = Problem(data, settings), planned(data, settings)
    (row,) = rations(problem, plan)
    (month,) = row.months
    assert (month.month, month.wanted_milli, month.open_milli) == ("2026-03", 2000, 1000)
    assert len(month.given) == len(row.stand_ins) == 1
    assert worth_for(problem, plan, row)


def test_nothing_but_other_parts_on_the_last_day_of_a_month() -> None:
    """Nobody takes an engine: the month in which both want one is told."""
    settings = Settings(as_of=march(31))
    data = shop(
        builds=(build("B1", march(20)), build("B2", march(20))),
        stock=(stock(2, part="ENGINE2"),),
        sources=(source(300, cap=1),),
        alternates=(stand_in(1),),
    )
    (row,) = rations(Problem(data, settings), planned(data, settings))
    assert [(month.month, month.wanted_milli) for month in row.months] == [("2026-03", 2000)]


def test_what_comes_at_the_end_of_a_month_and_is_used_in_the_next() -> None:
    """An engine arrives on Saturday 30 May and is of May, as the cap counts it, though it is used
    on Monday 1 June, 12 calendar days after 20 May: 8 working days (21, 22, 25 to 29, 1)."""
    data = shop(
        builds=(build("B1", date(2026, 5, 20)),),
        purchases=(purchase("P1", date(2026, 5, 30)),),
        sources=(source(300, cap=1),),
    )
    row = rationed(data)
    (waits,) = row.waiting
    assert (waits.who, waits.given_on, waits.comes) == ("B1", date(2026, 6, 1), "2026-05")
    assert (waits.late_days, waits.weighted_late_days) == (12, 8)
    assert [(m.month, m.open_milli, len(m.given)) for m in row.months] == [
        ("2026-03", 0, 0),
        ("2026-04", 0, 0),
        ("2026-05", 1000, 1),
    ]


def test_who_takes_what_is_not_in_the_data_any_more_is_told() -> None:
    """The purchase of 6 April is gone since the plan was made: who takes it is told in April."""
    before = shop(
        builds=(build("B1", march(4)),),
        purchases=(purchase("P1", date(2026, 4, 6)),),
        sources=(source(300, cap=1),),
    )
    after = replace(before, purchases=())
    (row,) = rations(Problem(after, SETTINGS), planned(before))
    assert [t.who for t in row.waiting] == ["B1"]
    assert [(m.month, len(m.given)) for m in row.months] == [("2026-03", 0), ("2026-04", 1)]


@effort(max_examples=10, deadline=None)
@given(books(builds=3))
def test_weighted_late_days_are_those_of_the_cost(data: Dataset) -> None:
    settings = settings_of(data)
    plan = planned(data, settings)
    days = weighted_late_days(Problem(data, settings), plan)
    assert days * settings.late_day_cost_micro == plan.objective.lateness * MICRO

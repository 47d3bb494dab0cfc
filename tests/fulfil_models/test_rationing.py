"""Rationed parts: who gets them, what one more unit saves, what is cheaper than waiting."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from fractions import Fraction
from typing import Any

import pytest
from books import books, settings_of
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.one_more import ORDER, Worth, worth_for
from fulfil_models.plan import Plan
from fulfil_models.planning import Effort, Workbench, finished, search_plan
from fulfil_models.problem import Problem
from fulfil_models.rationing import Ration, capped_parts, rations, weighted_late_days
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset, PriceBreak, Purchase, Supplier
from fulfil_models.ways_out import OutKind, WayOut, ways_out
from hypothesis import assume, given
from hypothesis import settings as effort
from oracle import optimum
from tiny_shop import (
    AS_OF,
    SETTINGS,
    build,
    delivery,
    engines,
    hurried,
    lane,
    march,
    order,
    purchase,
    shop,
    source,
    stand_in,
    stock,
)

FAR = 60
"""days of lead time after which it is May"""
SECOND = march(16)


def planned(data: Dataset, settings: Settings = SETTINGS) -> Plan:
    bench = Workbench(Problem(data, settings))
    return finished(bench, search_plan(bench, Effort(seconds=0.1)))


def rationed(data: Dataset) -> Ration:
    (row,) = rations(Problem(data, SETTINGS), planned(data))
    return row


def two_wait(second: date = SECOND) -> Dataset:
    """Two builds promised on the 4th, two engines: on the 9th and on a later day; a new order comes
    in May, one a month."""
    return shop(
        builds=(build("B1", march(4)), build("B2", march(4))),
        purchases=(purchase("P1", march(9)), purchase("P2", second)),
        sources=(source(FAR, cap=1),),
    )


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


# ---- one more unit


def worth(data: Dataset, plan: Plan | None = None) -> tuple[Worth, ...]:
    problem, plan = Problem(data, SETTINGS), plan or planned(data)
    (row,) = rations(problem, plan)
    return worth_for(problem, plan, row)


def test_one_more_lets_the_last_come_first() -> None:
    """With an engine on the 2nd one is in time and the other done on the 9th: 11 days less 3."""
    (row,) = worth(two_wait())
    assert (row.month, row.usable_on, row.point) == ("2026-03", march(2), "A")
    assert (row.late_days, row.lateness_cost, row.cost) == (8, 8000, 8000)
    assert sum(one.days for one in row.sooner) >= 12


def test_a_later_month_saves_less() -> None:
    """The second engine comes on 6 April: 23 working days after the 4th of March; with one on the
    first of April, a Wednesday, it is 20. With one in March 3 are left of 26."""
    first, second = worth(two_wait(date(2026, 4, 6)))
    assert (first.month, first.late_days) == ("2026-03", 23)
    assert (second.month, second.usable_on, second.late_days) == ("2026-04", date(2026, 4, 1), 3)


def test_it_saves_an_alternate() -> None:
    data = shop(
        builds=(build("B1", march(4)), build("B2", march(5))),
        purchases=(purchase("P1", march(3)),),
        stock=(stock(1, part="ENGINE2"),),
        sources=(source(FAR, cap=1),),
        alternates=(stand_in(100),),
    )
    (row,) = worth(data)
    assert (row.late_days, row.cost) == (0, 100)


def test_two_that_need_two_are_not_helped_by_one() -> None:
    """Each takes two engines, and each purchase brings two: one more serves nobody."""
    data = replace(
        two_wait(),
        bills=(engines(2),),
        purchases=(purchase("P1", march(9), units=2), purchase("P2", march(16), units=2)),
    )
    assert [row.cost for row in worth(data)] == [0]


def test_what_the_plan_could_do_without_is_not_its_worth() -> None:
    """The plan is of before two engines came to the shelf: with them nobody need wait, and one
    more saves nothing."""
    before = two_wait()
    plan = planned(before)
    after = replace(before, stock=(stock(2),))
    assert [row.cost for row in worth(after, plan)] == [0]


def _with_one_more(data: Dataset, row: Worth, part: str) -> Dataset:
    extra = Purchase(
        order=ORDER,
        line="1",
        part=part,
        supplier=ORDER,
        point=row.point,
        quantity_milli=MILLI,
        ordered=AS_OF,
        due=row.usable_on,
    )
    return replace(
        data,
        purchases=(*data.purchases, extra),
        suppliers=(*data.suppliers, Supplier(supplier=ORDER)),
    )


@pytest.mark.slow
@effort(max_examples=12, deadline=None)
@given(
    books(
        builds=3,
        operations=1,
        caps=True,
        purchases=True,
        made=False,
        phantoms=False,
        options=False,
        calendars=False,
    )
)
def test_never_more_than_is_possible(data: Dataset) -> None:
    """Where the plan is the best there is, what one more unit is said to save is no more than the
    best plan with it is cheaper; and never below nothing, nor more in a later month."""
    settings = settings_of(data)
    problem, plan = Problem(data, settings), planned(data, settings)
    assume(not data.lanes or not any(row.cost_micro for row in data.deliveries))
    best = optimum(data, settings)
    assume(plan.objective.total == best)
    for row in rations(problem, plan):
        found = worth_for(problem, plan, row)
        assert all(one.cost >= 0 and one.late_days >= 0 for one in found)
        costs = [one.cost for one in found]
        assert costs == sorted(costs, reverse=True)
        for one in found[:2]:
            most = best - optimum(_with_one_more(data, one, row.part), settings)
            assert one.cost <= most


# ---- instead of waiting


def instead(after: Dataset, before: Dataset) -> tuple[WayOut, ...]:
    """Ways in data that changed since their plan was made."""
    plan = planned(before)
    problem = Problem(after, SETTINGS)
    (row,) = rations(problem, plan, ("ENGINE",))
    return ways_out(problem, plan, row.waiting)


def one_waits() -> Dataset:
    """One build of the 4th, its engine on the 16th: eight days, 8000."""
    return shop(
        builds=(build("B1", march(4)),),
        purchases=(purchase("P1", march(16)),),
        sources=(source(FAR, cap=1, price_micro=1000 * MICRO),),
    )


def told(ways: Iterable[WayOut]) -> list[tuple[OutKind, str, date, Fraction, Fraction]]:
    return [(way.kind, way.by, way.ships, way.way_cost, way.saves) for way in ways]


def test_an_alternate_that_came_since() -> None:
    before = one_waits()
    for extra, saves in ((500, 7500), (9000, -1000)):
        after = replace(before, stock=(stock(1, part="ENGINE2"),), alternates=(stand_in(extra),))
        (way,) = instead(after, before)
        assert told([way]) == [(OutKind.ALTERNATE, "ENGINE2", march(2), extra, saves)]
        assert way.cheaper == (saves > 0)
        assert (way.late_days, way.late_cost) == (0, 0)


def test_an_alternate_that_is_not_approved_is_no_way() -> None:
    before = one_waits()
    row = replace(stand_in(500), approved=False)
    after = replace(before, stock=(stock(1, part="ENGINE2"),), alternates=(row,))
    assert instead(after, before) == ()


def test_an_alternate_that_another_has_is_no_way() -> None:
    """The only ENGINE2 goes into a parts order that was promised for today."""
    before = replace(
        one_waits(),
        stock=(stock(1, part="ENGINE2"),),
        parts_orders=(order("S1", 1, march(2), part="ENGINE2", weight_ppm=50 * MICRO),),
        deliveries=(delivery("A"),),
    )
    after = replace(before, alternates=(stand_in(500),))
    assert instead(after, before) == ()


def test_a_move_from_another_point() -> None:
    """One lies at B since; it leaves on Tuesday 3rd and is there on the 5th: a day late."""
    before = replace(one_waits(), lanes=(lane("B", "A", 2, move=200, weekdays=("Tue",)),))
    after = replace(before, stock=(stock(1, point="B"),))
    assert told(instead(after, before)) == [
        (OutKind.TRANSFER, "B", march(5), 200, 8000 - 1000 - 200)
    ]


def test_an_expedited_order() -> None:
    """Offered since: of 60 days 55 less, on the 7th, usable on Monday 9th, three days late, for
    600."""
    before = one_waits()
    after = replace(before, sources=(hurried(FAR, 55, 600, cap=1),))
    ways = instead(after, before)
    # the cap of March is taken by what is open, so nothing more may come in it
    assert ways == ()
    after = replace(before, sources=(hurried(FAR, 55, 600, cap=2),))
    assert told(instead(after, before)) == [
        (OutKind.EXPEDITE, "S", march(9), 600, 8000 - 3000 - 600)
    ]


def test_its_own_order_may_be_expedited() -> None:
    """A new order comes on the 12th, six days late, and is all that March allows. Expedited by
    seven days it is there on the 5th, a day late."""
    before = shop(builds=(build("B1", march(4)),), sources=(source(10, cap=1),))
    after = replace(before, sources=(hurried(10, 7, 600, cap=1),))
    assert told(instead(after, before)) == [
        (OutKind.EXPEDITE, "S", march(5), 600, 6000 - 1000 - 600)
    ]


def test_several_ways_the_best_first() -> None:
    """ENGINE2 for 500 is there today; a move for 200 is there on the 5th, a day late."""
    before = replace(one_waits(), lanes=(lane("B", "A", 2, move=200, weekdays=("Tue",)),))
    after = replace(
        before,
        stock=(stock(1, point="B"), stock(1, part="ENGINE2")),
        alternates=(stand_in(500),),
    )
    assert told(instead(after, before)) == [
        (OutKind.ALTERNATE, "ENGINE2", march(2), 500, 7500),
        (OutKind.TRANSFER, "B", march(5), 200, 6800),
    ]


def test_another_supplier() -> None:
    """T takes 3 days and 250 more than the 1000 that S takes: usable on the 5th, a day late."""
    before = one_waits()
    other = source(3, supplier="T", price_micro=1250 * MICRO)
    after = replace(before, sources=(*before.sources, other))
    assert told(instead(after, before)) == [
        (OutKind.SUPPLIER, "T", march(5), 250, 8000 - 1000 - 250)
    ]


def from_another(**more: Any) -> list[tuple[OutKind, str, date, Fraction, Fraction]]:
    """What T offers since, in 3 days for 1010 each, to the one who waits for the engine that S
    takes 1000 for; a day late by it, so 8000 less 1000 less its cost are saved."""
    before = one_waits()
    breaks = more.pop("price_breaks", ())
    other = source(3, more.pop("cap", None), supplier="T", price_micro=1010 * MICRO, **more)
    after = replace(before, sources=(*before.sources, other), price_breaks=breaks)
    return told(instead(after, before))


def test_an_order_that_another_supplier_does_not_take_is_no_way() -> None:
    """He sells in fives and lets three go a month; or at least two, and lets one go."""
    assert from_another(multiple_milli=5 * MILLI, cap=3) == []
    assert from_another(minimum_milli=2 * MILLI, cap=1) == []


def test_of_another_supplier_the_whole_order_is_paid() -> None:
    """For one engine five are bought: 5050, of which 1000 would go to S as well."""
    way = (OutKind.SUPPLIER, "T, an order of 5", march(5), 4050, 7000 - 4050)
    assert from_another(multiple_milli=5 * MILLI) == [way]
    assert from_another(multiple_milli=5 * MILLI, cap=6) == [way]
    assert from_another(minimum_milli=4500, multiple_milli=MILLI) == [way]
    # no multiple, but engines come whole
    assert from_another(minimum_milli=4500) == [way]


def test_a_large_minimum_of_another_supplier_is_dearer_than_waiting() -> None:
    """A hundred for 1010 each are 101,000."""
    (way,) = from_another(minimum_milli=100 * MILLI)
    assert way[-2:] == (100_000, 7000 - 100_000)


def test_prices_of_another_supplier_go_by_the_order() -> None:
    """From five on one costs 600: five are 3000."""
    breaks = (
        PriceBreak(
            part="ENGINE", supplier="T", from_quantity_milli=5 * MILLI, price_micro=600 * MICRO
        ),
    )
    assert from_another(price_breaks=breaks)[0][-2] == 10
    assert from_another(price_breaks=breaks, multiple_milli=5 * MILLI)[0][-2] == 2000


@pytest.mark.parametrize(
    ("price", "other_price", "more"),
    [(None, 1010, 4 * 1010), (1000, None, 4 * 1000), (None, None, 0), (1000, 0, -1000)],
)
def test_a_price_that_is_not_known_is_as_the_other(
    price: int | None, other_price: int | None, more: int
) -> None:
    """Five are bought for one: what is compared is one engine, what is too much is four."""

    def micro(each: int | None) -> int | None:
        return None if each is None else each * MICRO

    before = replace(one_waits(), sources=(source(FAR, cap=1, price_micro=micro(price)),))
    other = source(3, supplier="T", price_micro=micro(other_price), multiple_milli=5 * MILLI)
    (way,) = instead(replace(before, sources=(*before.sources, other)), before)
    assert way.way_cost == more


def test_a_parts_order_from_another_point() -> None:
    """Stock came to B, which delivers for 30 where A does for 10."""
    before = shop(
        parts_orders=(order("S1", 1, march(4)),),
        deliveries=(delivery("A", 10), delivery("B", 30)),
        purchases=(purchase("P1", march(9)),),
        sources=(source(FAR, cap=1),),
    )
    after = replace(before, stock=(stock(1, point="B"),))
    (way,) = instead(after, before)
    assert told([way]) == [(OutKind.FREE, "from B", way.ships, 20, 5000 - 20)]
    assert way.ships <= march(4)


def test_nothing_else_to_do() -> None:
    data = one_waits()
    assert instead(data, data) == ()

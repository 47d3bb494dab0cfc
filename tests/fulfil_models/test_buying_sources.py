"""From whom what is bought comes, in what size and month, and who of those waiting is first."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date

import pytest
from buying_cases import SETTINGS, UNIT, bought, expected, nothing_expected, on, only
from fulfil_models.buying import what_to_buy
from fulfil_models.buying_needs import Why
from fulfil_models.cells import MICRO
from fulfil_models.demand_ahead import FirmNeed, demand_ahead
from fulfil_models.problem import Problem
from fulfil_models.tables import (
    PriceBreak,
    Supplier,
)
from fulfil_models.taken import Taken
from oracle_plan import best_plan
from tiny_shop import (
    AS_OF,
    engines,
    march,
    purchase,
    shop,
    source,
)


def test_minimum_multiple_and_price_of_the_size() -> None:
    terms = source(5, minimum_milli=4 * UNIT, multiple_milli=3 * UNIT, price_micro=10 * MICRO)
    cheaper = PriceBreak(
        part="ENGINE", supplier="S", from_quantity_milli=6 * UNIT, price_micro=9 * MICRO
    )
    line = only(bought(shop(sources=(terms,), price_breaks=(cheaper,), builds=on(25))))
    assert (line.quantity_milli, line.more_milli) == (6 * UNIT, 5 * UNIT)
    assert (line.price_micro, line.cost_micro) == (9 * MICRO, 54 * MICRO)


def test_a_price_break_from_0_is_the_price() -> None:
    """100 by the source, but 10 from 0 on: cheaper than 90, and what is bought costs what the line
    says."""
    base = PriceBreak(part="ENGINE", supplier="S", from_quantity_milli=0, price_micro=10 * MICRO)
    data = shop(
        suppliers=(Supplier(supplier="S"), Supplier(supplier="T")),
        sources=(
            source(5, price_micro=100 * MICRO),
            source(5, supplier="T", price_micro=90 * MICRO, rank=2),
        ),
        price_breaks=(base,),
        builds=on(25),
    )
    found = bought(data)
    line = only(found)
    assert (line.supplier, line.price_micro, line.cost_micro) == ("S", 10 * MICRO, 10 * MICRO)
    assert found.buying_micro == 10 * MICRO


@pytest.mark.parametrize(("day", "supplier"), [(12, "FAST"), (25, "SLOW")])
def test_the_cheaper_source_that_is_in_time(day: int, supplier: str) -> None:
    # both deliver in March, SLOW not before the 22nd
    data = shop(
        suppliers=(Supplier(supplier="FAST"), Supplier(supplier="SLOW")),
        sources=(
            source(5, supplier="FAST", price_micro=20 * MICRO),
            source(20, supplier="SLOW", price_micro=10 * MICRO),
        ),
        builds=on(day),
    )
    found = bought(data)
    assert (only(found).supplier, found.short) == (supplier, ())


@pytest.mark.parametrize("slow_cap", [None, 10])
def test_a_fast_source_with_a_cap_brings_what_is_in_time_only_so(slow_cap: int | None) -> None:
    """One on the 10th: FAST has it on the 7th at 10, SLOW not before the 27th at 9. Of three FAST
    may bring two, so the third comes 17 days late."""
    slow = source(25, slow_cap, supplier="SLOW", price_micro=9 * MICRO, rank=2)
    data = shop(
        suppliers=(Supplier(supplier="FAST"), Supplier(supplier="SLOW")),
        sources=(source(5, cap=10, supplier="FAST", price_micro=10 * MICRO), slow),
        builds=on(10),
    )
    found = bought(data)
    assert (only(found).supplier, only(found).due_on, found.short) == ("FAST", march(10), ())
    few = replace(
        data,
        sources=(replace(data.sources[0], monthly_cap_milli=2 * UNIT), slow),
        bills=(engines(3),),
    )
    firm = {"ENGINE": (FirmNeed(march(10), 3 * UNIT, "build", "B1", "A"),)}
    plan, _ = best_plan(replace(few, builds=()), SETTINGS)
    found = bought(few, replace(nothing_expected(), firm=firm), plan=plan)
    assert [(line.supplier, line.quantity_milli) for line in found.lines] == [
        *(("SLOW", UNIT), ("FAST", 2 * UNIT)),
    ]
    (short,) = found.short
    assert (short.quantity_milli, short.comes_on) == (UNIT, march(27))
    assert short.why_not == "no order brings it sooner"


@pytest.mark.parametrize("budget", [None, 11_100, 11_099])
def test_one_early_want_leaves_the_rest_of_the_month_to_the_cheaper_source(
    budget: int | None,
) -> None:
    """100 on the 10th and 100 on the 31st, at 100 from FAST by the 7th or at 10 from SLOW by the
    27th: 100 x 100 + 100 x 10 and two orders of 50 make 11,100. With one less, one of the first
    comes on the 27th: it could come sooner for more."""
    data = shop(
        suppliers=(Supplier(supplier="FAST"), Supplier(supplier="SLOW")),
        sources=(
            source(5, supplier="FAST", price_micro=100 * MICRO),
            source(25, supplier="SLOW", price_micro=10 * MICRO, rank=2),
        ),
        bills=(engines(100),),
        builds=on(10) + on(31, "B2"),
    )
    found = bought(
        data,
        nothing_expected("2026-03", "2026-04"),
        budget_micro=None if budget is None else budget * MICRO,
    )
    late = 1 if budget == 11_099 else 0
    assert {line.supplier: line.quantity_milli for line in found.lines} == {
        "FAST": (100 - late) * UNIT,
        "SLOW": (100 + late) * UNIT,
    }
    if not late:
        assert found.ordering_micro + found.buying_micro == found.bound_micro == 11_100 * MICRO
        assert found.short == ()
        return
    (short,) = found.short
    assert (short.who, short.quantity_milli, short.comes_on) == ("B1", UNIT, march(27))
    assert (short.why_not, short.for_cash) == ("the budget lets it come no sooner", True)


def test_a_cap_below_the_smallest_order_is_told() -> None:
    data = shop(sources=(source(5, cap=2, minimum_milli=3 * UNIT),), builds=on(25))
    problem = Problem(data, SETTINGS)
    plan, _ = best_plan(replace(data, builds=()), SETTINGS)
    found = bought(data, demand_ahead(problem, plan, 1), plan=plan)
    assert found.lines == ()
    (short,) = (row for row in found.short if row.why is Why.FIRM)
    assert (short.who, short.comes_on) == ("B1", None)
    assert short.why_not == "no order of it can ever be placed"
    (text,) = found.never
    assert text.startswith("ENGINE from S to A can never be ordered: its cap is below")


def test_what_is_left_of_a_cap_below_the_smallest_order_is_told_as_that() -> None:
    """Three a month, in threes. P brings two of those of March, so none can be ordered of S for
    March, the only month that is looked at: not `never`, and no cap is wrong. T brings them."""
    terms = source(5, cap=3, minimum_milli=3 * UNIT, price_micro=MICRO)
    data = shop(
        suppliers=(Supplier(supplier="S"), Supplier(supplier="T")),
        sources=(terms, source(5, supplier="T", rank=2, price_micro=2 * MICRO)),
        purchases=(purchase("P", march(20), units=2),),
    )
    found = bought(data, expected(3))
    assert only(found).supplier == "T"
    (text,) = found.never
    assert text == (
        "no more of ENGINE from S can be ordered to come by 2026-03: of its cap at most 1 is left "
        "in a month, and its smallest order is 3"
    )
    assert "never" not in text
    # with a month more there is a cap of three; where nobody else is, that month is looked at
    assert bought(data, expected(3, 0)).never == ()
    alone = bought(replace(data, sources=(terms,)), expected(3))
    assert (alone.never, only(alone).due_on) == ((), date(2026, 4, 1))


def test_who_is_firm_goes_before_what_is_expected() -> None:
    # one a month: in March for the build, though March was expected first; that waits for April
    data = shop(sources=(source(10, cap=1),), builds=on(20))
    plan, _ = best_plan(replace(data, builds=()), SETTINGS)
    firm = {"ENGINE": (FirmNeed(march(20), UNIT, "build", "B1", "A"),)}
    demand = replace(expected(1, 0), firm=firm)
    found = bought(data, demand, plan=plan)
    served = [(row.who, row.late_days, line.due_on) for line in found.lines for row in line.served]
    assert served == [("B1", 0, march(20)), ("2026-03", 30, date(2026, 4, 1))]


def test_who_is_firm_goes_first_where_nobody_is_in_time() -> None:
    """One a month, the first on 2 March + 40 days, 11 April: for the build of the 20th, though
    March was expected before it; the others have one a month later each, and none falls behind."""
    data = shop(sources=(source(40, cap=1),), builds=on(20))
    plan, _ = best_plan(replace(data, builds=()), SETTINGS)
    firm = {"ENGINE": (FirmNeed(march(20), UNIT, "build", "B1", "A"),)}
    found = bought(data, replace(expected(1, 1, 0, 0), firm=firm), plan=plan)
    served = [(row.who, row.late_days, line.due_on) for line in found.lines for row in line.served]
    assert served == [
        ("B1", 22, date(2026, 4, 11)),
        ("2026-03", 60, date(2026, 5, 1)),
        ("2026-04", 61, date(2026, 6, 1)),
    ]
    (short,) = [row for row in found.short if row.why is Why.FIRM]
    assert (short.who, short.comes_on, short.why_not) == (
        *("B1", date(2026, 4, 11), "no order brings it sooner"),
    )


def test_who_is_firm_is_served_late_before_what_is_expected_is() -> None:
    """One in all, on 11 April, and two are wanted before."""
    data = shop(sources=(source(40, cap=1),), builds=on(20))
    plan, _ = best_plan(replace(data, builds=()), SETTINGS)
    firm = {"ENGINE": (FirmNeed(march(20), UNIT, "build", "B1", "A"),)}
    found = bought(data, replace(expected(1, 0), firm=firm), plan=plan)
    assert [(row.who, row.late_days) for row in only(found).served] == [("B1", 22)]
    assert {row.who: row.comes_on for row in found.short} == {
        "B1": date(2026, 4, 11),
        "2026-03": None,
    }


def test_what_is_firm_is_ordered_though_it_comes_after_the_months_asked_for() -> None:
    data = shop(sources=(source(40),), builds=on(20))
    plan, _ = best_plan(replace(data, builds=()), SETTINGS)
    firm = {"ENGINE": (FirmNeed(march(20), UNIT, "build", "B1", "A"),)}
    found = bought(data, replace(nothing_expected(), firm=firm), plan=plan)
    assert found.months == ("2026-03", "2026-04")
    assert [(row.who, row.late_days) for row in only(found).served] == [("B1", 22)]


@pytest.mark.parametrize("months", [2, 6])
def test_what_cannot_come_in_the_months_asked_for_is_ordered_all_the_same(months: int) -> None:
    """In 100 days, on 10 June: 5 a month are ordered today, whether June is asked for or not."""
    found = bought(shop(sources=(source(100, price_micro=10 * MICRO),)), expected(*[5] * months))
    line = only(found)
    assert (line.place_on, line.due_on) == (AS_OF, date(2026, 6, 10))
    assert line.quantity_milli == 5 * months * UNIT
    assert {row.why_not for row in found.short} == {"no order brings it sooner"}
    assert found.months[-1] == max("2026-06", f"2026-{2 + months:02d}")


def test_a_cap_is_named_only_where_there_is_one() -> None:
    """Two a month from S, in 5 days; any number from T, in 100: of 9 for March, S brings 2 in each
    month until May, and T the last 3 with the first two of June."""
    data = shop(
        suppliers=(Supplier(supplier="S"), Supplier(supplier="T")),
        sources=(source(5, cap=2), source(100, supplier="T", rank=2)),
    )
    found = bought(data, expected(9))
    assert not [row for row in found.short if row.comes_on is None]
    assert sum(line.quantity_milli for line in found.lines) == 9 * UNIT
    capped = bought(replace(data, sources=data.sources[:1]), expected(9))
    (never,) = (row for row in capped.short if row.comes_on is None)
    assert never.why_not == "monthly caps let no more come until 2026-03"


def test_months_reach_the_first_in_which_a_cap_lets_anything_come() -> None:
    """Two a month, in 5 days; what is on order takes those of March and of April."""
    orders = (purchase("P1", march(20), 2), purchase("P2", date(2026, 4, 20), 2))
    found = bought(shop(sources=(source(5, cap=2),), purchases=orders), expected(6))
    assert found.months == ("2026-03", "2026-04", "2026-05")
    assert only(found).due_on == date(2026, 5, 1)


def test_what_only_expediting_could_bring_sooner_is_told_so() -> None:
    # wanted on the 20th, here on 2 March + 40 days; 100 would bring it on the 22nd of March
    terms = source(40, expedite_days=20, expedite_cost_micro=100 * MICRO)
    data = shop(sources=(terms,), builds=on(20))
    plan, _ = best_plan(replace(data, builds=()), SETTINGS)
    firm = {"ENGINE": (FirmNeed(march(20), UNIT, "build", "B1", "A"),)}
    (short,) = bought(data, replace(nothing_expected(), firm=firm), plan=plan).short
    assert short.why_not == "only expedited could it come sooner"


@pytest.mark.parametrize(("cap", "only_hurried"), [(None, True), (1, True), (0, False)])
def test_another_source_that_could_be_expedited_is_told_of_too(
    cap: int | None, only_hurried: bool
) -> None:
    """S brings one on the 12th for the 5th; T could, from the 31st on, or expedited on the 3rd of
    March, if its cap of the month leaves that."""
    hurry = source(29, supplier="T", rank=2, expedite_days=28, expedite_cost_micro=10**6 * MICRO)
    held = (replace(purchase("P1", march(31), 1, part="ENGINE"), supplier="T"),)
    data = shop(
        suppliers=(Supplier(supplier="S"), Supplier(supplier="T")),
        sources=(
            source(10),
            replace(hurry, monthly_cap_milli=None if cap is None else UNIT),
        ),
        purchases=held if cap == 0 else (),
        builds=on(5),
    )
    plan, _ = best_plan(replace(data, builds=()), SETTINGS)
    firm = {"ENGINE": (FirmNeed(march(5), UNIT, "build", "B1", "A"),)}
    found = bought(data, replace(nothing_expected(), firm=firm), plan=plan)
    (short,) = found.short
    assert short.comes_on == march(12)
    told = "only expedited could it come sooner" if only_hurried else "no order brings it sooner"
    assert short.why_not == told


def test_orders_of_held_quotes_count_in_the_cap() -> None:
    data = shop(sources=(source(5, cap=2),), builds=(*on(20), *on(23, "B2")))
    plan, _ = best_plan(data, SETTINGS)
    order = replace(purchase("Q1:new", march(31), 1, part="ENGINE"), line="plan")
    problem = Problem(data, SETTINGS, taken=Taken(orders=(order,)))
    found = what_to_buy(problem, plan, nothing_expected(), {}, service=0.5, gap=0.0)
    # two fit into March without that order
    assert sum(line.quantity_milli for line in found.lines if line.due_on.month == 3) == UNIT


def test_open_purchases_count_in_the_cap() -> None:
    data = shop(
        sources=(source(5, cap=2),),
        purchases=(purchase("P1", march(31), 1, part="ENGINE"),),
        builds=(*on(20), *on(23, "B2")),
    )
    found = bought(data)
    assert Counter(line.due_on.month for line in found.lines)[3] <= 1

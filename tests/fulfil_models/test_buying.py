"""What to buy: by hand on the shop of one station, and against plans made with what was bought.

The planning date is Monday 2026-03-02. A build that may not start before the day it is promised
takes its engine on that very day.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date, datetime, timedelta
from fractions import Fraction
from random import Random

import pytest
from books import Shape, books, random_book, settings_of
from fulfil_models.buying import NOT_SOONER, Buying, BuyLine, what_to_buy
from fulfil_models.buying_needs import Why, unmatched, wanted
from fulfil_models.cells import MICRO
from fulfil_models.demand_ahead import DemandAhead, FirmNeed, ForecastNeed, demand_ahead
from fulfil_models.leadtimes import lead_times
from fulfil_models.left_over import Lot
from fulfil_models.months import month_of
from fulfil_models.order_days import order_on
from fulfil_models.plan import Plan
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.source_terms import first_arrival, whole_orders
from fulfil_models.tables import (
    BillLine,
    Dataset,
    Demand,
    Lane,
    Part,
    Point,
    PriceBreak,
    Progress,
    Purchase,
    Receipt,
    Source,
    Supplier,
)
from fulfil_models.taken import Taken
from hypothesis import given, settings
from hypothesis import strategies as st
from oracle import optimum
from oracle_plan import best_plan
from tiny_shop import (
    AS_OF,
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
    stock,
)

UNIT = 1000
SETTINGS = Settings(as_of=AS_OF)


def took(*days: int) -> tuple[Receipt, ...]:
    """A record of engines from S: stated were 10 days."""
    ordered = date(2025, 11, 3)
    return tuple(
        Receipt(
            order="OLD",
            line=str(number),
            part="ENGINE",
            supplier="S",
            point="A",
            quantity_milli=UNIT,
            ordered=ordered,
            due=ordered + timedelta(10),
            received=ordered + timedelta(taken),
        )
        for number, taken in enumerate(days, 1)
    )


SLOW = took(10, 10, 11, 12, 14)
"""90 of 100 within 14 days: after 12 days one of five is still to come"""


def on(day: int, name: str = "B1", **more: object) -> tuple[object, ...]:
    return (build(name, march(day), earliest=march(day), **more),)


def nothing_expected(*months: str) -> DemandAhead:
    return DemandAhead(months or ("2026-03",), {}, {}, {}, ())


def expected(*units: float, part: str = "ENGINE") -> DemandAhead:
    """So much of a part from March on."""
    months = tuple(f"2026-{month:02d}" for month in range(3, 3 + len(units)))
    rows = tuple(
        ForecastNeed(month, round(each * UNIT), "given")
        for month, each in zip(months, units, strict=True)
        if each
    )
    return DemandAhead(months, {}, {part: rows}, {}, ())


def bought(
    data: Dataset,
    demand: DemandAhead | None = None,
    *,
    plan: Plan | None = None,
    service: float = 0.5,
    budget_micro: int | None = None,
    settings: Settings = SETTINGS,
) -> Buying:
    """At a service of a half there is no safety stock."""
    plan = plan or best_plan(data, settings)[0]
    return what_to_buy(
        Problem(data, settings),
        plan,
        demand or nothing_expected(),
        lead_times(data, settings, with_drift=False),
        service=service,
        budget_micro=budget_micro,
        gap=0.0,
    )


def only(found: Buying) -> BuyLine:
    (line,) = found.lines
    return line


def days_of(line: BuyLine) -> tuple[date, date, date, int]:
    return line.place_on, line.due_on, line.arrives_90, line.behind_days


# ---- the day to place an order


def test_an_order_is_placed_so_early_that_90_of_100_come_in_time() -> None:
    # 25 - 14 = 11, stated to come on 11 + 10 = 21
    line = only(bought(shop(sources=(source(10),), receipts=SLOW, builds=on(25))))
    assert days_of(line) == (march(11), march(21), march(25), 0)
    assert (line.quantity_milli, line.firm_milli, line.needed_on) == (UNIT, UNIT, march(25))
    assert [(row.who, row.late_days) for row in line.served] == [("B1", 0)]


def test_without_a_record_what_is_stated_stands() -> None:
    line = only(bought(shop(sources=(source(10),), builds=on(25))))
    assert days_of(line) == (march(15), march(25), march(25), 0)


def test_what_cannot_be_placed_so_early_is_placed_at_once() -> None:
    # 13 - 14 is before the 2nd; stated to come on the 12th, by the record on the 16th
    found = bought(shop(sources=(source(10),), receipts=SLOW, builds=on(13)))
    assert days_of(only(found)) == (march(2), march(12), march(16), 3)
    assert found.short == ()


def test_no_order_is_placed_before_orders_may_be() -> None:
    """Orders from the 9th on. Wanted on the 25th, in 10 days: the 15th is late enough; wanted on
    the 16th the order stands on the 9th, comes on the 19th, three days late."""
    later = replace(SETTINGS, orders_from=march(9))
    line = only(bought(shop(sources=(source(10),), builds=on(25)), settings=later))
    assert days_of(line) == (march(15), march(25), march(25), 0)
    # the plan that waits does not start before the 19th, so that is what it orders for
    data = shop(sources=(source(10),), builds=on(16))
    line = only(bought(data, settings=later))
    assert days_of(line) == (march(9), march(19), march(19), 0)
    # beside a plan that could order today it is late
    line = only(bought(data, plan=best_plan(data, SETTINGS)[0], settings=later))
    assert days_of(line) == (march(9), march(19), march(19), 3)


def test_what_the_plan_expedites_sooner_than_it_may_be_ordered_is_ordered_anew() -> None:
    """10 days, or 4 expedited: the plan has it on the 6th for a build of that day. If orders wait
    for the 9th, it comes on the 13th, expedited: 7 days sooner than the 19th are worth 50."""
    data = shop(sources=(hurried(10, 6, 50),), builds=on(6))
    plan = best_plan(data, SETTINGS)[0]
    line = only(bought(data, plan=plan))
    assert (line.place_on, line.due_on, line.expedited) == (march(2), march(6), True)
    line = only(bought(data, plan=plan, settings=replace(SETTINGS, orders_from=march(9))))
    assert (line.place_on, line.due_on, line.expedited) == (march(9), march(13), True)


@pytest.mark.parametrize("price", [None, 0, 10 * MICRO])
@pytest.mark.parametrize("share", [0, SETTINGS.holding_share_ppm])
def test_nothing_is_ordered_early_for_costing_nothing_to_keep(
    price: int | None, share: int
) -> None:
    """Wanted on 15 December, in 10 days: to be placed on the 5th, though nothing that the order
    costs tells the months apart."""
    day = date(2026, 12, 15)
    data = shop(sources=(source(10, price_micro=price),), builds=(build("B1", day, earliest=day),))
    terms = replace(SETTINGS, holding_share_ppm=share)
    line = only(bought(data, settings=terms))
    assert (line.place_on, line.due_on) == (date(2026, 12, 5), day)


# ---- netting


def test_what_the_plan_fills_is_not_bought() -> None:
    data = shop(sources=(source(10),), stock=(stock(1),), builds=on(25))
    assert bought(data).lines == ()


def test_held_stock_is_none() -> None:
    data = shop(sources=(source(10),), stock=(stock(1, held=1),), builds=on(25))
    assert only(bought(data)).quantity_milli == UNIT


def test_what_was_ordered_after_the_plan_is_not_bought_again() -> None:
    data = shop(sources=(source(10),), builds=on(25))
    plan, _ = best_plan(data, SETTINGS)
    ordered = replace(data, purchases=(purchase("P1", march(25)),))
    assert bought(ordered, plan=plan).lines == ()
    too_late = replace(data, purchases=(purchase("P1", march(26)),))
    assert only(bought(too_late, plan=plan)).due_on == march(25)


def test_expected_needs_are_net_of_what_is_left_in_their_turn() -> None:
    # 2 in March and April each; 1 is on the shelf, 2 come in time for April, the last in May
    data = shop(
        sources=(source(5),),
        stock=(stock(1),),
        purchases=(purchase("P1", march(31), 2), purchase("P2", date(2026, 5, 1))),
    )
    problem = Problem(data, SETTINGS)
    plan, _ = best_plan(data, SETTINGS)
    found = wanted(problem, plan, expected(2, 2), {})
    (rows,) = found.wants.values()
    assert [(row.who, row.milli) for row in rows] == [("2026-03", UNIT)]


def test_a_lot_serves_those_that_come_after_it() -> None:
    lots = [Lot("A", march(1), 2), Lot("A", march(5), 3)]
    # the 4th takes 2 of the first lot, the 6th the second, and 1 is missing; nothing for the 10th
    needs = [(march(6), 4), (march(4), 2), (march(10), 1)]
    assert unmatched(needs, lots) == [1, 0, 1]


def test_a_lot_serves_only_those_it_can_come_to() -> None:
    lots = [Lot("A", march(1), 2), Lot("B", march(1), 5)]
    needs = [(march(2), 4), (march(3), 3), (march(4), 9)]
    # the first takes both of A, and 2 are missing; the second 3 of B; the last what is left of it
    assert unmatched(needs, lots, [frozenset("A"), frozenset("B"), None]) == [2, 0, 7]


@pytest.mark.parametrize(
    ("lanes", "bought_units"),
    [
        ((), 5),
        ((lane("B", "A", 2),), 0),
        ((lane("A", "B", 2),), 5),
        ((lane("B", "C", 2), lane("C", "A", 2)), 0),
        ((lane("B", "C", 2),), 5),
    ],
)
def test_what_is_left_where_no_lane_leads_to_the_need_is_not_counted(
    lanes: tuple[Lane, ...], bought_units: int
) -> None:
    """25 engines at B, 5 expected for machines, which are built at A."""
    data = shop(
        points=(*shop().points, Point(point="C")),
        sources=(source(5),),
        stock=(stock(25, "B"),),
        lanes=lanes,
        demand=(Demand(part="MACHINE", month="2026-03", quantity_milli=5 * UNIT),),
    )
    plan, _ = best_plan(data, SETTINGS)
    found = bought(data, demand_ahead(Problem(data, SETTINGS), plan, 1), plan=plan)
    assert sum(line.quantity_milli for line in found.lines) == bought_units * UNIT


def test_a_build_in_no_plan_is_not_served_from_where_no_lane_leads() -> None:
    data = shop(sources=(source(5),), stock=(stock(1, "B"),), builds=on(20))
    plan, _ = best_plan(replace(data, builds=()), SETTINGS)
    demand = demand_ahead(Problem(data, SETTINGS), plan, 1)
    assert only(bought(data, demand, plan=plan)).firm_milli == UNIT
    linked = replace(data, lanes=(lane("B", "A", 2),))
    assert bought(linked, demand, plan=plan).lines == ()
    # a parts order in no plan may ship from any point
    spare = replace(data, builds=(), parts_orders=(order("O", 1, march(20)),))
    demand = demand_ahead(Problem(spare, SETTINGS), plan, 1)
    assert bought(spare, demand, plan=plan).lines == ()


def test_what_is_expected_is_served_where_it_is_taken_though_bought_for_another_point() -> None:
    """Engines are bought for B and moved to A, where machines are built: no lane leads back. What
    is expected as a spare part is served from B, if B delivers."""
    machines = Demand(part="MACHINE", month="2026-03", quantity_milli=2 * UNIT)
    data = shop(
        sources=(source(5, point="B"),),
        stock=(stock(2),),
        lanes=(lane("B", "A", 2),),
        demand=(machines,),
    )
    plan, _ = best_plan(data, SETTINGS)

    def units(data: Dataset) -> int:
        found = bought(data, demand_ahead(Problem(data, SETTINGS), plan, 1), plan=plan)
        return sum(line.quantity_milli for line in found.lines) // UNIT

    assert units(data) == 0
    # bought for A, and on the shelf at B, from where no lane leads
    spare = replace(
        data,
        sources=(source(5),),
        stock=(stock(2, "B"),),
        lanes=(),
        demand=(replace(machines, part="ENGINE"),),
    )
    assert units(spare) == 2
    assert units(replace(spare, deliveries=(delivery("B", 1, 1),))) == 0


# ---- the data are newer than the plan


def test_what_the_plan_draws_on_that_is_gone_is_bought() -> None:
    """Three on the shelf, taken on the 20th and 23rd. Of one of them it is the later that lacks."""
    data = shop(sources=(source(5),), stock=(stock(3),), builds=(*on(20), *on(23, "B2")))
    plan, _ = best_plan(data, SETTINGS)
    assert bought(data, plan=plan).lines == ()

    def served(data: Dataset) -> list[tuple[str, date]]:
        lines = bought(data, plan=plan).lines
        return [(row.who, row.day) for line in lines for row in line.served]

    both = [("B1", march(20)), ("B2", march(23))]
    assert served(replace(data, stock=())) == both
    assert served(replace(data, stock=(stock(1),))) == both[1:]
    assert served(replace(data, stock=(stock(3, held=3),))) == both
    assert served(replace(data, stock=(stock(2),))) == []
    # what is gone is made good by what comes in time, and by what is at a point with a lane
    assert served(replace(data, stock=(), purchases=(purchase("P", march(22), 5),))) == both[:1]
    elsewhere = replace(data, stock=(stock(2, "B"),))
    assert served(elsewhere) == both
    assert served(replace(elsewhere, lanes=(lane("B", "A", 2),))) == []
    # who is gone as well needs nothing, and what he would have drawn is there for others
    assert served(replace(data, stock=(stock(1),), builds=on(23, "B2"))) == []


def test_a_purchase_that_is_gone_is_bought_again_unless_it_came() -> None:
    data = shop(sources=(source(5),), purchases=(purchase("P", march(18)),), builds=on(20))
    plan, _ = best_plan(data, SETTINGS)
    assert only(bought(replace(data, purchases=()), plan=plan)).firm_milli == UNIT
    came = replace(data, purchases=(), stock=(stock(1),))
    assert bought(came, plan=plan).lines == ()


def test_what_was_issued_since_the_plan_is_not_bought_again() -> None:
    """The engine of B1 is gone from the shelf, into B1, which was begun."""
    data = shop(sources=(source(5),), stock=(stock(1),), builds=on(20))
    plan, _ = best_plan(data, SETTINGS)
    begun = Progress(build="B1", operation=10, started=datetime(2026, 3, 20, 8))
    issued = replace(data, stock=(), progress=(begun,))
    assert bought(issued, plan=plan).lines == ()
    assert demand_ahead(Problem(issued, SETTINGS), plan, 1).firm == {}


def test_of_a_made_part_that_is_gone_what_it_is_made_of_is_bought() -> None:
    """Each machine takes a frame from the shelf, a frame two tubes and an engine. Of two frames
    one is left, and three tubes: 2 x 1 - 3 are missing, none, and an engine."""
    frames = (
        BillLine(parent="MACHINE", component="FRAME", quantity_milli=UNIT),
        BillLine(parent="FRAME", component="TUBE", quantity_milli=2 * UNIT),
        BillLine(parent="FRAME", component="ENGINE", quantity_milli=UNIT),
    )
    data = shop(
        parts=(*shop().parts, Part(part="FRAME", make=True), Part(part="TUBE")),
        bills=frames,
        sources=(source(5), source(5, part="TUBE")),
        stock=(stock(2, part="FRAME"), stock(3, part="TUBE")),
        builds=(*on(20), *on(23, "B2")),
    )
    plan, _ = best_plan(data, SETTINGS)
    left = replace(data, stock=(stock(1, part="FRAME"), stock(3, part="TUBE")))
    line = only(bought(left, plan=plan))
    assert (line.part, line.quantity_milli, [row.who for row in line.served]) == (
        *("ENGINE", UNIT),
        ["B2"],
    )
    found = bought(replace(data, stock=()), plan=plan)
    assert {line.part: line.quantity_milli for line in found.lines} == {
        "ENGINE": 2 * UNIT,
        "TUBE": 4 * UNIT,
    }


@pytest.mark.parametrize(("frames", "engines_bought"), [(10, 0), (6, 0), (5, 1), (1, 5), (0, 5)])
def test_made_parts_that_the_plan_leaves_serve_what_is_expected(
    frames: int, engines_bought: int
) -> None:
    """A machine takes a frame, a frame an engine. B1 takes one frame, or an engine that is there
    for it; five machines are expected."""
    data = shop(
        parts=(*shop().parts, Part(part="FRAME", make=True)),
        bills=(
            BillLine(parent="MACHINE", component="FRAME", quantity_milli=UNIT),
            BillLine(parent="FRAME", component="ENGINE", quantity_milli=UNIT),
        ),
        sources=(source(5),),
        stock=(stock(frames, part="FRAME"), stock(int(not frames))),
        demand=(Demand(part="MACHINE", month="2026-04", quantity_milli=5 * UNIT),),
        builds=on(20),
    )
    plan, _ = best_plan(data, SETTINGS)
    found = bought(data, demand_ahead(Problem(data, SETTINGS), plan, 2), plan=plan)
    assert sum(line.quantity_milli for line in found.lines) == engines_bought * UNIT


def test_less_than_half_a_step_is_not_bought_yet() -> None:
    # 0.4, 0.8, 1.2: half of the first is expected by April, half of the second never
    data = shop(sources=(source(1),))
    found = bought(data, expected(0.4, 0.4, 0.4))
    line = only(found)
    assert (line.quantity_milli, [row.who for row in line.served]) == (UNIT, ["2026-04"])


def test_what_is_made_is_not_bought() -> None:
    data = shop(sources=(source(1), source(1, part="MACHINE")))
    assert bought(data, expected(3, part="MACHINE")).lines == ()


# ---- safety stock


def test_safety_stock_by_hand() -> None:
    # 3 a month, each order 1: deviation 1.732 a month; 30 / 30.4375 = 0.9856 months: 1.7196;
    # x 1.6449 = 2.83, so 3. Nothing can come before 1 April: 3 + 3 + 3 at once.
    data = shop(sources=(source(30),))
    found = bought(data, expected(3, 3), service=0.95)
    assert found.safety_milli == {"ENGINE": 3 * UNIT}
    line = only(found)
    assert days_of(line) == (AS_OF, date(2026, 4, 1), date(2026, 4, 1), 30)
    assert (line.forecast_milli, line.safety_milli, line.more_milli) == (6 * UNIT, 3 * UNIT, 0)


def test_what_is_hardly_ever_ordered_needs_no_safety_stock() -> None:
    # 0.04 a month in one month of lead time: none is ordered in 96 of 100
    data = shop(sources=(source(30),))
    assert bought(data, expected(0.04), service=0.95).safety_milli == {}


@pytest.mark.parametrize("service", [0.0, 1.0, -0.1, 2.0])
def test_a_service_that_cannot_be(service: float) -> None:
    with pytest.raises(ValueError, match="above 0 and below 1"):
        bought(shop(), service=service)


# ---- sizes and sources


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


# ---- what it costs, and on which day somebody orders it


def test_without_a_price_the_cost_of_the_part_stands_beside() -> None:
    terms = source(10, minimum_milli=3 * UNIT)
    data = shop(sources=(terms,), builds=on(25))
    parts = tuple(
        replace(row, cost_micro=7 * MICRO if row.part == "ENGINE" else None) for row in data.parts
    )
    found = bought(replace(data, parts=parts))
    line = only(found)
    assert (line.price_micro, line.cost_micro, line.estimate_micro) == (None, None, 21 * MICRO)
    assert found.buying_micro == line.estimate_micro
    priced = replace(terms, price_micro=9 * MICRO)
    line = only(bought(replace(data, parts=parts, sources=(priced,))))
    assert (line.cost_micro, line.estimate_micro) == (27 * MICRO, None)
    line = only(bought(data))
    assert (line.cost_micro, line.estimate_micro) == (None, None)


@pytest.mark.parametrize(
    ("place_on", "first", "ordered"),
    [
        (6, 2, 6),  # a Friday
        (7, 2, 6),
        (8, 6, 6),
        (7, 7, 7),  # that Friday is past
        (8, 7, 8),
        (9, 2, 9),
    ],
)
def test_of_a_weekend_it_is_ordered_on_the_friday_before(
    place_on: int, first: int, ordered: int
) -> None:
    assert order_on(march(place_on), march(first)) == march(ordered)


# ---- expediting


@pytest.mark.parametrize(("cost", "hurried"), [(5999, True), (6000, False)])
def test_expediting_pays_where_it_saves_more_lateness(cost: int, hurried: bool) -> None:
    # half come after 20 days, on the 22nd, 10 after the 12th: 6 days sooner save 6 x 1000
    terms = source(10, expedite_days=6, expedite_cost_micro=cost * MICRO)
    data = shop(sources=(terms,), receipts=took(20, 20, 20, 20, 20), builds=on(12))
    line = only(bought(data))
    assert line.expedited == hurried
    assert line.due_on == (march(6) if hurried else march(12))
    assert line.saves_micro == (6000 * MICRO if hurried else 0)
    assert line.expedite_cost_micro == (cost * MICRO if hurried else 0)


def test_what_the_plan_expedites_is_bought_so() -> None:
    # 5 days late at 1000 a day, or expedited for 100
    terms = source(10, expedite_days=7, expedite_cost_micro=100 * MICRO)
    data = shop(sources=(terms,), builds=on(5))
    line = only(bought(data))
    assert (line.expedited, line.place_on, line.due_on) == (True, AS_OF, march(5))


# ---- a budget


def test_a_budget_of_nothing_buys_nothing() -> None:
    data = shop(sources=(source(5, price_micro=10 * MICRO),), builds=on(25))
    found = bought(data, budget_micro=0)
    assert found.lines == ()
    (short,) = found.short
    assert (short.who, short.comes_on) == ("B1", None)
    assert (short.why_not, short.for_cash) == ("the budget lets no more come until 2026-03", True)
    with pytest.raises(ValueError, match="below 0"):
        bought(data, budget_micro=-1)


def test_what_is_firm_has_the_cash_before_what_is_expected() -> None:
    # an order costs 50 besides, so 150 a month are for the engine in March, or for all 20 others
    data = shop(
        sources=(
            source(5, price_micro=100 * MICRO),
            source(5, part="ENGINE2", price_micro=5 * MICRO),
        ),
        builds=on(25),
    )
    found = bought(data, expected(20, 0, part="ENGINE2"), budget_micro=150 * MICRO)
    assert [(line.part, line.due_on.month) for line in found.lines] == [
        ("ENGINE", 3),
        ("ENGINE2", 4),
    ]
    spent = Counter[int]()
    for line in found.lines:
        spent[line.due_on.month] += (line.cost_micro or 0) + SETTINGS.order_cost_micro
    assert max(spent.values()) == 150 * MICRO


def test_what_waits_for_the_budget_is_told_and_until_when() -> None:
    # two engines by the 25th of March at 100 and 50 to order each time: 150 a month are for one
    data = shop(sources=(source(5, price_micro=100 * MICRO),), builds=on(24) + on(25, "B2"))
    found = bought(data, expected(0, 0), budget_micro=150 * MICRO)
    assert [line.due_on.month for line in found.lines] == [3, 4]
    (short,) = found.short
    assert (short.who, short.comes_on, short.for_cash) == ("B2", found.lines[1].due_on, True)
    assert short.why_not == "the budget lets it come no sooner"
    assert bought(data, expected(0, 0), budget_micro=300 * MICRO).short == ()


@pytest.mark.parametrize(("breaks", "units"), [((), 19), ((60,), 23)])
def test_what_the_plan_expedites_is_paid_first_with_all_that_it_costs(
    breaks: tuple[int, ...], units: int
) -> None:
    """Of 400 in March the engine expedited takes 100 + 10 + 50 to order it: 240 are left for 19
    others at 10, and 50 to order them. At 60 from one on, 280 for 23."""
    terms = replace(hurried(40, 35, 10), price_micro=100 * MICRO)
    parts = (Part(part="MACHINE", make=True), Part(part="ENGINE"), Part(part="ENGINE2"))
    data = shop(
        parts=parts,
        sources=(terms, source(5, part="ENGINE2", price_micro=10 * MICRO)),
        price_breaks=tuple(
            PriceBreak(
                part="ENGINE",
                supplier="S",
                from_quantity_milli=UNIT,
                price_micro=price * MICRO,
            )
            for price in breaks
        ),
        builds=(build("B1", march(9)),),
    )
    found = bought(data, expected(100, part="ENGINE2"), budget_micro=400 * MICRO)
    paid = Counter[int]()
    for line in found.lines:
        paid[line.due_on.month] += (line.cost_micro or 0) + line.expedite_cost_micro
        paid[line.due_on.month] += SETTINGS.order_cost_micro
    assert paid[3] == 400 * MICRO
    others = [line for line in found.lines if line.part == "ENGINE2" and line.due_on.month == 3]
    assert [line.quantity_milli for line in others] == [units * UNIT]


def test_with_an_ample_budget_the_lines_are_those_without_any() -> None:
    # 20 and no more may come a month; the one that is wanted beyond may not wait to save an order
    only_20 = source(
        5, minimum_milli=20 * UNIT, monthly_cap_milli=20 * UNIT, price_micro=10 * MICRO
    )
    data, wanted = shop(sources=(only_20,)), expected(10, 11)
    free = bought(data, wanted)
    assert [line.quantity_milli for line in free.lines] == [20 * UNIT] * 2
    assert bought(data, wanted, budget_micro=10**6 * MICRO).lines == free.lines


# ---- properties


def as_purchases(lines: tuple[BuyLine, ...]) -> tuple[Purchase, ...]:
    return tuple(
        Purchase(
            order="BOUGHT",
            line=str(number),
            part=line.part,
            supplier=line.supplier,
            point=line.point,
            quantity_milli=line.quantity_milli,
            ordered=line.place_on,
            due=line.due_on,
        )
        for number, line in enumerate(lines, 1)
    )


@settings(max_examples=15, deadline=None)
@given(book=books(parts_orders=False, builds=2))
def test_with_what_is_bought_no_more_is_needed(book: Dataset) -> None:
    """Without any new order the best plan costs no more than the one that counted on some, and
    nothing is bought twice."""
    terms = settings_of(book)
    plan, cost = best_plan(book, terms)
    found = _of_random(book, plan, months=1)
    assert not [row for row in found.short if row.why is Why.FIRM]
    after = replace(book, purchases=(*book.purchases, *as_purchases(found.lines)))
    assert optimum(replace(after, sources=()), terms) <= cost
    assert _of_random(after, plan, months=1).lines == ()


def _of_random(book: Dataset, plan: Plan, months: int) -> Buying:
    terms = settings_of(book)
    problem = Problem(book, terms)
    demand = demand_ahead(problem, plan, months)
    return what_to_buy(problem, plan, demand, lead_times(book, terms, with_drift=False), gap=0.0)


def _random_terms(seed: int) -> tuple[Dataset, Plan, DemandAhead]:
    """A book with a second supplier and a forecast."""
    rng = Random(seed)
    shape = Shape(builds=2, points=2, parts_orders=False, downtime=False, stations=False)
    book = random_book(seed, shape)
    second: list[Source] = [
        replace(
            row,
            supplier="T",
            lead_days=rng.randint(1, 40),
            monthly_cap_milli=rng.choice((None, 2 * UNIT, 5 * UNIT)),
            minimum_milli=rng.randint(0, 3) * UNIT,
            multiple_milli=rng.randint(0, 2) * UNIT,
            price_micro=rng.randint(1, 9) * MICRO,
        )
        for row in book.sources
        if rng.random() < 0.7
    ]
    book = replace(
        book,
        suppliers=(*book.suppliers, Supplier(supplier="T")),
        sources=(*book.sources, *second),
    )
    months = ("2026-03", "2026-04", "2026-05")
    forecast = {
        part: tuple(ForecastNeed(month, rng.randint(1, 4000), "given") for month in months)
        for part in ("ENGINE", "PUMP")
    }
    return book, best_plan(book, settings_of(book))[0], DemandAhead(months, {}, forecast, {}, ())


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_lines_keep_to_what_suppliers_allow_and_add_up(seed: int) -> None:
    book, plan, demand = _random_terms(seed)
    terms = settings_of(book)
    problem = Problem(book, terms)
    found = what_to_buy(problem, plan, demand, {}, service=0.9, gap=0.0)
    sources = {(row.part, row.supplier, row.point): row for row in book.sources}
    coming: Counter[tuple[str, str, str]] = Counter()
    for row in book.purchases:
        coming[row.part, row.supplier, terms.counted_on(row.due).isoformat()[:7]] += (
            row.quantity_milli
        )
    for line in found.lines:
        offer = sources[line.part, line.supplier, line.point]
        assert line.place_on >= terms.as_of
        days = offer.lead_days - (offer.expedite_days or 0) * line.expedited
        assert (line.due_on - line.place_on).days == max(0, days)
        assert line.quantity_milli >= offer.minimum_milli
        assert line.quantity_milli % (offer.multiple_milli or UNIT) == 0
        coming[line.part, line.supplier, line.due_on.isoformat()[:7]] += line.quantity_milli
        parts = (line.firm_milli, line.forecast_milli, line.safety_milli, line.more_milli)
        assert sum(parts) == line.quantity_milli
        assert min(parts) >= 0
        assert sum(row.quantity_milli for row in line.served) + line.more_milli == (
            line.quantity_milli
        )
    for (part, supplier, _), milli in coming.items():
        cap = next(
            (s.monthly_cap_milli for s in book.sources if (s.part, s.supplier) == (part, supplier)),
            None,
        )
        bought_any = any((r.part, r.supplier) == (part, supplier) for r in found.lines)
        assert cap is None or not bought_any or milli <= max(cap, _open(book, part, supplier))
    _all_is_told(problem, plan, demand, found)
    _no_source_brings_sooner(problem, found)


def _no_source_brings_sooner(problem: Problem, found: Buying) -> None:
    """Where that is told: no source has an order left that would come sooner than any late line."""
    book, terms = problem.dataset, problem.settings
    coming: Counter[tuple[str, str, str]] = Counter()
    for row in book.purchases:
        coming[row.part, row.supplier, month_of(terms.counted_on(row.due))] += row.quantity_milli
    for line in found.lines:
        coming[line.part, line.supplier, month_of(line.due_on)] += line.quantity_milli
    for short in found.short:
        if short.comes_on is None or short.why_not != NOT_SOONER:
            continue
        for offer in book.sources:
            if (offer.part, offer.point) != (short.part, short.point):
                continue
            day = first_arrival(terms, offer)
            while day < short.comes_on:
                cap = offer.monthly_cap_milli
                assert cap is not None
                left = cap - coming[offer.part, offer.supplier, month_of(day)]
                assert not whole_orders(offer, left)
                day = (day.replace(day=1) + timedelta(32)).replace(day=1)


def _open(book: Dataset, part: str, supplier: str) -> int:
    return sum(
        row.quantity_milli for row in book.purchases if (row.part, row.supplier) == (part, supplier)
    )


def _all_is_told(problem: Problem, plan: Plan, demand: DemandAhead, found: Buying) -> None:
    """What is wanted is served by a line or short, to the last thousandth."""
    wants = wanted(problem, plan, demand, found.safety_milli)
    for (part, point), rows in wants.wants.items():
        served = sum(
            one.quantity_milli
            for line in found.lines
            if (line.part, line.point) == (part, point)
            for one in line.served
        )
        never = sum(
            row.quantity_milli
            for row in found.short
            if (row.part, row.point) == (part, point) and row.comes_on is None
        )
        assert served + never == sum(row.milli for row in rows)
    assert Fraction(0) <= Fraction(found.gap) <= 1

"""How long parts last: by hand on the shop of one station, and against a count of every day.

The planning date is Monday 2026-03-02; March has 22 working days from then on (2 to 6, 9 to 13, 16
to 20, 23 to 27, 30, 31), April 22, too (1 to 3, 6 to 10, 13 to 17, 20 to 24, 27 to 30).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from random import Random

import pytest
import small_shop
from books import random_book, settings_of, shapes
from fulfil_models.cover import PartCover, cover
from fulfil_models.demand_ahead import DemandAhead, demand_ahead
from fulfil_models.leadtimes import lead_times
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import Closure, Dataset, Demand, Part, Purchase, Receipt
from fulfil_models.taken import NOTHING, Taken, purchase_key, stock_key
from hypothesis import given, settings
from hypothesis import strategies as st
from tiny_shop import AS_OF, build, march, order, purchase, shop, source, stock

WHOLE = 1000


def covers(
    data: Dataset,
    months: int = 2,
    point: str | None = None,
    *,
    weeks: bool = False,
    taken: Taken = NOTHING,
) -> dict[str, PartCover]:
    problem = Problem(data, Settings(as_of=AS_OF), taken=taken)
    demand = demand_ahead(problem, None, months)
    leads = lead_times(data, problem.settings, with_drift=False)
    rows = cover(problem, None, demand, leads, point=point, weeks=weeks)
    return {row.part: row for row in rows}


def engine(
    data: Dataset, months: int = 2, point: str | None = None, *, taken: Taken = NOTHING
) -> PartCover:
    return covers(data, months, point, taken=taken)["ENGINE"]


def forecast(month: str, units: int) -> Demand:
    return Demand(part="ENGINE", month=month, quantity_milli=units * WHOLE)


def receipts(*took_days: int) -> tuple[Receipt, ...]:
    ordered = date(2025, 11, 3)
    return tuple(
        Receipt(
            order="OLD",
            line=str(number),
            part="ENGINE",
            supplier="S",
            point="A",
            quantity_milli=WHOLE,
            ordered=ordered,
            due=ordered + timedelta(14),
            received=ordered + timedelta(days),
        )
        for number, days in enumerate(took_days)
    )


BUILDS = (
    build("B1", march(5)),
    build("B2", march(10)),
    build("B3", march(10)),
    build("B4", march(20)),
    build("B5", date(2026, 4, 2)),
)


def test_by_hand() -> None:
    # there 2; 5 March -1 = 1; 10 March -2 = -1; 16 March +1 = 0; 20 March -1 = -1; April -1
    row = engine(
        shop(
            builds=BUILDS,
            stock=(stock(2),),
            purchases=(purchase("P1", march(16)),),
            sources=(source(14),),
        )
    )
    assert row.stated.runs_out_on == row.stated.firm_runs_out_on == march(10)
    assert row.stated.days == 8
    assert row.stated.back_on == march(16)
    assert row.stated.short_milli == 2 * WHOLE
    # Tuesday 10 March less 14 days is Tuesday 24 February
    assert row.order_by == date(2026, 2, 24)
    assert row.stock_days == 8
    assert [
        (p.period, p.on_hand_milli, p.firm_milli, p.coming_stated_milli, p.balance_stated_milli)
        for p in row.periods
    ] == [("2026-03", 2000, 4000, 1000, -1000), ("2026-04", -1000, 1000, 0, -2000)]


def test_who_is_hit_stands_between_the_run_out_and_the_next_arrival_by_promise() -> None:
    # 10 to 15 March nothing is left; B4 of 20 March finds the purchase of 16 March
    data = shop(
        builds=(build("B0", march(10)), *BUILDS),
        stock=(stock(2),),
        purchases=(purchase("P1", march(16), 3),),
    )
    row = engine(data)
    assert [(hit.who, hit.needed_on, hit.harm_ppm) for hit in row.hits] == [
        ("B0", march(10), 0),
        ("B2", march(10), 0),
        ("B3", march(10), 0),
    ]
    assert row.order_by is None
    assert row.last_order is None


def test_forecast_falls_evenly_over_working_days_and_stays_apart() -> None:
    # 22 in April, one each working day: the sixth is Wednesday 8 April, where 5 are gone
    row = engine(shop(stock=(stock(5),), demand=(forecast("2026-04", 22),), sources=(source(14),)))
    assert row.stated.runs_out_on == date(2026, 4, 8)
    assert row.stated.firm_runs_out_on is None
    assert (row.firm_milli, row.forecast_milli, row.how) == (0, 22 * WHOLE, ("given",))
    # all of March; nothing is needed in it, and 7 days of April
    assert [(p.forecast_milli, p.cover_days) for p in row.periods] == [(0, 7), (22 * WHOLE, 0)]
    assert row.order_by == date(2026, 3, 25)


def test_a_day_on_which_every_point_is_closed_takes_none() -> None:
    # without Monday 6 April 21 working days are left; 21 fall on them, the sixth on the 9th
    closed = (Closure(calendar="standard", day=date(2026, 4, 6), reason="closed"),)
    data = shop(stock=(stock(5),), demand=(forecast("2026-04", 21),), closures=closed)
    assert engine(data).stated.runs_out_on == date(2026, 4, 9)


def test_the_record_tells_open_lines_and_new_orders_apart_from_what_is_stated() -> None:
    # took 21, 24, 24, 28, 35 days; a line of 20 February is 10 days old: 5 of 5 took longer, so
    # half come within 24 (Monday 16 March), 90 % within 35 (Friday 27 March)
    data = shop(
        builds=(build("B1", march(18)),),
        purchases=(purchase("P1", march(6), ordered=date(2026, 2, 20)),),
        receipts=receipts(21, 24, 24, 28, 35),
        sources=(source(14),),
    )
    row = engine(data, 1)
    (line,) = row.lines
    assert (line.stated_on, line.on_50, line.on_90) == (march(6), march(16), march(27))
    assert row.stated.runs_out_on is None
    assert row.learnt_50.runs_out_on is None
    assert (row.learnt_90.runs_out_on, row.learnt_90.back_on) == (march(18), march(27))
    # Wednesday 18 March less 35 days is Wednesday 11 February
    assert row.order_by == date(2026, 2, 11)
    assert row.last_order is not None
    assert (row.last_order.stated_days, row.last_order.days_90) == (14, 35)
    (period,) = row.periods
    coming = (period.coming_stated_milli, period.coming_50_milli, period.coming_90_milli)
    assert coming == (WHOLE, WHOLE, WHOLE)


def test_where_too_much_is_open_it_takes_so_long_at_least() -> None:
    # five took 20 days and five lines are open for 25: 90 of 100 take those 25 at least, which from
    # Friday 1 May is Monday 6 April
    data = shop(
        builds=(build("B1", date(2026, 5, 1), ordered=march(1)),),
        purchases=tuple(
            purchase(f"P{n}", date(2026, 7, 1), ordered=date(2026, 2, 5)) for n in range(5)
        ),
        receipts=receipts(*[20] * 5),
        sources=(source(14),),
    )
    row = engine(data, 3)
    assert row.learnt_90.runs_out_on == date(2026, 5, 1)
    assert row.order_by == date(2026, 4, 6)
    assert row.last_order is not None
    assert (row.last_order.days_90, row.last_order.at_least) == (25, True)


def test_no_line_comes_before_its_due_date_by_the_record() -> None:
    data = shop(
        purchases=(purchase("P1", date(2026, 5, 4), ordered=march(1)),),
        receipts=receipts(21, 24, 24, 28, 35),
        sources=(source(14),),
    )
    (line,) = engine(data, 3).lines
    assert line.on_50 == line.on_90 == date(2026, 5, 4)


def test_past_due_is_counted_the_overdue_days_later_and_weekends_wait() -> None:
    # past due: 2 March + 7 = Monday 9 March; due on Saturday 14 March: Monday the 16th
    data = shop(purchases=(purchase("P1", date(2026, 2, 20)), purchase("P2", march(14))))
    lines = engine(data).lines
    assert [(line.past_due, line.stated_on) for line in lines] == [
        (True, march(9)),
        (False, march(16)),
    ]


def test_the_last_day_to_order_is_a_working_day_of_the_latest_source() -> None:
    # Tuesday 10 March less 9 days is Sunday the 1st, so Friday 27 February; the other takes 30
    sources = (source(9), source(30, supplier="T"))
    row = engine(shop(builds=(build("B1", march(10)),), sources=sources))
    assert row.order_by == date(2026, 2, 27)
    assert row.last_order is not None
    assert row.last_order.supplier == "S"


def test_an_order_takes_as_long_as_to_its_own_point() -> None:
    # all came as stated, 12 to A after 14 days, 8 to B after 60: for Tuesday 10 March the last day
    # is 24 February, to A
    data = shop(
        builds=(build("B1", march(10)),),
        sources=(source(14), source(60, point="B")),
        receipts=(
            *receipts(*[14] * 12),
            *(replace(row, order="B", point="B") for row in receipts(*[60] * 8)),
        ),
    )
    row = engine(data)
    assert row.order_by == date(2026, 2, 24)
    assert row.last_order is not None
    assert (row.last_order.point, row.last_order.days_90) == ("A", 14)


def test_who_can_never_be_asked_gives_no_last_day() -> None:
    # FAST lets nothing go, and QUICK two a month of orders by five: Tuesday 10 March less the 30
    # days of S is Sunday 8 February, so Friday the 6th
    never = (
        source(3, 0, supplier="FAST"),
        source(4, 2, supplier="QUICK", multiple_milli=5 * WHOLE),
    )
    builds = (build("B1", march(10)),)
    row = engine(shop(builds=builds, sources=(*never, source(30))))
    assert row.order_by == date(2026, 2, 6)
    assert row.last_order is not None
    assert row.last_order.supplier == "S"
    alone = engine(shop(builds=builds, sources=never))
    assert (alone.order_by, alone.last_order) == (None, None)


def test_who_was_faster_than_he_says_has_promised_no_more() -> None:
    # all took 20 days, 60 are stated: Friday 29 May less 60 days is Monday 30 March
    data = shop(
        builds=(build("B1", date(2026, 5, 29), ordered=march(1)),),
        sources=(source(60),),
        receipts=receipts(*[20] * 10),
    )
    row = engine(data, 3)
    assert row.learnt_90.runs_out_on == date(2026, 5, 29)
    assert row.order_by == date(2026, 3, 30)
    assert row.last_order is not None
    assert row.last_order.days_90 == 60


def test_held_stock_is_not_there() -> None:
    row = engine(shop(builds=BUILDS, stock=(stock(2, held=2),)))
    assert (row.on_hand_milli, row.stated.runs_out_on) == (0, march(5))


def test_what_held_quotes_keep_is_neither_there_nor_on_order() -> None:
    """Two there and three on order from the 9th; a quote keeps one of each and would order two.
    B1 takes the one that is left on the 5th, B2 and B3 both of the 10th, B4 finds none."""
    data = shop(builds=BUILDS, stock=(stock(2),), purchases=(purchase("P1", march(9), 3),))
    assert engine(data).stated.runs_out_on is None
    lots = {stock_key("A", "ENGINE"): WHOLE, purchase_key("P1", "1"): WHOLE}
    order = replace(purchase("Q1:new", march(31), 2), line="plan")
    lots[purchase_key("Q1:new", "plan")] = 2 * WHOLE
    taken = Taken(lots, orders=(order,), drawers=dict.fromkeys(lots, ("Q1",)))
    row = engine(data, taken=taken)
    assert (row.on_hand_milli, row.on_order_milli) == (WHOLE, 2 * WHOLE)
    assert (row.kept_milli, row.kept_order_milli, row.kept_for) == (2 * WHOLE, 2 * WHOLE, ("Q1",))
    assert [(line.quantity_milli, line.kept_milli) for line in row.lines] == [(3 * WHOLE, WHOLE)]
    assert row.stated.runs_out_on == march(20)
    assert engine(data, point="A", taken=taken).kept_milli == 2 * WHOLE
    assert "ENGINE" not in covers(data, point="B", taken=taken)


def test_one_point_alone_counts_no_forecast_and_nothing_elsewhere() -> None:
    data = shop(
        builds=BUILDS,
        stock=(stock(1), stock(9, "B")),
        demand=(forecast("2026-03", 40),),
        parts_orders=(order("O1", 3, march(4)),),
        purchases=(purchase("P1", march(4), 5, point="B"),),
    )
    row = engine(data, point="A")
    # no plan says from where O1 ships
    assert (row.on_hand_milli, row.on_order_milli, row.firm_milli) == (WHOLE, 0, 5 * WHOLE)
    assert (row.forecast_milli, row.stated.runs_out_on) == (0, march(10))


def test_what_the_plan_delays_for_want_of_it_counts_when_it_was_wanted() -> None:
    # the engines of the small shop: 2 there; B1 on the 2nd, B3 a day late on the 5th, so wanted on
    # the 4th; B4 six days late on the 16th, wanted on the 10th: -1 until P1 of the 16th; B5 is not
    # promised and takes one on the 23rd
    problem = Problem(small_shop.dataset(), Settings(as_of=small_shop.AS_OF))
    plan = small_shop.plan()
    demand = demand_ahead(problem, plan, 1)
    leads = lead_times(problem.dataset, problem.settings)
    (row,) = cover(problem, plan, demand, leads, parts={"ENG-A"})
    assert (row.stated.runs_out_on, row.stated.back_on) == (march(10), march(16))
    # the source takes 21 days: from Tuesday 17 February
    assert row.order_by == date(2026, 2, 17)
    told = [(hit.who, hit.needed_on, hit.late_days, hit.harm_ppm) for hit in row.hits]
    assert told == [("B4", march(10), 6, 6_000_000), ("B3", march(4), 1, 1_000_000)]


def test_the_soonest_last_day_to_order_comes_first() -> None:
    data = shop(
        parts=(
            Part(part="MACHINE", make=True),
            *(Part(part=name) for name in ("ENGINE", "LATER", "NOBODY", "SOON")),
        ),
        parts_orders=(
            order("O1", 1, march(27), part="LATER"),
            order("O2", 1, march(3), part="NOBODY"),
            order("O3", 1, march(30), part="SOON"),
        ),
        sources=(source(5, part="LATER"), source(60, part="SOON")),
    )
    assert list(covers(data)) == ["SOON", "LATER", "NOBODY"]


def test_parts_made_here_and_parts_nobody_needs_are_left_out() -> None:
    assert list(covers(shop(builds=BUILDS))) == ["ENGINE"]


def test_weeks_begin_on_monday() -> None:
    data = shop(builds=BUILDS, stock=(stock(9),))
    periods = covers(data, 1, weeks=True)["ENGINE"].periods
    assert [(p.period, p.until, p.firm_milli) for p in periods] == [
        ("2026-03-02", march(8), WHOLE),
        ("2026-03-09", march(15), 2 * WHOLE),
        ("2026-03-16", march(22), WHOLE),
        ("2026-03-23", march(29), 0),
        ("2026-03-30", march(31), 0),
    ]


# ---- laws, on random books


def with_supply(data: Dataset, seed: int) -> Dataset:
    """The same book with forecasts, open purchases and deliveries that took their time."""
    rng = Random(seed)
    as_of = settings_of(data).as_of
    bought = [row.part for row in data.parts if not row.make]
    points = [row.point for row in data.points]
    supplier = data.suppliers[0].supplier if data.suppliers else None
    if not bought or supplier is None:
        return data
    month = as_of.replace(day=1)
    demand = {(rng.choice(bought), f"{month + timedelta(31 * n):%Y-%m}") for n in range(3)}
    purchases, came = [], []
    for number in range(rng.randint(0, 4)):
        common = {
            "line": str(number),
            "part": rng.choice(bought),
            "supplier": supplier,
            "point": rng.choice(points),
            "quantity_milli": rng.randint(1, 4) * WHOLE,
        }
        ordered = as_of - timedelta(rng.randint(1, 60))
        due = ordered + timedelta(rng.randint(5, 80))
        purchases.append(Purchase(order="OPEN", ordered=ordered, due=due, **common))  # type: ignore[arg-type]
        for past in range(rng.choice((0, 6))):
            early = as_of - timedelta(300 + past)
            took = timedelta(rng.randint(3, 90))
            came.append(
                Receipt(
                    order=f"CAME{past}",
                    ordered=early,
                    due=early + timedelta(30),
                    received=early + took,
                    **common,  # type: ignore[arg-type]
                )
            )
    return replace(
        data,
        demand=tuple(
            Demand(part=part, month=name, quantity_milli=rng.randint(1, 30) * WHOLE)
            for part, name in sorted(demand)
        ),
        purchases=tuple(purchases),
        receipts=tuple(came),
    )


def daily(row: PartCover, demand: DemandAhead, as_of: date, days: int) -> Iterator[tuple[int, int]]:
    """Balance by stated dates at the end of each day by firm needs alone, counted one by one; and
    the greatest that forecast needs can take off it by then."""
    for number in range(days):
        day = as_of + timedelta(number)
        left = row.on_hand_milli
        left += sum(line.quantity_milli for line in row.lines if line.stated_on <= day)
        left -= sum(need.milli for need in demand.firm.get(row.part, ()) if need.day <= day)
        rest = sum(
            need.milli for need in demand.forecast.get(row.part, ()) if need.month <= f"{day:%Y-%m}"
        )
        yield left, rest


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), shapes())
def test_balances_add_up(seed: int, shape: object) -> None:
    data = with_supply(random_book(seed, shape), seed)  # type: ignore[arg-type]
    problem = Problem(data, settings_of(data))
    demand = demand_ahead(problem, None, 3)
    leads = lead_times(data, problem.settings, with_drift=False)
    by_week = cover(problem, None, demand, leads, weeks=True)
    by_month = cover(problem, None, demand, leads)
    for row, weekly in zip(by_month, by_week, strict=True):
        for periods in (row.periods, weekly.periods):
            stated = half = ninety = row.on_hand_milli
            for period in periods:
                assert period.on_hand_milli == stated
                went = period.firm_milli + period.forecast_milli
                stated += period.coming_stated_milli - went
                half += period.coming_50_milli - went
                ninety += period.coming_90_milli - went
                assert stated == period.balance_stated_milli
                assert half == period.balance_50_milli
                assert ninety == period.balance_90_milli
                assert ninety <= half  # nine of ten orders are not there before half are
        assert row.periods[-1].balance_90_milli == weekly.periods[-1].balance_90_milli
        for outlook in (row.stated, row.learnt_50, row.learnt_90):
            firm = outlook.firm_runs_out_on
            assert firm is None or (outlook.runs_out_on or date.max) <= firm
        days = (row.periods[-1].until - problem.as_of).days + 1
        counted = list(daily(row, demand, problem.as_of, days))
        fails = next((n for n, (left, _) in enumerate(counted) if left < 0), None)
        told = row.stated.firm_runs_out_on
        assert told == (None if fails is None else problem.as_of + timedelta(fails))
        if row.stated.runs_out_on is not None:
            left, rest = counted[(row.stated.runs_out_on - problem.as_of).days]
            assert left - rest < 0
        ends = [(p.until - problem.as_of).days for p in row.periods]
        assert [sum(counted[end]) - 2 * counted[end][1] for end in ends] == [
            p.balance_stated_milli for p in row.periods
        ]


def test_months_are_one_at_least() -> None:
    with pytest.raises(ValueError, match="ask for 1 or more"):
        covers(shop(), 0)

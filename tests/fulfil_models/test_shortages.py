"""Which parts hold builds up, when they run out, and the last day to order."""

from __future__ import annotations

import dataclasses
from datetime import date

import small_shop
from fulfil_models.plan import SupplyKind
from fulfil_models.settings import Settings
from fulfil_models.shortages import MonthlyCap, Replaced, shortage, shortages
from fulfil_models.tables import Lane, Source
from fulfil_models.timeline import Gap, MovementKind, gaps, timeline

SETTINGS = Settings(as_of=small_shop.AS_OF)
DATA, PLAN = small_shop.dataset(), small_shop.plan()


def test_the_parts_that_hold_something_up() -> None:
    # LAMP makes a parts order 10 days late, ENG-A two builds 1 + 6 days
    found = shortages(DATA, SETTINGS, PLAN)
    assert [(row.part, row.late_days) for row in found] == [("LAMP", 10), ("ENG-A", 7)]


def test_the_scarce_engine() -> None:
    engine = shortages(DATA, SETTINGS, PLAN)[1]
    assert engine.needed_milli == 4000  # B1, B3, B4 and B5; B2 takes the alternate
    assert engine.on_hand_total_milli == 2000  # 1 of 2 free at BOI, 1 at RNO
    assert [(row.point, row.free_milli, row.held_milli) for row in engine.on_hand] == [
        ("BOI", 1000, 1000),
        ("RNO", 1000, 0),
    ]
    assert engine.on_order_total_milli == 1000
    assert [(row.order, row.counted_on, row.confirmed) for row in engine.on_order] == [
        ("P1", date(2026, 3, 16), False)
    ]
    assert engine.to_order_total_milli == 1000
    assert engine.monthly_caps == (MonthlyCap("S1", 2000),)


def test_who_waits_in_the_order_in_which_they_get_it() -> None:
    waiting = shortages(DATA, SETTINGS, PLAN)[1].waiting
    assert [(row.who, row.days, row.late_days, row.origin.first) for row in waiting] == [
        ("B3", 3, 1, SupplyKind.STOCK),  # stock of RNO, moved
        ("B4", 14, 6, SupplyKind.PURCHASE),
        ("B5", 21, 0, SupplyKind.NEW_PURCHASE),
    ]


def test_the_last_day_to_order() -> None:
    engine = shortages(DATA, SETTINGS, PLAN)[1]
    # B3 takes it on 03-05 and is 1 day late: wanted on 03-04, 21 days of lead time before 02-11
    # B4 takes it on 03-16 and is 6 days late: wanted on 03-10, so by 02-17; B5 has no promise
    assert [(row.who, row.wanted_on, row.order_by) for row in engine.waiting] == [
        ("B3", date(2026, 3, 4), date(2026, 2, 11)),
        ("B4", date(2026, 3, 10), date(2026, 2, 17)),
        ("B5", None, None),
    ]
    assert engine.lead_days == 21
    assert engine.order_by == date(2026, 2, 11)
    assert (engine.order_for, engine.order_for_since) == ("B3", date(2026, 2, 2))
    assert {row.ordered for row in engine.waiting} == {date(2026, 2, 2)}
    assert engine.missed_by_days == 19  # 02-11 to 03-02


def test_a_day_to_order_that_is_still_to_come() -> None:
    # with a lead time of 5 days: wanted on 03-10, so by 03-05; B3 by 02-27
    source = dataclasses.replace(DATA.sources[0], lead_days=5)
    data = dataclasses.replace(DATA, sources=(source,))
    engine = shortages(data, SETTINGS, PLAN)[1]
    assert [row.order_by for row in engine.waiting[:2]] == [date(2026, 2, 27), date(2026, 3, 5)]
    assert engine.missed_by_days == 3
    plan = dataclasses.replace(PLAN, builds=tuple(b for b in PLAN.builds if b.build != "B3"))
    plan = dataclasses.replace(
        plan,
        jobs=tuple(j for j in PLAN.jobs if j.build != "B3"),
        pegs=tuple(p for p in PLAN.pegs if not p.job.startswith("B3")),
    )
    engine = shortage(data, SETTINGS, plan, "ENG-A")
    assert engine.order_by == date(2026, 3, 5)
    assert engine.missed_by_days is None


def test_lead_times_reach_over_lanes() -> None:
    # delivered to RNO in 10 days and moved in 2: 12 days, less than 21 straight to BOI
    data = dataclasses.replace(
        DATA,
        sources=(
            *DATA.sources,
            Source(part="ENG-A", supplier="S1", point="RNO", lead_days=10),
        ),
        lanes=(Lane(origin="RNO", destination="BOI", days=2),),
    )
    assert shortage(data, SETTINGS, PLAN, "ENG-A").lead_days == 12


def test_the_last_day_to_order_keeps_to_departures() -> None:
    # delivered to RNO alone in 10 days; the lane leaves on Tuesdays and takes 2 days. B3 wants it
    # on Wednesday 03-04: what leaves on 03-03 comes a day too late, so it has to leave on 02-24,
    # and to be ordered by 02-14. 12 days before 03-04 would be 02-20, which comes too late
    source = Source(part="ENG-A", supplier="S1", point="RNO", lead_days=10, expedite_days=4)
    data = dataclasses.replace(DATA, sources=(source,))
    engine = shortage(data, SETTINGS, PLAN, "ENG-A")
    assert engine.waiting[0].wanted_on == date(2026, 3, 4)
    assert engine.waiting[0].order_by == date(2026, 2, 14)
    assert (engine.order_by, engine.order_for) == (date(2026, 2, 14), "B3")
    assert engine.expedited_by == date(2026, 2, 18)  # four days later


def test_the_last_day_to_order_is_judged_by_working_days() -> None:
    # B4 takes it on Monday 03-16; with one day of lateness on its account it is wanted on Sunday
    # 03-15, which means the opening of Friday 03-13: 21 days before that is 02-20, not 02-22
    late = next(row for row in PLAN.builds if row.build == "B4")
    builds = tuple(
        dataclasses.replace(late, late_days=1) if row is late else row for row in PLAN.builds
    )
    engine = shortage(DATA, SETTINGS, dataclasses.replace(PLAN, builds=builds), "ENG-A")
    assert (engine.waiting[1].wanted_on, engine.waiting[1].order_by) == (
        date(2026, 3, 13),
        date(2026, 2, 20),
    )


def test_a_part_without_source_has_no_day_to_order() -> None:
    lamp = shortages(DATA, SETTINGS, PLAN)[0]
    assert [(row.who, row.days, row.wanted_on, row.order_by) for row in lamp.waiting] == [
        ("O2/1", 10, date(2026, 2, 27), None)
    ]
    assert lamp.lead_days is None
    assert lamp.order_by is None


def test_a_part_nothing_waits_for() -> None:
    pump = shortage(DATA, SETTINGS, PLAN, "PUMP")
    assert pump.waiting == ()
    assert pump.needed_milli == 6000  # five builds, and one more for the option of B1
    assert pump.runs_out_on is None


def test_a_start_at_the_moment_of_an_arrival_counts_without_blockers() -> None:
    builds = tuple(dataclasses.replace(row, blockers=(), reasons=()) for row in PLAN.builds)
    engine = shortage(DATA, SETTINGS, dataclasses.replace(PLAN, builds=builds), "ENG-A")
    assert [(row.who, row.days) for row in engine.waiting] == [
        ("B3", None),
        ("B4", None),
        ("B5", None),
    ]


def test_the_balance_day_by_day() -> None:
    rows = timeline(DATA, SETTINGS, PLAN, "ENG-A")
    assert [
        (row.day.day, row.kind, row.point, row.quantity_milli, row.balance_milli, row.known_milli)
        for row in rows
    ] == [
        (2, MovementKind.ON_HAND, "BOI", 1000, 1000, 1000),
        (2, MovementKind.ON_HAND, "RNO", 1000, 2000, 2000),
        (2, MovementKind.NEED, "BOI", -1000, 1000, 1000),
        (3, MovementKind.MOVED, "RNO", -1000, 1000, 1000),  # on the way it is still there
        (5, MovementKind.MOVED, "BOI", 1000, 1000, 1000),
        (5, MovementKind.NEED, "BOI", -1000, 0, 0),
        (16, MovementKind.PURCHASE, "BOI", 1000, 1000, 1000),
        (16, MovementKind.NEED, "BOI", -1000, 0, 0),
        (23, MovementKind.NEW_ORDER, "BOI", 1000, 1000, 0),
        (23, MovementKind.NEED, "BOI", -1000, 0, -1000),
    ]
    # at its own point: BOI 1, B1 takes it, then one is moved there; RNO 1 until it leaves
    assert [row.at_point_milli for row in rows[:6]] == [1000, 1000, 0, 0, 1000, 0]


def test_when_nothing_is_left() -> None:
    rows = timeline(DATA, SETTINGS, PLAN, "ENG-A")
    # nothing after 03-05 though B4 and B5 still need one; what comes on 03-16 goes at once
    assert gaps(rows, small_shop.AS_OF) == (Gap(date(2026, 3, 5), None),)
    # were B5 content without, the engine of 03-16 would do for B4
    assert gaps(rows[:-2], small_shop.AS_OF) == (Gap(date(2026, 3, 5), date(2026, 3, 16)),)
    # BOI alone has one, which B1 takes on the first day
    assert gaps(rows, small_shop.AS_OF, "BOI")[0].starts == small_shop.AS_OF
    assert gaps(rows, small_shop.AS_OF, "RNO") == ()
    assert shortages(DATA, SETTINGS, PLAN)[1].runs_out_on == date(2026, 3, 5)


def test_a_part_that_is_not_there_now_has_run_out() -> None:
    # without stock the first comes on 03-16, but B1 takes one on 03-02
    data = dataclasses.replace(DATA, stock=tuple(r for r in DATA.stock if r.part != "ENG-A"))
    engine = shortage(data, SETTINGS, PLAN, "ENG-A")
    assert engine.runs_out_on == small_shop.AS_OF
    # wanted later only: still nothing on the shelf today
    later = timeline(data, SETTINGS, PLAN, "ENG-A")
    rows = [row for row in later if row.day == date(2026, 3, 16)]
    assert gaps(rows, small_shop.AS_OF)[0] == Gap(small_shop.AS_OF, date(2026, 3, 16))


def test_what_is_enough_does_not_run_out() -> None:
    assert gaps(timeline(DATA, SETTINGS, PLAN, "BOLT"), small_shop.AS_OF) == ()
    # ENG-B: one on the shelf and one needed, nothing wanted after that
    assert gaps(timeline(DATA, SETTINGS, PLAN, "ENG-B"), small_shop.AS_OF) == ()


def test_a_made_part_does_not_run_out() -> None:
    mast = shortage(DATA, SETTINGS, PLAN, "MAST")
    assert (mast.made, mast.gaps, mast.runs_out_on) == (True, (), None)
    assert mast.needed_milli == 5000


def test_who_gets_another_part_instead() -> None:
    engine = shortages(DATA, SETTINGS, PLAN)[1]
    assert engine.replaced == (Replaced("B2", "ENG-B", 1000),)
    assert engine.held_milli == 1000


def test_a_purchase_past_due_stands_where_the_plan_counts_on_it() -> None:
    rows = timeline(DATA, SETTINGS, PLAN, "LAMP")
    bought = next(row for row in rows if row.kind is MovementKind.PURCHASE)
    assert bought.day == date(2026, 3, 9)  # the planning date and 7 days
    assert bought.note == "past due since 2026-02-20"

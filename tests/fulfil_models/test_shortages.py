"""Which parts hold builds up, when they run out, and the last day to order."""

from __future__ import annotations

import dataclasses
from datetime import date

import small_shop
from fulfil_models.plan import SupplyKind
from fulfil_models.settings import Settings
from fulfil_models.shortages import MonthlyCap, shortage, shortages
from fulfil_models.tables import Lane, Source
from fulfil_models.timeline import MovementKind, runs_out_on, timeline

SETTINGS = Settings(as_of=small_shop.AS_OF)
DATA, PLAN = small_shop.dataset(), small_shop.plan()


def test_the_parts_that_hold_something_up() -> None:
    # LAMP makes a parts order 10 days late, ENG-A two builds 1 + 6 days
    found = shortages(DATA, SETTINGS, PLAN)
    assert [(row.part, row.late_days) for row in found] == [("LAMP", 10), ("ENG-A", 7)]


def test_the_scarce_engine() -> None:
    engine = shortages(DATA, SETTINGS, PLAN)[1]
    assert engine.needed_milli == 4000  # B1, B3, B4 and B5; B2 takes the alternate
    assert engine.on_hand_milli == 2000  # 1 of 2 free at BOI, 1 at RNO
    assert [(row.point, row.free_milli, row.held_milli) for row in engine.on_hand] == [
        ("BOI", 1000, 1000),
        ("RNO", 1000, 0),
    ]
    assert engine.on_order_milli == 1000
    assert [(row.order, row.counted_on, row.confirmed) for row in engine.on_order] == [
        ("P1", date(2026, 3, 16), False)
    ]
    assert engine.to_order_milli == 1000
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
        (row.day.day, row.kind, row.quantity_milli, row.balance_milli, row.known_milli)
        for row in rows
    ] == [
        (2, MovementKind.ON_HAND, 1000, 1000, 1000),
        (2, MovementKind.ON_HAND, 1000, 2000, 2000),
        (2, MovementKind.NEED, -1000, 1000, 1000),
        (5, MovementKind.NEED, -1000, 0, 0),
        (16, MovementKind.PURCHASE, 1000, 1000, 1000),
        (16, MovementKind.NEED, -1000, 0, 0),
        (23, MovementKind.NEW_ORDER, 1000, 1000, 0),
        (23, MovementKind.NEED, -1000, 0, -1000),
    ]
    # nothing is left after 03-05 though B4 and B5 still need one
    assert runs_out_on(rows) == date(2026, 3, 5)


def test_what_is_enough_does_not_run_out() -> None:
    assert runs_out_on(timeline(DATA, SETTINGS, PLAN, "BOLT")) is None
    # ENG-B: one on the shelf and one needed, nothing wanted after that
    assert runs_out_on(timeline(DATA, SETTINGS, PLAN, "ENG-B")) is None


def test_a_purchase_past_due_stands_where_the_plan_counts_on_it() -> None:
    rows = timeline(DATA, SETTINGS, PLAN, "LAMP")
    bought = next(row for row in rows if row.kind is MovementKind.PURCHASE)
    assert bought.day == date(2026, 3, 9)  # the planning date and 7 days
    assert bought.note == "past due since 2026-02-20"

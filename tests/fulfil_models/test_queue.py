"""What starts when on which station, and whether its parts are there."""

from __future__ import annotations

import dataclasses
from datetime import date, timedelta

import small_shop
from fulfil_models.plan import SupplyKind
from fulfil_models.queue import Interval, Readiness, deal_stations, next_start, queue
from fulfil_models.tables import Downtime, Progress
from hypothesis import given
from hypothesis import strategies as st

march = small_shop.march


def test_the_first_day() -> None:
    found = queue(small_shop.dataset(), small_shop.plan(), days=1)
    # assembly and test of B1 and B2, and all five masts
    assert [(row.work_centre, row.build, row.operation, row.stations) for row in found] == [
        ("ASSY", "B1", 10, (1,)),
        ("ASSY", "B2", 10, (2,)),
        ("TEST", "B1", 20, (1,)),
        ("TEST", "B2", 20, (1,)),
        ("WELD", "B1", 10, (1,)),
        ("WELD", "B2", 10, (1,)),
        ("WELD", "B3", 10, (1,)),
        ("WELD", "B4", 10, (1,)),
        ("WELD", "B5", 10, (1,)),
    ]
    assert [row.after for row in found[:4]] == [None, None, 10, 10]


def test_what_is_clear_to_build_and_what_waits() -> None:
    found = {
        (row.job, row.operation): row
        for row in queue(small_shop.dataset(), small_shop.plan(), days=None)
    }
    assert found["B1", 10].ready is Readiness.CLEAR
    # the mast is still to be made; the kit is a phantom whose bolts are on the shelf
    test = found["B1", 20]
    assert test.ready is Readiness.WAITING
    assert [(wait.part, wait.job, wait.until) for wait in test.waits] == [
        ("MAST", "B1/20/MAST", march(2, "09:00"))
    ]
    bought = found["B4", 10].waits
    assert [(w.kind, w.order, w.until) for w in bought] == [(SupplyKind.PURCHASE, "P1", march(16))]
    moved = found["B3", 10].waits
    assert [(w.kind, w.origin, w.until) for w in moved] == [(SupplyKind.TRANSFER, "RNO", march(5))]


def test_a_phantom_waits_for_its_components() -> None:
    plan = small_shop.plan()
    late = dataclasses.replace(
        next(row for row in plan.supplies if row.supply == "purchase/P2/1"),
        supply="purchase/BOLTS",
        part="BOLT",
    )
    pegs = tuple(
        dataclasses.replace(peg, supply="purchase/BOLTS", usable=march(9))
        if peg.job == "B4/20/KIT"
        else peg
        for peg in plan.pegs
    )
    plan = dataclasses.replace(plan, pegs=pegs, supplies=(*plan.supplies, late))
    found = {(row.job, row.operation): row for row in queue(small_shop.dataset(), plan, days=None)}
    assert [(w.part, w.until) for w in found["B4", 20].waits] == [
        ("BOLT", march(9)),
        ("MAST", march(2, "12:00")),
    ]


def test_started_work_waits_for_nothing() -> None:
    dataset = dataclasses.replace(
        small_shop.dataset(),
        progress=(Progress(build="B4", operation=10, started=march(2)),),
    )
    found = {(r.job, r.operation): r for r in queue(dataset, small_shop.plan(), days=None)}
    assert found["B4", 10].ready is Readiness.RUNNING
    assert found["B4", 10].waits == ()


def test_one_work_centre_alone() -> None:
    found = queue(small_shop.dataset(), small_shop.plan(), work_centre="TEST", days=None)
    assert [row.build for row in found] == ["B1", "B2", "B3", "B4", "B5"]


def test_days_count_from_the_planning_date() -> None:
    starts = {row.start.day for row in queue(small_shop.dataset(), small_shop.plan(), days=4)}
    assert starts == {2, 5}  # 03-02 to 03-05: that of B3, not that of B4 on 03-16


def test_downtime_keeps_its_own_station() -> None:
    dataset = dataclasses.replace(
        small_shop.dataset(),
        downtime=(
            Downtime(work_centre="ASSY", starts=march(5), ends=march(5, "16:30"), stations=1),
        ),
    )
    found = queue(dataset, small_shop.plan(), work_centre="ASSY", days=None)
    assert [row.stations for row in found if row.build == "B3"] == [(1,)]


def test_downtime_while_the_point_is_closed_takes_no_station() -> None:
    # the test of B2 is moved so that it runs from Friday evening into Monday morning
    plan = small_shop.plan()
    operations = tuple(
        dataclasses.replace(row, start=march(6, "15:30"), end=march(9, "09:00"))
        if (row.job, row.operation) == ("B2", 20)
        else row
        for row in plan.operations
    )
    dataset = dataclasses.replace(
        small_shop.dataset(),
        downtime=(
            Downtime(work_centre="TEST", starts=march(7), ends=march(8, "20:00"), stations=1),
        ),
    )
    found = queue(dataset, dataclasses.replace(plan, operations=operations), work_centre="TEST")
    assert [row.stations for row in found if row.build == "B2"] == [(1,)]


@given(
    st.lists(
        st.tuples(st.integers(0, 40), st.integers(0, 12), st.integers(1, 3)),
        min_size=1,
        max_size=25,
    )
)
def test_no_station_has_two_operations_at_once(rows: list[tuple[int, int, int]]) -> None:
    intervals = [
        Interval(start, start + length, count, (f"J{number}", 10))
        for number, (start, length, count) in enumerate(rows)
    ]
    # as many stations as are ever wanted at once, as in a checked plan
    most = max(
        (sum(i.stations for i in intervals if i.start <= t < i.end) for t in range(60)),
        default=1,
    )
    stations = max(most, 1)
    dealt = deal_stations(intervals, stations)
    assert len(dealt) == len(rows)
    for interval in intervals:
        assert interval.key is not None
        held = dealt[interval.key]
        assert len(set(held)) == (interval.stations if interval.end > interval.start else 0)
        assert all(1 <= number <= stations for number in held)
    for t in range(60):
        busy = [
            number
            for i in intervals
            if i.start <= t < i.end and i.key is not None
            for number in dealt[i.key]
        ]
        assert len(busy) == len(set(busy))


def test_a_purchase_past_due_is_told_with_the_day_it_was_due() -> None:
    data = small_shop.dataset()
    late = tuple(
        dataclasses.replace(row, due=march(2).date() - timedelta(3)) if row.order == "P1" else row
        for row in data.purchases
    )
    found = queue(dataclasses.replace(data, purchases=late), small_shop.plan(), days=None)
    (wait,) = next(row.waits for row in found if (row.job, row.operation) == ("B4", 10))
    assert (wait.order, wait.past_due, wait.due) == ("P1", True, date(2026, 2, 27))
    assert wait.confirmed is False  # as in the data
    (wait,) = next(row.waits for row in queue(data, small_shop.plan()) if row.job == "B4")
    assert not wait.past_due


def test_the_operation_before_is_told_with_its_place_and_end() -> None:
    found = {
        (row.job, row.operation): row for row in queue(small_shop.dataset(), small_shop.plan())
    }
    test = found["B1", 20]
    assert (test.after, test.after_at, test.after_end) == (10, "ASSY", march(2, "12:00"))
    assert [found["B1", n].can_start for n in (10, 20)] == [True, False]
    (mast,) = test.waits
    assert mast.work_centre == "WELD"


def test_what_starts_next() -> None:
    plan = small_shop.plan()
    # after the first day B3 is assembled on Thursday and tested at 12:30
    first = next_start(plan, march(3).date())
    assert first is not None
    assert (first.job, first.start) == ("B3", march(5))
    tested = next_start(plan, march(3).date(), "TEST")
    assert tested is not None
    assert tested.start == march(5, "12:30")
    assert next_start(plan, date(2027, 1, 1)) is None

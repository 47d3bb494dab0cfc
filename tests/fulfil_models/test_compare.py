"""Which builds moved from one plan to another."""

from __future__ import annotations

import dataclasses
from datetime import date, timedelta

import small_shop
from fulfil_models.compare import compare, first_blocker, is_late

BUILDS = {row.build: row for row in small_shop.plan().builds}


def test_a_plan_is_like_itself() -> None:
    found = compare(BUILDS.values(), BUILDS.values())
    assert found.moved == ()
    assert (found.unchanged, found.late_before, found.late_after) == (5, 2, 2)


def test_what_moved() -> None:
    later = dataclasses.replace(BUILDS["B1"], ships=date(2026, 3, 9), late_days=3, late_minutes=480)
    sooner = dataclasses.replace(
        BUILDS["B4"], ships=BUILDS["B4"].ships - timedelta(6), late_days=0, late_minutes=0
    )
    after = {**BUILDS, "B1": later, "B4": sooner, "B9": dataclasses.replace(later, build="B9")}
    del after["B5"]
    found = compare(BUILDS.values(), after.values())
    assert [(row.build, row.moved_days) for row in found.moved] == [
        ("B1", 7),  # 03-02 to 03-09
        ("B4", -6),
        ("B5", None),
        ("B9", None),
    ]
    assert (found.later, found.sooner, found.added, found.removed, found.unchanged) == (
        1,
        1,
        1,
        1,
        2,
    )
    assert (found.late_before, found.late_after) == (2, 3)  # B3, B4; then B1, B3, B9
    blocker = found.moved[1].blocker_before
    assert blocker is not None
    assert blocker.what == "ENG-A"


def test_its_own_work_is_no_blocker() -> None:
    assert first_blocker(BUILDS["B1"]) is None
    only_work = dataclasses.replace(BUILDS["B3"], blockers=BUILDS["B3"].blockers[1:])
    assert first_blocker(only_work) is None
    assert first_blocker(None) is None


def test_without_a_promise_nothing_is_late() -> None:
    assert BUILDS["B5"].late_minutes > 0
    assert not is_late(BUILDS["B5"])


def test_late_by_minutes_or_by_days_is_late() -> None:
    on_its_day = dataclasses.replace(BUILDS["B1"], late_minutes=30, late_days=0)
    # its work was done in time, but only the planning date, days after the promise, ships it
    shipped_now = dataclasses.replace(BUILDS["B1"], late_minutes=0, late_days=10)
    in_time = dataclasses.replace(BUILDS["B1"], late_minutes=0, late_days=0)
    assert [is_late(row) for row in (on_its_day, shipped_now, in_time)] == [True, True, False]

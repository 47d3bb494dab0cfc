"""When builds ship and why, in words."""

from __future__ import annotations

import dataclasses
from datetime import date, datetime

import small_shop
from fulfil_models.build_card import BuildCard, build_card
from fulfil_models.plan import Blocker, BlockerKind, PlannedBuild
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings

from fulfil.render.build import build_page, could_ship
from fulfil.render.builds import held_up_by
from fulfil.usecases.basis import Basis
from fulfil.usecases.builds import BuildAnswer

AS_OF = small_shop.AS_OF  # 2 March 2026
ROW = next(row for row in small_shop.plan().builds if row.build == "B4")  # ships on 16 March


def rung(kind: BlockerKind, what: str, days: int) -> Blocker:
    until = None if kind is BlockerKind.WORK else datetime(2026, 3, 9, 8)
    return Blocker(kind, what, until, days, "why")


def test_days_gained_only_together_are_told_as_that() -> None:
    work = rung(BlockerKind.WORK, "B4", 2)
    part, queue = rung(BlockerKind.PART, "E", 5), rung(BlockerKind.WORK_CENTRE, "TEST", 0)
    alone = dataclasses.replace(ROW, blockers=(part, work))
    assert held_up_by(alone) == "part E until 2026-03-09 (5 days)"
    together = dataclasses.replace(ROW, blockers=(part, queue, part, work))
    assert held_up_by(together) == "part E until 2026-03-09 (5 days, with 1 more)"


def test_a_build_that_waits_for_nothing_is_held_up_by_its_own_work() -> None:
    only = dataclasses.replace(ROW, blockers=(rung(BlockerKind.WORK, "B4", 2),))
    assert held_up_by(only) == "its own work (2 days)"
    assert held_up_by(dataclasses.replace(ROW, blockers=())) == "-"


def test_a_whole_ladder_tells_when_a_build_could_ship() -> None:
    ladder = (rung(BlockerKind.PART, "E", 5), rung(BlockerKind.WORK, "B4", 2))
    # 2 March + 5 + 2 days
    assert could_ship(dataclasses.replace(ROW, blockers=ladder), AS_OF) == date(2026, 3, 9)
    # without its end nothing is known but the plan's own date
    assert could_ship(dataclasses.replace(ROW, blockers=ladder[:1]), AS_OF) == date(2026, 3, 16)


def card_of(row: PlannedBuild) -> BuildCard:
    problem = Problem(small_shop.dataset(), Settings(as_of=AS_OF))
    return dataclasses.replace(build_card(problem, small_shop.plan(), "B4"), build=row)


def page(row: PlannedBuild, width: int = 100) -> list[str]:
    answer = BuildAnswer(Basis(plan=1, as_of=AS_OF, data_changed=False), card_of(row))
    return build_page(answer).lines(width)


def test_a_build_left_until_it_is_wanted_says_when_it_could_ship() -> None:
    ladder = (rung(BlockerKind.PART, "E", 5), rung(BlockerKind.WORK, "B4", 2))
    shown = " ".join(page(dataclasses.replace(ROW, blockers=ladder)))
    # planned for 16 March, but 2 March + 7 days would do
    assert "could ship 2026-03-09 as things stand, 7 days sooner" in shown
    ladder = (rung(BlockerKind.PART, "E", 12), rung(BlockerKind.WORK, "B4", 2))
    shown = " ".join(page(dataclasses.replace(ROW, blockers=ladder)))
    assert "could ship" not in shown


def test_a_long_ladder_is_cut_and_its_rest_summed_up() -> None:
    rungs = [rung(BlockerKind.PART, f"E{n}", 1) for n in range(10)]
    lines = page(dataclasses.replace(ROW, blockers=(*rungs, rung(BlockerKind.WORK, "B4", 4))))
    # eight lines with the work at the end: E0 to E6 are shown, E7 to E9 are not
    assert any("part E6" in line for line in lines)
    assert not any("part E7" in line for line in lines)
    assert "left out: 3 more that together hold it up 3 days; --json lists them" in lines
    # 16 March less one day for each that is taken away
    first = next(line for line in lines if line.lstrip().startswith("1  part E0"))
    assert first.split()[:6] == ["1", "part", "E0", "2026-03-09", "1", "2026-03-15"]


def test_a_promise_that_had_passed_is_told() -> None:
    row = dataclasses.replace(ROW, promised=date(2026, 2, 27))
    assert any(
        "its promise had passed on the planning date 2026-03-02" in line for line in page(row)
    )
    assert not any("had passed" in line for line in page(ROW))


def test_narrow_screens_lose_nothing() -> None:
    wide, narrow = (" ".join(" ".join(page(ROW, width)).split()) for width in (100, 80))
    assert max(map(len, page(ROW, 80))) <= 80
    assert sorted(set(wide.replace("-", " ").split())) == sorted(
        set(narrow.replace("-", " ").split())
    )


def test_a_build_done_before_its_promise_passed_is_late_by_days_alone() -> None:
    done = dataclasses.replace(
        ROW, promised=date(2026, 2, 20), ships=AS_OF, late_minutes=0, late_days=10, blockers=()
    )
    shown = " ".join(page(done))
    assert "promised 2026-02-20, 10 days late)" in shown
    assert "its promise had passed on the planning date 2026-03-02" in shown
    assert "in time" not in shown
    assert "0 working minutes" not in shown

"""The parts that promises are measured with."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from bench_promises import Asked, Wanted, asked, days_later, in_turn, machines, spread
from demo_scenario import demo


def test_places_are_spread_over_all_or_go_on_beyond_them() -> None:
    assert spread(10, 5) == [0, 2, 4, 6, 8]
    assert spread(3, 3) == [0, 1, 2]
    assert spread(2, 5) == [0, 1, 2, 3, 4]


def test_machines_are_asked_for_where_they_are_built() -> None:
    built = {(row.product, row.point) for row in demo().builds if row.status == "firm"}
    few = machines(demo(), 5)
    assert len({row.product for row in few}) == 5
    assert {(row.product, row.point) for row in few} <= built
    products = len({product for product, _ in built})
    times = Counter(row.product for row in machines(demo(), 2 * products))
    assert set(times.values()) == {2}
    assert len(times) == products


def test_what_is_not_firm_is_not_asked_for() -> None:
    first = next(row for row in demo().builds if row.status == "firm")
    others = [replace(row, status="done") for row in demo().builds if row != first]
    data = replace(demo(), builds=(*others, first))
    assert machines(data, 2) == [Wanted(first.product, first.point)] * 2


def test_the_first_question_is_told_apart() -> None:
    wanted = [Wanted(name, "A") for name in "ABC"]
    heard: list[str] = []
    told = asked(wanted, lambda row: heard.append(row.product))
    assert heard == ["A", "A", "B", "C"]
    assert len(told.others) == 3
    assert min(told.first, *told.others) >= 0


def test_the_median_and_the_worst_are_of_those_after_the_first() -> None:
    told = Asked(first=900.0, others=(30.0, 10.0, 80.0, 20.0))
    assert (told.median, told.worst) == (25.0, 80.0)


def test_each_command_is_timed_after_another_and_must_end_well(tmp_path: Path) -> None:
    def note(what: str) -> list[str]:
        return [sys.executable, "-c", f"open('log.txt', 'a').write({what!r})"]

    taken, base = in_turn([note("x"), note("y")], tmp_path, base=note("b"))
    assert (tmp_path / "log.txt").read_text(encoding="utf-8") == "bxby"
    assert taken > 0
    assert base > 0
    with pytest.raises(subprocess.CalledProcessError):
        in_turn([[sys.executable, "-c", "raise SystemExit(1)"]], tmp_path, base=note("b"))


@pytest.mark.parametrize(
    ("ships", "days"), [("2026-03-20", 4), ("2026-03-16", 0), ("2026-03-09", -7)]
)
def test_days_by_which_re_ordering_is_later(ships: str, days: int) -> None:
    assert days_later({"ships": "2026-03-16", "reordered": {"ships": ships}}) == days

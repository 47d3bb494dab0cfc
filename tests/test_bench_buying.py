"""The parts that buying is measured with."""

from __future__ import annotations

import json

import pytest
from bench_buying import busiest, measured
from bench_results import Unmeasured
from bench_runs import Ran


def line(due_on: str, cost: float | None, expedite_cost: float = 0) -> dict[str, object]:
    return {"due_on": due_on, "cost": cost, "expedite_cost": expedite_cost}


def test_the_busiest_month_is_that_in_which_most_is_paid() -> None:
    lines = [
        line("2027-03-31", 100.5, 9),
        line("2027-03-01", 50),
        line("2027-04-01", 140),
        line("2027-05-02", None, 7),
    ]
    assert busiest({"lines": lines}) == 159.5


@pytest.mark.parametrize("lines", [[], [line("2027-03-31", None)]])
def test_without_anything_to_pay_there_is_no_limit_to_measure(
    lines: list[dict[str, object]],
) -> None:
    with pytest.raises(Unmeasured, match="nothing is to be bought"):
        busiest({"lines": lines})


@pytest.mark.parametrize(("seconds", "gap", "met"), [(59.0, 0.01, True), (61.0, 0.02, False)])
def test_seconds_and_gap_are_held_against_their_targets(
    seconds: float, gap: float, met: bool
) -> None:
    rows = list(measured("book", "buy", ran(seconds, gap)))
    assert [(row.name, row.value) for row in rows] == [("buy", seconds), ("buy, gap", gap)]
    assert all(row.most is not None and (row.value <= row.most) is met for row in rows)


def ran(seconds: float, gap: float) -> Ran:
    answer = json.dumps({"gap": gap})
    return Ran(code=0, out=answer, err="", seconds=seconds, peak_bytes=0, told=())

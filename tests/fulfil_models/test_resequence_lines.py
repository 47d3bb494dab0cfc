"""Lines of parts orders that give way, or are new, where the queue is re-ordered; by hand.

On the tiny shop, see `test_resequence.py`.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from fulfil_models.plan import Plan
from fulfil_models.room import Request
from fulfil_models.tables import Dataset
from questions import QUOTED, asked_line
from requeued import MONDAY, ONE, SHELF, days, draws, gone_on, put, wanted_sooner
from tiny_shop import (
    delivery,
    march,
    order,
    purchase,
    shop,
    stock,
)


def spares(promised: date | None, **more: Any) -> tuple[Dataset, Plan]:
    """O, of one engine, stands on Monday with the one on the shelf; another comes on 03-10."""
    earlier = shop(
        parts_orders=(order("O", 1, MONDAY, **more),),
        stock=SHELF,
        deliveries=(delivery("A"),),
    )
    data = replace(
        earlier,
        parts_orders=(order("O", 1, promised, **more),),
        purchases=(purchase("P", march(10)),),
    )
    return data, gone_on(earlier, data)


@pytest.mark.parametrize("weight_ppm", [0, 1_000_000])
@pytest.mark.parametrize(("promised", "ships"), [(march(10), 2), (march(9), 10)])
def test_a_line_that_has_time_ships_later(promised: date, ships: int, weight_ppm: int) -> None:
    asked = put(*spares(promised, weight_ppm=weight_ppm), ONE)
    assert asked.plainly == march(10)
    made = asked.found()
    assert made.ships == march(ships)
    told = [
        (row.order, row.line, row.ships_before, row.ships_after, row.late_days_after)
        for row in made.moved_lines
    ]
    assert told == ([("O", "1", MONDAY, march(10), 0)] if ships == 2 else [])


@pytest.mark.parametrize(("within_days", "ships"), [(9, 2), (8, 2), (7, 10)])
def test_a_line_that_is_to_arrive_by_a_day_is_promised(within_days: int, ships: int) -> None:
    """Ordered on Friday 02-27, and a day on its way: of 03-10 it arrives on 03-11, which is the
    8th carrier day (Monday 03-02 is the first)."""
    asked = put(*spares(None, within_days=within_days), ONE)
    assert asked.found().ships == march(ships)


def test_a_line_without_a_promise_gives_way() -> None:
    made = put(*spares(None), ONE).found()
    assert made.ships == MONDAY
    assert [row.ships_after for row in made.moved_lines] == [march(10)]


@pytest.mark.parametrize(("promised", "ships"), [(13, 2), (9, 10)])
def test_a_new_line_takes_the_engine_of_who_has_time(promised: int, ships: int) -> None:
    data, plan = wanted_sooner(
        2,
        promised=promised,
        stock=SHELF,
        purchases=(purchase("P", march(10)),),
        deliveries=(delivery("A"),),
    )
    asked = put(data, plan, Request(lines=(asked_line(1),)))
    assert asked.plainly == march(11)  # a carrier day after P comes
    made = asked.found()
    assert made.ships == march(ships)
    assert days(made).keys() == ({"B1"} if ships == 2 else set())


def test_a_machine_and_a_line_are_new_together() -> None:
    """B1 and B2 have time; Q and a spare engine take theirs."""
    data, plan = wanted_sooner(
        2,
        3,
        promised=13,
        stock=(stock(2),),
        purchases=(purchase("P", march(10), units=2),),
        deliveries=(delivery("A"),),
    )
    line = replace(asked_line(1), order="S")
    made = put(data, plan, Request((QUOTED,), (), (line,))).found()
    assert made.ships == MONDAY
    assert draws(made.plan)["S"] == draws(made.plan)["Q"] == "stock/A/ENGINE"

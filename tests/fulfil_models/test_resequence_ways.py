"""The search and the whole model re-order the queue each by itself, and find who can give way.

By hand on the tiny shop, see `test_resequence.py`.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import pairwise
from typing import Any

import pytest
from fulfil_models import giving_way, resequence
from fulfil_models.giving_way import Race
from fulfil_models.plan import Plan
from fulfil_models.room import Request
from fulfil_models.tables import Dataset
from questions import asked_line
from requeued import MONDAY, ONE, SHELF, days, gone_on, put
from tiny_shop import (
    build,
    delivery,
    march,
    order,
    purchase,
    shop,
    stock,
)


def alone(monkeypatch: pytest.MonkeyPatch, way: str) -> None:
    """Nothing is found but in one of the two ways."""
    if way == "search":
        monkeypatch.setattr(resequence, "SMALL_BOOK", 0)
    else:
        monkeypatch.setattr(Race, "pull", lambda *_: None)
        monkeypatch.setattr(Race, "bring_back", lambda *_: None)


EACH_WAY = pytest.mark.parametrize("way", ["search", "whole model"])
ON_TUESDAY = {
    "stock": SHELF,
    "purchases": (purchase("P1", march(3)), purchase("P2", march(10))),
    "deliveries": (delivery("A"),),
}


def second_best(**strict: Any) -> tuple[Dataset, Plan]:
    """Who has the engine on the shelf cannot wait for that of 03-10; B2 can, who has that of
    Tuesday, stands there, and is promised for 03-13."""
    others = strict.pop("builds", ())
    earlier = shop(
        builds=(*others, build("B2", march(3))),
        **ON_TUESDAY | strict | {"purchases": (purchase("P1", march(3)),)},
    )
    data = replace(
        earlier, builds=(*others, build("B2", march(13))), purchases=ON_TUESDAY["purchases"]
    )
    return data, gone_on(earlier, data)


@EACH_WAY
@pytest.mark.parametrize(
    "strict",
    [
        {"builds": (build("B1", MONDAY),)},
        {"parts_orders": (order("O", 1, MONDAY),)},
        {"parts_orders": (order("O", 1, None, within_days=1, weight_ppm=0),)},
    ],
)
def test_each_finds_who_can_give_way_beside_who_cannot(
    way: str, strict: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    alone(monkeypatch, way)
    asked = put(*second_best(**strict), ONE)
    assert asked.plainly == march(10)
    made = asked.found()
    assert made.ships == march(3)
    assert days(made).keys() == {"B2"}


@EACH_WAY
def test_each_finds_it_for_a_line(way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    alone(monkeypatch, way)
    """Whatever it counts: it has no weight."""
    line = asked_line(1, weight_ppm=0)
    asked = put(*second_best(builds=(build("B1", MONDAY),)), Request(lines=(line,)))
    assert asked.plainly == march(11)  # a carrier day after the 10th
    assert asked.found().ships == march(3)


@EACH_WAY
def test_each_is_looked_over_for_broken_promises(way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let neither of them know of any limit: what they find is not believed."""
    alone(monkeypatch, way)
    for module in (resequence, giving_way):
        monkeypatch.setattr(module, "limits", lambda *_: {})
        monkeypatch.setattr(module, "line_limits", lambda *_: {})
    builds, lines = {"builds": (build("B1", MONDAY),)}, {"parts_orders": (order("O", 1, MONDAY),)}
    for strict in (builds, lines):
        data, plan = second_best(**strict)
        stuck = replace(data, builds=tuple(replace(r, promised=march(3)) for r in data.builds))
        made = put(stuck, plan, ONE).found()
        assert (made.ships, made.moved, made.moved_lines) == (march(10), (), ())


def test_of_many_only_who_is_in_the_way_moves(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twenty stand one behind the other and have time until the end of April. What is new goes to
    the first day, and whoever stood there behind the last."""
    alone(monkeypatch, "search")
    count = 20
    earlier = shop(
        builds=tuple(build(f"B{n:02}", None) for n in range(count)), stock=(stock(count + 1),)
    )
    data = replace(
        earlier, builds=tuple(replace(r, promised=date(2026, 4, 30)) for r in earlier.builds)
    )
    asked = put(data, gone_on(earlier, data), ONE)
    assert asked.plainly == march(30)  # twenty working days after 03-02
    made = asked.found(seconds=3.0)
    assert made.ships == MONDAY
    assert [row.ships_before for row in made.moved] == [MONDAY]


def test_the_search_finds_a_chain_through_all_who_have_such_an_engine(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Ten stand on the days on which their engines come, from Monday on. Each has time until the
    next engine is there, and no more; the last engine comes on 03-16."""
    alone(monkeypatch, "search")
    working = [*range(2, 7), *range(9, 14), 16]
    comes = tuple(purchase(f"P{day:02}", march(day)) for day in working)
    pairs = list(pairwise(working))
    earlier = shop(
        builds=tuple(build(f"B{day:02}", march(day)) for day, _ in pairs), purchases=comes[:-1]
    )
    data = replace(
        earlier,
        builds=tuple(build(f"B{day:02}", march(later)) for day, later in pairs),
        purchases=comes,
    )
    asked = put(data, gone_on(earlier, data), ONE)
    assert asked.plainly == march(16)
    made = asked.found()
    assert made.ships == MONDAY
    assert days(made) == {f"B{day:02}": (march(day), march(later)) for day, later in pairs}

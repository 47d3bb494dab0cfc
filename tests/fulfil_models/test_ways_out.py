"""What is cheaper than waiting for a rationed part: another part, point, order or supplier."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from fractions import Fraction
from typing import Any

import pytest
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.problem import Problem
from fulfil_models.rationing import rations
from fulfil_models.tables import Dataset, PriceBreak
from fulfil_models.ways_out import OutKind, WayOut, ways_out
from rationed_shop import FAR
from tiny_shop import (
    SETTINGS,
    build,
    delivery,
    hurried,
    lane,
    march,
    order,
    planned,
    purchase,
    shop,
    source,
    stand_in,
    stock,
)


def instead(after: Dataset, before: Dataset) -> tuple[WayOut, ...]:
    """Ways in data that changed since their plan was made."""
    plan = planned(before)
    problem = Problem(after, SETTINGS)
    (row,) = rations(problem, plan, ("ENGINE",))
    return ways_out(problem, plan, row.waiting)


def one_waits() -> Dataset:
    """One build of the 4th, its engine on the 16th: eight days, 8000."""
    return shop(
        builds=(build("B1", march(4)),),
        purchases=(purchase("P1", march(16)),),
        sources=(source(FAR, cap=1, price_micro=1000 * MICRO),),
    )


def told(ways: Iterable[WayOut]) -> list[tuple[OutKind, str, date, Fraction, Fraction]]:
    return [(way.kind, way.by, way.ships, way.way_cost, way.saves) for way in ways]


def test_an_alternate_that_came_since() -> None:
    before = one_waits()
    for extra, saves in ((500, 7500), (9000, -1000)):
        after = replace(before, stock=(stock(1, part="ENGINE2"),), alternates=(stand_in(extra),))
        (way,) = instead(after, before)
        assert told([way]) == [(OutKind.ALTERNATE, "ENGINE2", march(2), extra, saves)]
        assert way.cheaper == (saves > 0)
        assert (way.late_days, way.late_cost) == (0, 0)


def test_an_alternate_that_is_not_approved_is_no_way() -> None:
    before = one_waits()
    row = replace(stand_in(500), approved=False)
    after = replace(before, stock=(stock(1, part="ENGINE2"),), alternates=(row,))
    assert instead(after, before) == ()


def test_an_alternate_that_another_has_is_no_way() -> None:
    """The only ENGINE2 goes into a parts order that was promised for today."""
    before = replace(
        one_waits(),
        stock=(stock(1, part="ENGINE2"),),
        parts_orders=(order("S1", 1, march(2), part="ENGINE2", weight_ppm=50 * MICRO),),
        deliveries=(delivery("A"),),
    )
    after = replace(before, alternates=(stand_in(500),))
    assert instead(after, before) == ()


def test_a_move_from_another_point() -> None:
    """One lies at B since; it leaves on Tuesday 3rd and is there on the 5th: a day late."""
    before = replace(one_waits(), lanes=(lane("B", "A", 2, move=200, weekdays=("Tue",)),))
    after = replace(before, stock=(stock(1, point="B"),))
    assert told(instead(after, before)) == [
        (OutKind.TRANSFER, "B", march(5), 200, 8000 - 1000 - 200)
    ]


def test_an_expedited_order() -> None:
    """Offered since: of 60 days 55 less, on the 7th, usable on Monday 9th, three days late, for
    600."""
    before = one_waits()
    after = replace(before, sources=(hurried(FAR, 55, 600, cap=1),))
    ways = instead(after, before)
    # the cap of March is taken by what is open, so nothing more may come in it
    assert ways == ()
    after = replace(before, sources=(hurried(FAR, 55, 600, cap=2),))
    assert told(instead(after, before)) == [
        (OutKind.EXPEDITE, "S", march(9), 600, 8000 - 3000 - 600)
    ]


def test_its_own_order_may_be_expedited() -> None:
    """A new order comes on the 12th, six days late, and is all that March allows. Expedited by
    seven days it is there on the 5th, a day late."""
    before = shop(builds=(build("B1", march(4)),), sources=(source(10, cap=1),))
    after = replace(before, sources=(hurried(10, 7, 600, cap=1),))
    assert told(instead(after, before)) == [
        (OutKind.EXPEDITE, "S", march(5), 600, 6000 - 1000 - 600)
    ]


def test_several_ways_the_best_first() -> None:
    """ENGINE2 for 500 is there today; a move for 200 is there on the 5th, a day late."""
    before = replace(one_waits(), lanes=(lane("B", "A", 2, move=200, weekdays=("Tue",)),))
    after = replace(
        before,
        stock=(stock(1, point="B"), stock(1, part="ENGINE2")),
        alternates=(stand_in(500),),
    )
    assert told(instead(after, before)) == [
        (OutKind.ALTERNATE, "ENGINE2", march(2), 500, 7500),
        (OutKind.TRANSFER, "B", march(5), 200, 6800),
    ]


def test_another_supplier() -> None:
    """T takes 3 days and 250 more than the 1000 that S takes: usable on the 5th, a day late."""
    before = one_waits()
    other = source(3, supplier="T", price_micro=1250 * MICRO)
    after = replace(before, sources=(*before.sources, other))
    assert told(instead(after, before)) == [
        (OutKind.SUPPLIER, "T", march(5), 250, 8000 - 1000 - 250)
    ]


def from_another(**more: Any) -> list[tuple[OutKind, str, date, Fraction, Fraction]]:
    """What T offers since, in 3 days for 1010 each, to the one who waits for the engine that S
    takes 1000 for; a day late by it, so 8000 less 1000 less its cost are saved."""
    before = one_waits()
    breaks = more.pop("price_breaks", ())
    other = source(3, more.pop("cap", None), supplier="T", price_micro=1010 * MICRO, **more)
    after = replace(before, sources=(*before.sources, other), price_breaks=breaks)
    return told(instead(after, before))


def test_an_order_that_another_supplier_does_not_take_is_no_way() -> None:
    """He sells in fives and lets three go a month; or at least two, and lets one go."""
    assert from_another(multiple_milli=5 * MILLI, cap=3) == []
    assert from_another(minimum_milli=2 * MILLI, cap=1) == []


def test_of_another_supplier_the_whole_order_is_paid() -> None:
    """For one engine five are bought: 5050, of which 1000 would go to S as well."""
    way = (OutKind.SUPPLIER, "T, an order of 5", march(5), 4050, 7000 - 4050)
    assert from_another(multiple_milli=5 * MILLI) == [way]
    assert from_another(multiple_milli=5 * MILLI, cap=6) == [way]
    assert from_another(minimum_milli=4500, multiple_milli=MILLI) == [way]
    # no multiple, but engines come whole
    assert from_another(minimum_milli=4500) == [way]


def test_a_large_minimum_of_another_supplier_is_dearer_than_waiting() -> None:
    """A hundred for 1010 each are 101,000."""
    (way,) = from_another(minimum_milli=100 * MILLI)
    assert way[-2:] == (100_000, 7000 - 100_000)


def test_prices_of_another_supplier_go_by_the_order() -> None:
    """From five on one costs 600: five are 3000."""
    breaks = (
        PriceBreak(
            part="ENGINE", supplier="T", from_quantity_milli=5 * MILLI, price_micro=600 * MICRO
        ),
    )
    assert from_another(price_breaks=breaks)[0][-2] == 10
    assert from_another(price_breaks=breaks, multiple_milli=5 * MILLI)[0][-2] == 2000


@pytest.mark.parametrize(
    ("price", "other_price", "more"),
    [(None, 1010, 4 * 1010), (1000, None, 4 * 1000), (None, None, 0), (1000, 0, -1000)],
)
def test_a_price_that_is_not_known_is_as_the_other(
    price: int | None, other_price: int | None, more: int
) -> None:
    """Five are bought for one: what is compared is one engine, what is too much is four."""

    def micro(each: int | None) -> int | None:
        return None if each is None else each * MICRO

    before = replace(one_waits(), sources=(source(FAR, cap=1, price_micro=micro(price)),))
    other = source(3, supplier="T", price_micro=micro(other_price), multiple_milli=5 * MILLI)
    (way,) = instead(replace(before, sources=(*before.sources, other)), before)
    assert way.way_cost == more


def test_a_parts_order_from_another_point() -> None:
    """Stock came to B, which delivers for 30 where A does for 10."""
    before = shop(
        parts_orders=(order("S1", 1, march(4)),),
        deliveries=(delivery("A", 10), delivery("B", 30)),
        purchases=(purchase("P1", march(9)),),
        sources=(source(FAR, cap=1),),
    )
    after = replace(before, stock=(stock(1, point="B"),))
    (way,) = instead(after, before)
    assert told([way]) == [(OutKind.FREE, "from B", way.ships, 20, 5000 - 20)]
    assert way.ships <= march(4)


def test_nothing_else_to_do() -> None:
    data = one_waits()
    assert instead(data, data) == ()

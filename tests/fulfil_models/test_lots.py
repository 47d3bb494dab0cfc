"""Which lot serves whom, and when must what is bought be ordered? By hand, on a handful of draws.

The planning date is Monday 2026-03-02; positions are working minutes, 480 a day.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import date

import pytest
from books import books, settings_of
from draws import Draws, builds, by_build, moves, orders
from fulfil_models.book import Book, WayKind
from fulfil_models.compiled import Compiled
from fulfil_models.decisions import Decisions, Fill, from_solution
from fulfil_models.lots import serve
from fulfil_models.planning import solution_of
from fulfil_models.problem import Problem
from fulfil_models.search import by_due, list_schedule
from fulfil_models.tables import Dataset, Point
from hypothesis import given
from hypothesis import settings as effort
from tiny_shop import (
    delivery,
    engines,
    hurried,
    lane,
    march,
    order,
    purchase,
    shop,
    source,
    stock,
)

ONE_NOW_ONE_ON_WEDNESDAY = {
    "stock": (stock(1),),
    "purchases": (purchase("P1", march(4)),),
}
FROM_SHELF, FROM_PURCHASE = "stock/A/ENGINE", "purchase/P1/1"


# ---- who gets which lot


def test_whoever_may_draw_on_fewer_lots_is_served_first() -> None:
    """B2 counts on the shelf alone, B1 may have Wednesday's engine, though it starts sooner."""
    draws = Draws(shop(builds=builds(2), **ONE_NOW_ONE_ON_WEDNESDAY))
    draws.fill(1, march(4), event=1)
    draws.fill(2, march(6), event=0)
    assert by_build(draws.served()) == {"B1": [(FROM_PURCHASE, 1)], "B2": [(FROM_SHELF, 1)]}


def test_first_in_first_out_by_the_day_of_need() -> None:
    """Both may draw on either lot; B2 starts first and has the older one."""
    draws = Draws(shop(builds=builds(2), **ONE_NOW_ONE_ON_WEDNESDAY))
    draws.fill(1, march(6), event=1)
    draws.fill(2, march(5), event=1)
    assert by_build(draws.served()) == {"B1": [(FROM_PURCHASE, 1)], "B2": [(FROM_SHELF, 1)]}


def test_a_build_takes_the_oldest_lot_there_is() -> None:
    """Two builds are to come, so one engine is not plenty; the first takes it from the shelf."""
    draws = Draws(shop(builds=builds(2), **ONE_NOW_ONE_ON_WEDNESDAY))
    draws.fill(1, march(6), event=1)
    served = draws.served()
    assert by_build(served) == {"B1": [(FROM_SHELF, 1)]}
    assert list(served.supplies) == [FROM_SHELF]


def test_a_need_may_be_put_together_from_several_lots() -> None:
    draws = Draws(
        shop(
            bills=(engines(3),),
            builds=builds(1),
            stock=(stock(1),),
            purchases=(purchase("P1", march(4), 5),),
        )
    )
    draws.fill(1, march(4), event=1)
    served = draws.served()
    assert by_build(served) == {"B1": [(FROM_SHELF, 1), (FROM_PURCHASE, 2)]}
    assert served.supplies[FROM_PURCHASE].quantity_milli == 2000


def test_a_parts_order_takes_the_latest_lot_it_may() -> None:
    """It ships on the day its lot is usable, so an older one would only be lost to a build."""
    draws = Draws(
        shop(
            parts_orders=(order("O1", 1, march(4)),),
            deliveries=(delivery("A"),),
            **ONE_NOW_ONE_ON_WEDNESDAY,
        )
    )
    draws.ship(0, event=1)
    assert [name for _, name, _ in draws.served().ships] == [FROM_PURCHASE]


def test_no_lot_gives_more_than_it_has() -> None:
    draws = Draws(shop(builds=builds(2), **ONE_NOW_ONE_ON_WEDNESDAY))
    draws.fill(1, march(2), event=0)
    draws.fill(2, march(2), event=0)
    with pytest.raises(AssertionError, match="ENGINE at A overdrawn by 1000"):
        draws.served()


@effort(max_examples=60, deadline=None)
@given(books())
def test_on_any_book_all_is_served_and_no_supply_gives_more_than_it_has(data: Dataset) -> None:
    book = Book(Problem(data, settings_of(data)))
    compiled = Compiled(book)
    decisions = from_solution(
        book, compiled, solution_of(list_schedule(compiled, by_due(compiled)))
    )
    served = serve(book, decisions)
    wanted = sum(f.quantity_milli for f in decisions.fills if f.way.kind != WayKind.MAKE)
    assert sum(quantity for _, _, quantity in served.fills) == wanted
    assert sum(q for _, _, q in served.ships) == sum(s.quantity_milli for s in decisions.ships)
    drawn: defaultdict[str, int] = defaultdict(int)
    for _, name, quantity in [*served.fills, *served.ships]:
        drawn[name] += quantity
    for supply in served.supplies.values():
        if supply.from_supply is not None:
            drawn[supply.from_supply] += supply.quantity_milli
    over = {n: q for n, q in drawn.items() if q > served.supplies[n].quantity_milli}
    assert over == {}
    for fill, name, _ in served.fills:
        begins = fill.need.job.task.axis.start_moment(_moment(fill, decisions))
        assert served.supplies[name].usable <= begins


def _moment(fill: Fill, decisions: Decisions) -> int:
    need = fill.need
    while need.place < 0:
        assert need.job.parent is not None
        need = need.job.parent
    return decisions.starts[need.job.name][need.place]


# ---- new purchases


def test_an_order_arrives_just_in_time_and_is_placed_a_lead_time_before() -> None:
    """10 days: it could be there on the 12th; the build starts on Monday the 30th."""
    draws = Draws(shop(builds=builds(1), sources=(source(10),)))
    draws.fill(1, march(30))
    assert orders(draws.served()) == [(march(20), march(30), 1, False)]


def test_an_order_that_is_needed_at_once_is_placed_on_the_planning_date() -> None:
    draws = Draws(shop(builds=builds(1), sources=(source(10),)))
    draws.fill(1, march(12))
    assert orders(draws.served()) == [(march(2), march(12), 1, False)]


def test_an_order_covers_the_needs_of_four_weeks() -> None:
    """From Tuesday 31 March to Monday 27 April, 27 days: one order, for the first."""
    draws = Draws(shop(builds=builds(2), sources=(source(10),)))
    draws.fill(1, march(31))
    draws.fill(2, date(2026, 4, 27))
    assert orders(draws.served()) == [(march(21), march(31), 2, False)]


def test_a_need_four_weeks_later_has_an_order_of_its_own() -> None:
    """Tuesday 28 April: 28 days after 31 March. Ordered just in time, 10 days before."""
    draws = Draws(shop(builds=builds(2), sources=(source(10),)))
    draws.fill(1, march(31))
    draws.fill(2, date(2026, 4, 28))
    assert orders(draws.served()) == [
        (march(21), march(31), 1, False),
        (date(2026, 4, 18), date(2026, 4, 28), 1, False),
    ]


def test_what_a_minimum_brings_over_and_above_serves_later_needs() -> None:
    """Orders of three at least: the first one, for 30 March, also serves May and June."""
    draws = Draws(shop(builds=builds(4), sources=(source(10, minimum_milli=3000),)))
    for number, day in enumerate((march(30), date(2026, 5, 4), date(2026, 6, 1)), start=1):
        draws.fill(number, day)
    assert orders(draws.served()) == [(march(20), march(30), 3, False)]
    draws.fill(4, date(2026, 6, 2))
    assert orders(draws.served()) == [
        (march(20), march(30), 3, False),
        (date(2026, 5, 23), date(2026, 6, 2), 3, False),
    ]


def test_an_order_is_a_whole_multiple() -> None:
    """Three wanted, in orders of two: four."""
    draws = Draws(shop(builds=builds(3), sources=(source(10, multiple_milli=2000),)))
    for number in (1, 2, 3):
        draws.fill(number, march(30))
    assert orders(draws.served()) == [(march(20), march(30), 4, False)]


def test_what_is_drawn_on_a_month_comes_within_it() -> None:
    """The build of June may draw on March's lot or April's and takes the oldest: it comes on the
    last day of March, ordered 21 days before."""
    draws = Draws(shop(builds=builds(1), sources=(source(21, cap=4),)))
    draws.fill(1, date(2026, 6, 1), event=1)
    assert orders(draws.served()) == [(march(10), march(31), 1, False)]


def test_an_expedited_order_is_placed_by_its_shorter_lead_time() -> None:
    """10 days, 7 sooner: three days before Friday the 6th."""
    draws = Draws(shop(builds=builds(1), sources=(hurried(10, 7, 100),)))
    draws.fill(1, march(6), kind=WayKind.EXPEDITE)
    assert orders(draws.served()) == [(march(3), march(6), 1, True)]


def test_part_of_a_month_is_put_forward_and_the_rest_comes_in_its_time() -> None:
    """March's lot comes on the 23rd, expedited from the 12th: one on the 16th, one on the 25th."""
    draws = Draws(shop(builds=builds(2), sources=(hurried(21, 11, 100, cap=4),)))
    draws.fill(1, march(16), kind=WayKind.ADVANCE)
    draws.fill(2, march(25))
    assert orders(draws.served()) == [
        (march(4), march(25), 1, False),
        (march(6), march(16), 1, True),
    ]


def test_what_an_expedited_order_brings_over_and_above_serves_its_month() -> None:
    """Orders of two: the expedited one brings the other engine as well."""
    of = replace(hurried(21, 11, 100, cap=4), multiple_milli=2000)
    draws = Draws(shop(builds=builds(2), sources=(of,)))
    draws.fill(1, march(16), kind=WayKind.ADVANCE)
    draws.fill(2, march(25))
    assert orders(draws.served()) == [(march(6), march(16), 2, True)]


# ---- transfers


def test_a_transfer_leaves_on_its_departure_and_names_the_supply_it_draws_on() -> None:
    draws = Draws(
        shop(
            builds=builds(2),
            stock=(stock(2, "B"),),
            lanes=(lane("B", "A", 2, weekdays=("Tue",)),),
        )
    )
    for number in (1, 2):
        draws.fill(number, march(5), kind=WayKind.MOVE, leaves=march(3))
    served = draws.served()
    name = "move/B/A/2026-03-03/stock/B/ENGINE"
    assert by_build(served) == {"B1": [(name, 1)], "B2": [(name, 1)]}
    (move,) = moves(served)  # those that leave together are one transfer
    assert (move.origin, move.point, move.from_supply) == ("B", "A", "stock/B/ENGINE")
    assert (move.leaves_on, move.arrives_on) == (march(3), march(5))
    assert move.usable.isoformat() == "2026-03-05T08:00:00"
    assert move.quantity_milli == 2000
    assert served.supplies["stock/B/ENGINE"].quantity_milli == 2000


def test_a_purchase_that_is_moved_on_comes_in_time_for_its_departure() -> None:
    """Ordered for B, which it can reach on the 12th; it leaves there on Tuesday the 24th."""
    draws = Draws(
        shop(
            builds=builds(1),
            sources=(source(10, point="B"),),
            lanes=(lane("B", "A", 2, weekdays=("Tue",)),),
        )
    )
    draws.fill(1, march(30), kind=WayKind.MOVE, leaves=march(24))
    assert orders(draws.served()) == [(march(14), march(24), 1, False)]


def test_a_purchase_that_leaves_on_a_closed_day_comes_on_the_day_before() -> None:
    """The lane leaves on Saturdays; what comes on Saturday the 28th is usable on Monday only. So it
    comes on Friday, ordered ten days before."""
    draws = Draws(
        shop(
            builds=builds(1),
            sources=(source(10, point="B"),),
            lanes=(lane("B", "A", 2, weekdays=("Sat",)),),
        )
    )
    draws.fill(1, march(30), kind=WayKind.MOVE, leaves=march(28))
    assert orders(draws.served()) == [(march(17), march(27), 1, False)]


def test_a_route_of_two_lanes_is_a_transfer_on_each() -> None:
    """C to B from Friday the 6th to Saturday, usable from Monday, so that the Saturday's departure
    to A is missed: it leaves on the 14th and is there on Monday the 16th."""
    draws = Draws(
        shop(
            points=tuple(Point(point=point) for point in "ABC"),
            builds=builds(1),
            stock=(stock(1, "C"),),
            lanes=(
                lane("C", "B", 1, weekdays=("Fri",)),
                lane("B", "A", 2, weekdays=("Sat",)),
            ),
        )
    )
    draws.fill(1, march(16), kind=WayKind.MOVE, leaves=march(6), origin="C")
    first, second = moves(draws.served())
    assert (first.from_supply, first.point, first.leaves_on, first.arrives_on) == (
        "stock/C/ENGINE",
        "B",
        march(6),
        march(7),
    )
    assert first.usable.isoformat() == "2026-03-09T08:00:00"
    assert (second.from_supply, second.point, second.leaves_on, second.arrives_on) == (
        first.supply,
        "A",
        march(14),
        march(16),
    )

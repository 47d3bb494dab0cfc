"""What exists serves before anything is ordered anew. By hand, and on random books.

The planning date is Monday 2026-03-02. A source of ten days brings engines from Thursday the 12th
on; P1 brings one on Monday the 16th, after that. Lots stand in order of the day they are usable, so
`event` 2 is the purchase where there are a shelf, a source and P1.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from books import books, settings_of
from draws import Draws, builds, by_build, orders
from fulfil_models import lots
from fulfil_models.assembly import assemble
from fulfil_models.audit import audit
from fulfil_models.book import WayKind
from fulfil_models.cells import MILLI
from fulfil_models.decisions import Decisions, from_solution
from fulfil_models.lots import Served
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.planning import Effort, Workbench, plan, search_plan, solution_of
from fulfil_models.problem import Problem
from fulfil_models.repair import retimed_plan
from fulfil_models.search import by_due, list_schedule
from fulfil_models.tables import Dataset, PartsOrder, Supplier
from fulfil_models.taken import Taken, stock_key
from hypothesis import given
from hypothesis import settings as effort
from needless import needless
from tiny_shop import (
    build,
    delivery,
    engines,
    hurried,
    lane,
    march,
    order,
    problem_of,
    purchase,
    shop,
    source,
    stock,
)

SHELF, P1 = "stock/A/ENGINE", "purchase/P1/1"
ONE_NOW_ONE_ON_THE_16TH = {
    "stock": (stock(1),),
    "purchases": (purchase("P1", march(16)),),
    "sources": (source(10),),
}
LAST = 2
"""the lot of P1"""


def test_a_purchase_serves_though_a_new_order_could_come_before_it() -> None:
    """Two engines are there in time for the 20th and the 23rd; an order could come on the 12th."""
    draws = Draws(shop(builds=builds(2), **ONE_NOW_ONE_ON_THE_16TH))
    draws.fill(1, march(20), LAST)
    draws.fill(2, march(23), LAST)
    served = draws.served()
    assert by_build(served) == {"B1": [(SHELF, 1)], "B2": [(P1, 1)]}
    assert orders(served) == []


def test_only_what_is_short_is_ordered_and_as_late_as_will_do() -> None:
    """Three are wanted of two that exist: one order of one, for the last, ten days before it."""
    draws = Draws(shop(builds=builds(3), **ONE_NOW_ONE_ON_THE_16TH))
    for number, day in enumerate((march(20), march(23), march(24)), start=1):
        draws.fill(number, day, LAST)
    served = draws.served()
    assert by_build(served)["B2"] == [(P1, 1)]
    assert orders(served) == [(march(14), march(24), 1, False)]


def test_what_comes_too_late_serves_nobody() -> None:
    """On the 13th P1 is not there yet, and the engine on the shelf is wanted before that."""
    draws = Draws(shop(builds=builds(2), **ONE_NOW_ONE_ON_THE_16TH))
    draws.fill(1, march(3), 0)
    draws.fill(2, march(13), 1)
    assert orders(draws.served()) == [(march(3), march(13), 1, False)]


def test_a_need_takes_the_part_of_it_that_exists() -> None:
    """Four engines: one from the shelf, one of P1, two ordered."""
    draws = Draws(shop(bills=(engines(4),), builds=builds(1), **ONE_NOW_ONE_ON_THE_16TH))
    draws.fill(1, march(20), LAST)
    served = draws.served()
    assert sorted(units for _, units in by_build(served)["B1"]) == [1, 1, 2]
    assert orders(served) == [(march(10), march(20), 2, False)]


def three_ordered(**terms: int) -> Served:
    """Four builds on the 20th and three engines beside the shelf's wanted, of which P1 has one."""
    tables = {**ONE_NOW_ONE_ON_THE_16TH, "sources": (source(10, **terms),)}
    draws = Draws(shop(builds=builds(4), **tables))
    for number in (1, 2, 3, 4):
        draws.fill(number, march(20), LAST)
    return draws.served()


def test_an_order_shrinks_by_whole_multiples() -> None:
    """Three would be four in orders of two; with P1 it is two."""
    assert orders(three_ordered(multiple_milli=2000)) == [(march(10), march(20), 2, False)]


def test_an_order_that_cannot_shrink_keeps_who_draws_on_it() -> None:
    """Of orders of three at least two would be as many: all three stay on the order, and P1 is
    left to others."""
    served = three_ordered(minimum_milli=3000)
    assert orders(served) == [(march(10), march(20), 3, False)]
    assert P1 not in served.supplies


def test_what_an_order_brings_over_takes_the_place_of_another() -> None:
    """B1 would have its own order from T, one a month, while three come from S on the same day for
    B2 alone."""
    data = shop(
        suppliers=(Supplier(supplier="S"), Supplier(supplier="T")),
        builds=builds(2),
        sources=(source(10, minimum_milli=3000), source(5, 1, supplier="T")),
    )
    draws = Draws(data)
    draws.fill(1, march(13), 1)
    draws.fill(2, march(13), 1)
    served = draws.served()
    assert orders(served) == [(march(3), march(13), 3, False)]
    assert [row.supplier for row in served.supplies.values()] == ["S"]


def test_nothing_is_expedited_for_what_another_can_do_without() -> None:
    """B1 is to have an engine on Friday the 6th, expedited. B2 on the 20th has the one on the
    shelf, but would be served by P1: so B1 has it, and nothing is ordered."""
    tables = {**ONE_NOW_ONE_ON_THE_16TH, "sources": (hurried(10, 7, 100),)}
    draws = Draws(shop(builds=builds(2), **tables))
    draws.fill(1, march(6), kind=WayKind.EXPEDITE)
    draws.fill(2, march(20), LAST)
    served = draws.served()
    assert by_build(served) == {"B1": [(SHELF, 1)], "B2": [(P1, 1)]}
    assert orders(served) == []


def test_what_is_moved_on_comes_from_what_exists_at_its_departure() -> None:
    """Engines for A go from B on Tuesday the 24th: P1 is there by then, an order could be, too."""
    data = shop(
        builds=builds(1),
        sources=(source(10, point="B"),),
        purchases=(purchase("P1", march(16), point="B"),),
        lanes=(lane("B", "A", 2, weekdays=("Tue",)),),
    )
    draws = Draws(data)
    draws.fill(1, march(30), 1, kind=WayKind.MOVE, leaves=march(24))
    served = draws.served()
    assert by_build(served) == {"B1": [(f"move/B/A/2026-03-24/{P1}", 1)]}
    assert orders(served) == []


def test_what_others_hold_does_not_exist() -> None:
    """The engine on the shelf is kept for a quote."""
    data = shop(builds=builds(1), stock=(stock(1),), sources=(source(10),))
    draws = Draws(data, Taken({stock_key("A", "ENGINE"): MILLI}))
    draws.fill(1, march(20))
    assert orders(draws.served()) == [(march(10), march(20), 1, False)]


# ---- parts orders


def shipped(lines: tuple[PartsOrder, ...], cost: int) -> tuple[list[str], int]:
    """The supplies that lines ship from which could wait for an order on the 12th, with an engine
    on the shelf; units ordered."""
    tables = {**ONE_NOW_ONE_ON_THE_16TH, "purchases": ()}
    draws = Draws(shop(parts_orders=lines, deliveries=(delivery("A", cost),), **tables))
    for number in range(len(lines)):
        draws.ship(number, event=1)
    served = draws.served()
    return sorted(name for _, name, _ in served.ships), sum(
        units for *_, units, _ in orders(served)
    )


@pytest.mark.parametrize("cost", [0, 40])
def test_a_parts_order_ships_sooner_rather_than_to_wait_for_an_order(cost: int) -> None:
    """One delivery from the shelf, on the 2nd, costs what one on the 12th does."""
    assert shipped((order("O1", 1, march(20)),), cost) == ([SHELF], 0)


def test_no_delivery_is_added_to_spare_an_order() -> None:
    """Two lines ship together on the 12th for 40; one of them on the 2nd would make it 80. Where a
    delivery costs nothing, one goes ahead."""
    both = (order("O1", 1, march(20)), order("O1", 1, march(20), line="2"))
    ordered = "new/S/A/ENGINE/2026-03-12"
    assert shipped(both, 40) == ([ordered, ordered], 2)
    assert shipped(both, 0) == ([ordered, SHELF], 1)


# ---- whole plans


def kinds(made: Plan) -> list[SupplyKind]:
    return sorted(row.kind for row in made.supplies)


def test_an_order_that_was_placed_is_not_placed_again() -> None:
    """Two builds draw on a new order; once it stands among the open purchases, they draw on that,
    both in a new plan and in the one that goes on."""
    data = shop(builds=(build("B1", march(20)), build("B2", march(23))), sources=(source(10),))
    first = plan(problem_of(data), Effort(seconds=0.1))
    assert kinds(first) == [SupplyKind.NEW_PURCHASE]
    (ordered,) = first.supplies
    assert ordered.arrives_on is not None
    bought = replace(data, purchases=(purchase("P1", ordered.arrives_on, 2),))
    second = plan(problem_of(bought), Effort(seconds=0.1))
    assert kinds(second) == [SupplyKind.PURCHASE]
    assert second.objective == first.objective
    gone_on = retimed_plan(Workbench(problem_of(bought)), first).plan
    assert kinds(gone_on) == [SupplyKind.PURCHASE]
    assert [(r.ships, r.finish) for r in gone_on.builds] == [
        (r.ships, r.finish) for r in first.builds
    ]


def scheduled(data: Dataset) -> tuple[Workbench, Decisions]:
    bench = Workbench(Problem(data, settings_of(data)))
    state = list_schedule(bench.compiled, by_due(bench.compiled))
    return bench, from_solution(bench.book, bench.compiled, solution_of(state))


@effort(max_examples=150, deadline=None)
@given(books())
def test_no_new_order_can_be_left_out_or_be_smaller(data: Dataset) -> None:
    bench, decisions = scheduled(data)
    made = assemble(bench.book, decisions)
    assert audit(data, settings_of(data), made) == ()
    assert needless(data, settings_of(data), made) == []


@effort(max_examples=25, deadline=None)
@given(books())
def test_neither_in_what_a_search_finds_nor_in_what_goes_on_with_it(data: Dataset) -> None:
    bench = Workbench(Problem(data, settings_of(data)))
    made = assemble(bench.book, search_plan(bench, Effort(seconds=0.3)).decisions)
    assert needless(data, settings_of(data), made) == []
    after = retimed_plan(Workbench(bench.problem), made).plan
    assert needless(data, settings_of(data), after) == []
    assert after.objective == made.objective


@effort(max_examples=100, deadline=None)
@given(books())
def test_what_exists_costs_nothing_and_makes_nobody_later(data: Dataset) -> None:
    bench, decisions = scheduled(data)
    made = assemble(bench.book, decisions)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lots, "spare_orders", lambda piles, boxes: None)
        before = assemble(bench.book, decisions)
    assert made.objective.transfers == before.objective.transfers
    assert made.objective.alternates == before.objective.alternates
    for kind in ("lateness", "expediting", "deliveries"):
        assert getattr(made.objective, kind) <= getattr(before.objective, kind)
    assert [row.late_minutes for row in made.builds] == [row.late_minutes for row in before.builds]
    last = last_days(before)
    assert all(day <= last[line] for line, day in last_days(made).items())
    assert ordered_units(made) <= ordered_units(before)


def last_days(made: Plan) -> dict[tuple[str, str], date]:
    """By line of a parts order: day on which the last of it ships."""
    found: dict[tuple[str, str], date] = {}
    for row in made.shipments:
        key = row.order, row.line
        found[key] = max(row.ships, found.get(key, row.ships))
    return found


def ordered_units(made: Plan) -> int:
    return sum(r.quantity_milli for r in made.supplies if r.kind is SupplyKind.NEW_PURCHASE)

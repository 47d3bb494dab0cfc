"""What lets spare parts arrive sooner, and when they would from each point: by hand.

They are asked for as sales does: to arrive as soon as can be, from one point.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from fractions import Fraction
from typing import Any

from fulfil_models.cells import MILLI
from fulfil_models.forward import Lever, from_each_point
from fulfil_models.ready import ready
from fulfil_models.tables import (
    BillLine,
    Dataset,
    Part,
)
from questions import (
    Asked,
    ask_lines,
    asked_line,
    forward,
)
from tiny_shop import (
    build,
    delivery,
    engines,
    hurried,
    lane,
    march,
    purchase,
    shop,
    source,
    stand_in,
    stock,
)

B1 = build("B1", march(2))


def lamps(**tables: Any) -> Dataset:
    """A machine takes a lamp besides; of lamps as of engines none is left."""
    base = shop(
        parts=(*shop().parts, Part(part="LAMP")),
        bills=(engines(1), BillLine(parent="MACHINE", component="LAMP", quantity_milli=MILLI)),
        builds=(B1,),
    )
    return replace(base, **tables)


# ---- spare parts: to arrive as soon as can be, from one point


def arrivals(asked: Asked) -> list[tuple[Lever, str, date | None, Fraction]]:
    return [(row.lever, row.by, row.arrives, row.cost) for row in forward(asked)]


def spares(**tables: Any) -> Dataset:
    """One engine at A, of which another comes in three weeks; A and B deliver in a day for 10."""
    base = shop(
        stock=(stock(1),), sources=(source(21),), deliveries=(delivery("A", 10), delivery("B", 10))
    )
    return replace(base, **tables)


def test_a_line_is_brought_forward_by_an_alternate_expediting_or_a_transfer() -> None:
    data = spares(
        builds=(B1,),
        stock=(stock(1), stock(1, "B"), stock(1, part="ENGINE2")),
        sources=(hurried(21, 14, 900),),
        alternates=(stand_in(100),),
        lanes=(lane("B", "A", 2, move=50),),
        deliveries=(delivery("A", 10),),
    )
    asked = ask_lines(data, asked_line(1))
    # new on 03-23, there on 03-24; of B on 03-04 and 03-05; expedited on 03-09 and 03-10
    assert asked.plan.shipments[0].arrives == march(24)
    assert arrivals(asked) == [
        (Lever.ALTERNATE, "ENGINE2", march(3), 100),
        (Lever.TRANSFER, "B", march(5), 50),
        (Lever.EXPEDITE, "S", march(10), 900),
    ]
    assert [row.ships for row in forward(asked)] == [march(2), march(4), march(9)]
    assert [row.days_sooner for row in forward(asked)] == [21, 19, 14]


def test_a_split_brings_a_line_forward() -> None:
    asked = ask_lines(spares(stock=(stock(1), stock(1, "B"))), asked_line(2))
    # the second of A comes on 03-23
    assert {row.point for row in asked.plan.shipments} == {"A"}
    assert ready(asked.plan) == march(24)
    # one of each point is there on Tuesday; a second delivery costs 10
    assert arrivals(asked) == [(Lever.SPLIT, "", march(3), 10)]
    (row,) = forward(asked)
    assert (row.what, [line.split for line in row.request.lines]) == ("ENGINE", [True])


def test_a_line_that_may_be_split_already_is_not_told_to_be() -> None:
    asked = ask_lines(spares(stock=(stock(1), stock(1, "B"))), asked_line(2, split=True))
    assert {row.arrives for row in asked.plan.shipments} == {march(3)}
    assert arrivals(asked) == []


def test_from_where_it_arrives_first_counts_not_from_where_it_ships_first() -> None:
    """Of A and B both an engine is there; that of B is two days on its way, that of A ten."""
    data = spares(
        stock=(stock(1), stock(1, "B")),
        deliveries=(delivery("A", 10, days=10), delivery("B", 30, days=2)),
    )
    asked = ask_lines(data, asked_line(1))
    assert [(row.point, row.arrives) for row in asked.plan.shipments] == [("B", march(4))]
    found = from_each_point(asked.question)
    # ten carrier days from Monday 03-02 are two weeks
    assert [(row.point, row.ships, row.arrives, row.cost) for row in found] == [
        ("B", march(2), march(4), 30),
        ("A", march(2), march(16), 10),
    ]


def test_a_transfer_to_where_it_is_sooner_delivered_from() -> None:
    """B ships on Monday, ten days on the way; moved to A it leaves there on Wednesday."""
    data = spares(
        stock=(stock(1, "B"),),
        lanes=(lane("B", "A", 2, move=50),),
        deliveries=(delivery("A", 10), delivery("B", 10, days=10)),
    )
    asked = ask_lines(data, asked_line(1))
    assert [row.arrives for row in asked.plan.shipments] == [march(16)]
    assert arrivals(asked) == [(Lever.TRANSFER, "B", march(5), 50)]
    (row,) = forward(asked)
    # it ships two days later, and arrives eleven days sooner
    assert (row.ships, row.days_sooner) == (march(4), 11)


def test_two_parts_of_an_order_that_only_together_arrive_sooner() -> None:
    data = lamps(
        builds=(),
        stock=(stock(1, "B"), stock(1, "B", part="LAMP")),
        sources=(source(21), replace(source(21), part="LAMP")),
        lanes=(lane("B", "A", 2, move=50),),
        deliveries=(delivery("A", 10),),
    )
    asked = ask_lines(data, asked_line(1), asked_line(1, "2", part="LAMP"))
    (row,) = forward(asked)
    assert (row.lever, row.arrives, row.cost) == (Lever.TOGETHER, march(5), 50)
    assert row.by == "ENGINE moved from B, LAMP moved from B"


def test_from_each_point_that_can_send_all_of_it() -> None:
    data = spares(
        stock=(stock(2), stock(1, "B"), stock(1, "B", part="ENGINE2")),
        sources=(source(21), source(10, point="B")),
        alternates=(stand_in(0),),
        lanes=(lane("A", "B", 1),),
    )
    one = ask_lines(data, asked_line(1))
    assert [(row.point, row.arrives, row.cost) for row in from_each_point(one.question)] == [
        ("A", march(3), 10),
        ("B", march(3), 10),
    ]
    two = ask_lines(data, asked_line(2))
    # the second of B comes on 03-12; nothing is moved or taken in its place
    assert [(row.point, row.arrives) for row in from_each_point(two.question)] == [
        ("A", march(3)),
        ("B", march(13)),
    ]
    # nor where nothing else could be done
    there = replace(data, sources=(), deliveries=(delivery("B", 10),), stock=(stock(2),))
    asked = ask_lines(there, asked_line(2))
    assert {row.point for row in asked.plan.shipments} == {"B"}
    assert from_each_point(asked.question) == []
    # what B can never send is not told of it
    few = replace(data, sources=(source(21),))
    assert [row.point for row in from_each_point(ask_lines(few, asked_line(2)).question)] == ["A"]


def test_each_point_sends_all_lines_of_an_order() -> None:
    data = spares(
        parts=(*shop().parts, Part(part="LAMP", weight_g=2000)),
        stock=(stock(1), stock(1, "B"), stock(1, part="LAMP")),
        purchases=(purchase("P", march(9), point="B", part="LAMP"),),
        deliveries=(delivery("A", 10, kg=1), delivery("B", 10, kg=2)),
    )
    asked = ask_lines(data, asked_line(1), asked_line(1, "2", part="LAMP"))
    # an engine of 40 kg and a lamp of 2 kg; of B in two deliveries
    assert [(r.point, r.ships, r.arrives, r.cost) for r in from_each_point(asked.question)] == [
        ("A", march(2), march(3), 10 + 42),
        ("B", march(9), march(10), 20 + 2 * 42),
    ]


def test_what_brings_a_line_forward_leaves_the_question_as_it_was() -> None:
    data = spares(stock=(stock(1), stock(1, "B")), lanes=(lane("B", "A", 2, move=50),))
    asked = ask_lines(data, asked_line(2))
    found, points = forward(asked), from_each_point(asked.question)
    solution = asked.question.earliest()
    assert solution is not None
    assert asked.question.plan(solution) == asked.plan
    assert (forward(asked), from_each_point(asked.question)) == (found, points)

"""The earliest arrival of lines of parts orders beside a plan that stands; by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from fulfil_models.cells import MILLI
from fulfil_models.plan import Shipment
from fulfil_models.promise import (
    arrival,
    extra_cost,
)
from fulfil_models.room import Request, Room
from fulfil_models.tables import Dataset, PartsOrder
from questions import (
    QUOTED,
    answer,
    ask,
    ask_builds,
    ask_lines,
    asked_line,
    wrong,
)
from tiny_shop import (
    SETTINGS,
    build,
    delivery,
    lane,
    march,
    purchase,
    shop,
    source,
    stock,
)

# ---- parts orders, by hand: to arrive as soon as can be, from one point


def shipped(row: Shipment) -> tuple[str, str, int, date, date]:
    return row.line, row.point, row.quantity_milli // MILLI, row.ships, row.arrives


def test_a_line_of_a_parts_order_takes_what_is_left() -> None:
    data = shop(
        builds=(build("B1", march(2)),),
        stock=(stock(1),),
        purchases=(purchase("P", march(16)),),
        deliveries=(delivery("A", 10),),
    )
    asked = ask_lines(data, asked_line(1))
    assert list(map(shipped, asked.plan.shipments)) == [("1", "A", 1, march(16), march(17))]
    assert arrival(asked.plan.shipments) == march(17)
    assert extra_cost(asked.plan) == 10


def test_what_arrives_first_is_sent_not_what_ships_first() -> None:
    data = shop(
        stock=(stock(1),),
        purchases=(purchase("P", march(4), point="B"),),
        deliveries=(delivery("A", days=5), delivery("B", days=1)),
    )
    asked = ask_lines(data, asked_line(1))
    # from A on Monday, five carrier days: 03-09; from B on Wednesday, one day: 03-05
    assert list(map(shipped, asked.plan.shipments)) == [("1", "B", 1, march(4), march(5))]


def test_what_is_at_another_point_is_sent_from_there_and_not_moved_first() -> None:
    data = shop(
        stock=(stock(1, "B"),),
        purchases=(purchase("P", march(9)),),
        lanes=(lane("B", "A", 2),),
        deliveries=(delivery("A"), delivery("B", days=2)),
    )
    asked = ask_lines(data, asked_line(1))
    assert list(map(shipped, asked.plan.shipments)) == [("1", "B", 1, march(2), march(4))]


def test_of_points_from_which_it_arrives_on_one_day_the_cheaper_sends() -> None:
    data = shop(stock=(stock(1), stock(1, "B")), deliveries=(delivery("A", 30), delivery("B", 20)))
    asked = ask_lines(data, asked_line(1))
    assert [row.point for row in asked.plan.shipments] == ["B"]


def test_a_line_is_not_split_unless_it_may_be() -> None:
    data = shop(
        stock=(stock(1), stock(1, "B")),
        purchases=(purchase("P", march(9)),),
        deliveries=(delivery("A", 10), delivery("B", 10)),
    )
    whole = ask_lines(data, asked_line(2))
    assert {row.point for row in whole.plan.shipments} == {"A"}
    assert arrival(whole.plan.shipments) == march(10)
    pieces = ask_lines(data, asked_line(2, split=True))
    assert sorted(map(shipped, pieces.plan.shipments)) == [
        ("1", "A", 1, march(2), march(3)),
        ("1", "B", 1, march(2), march(3)),
    ]


def test_a_line_gets_what_it_lacks_from_elsewhere_where_there_is_no_other() -> None:
    """One at A, one at B, and only A delivers."""
    data = shop(
        stock=(stock(1), stock(1, "B")),
        lanes=(lane("B", "A", 2, move=50),),
        deliveries=(delivery("A"),),
    )
    asked = ask_lines(data, asked_line(2))
    assert {row.point for row in asked.plan.shipments} == {"A"}
    # the other is at A on Wednesday
    assert (arrival(asked.plan.shipments), extra_cost(asked.plan)) == (march(5), 50)


def test_two_lines_for_one_part_share_what_is_there() -> None:
    data = shop(
        stock=(stock(1),), purchases=(purchase("P", march(16)),), deliveries=(delivery("A"),)
    )
    asked = ask_lines(data, asked_line(1), asked_line(1, "2"))
    assert list(map(shipped, asked.plan.shipments)) == [
        ("1", "A", 1, march(2), march(3)),
        ("2", "A", 1, march(16), march(17)),
    ]
    never = replace(data, purchases=())
    room = Room(never, SETTINGS)
    assert answer(room, Request(lines=(asked_line(1),))) is not None
    assert answer(room, Request(lines=(asked_line(1), asked_line(1, "2")))) is None


def test_no_shipment_arrives_never() -> None:
    assert arrival(()) is None


def reasons_of(data: Dataset, *lines: PartsOrder) -> tuple[str, ...]:
    asked = ask_lines(data, *lines)
    solution = asked.question.earliest()
    assert solution is not None
    return asked.question.shipment_reasons(solution, asked.plan)


def test_reasons_of_shipments_in_words() -> None:
    to_a = (delivery("A"),)
    shelf = shop(stock=(stock(1),), deliveries=to_a)
    assert reasons_of(shelf, asked_line(1)) == ("ENGINE is on the shelf at A",)
    late = shop(
        builds=(build("B1", march(2)),),
        stock=(stock(1),),
        purchases=(purchase("P", march(16), confirmed=False),),
        deliveries=to_a,
    )
    assert reasons_of(late, asked_line(1)) == (
        "ENGINE comes with purchase P/1, due 2026-03-16, not confirmed; "
        "what comes sooner goes to B1",
    )
    ordered = shop(sources=(source(10),), deliveries=to_a)
    assert reasons_of(ordered, asked_line(1)) == (
        "ENGINE is to be ordered from S on 2026-03-02, here 2026-03-12",
    )
    moved = shop(stock=(stock(1, "B"),), lanes=(lane("B", "A", 2),), deliveries=to_a)
    assert reasons_of(moved, asked_line(1)) == (
        "ENGINE is moved from B on 2026-03-02, here 2026-03-04",
    )
    # the second line waits for what the first takes; its own order is not ahead of it
    both = shop(stock=(stock(1),), purchases=(purchase("P", march(16)),), deliveries=to_a)
    assert reasons_of(both, asked_line(1), asked_line(1, "2")) == (
        "ENGINE is on the shelf at A",
        "ENGINE comes with purchase P/1, due 2026-03-16",
    )


# ---- machines and lines in one question


def test_machines_come_before_lines() -> None:
    data = shop(
        stock=(stock(1),), purchases=(purchase("P", march(16)),), deliveries=(delivery("A"),)
    )
    asked = ask(data, Request((QUOTED,), (), (replace(asked_line(1), order="S"),)))
    assert [row.ships for row in asked.plan.builds] == [march(2)]
    assert [row.ships for row in asked.plan.shipments] == [march(16)]


def test_what_is_asked_for_beside_a_plan_by_hand_is_one() -> None:
    data = shop(
        builds=(build("B1", march(2)),),
        stock=(stock(1), stock(1, "B")),
        sources=(source(10),),
        lanes=(lane("B", "A", 2),),
        deliveries=(delivery("A"), delivery("B")),
    )
    two = ask_builds(data, QUOTED, build("R", None))
    assert wrong(two, two.question.request, two.plan) == []
    spare = ask_lines(data, asked_line(2))
    assert wrong(spare, spare.question.request, spare.plan) == []

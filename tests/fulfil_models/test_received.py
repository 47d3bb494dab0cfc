"""What a promise kept open draws on once its purchase has come, by hand on the tiny shop."""

from __future__ import annotations

from dataclasses import replace

from beside_books import listed
from fulfil_models.cells import MILLI
from fulfil_models.kept_open import held
from fulfil_models.plan import Plan
from fulfil_models.received import as_received
from fulfil_models.tables import Dataset
from fulfil_models.taken import purchase_key, stock_key, taken_by
from tiny_shop import SETTINGS, build, delivery, engines, lane, march, order, purchase, shop, stock

SHELF, LINE = stock_key("A", "ENGINE"), purchase_key("P", "1")
TWO = shop(bills=(engines(2),), purchases=(purchase("P", march(9), units=2),))
"""two engines of P/1 go into a machine"""


def quoted(data: Dataset) -> Plan:
    """One machine, put where there is room."""
    plan = listed(replace(data, builds=(build("Q", None),)), SETTINGS)
    assert plan is not None
    return plan


def now(data: Dataset, shelf: int, to_come: int, **more: int) -> Dataset:
    """So many on the shelf, and so many of P/1 still to come."""
    lines = (purchase("P", march(9), units=to_come),) if to_come else ()
    return replace(data, stock=(stock(shelf, **more),), purchases=lines)


def drawn(piece: Plan, data: Dataset) -> dict[tuple[str, str, str], int]:
    return dict(taken_by(piece, data).lots_milli)


def test_what_has_come_is_drawn_from_the_shelf() -> None:
    data = now(TWO, shelf=2, to_come=0)
    piece = as_received(quoted(TWO), data)
    taken = held(piece, data, "Q7:", own=True)
    assert taken.lots_milli == {SHELF: 2 * MILLI}
    assert taken.drawers == {SHELF: ("Q7",)}
    assert [(row.supply, row.quantity_milli) for row in piece.pegs] == [("stock/A/ENGINE", 2000)]


def test_of_a_line_that_came_in_part_the_rest_is_drawn_as_before() -> None:
    data = now(TWO, shelf=1, to_come=1)
    piece = as_received(quoted(TWO), data)
    assert drawn(piece, data) == {SHELF: MILLI, LINE: MILLI}
    assert sum(row.quantity_milli for row in piece.pegs) == 2 * MILLI
    assert sum(row.quantity_milli for row in piece.supplies) == 2 * MILLI


def test_nothing_changes_while_the_line_brings_enough() -> None:
    piece = quoted(TWO)
    assert as_received(piece, now(TWO, shelf=5, to_come=2)) is piece


def test_what_is_on_no_shelf_is_missing_from_the_line() -> None:
    # one on the shelf, and kept from use; or one of two there
    assert drawn(as_received(quoted(TWO), now(TWO, 1, 0, held=1)), TWO) == {LINE: 2 * MILLI}
    assert drawn(as_received(quoted(TWO), now(TWO, 1, 0)), TWO) == {SHELF: MILLI, LINE: MILLI}


def test_what_it_has_on_the_shelf_already_is_not_taken_twice() -> None:
    # one from the shelf and one of P/1; that has come, so there are two
    data = shop(
        bills=(engines(2),), stock=(stock(1),), purchases=(purchase("P", march(9), units=1),)
    )
    piece = quoted(data)
    assert drawn(piece, data) == {SHELF: MILLI, LINE: MILLI}
    assert drawn(as_received(piece, now(data, 2, 0)), data) == {SHELF: 2 * MILLI}
    assert drawn(as_received(piece, now(data, 1, 0)), data) == {SHELF: MILLI, LINE: MILLI}


def test_of_two_the_first_has_what_is_still_to_come() -> None:
    # each has one engine of P/1, of which one has come
    data = shop(purchases=(purchase("P", march(9), units=2),))
    later = now(data, shelf=1, to_come=1)
    piece = quoted(data)
    first = held(as_received(piece, later), later, "Q1:", own=True)
    second = held(as_received(piece, later, first.lots_milli), later, "Q2:", own=True)
    assert (first.lots_milli, second.lots_milli) == ({LINE: MILLI}, {SHELF: MILLI})
    # and the one on the shelf is not for a third
    third = as_received(piece, now(data, 1, 0), (first + second).lots_milli)
    assert drawn(third, data) == {LINE: MILLI}


def test_what_is_moved_on_is_moved_from_the_shelf_where_it_came_to() -> None:
    data = shop(
        purchases=(purchase("P", march(9), point="B"),), lanes=(lane("B", "A", 1, move=50),)
    )
    later = replace(data, stock=(stock(1, point="B"),), purchases=())
    piece = as_received(quoted(data), later)
    assert drawn(piece, later) == {stock_key("B", "ENGINE"): MILLI}
    assert [row.from_supply for row in piece.supplies if row.from_supply] == ["stock/B/ENGINE"]


def test_spare_parts_are_sent_from_the_shelf() -> None:
    data = shop(
        purchases=(purchase("P", march(9)),),
        deliveries=(delivery("A"),),
        parts_orders=(order("O", 1, None),),
    )
    plan = listed(data, SETTINGS)
    assert plan is not None
    piece = as_received(plan, now(data, 1, 0))
    assert [row.supply for row in piece.shipments] == ["stock/A/ENGINE"]

"""What is promised with the queue re-ordered: by hand on the shop of `sales_shop`."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from sales_shop import (
    FIRST,
    SECOND,
    ask,
    book,
    planned,
    ships,
)
from tiny_shop import build, delivery, march, order, purchase, source, stock

from fulfil.render.promise import promise_page
from fulfil.store.session import Store
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_machine, ask_parts
from fulfil.usecases.promise import promise
from fulfil.usecases.quote_documents import Promise

pytestmark = pytest.mark.usefixtures("monday")


def test_the_queue_re_ordered_for_a_sooner_date(tmp_path: Path) -> None:
    builds = (build("B1", march(2)), build("B2", march(3)), build("U", None))
    with planned(tmp_path / "queue.db", book(builds=builds, stock=(stock(9),))) as store:
        assert ships(store) == {"B1": march(2), "B2": march(3), "U": march(4)}
        found = promise(store, ask_machine("MACHINE"), reorder_seconds=1)
        # U has no promise, so it can go a day later
        assert (found.ships, found.reordered is not None) == (march(5), True)
        assert found.reordered is not None
        assert (found.reordered.ships, found.reordered.days_sooner) == (march(4), 1)
        (moved,) = found.reordered.moved
        assert (moved.build, moved.ships_before, moved.ships_after) == ("U", march(4), march(5))
        assert store.quote(found.quote).answer["reordered"] == "2026-03-04"
        assert len(store.plan_headers()) == 1


def test_no_order_is_better_where_everybody_is_due(store: Store) -> None:
    found = promise(store, ask_machine("MACHINE"), reorder_seconds=1)
    assert found.reordered is not None
    assert (found.reordered.ships, found.reordered.days_sooner) == (FIRST, 0)
    assert found.reordered.moved == ()


def test_of_spare_parts_the_arrival_counts_in_a_queue_re_ordered(tmp_path: Path) -> None:
    """From A, where P1 comes on the 9th, it is there on the 10th. From B, where S1 could give way,
    it would ship on the 2nd, and arrive nine carrier days later, on the 13th: not sooner."""
    data = book(
        builds=(),
        stock=(stock(1, "B"),),
        purchases=(purchase("P1", march(9)),),
        sources=(source(20),),
        parts_orders=(order("S1", 1, march(31)),),  # from B, which costs nothing
        deliveries=(delivery("A", cost=50, days=1), delivery("B", days=9)),
    )
    with planned(tmp_path / "far.db", data) as store:
        asked = ask_parts((("ENGINE", 1000),), "US-NV")
        found = promise(store, asked, reorder_seconds=1)
        assert found.arrives == march(10)
        assert found.reordered is not None
        assert (found.reordered.days_sooner, found.reordered.moved_lines) == (0, ())


def far_and_near(tmp_path: Path, days: int) -> Store:
    """One engine at A, sent to S1 when it was to be there on Monday the 2nd, the first carrier day
    after 02-27; now the seventh is early enough. One at B, whence it takes so many days; P1 comes
    to A on the 9th."""
    data = book(
        builds=(),
        stock=(stock(1), stock(1, "B")),
        purchases=(),
        sources=(source(20),),
        parts_orders=(order("S1", 1, None, within_days=1),),
        deliveries=(delivery("A", cost=50, days=1), delivery("B", days=days)),
    )
    store = planned(tmp_path / "near.db", data)
    waits = (order("S1", 1, None, within_days=7),)
    store.replace_dataset(
        dataclasses.replace(data, parts_orders=waits, purchases=(purchase("P1", march(9)),))
    )
    return store


def test_a_ship_day_of_a_queue_re_ordered_is_taken_with_its_arrival(tmp_path: Path) -> None:
    """S1 is to be there by the seventh carrier day after Friday 02-27, the 10th, so it can wait for
    P1 of the 9th and leave the engine on the shelf of A to a new order, which is there on the 3rd.
    From B that would ship on the 2nd, too, for nothing, but arrive on the 13th."""
    with far_and_near(tmp_path, days=9) as store:
        found = promise(store, ask_parts((("ENGINE", 1000),), "US-NV"), reorder_seconds=1)
        assert (found.ships, found.arrives) == (march(9), march(10))
        assert found.reordered is not None
        assert (found.reordered.ships, found.reordered.arrives) == (march(2), march(3))
        assert found.reordered.days_sooner == 7
        assert any(
            "`fulfil accept Q1 --promised 2026-03-02`" in n for n in promise_page(found).notes
        )
        made = accept_quote(store, found.quote, promised=march(2), name="O9", seconds=2)
        assert made.promises == (Promise("O9", march(2), arrives=False),)
        assert made.reordered is not None
        assert (made.reordered.arrives, made.reordered.days_sooner) == (march(3), 7)
        sent = {row.order: (row.point, row.arrives) for row in store.plan().plan.shipments}
        assert sent == {"O9": ("A", march(3)), "S1": ("A", march(10))}


def test_an_arrival_that_is_sooner_with_no_sooner_ship_day(tmp_path: Path) -> None:
    """From B it ships on the 2nd and arrives on the 9th, from A on the 3rd, for the same ship day:
    a promise of that day would be kept from B as well."""
    with far_and_near(tmp_path, days=5) as store:
        found = promise(store, ask_parts((("ENGINE", 1000),), "US-NV"), reorder_seconds=1)
        assert (found.ships, found.arrives) == (march(2), march(9))
        assert found.reordered is not None
        assert (found.reordered.ships, found.reordered.arrives) == (march(2), march(3))
        notes = promise_page(found).notes
        assert not any("--promised" in note for note in notes)
        assert any("load the order" in note for note in notes)


def test_a_line_that_arrives_later_for_it_is_told(tmp_path: Path) -> None:
    """S1 could leave the engine of A to a machine and be sent from B on the same day: ten days
    later at its place."""
    data = book(
        builds=(),
        stock=(stock(1), stock(1, "B")),
        parts_orders=(order("S1", 1, march(2)),),
        deliveries=(delivery("A", days=1), delivery("B", cost=5, days=9)),
    )
    with planned(tmp_path / "later.db", data) as store:
        found = promise(store, ask_machine("MACHINE"), reorder_seconds=1)
        assert found.reordered is not None
        (line,) = found.reordered.moved_lines
        assert (line.ships_before, line.ships_after) == (march(2), march(2))
        assert (line.arrives_before, line.arrives_after) == (march(3), march(13))
        assert (line.points_before, line.points_after) == (("A",), ("B",))


def test_a_build_that_is_called_like_the_question(store: Store) -> None:
    ask(store)
    accept_quote(store, 1, name="QUOTE")
    found = promise(store, ask_machine("MACHINE"), reorder_seconds=1)
    assert found.ships == SECOND
    assert found.reordered is not None
    assert found.reordered.ships == SECOND

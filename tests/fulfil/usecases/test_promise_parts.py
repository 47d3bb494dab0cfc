"""When could spare parts ship and arrive, and from where? By hand on the shop of `sales_shop`."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from fulfil_models.forward import Lever
from fulfil_models.tables import Dataset, Part
from sales_shop import (
    AS_OF,
    THIRD,
    book,
    plan_again,
    planned,
)
from tiny_shop import delivery, march, purchase, stock

from fulfil.errors import Refused
from fulfil.render.holds import accepted_page, holds_page
from fulfil.store.session import Store
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_parts
from fulfil.usecases.holds import hold, holds
from fulfil.usecases.promise import promise
from fulfil.usecases.quote_documents import Promise

pytestmark = pytest.mark.usefixtures("monday")


def parts_shop() -> Dataset:
    """Engines: one free at A, whence it takes two days; two at B, whence it takes four."""
    return book(
        stock=(stock(3), stock(2, "B")),
        deliveries=(delivery("A", cost=20, days=2), delivery("B", cost=10, days=4)),
    )


@pytest.fixture
def parts_store(tmp_path: Path) -> Iterator[Store]:
    with planned(tmp_path / "parts.db", parts_shop()) as store:
        yield store


def test_spare_parts_from_where_they_arrive_first(parts_store: Store) -> None:
    found = promise(parts_store, ask_parts((("ENGINE", 1000),), "US-NV", within_days=2))
    assert (found.ships, found.arrives, found.carrier_days) == (AS_OF, march(4), 2)
    # two carrier days after Monday the 2nd
    assert (found.due, found.days_past_wanted) == (march(4), 0)
    assert [row.is_arrival for row in found.wanted] == [True]
    assert [(row.point, row.arrives, row.cost) for row in found.from_points] == [
        ("A", march(4), 20),
        ("B", march(6), 10),
    ]
    assert len(found.shipment_reasons) == 1


def test_spare_parts_that_arrive_together_ship_as_cheaply_as_can_be(tmp_path: Path) -> None:
    """A lamp is at both points, a free engine at B alone. From A it takes one carrier day, for 20,
    from B two, for 10. The lamp from A would be there a day before the engine, which is no use."""
    data = book(
        parts=(*book().parts, Part(part="LAMP")),
        stock=(stock(2), stock(2, "B"), stock(1, part="LAMP"), stock(1, "B", part="LAMP")),
        deliveries=(delivery("A", cost=20, days=1), delivery("B", cost=10, days=2)),
    )
    with planned(tmp_path / "cheap.db", data) as store:
        found = promise(store, ask_parts((("ENGINE", 1000), ("LAMP", 1000)), "US-NV"))
        assert [(row.point, row.arrives) for row in found.shipments] == [("B", march(4))] * 2
        assert found.from_points[0].point == "B"
        assert found.cost == found.from_points[0].cost
        # a lamp alone comes from where it is there first, whatever that costs
        found = promise(store, ask_parts((("LAMP", 1000),), "US-NV"))
        assert [(row.point, row.arrives, found.cost) for row in found.shipments] == [
            ("A", march(3), 20)
        ]


@pytest.mark.parametrize(
    ("within", "wanted", "late"), [(11, 4, 0), (11, 3, 1), (9, 3, 4), (2, 5, 13), (None, 3, 1)]
)
def test_spare_parts_against_both_days(
    tmp_path: Path, within: int | None, wanted: int, late: int
) -> None:
    """P2 comes to B on Wednesday the 4th, and nine carrier days later it is Tuesday the 17th, the
    eleventh after Monday the 2nd. The ninth is the 13th, the second the 4th."""
    data = book(
        purchases=(purchase("P2", march(4), point="B"),),
        stock=(stock(2),),
        sources=(),
        deliveries=(delivery("B", days=9),),
    )
    with planned(tmp_path / "both.db", data) as store:
        asked = ask_parts((("ENGINE", 1000),), "US-NV", within, march(wanted))
        found = promise(store, asked)
        assert (found.ships, found.arrives) == (march(4), march(17))
        assert found.days_past_wanted == late
        # the data have only one of both days
        accept_quote(store, found.quote)
        (line,) = store.dataset().parts_orders
        promised = (march(4), None) if within is None else (None, 11)
        assert (line.promised, line.within_days) == promised


def test_spare_parts_in_several_shipments(parts_store: Store) -> None:
    found = promise(parts_store, ask_parts((("ENGINE", 3000),), "US-NV", within_days=2))
    # all from one point: at A there are three once P1 and an order of 29 days came, on Tuesday 31
    assert (found.ships, found.arrives) == (THIRD, date(2026, 4, 2))
    assert found.days_past_wanted == 29  # 03-04 to 04-02
    (split,) = (row.found for row in found.forward if row.found.lever is Lever.SPLIT)
    assert (split.ships, split.arrives, split.cost) == (AS_OF, march(6), 10)


def test_a_parts_order_that_is_accepted(parts_store: Store) -> None:
    promise(parts_store, ask_parts((("ENGINE", 1000),), "US-NV", within_days=2, weight_ppm=3))
    made = accept_quote(parts_store, 1, name="O9")
    (line,) = parts_store.dataset().parts_orders
    # its arrival is promised, two carrier days after the 2nd: from A, or whence it is there by then
    assert (line.order, line.line, line.promised, line.within_days) == ("O9", "1", None, 2)
    assert made.promises == (Promise("O9", march(4), arrives=True),)
    assert made.promised is None
    assert "O9 is promised to arrive by 2026-03-04, and ships" in accepted_page(made).lines(200)[0]
    with pytest.raises(Refused, match="it is O9, promised to arrive by 2026-03-04"):
        hold(parts_store, 1, 3)
    (row,) = holds_page(holds(parts_store, every=True)).document()["quotes"]
    assert row["promised"] is None
    assert row["promises"] == [{"name": "O9", "day": "2026-03-04", "arrives": True}]
    assert (line.weight_ppm, line.split) == (3, False)
    assert (made.names, made.ships) == (("O9",), AS_OF)
    assert [(row.order, row.ships) for row in parts_store.plan().plan.shipments] == [("O9", AS_OF)]
    # the free engine at A is gone: the next from there comes on the 16th, from B it is four days
    found = promise(parts_store, ask_parts((("ENGINE", 1000),), "US-NV"))
    assert found.arrives == march(6)


def test_the_arrival_that_was_told_is_kept_by_later_plans(tmp_path: Path) -> None:
    """From A it takes one carrier day, for 100, from B nine, for nothing: a plan that only had a
    day to ship by would send it from B."""
    data = book(
        stock=(stock(3), stock(1, "B")),
        deliveries=(delivery("A", cost=100, days=1), delivery("B", days=9)),
    )
    with planned(tmp_path / "arrival.db", data) as store:
        found = promise(store, ask_parts((("ENGINE", 1000),), "US-NV"))
        assert (found.ships, found.arrives) == (AS_OF, march(3))
        accept_quote(store, found.quote, name="O9")
        plan_again(store)
        (sent,) = store.plan().plan.shipments
        assert (sent.point, sent.arrives, sent.late_days) == ("A", march(3), 0)

"""What purchasing, shipping and engineering see of the demo, whichever plan was found."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date
from functools import cache
from pathlib import Path

import pytest
from fulfil_models.tables import Dataset

from fulfil.render.orders import order_page, orders_page
from fulfil.render.page import Page
from fulfil.render.purchasing import open_page, purchases_page
from fulfil.render.shipping import transfers_page
from fulfil.render.shortages import part_page, shortages_page
from fulfil.render.structure import explode_page, where_used_page
from fulfil.store import open_store
from fulfil.store.session import Store
from fulfil.usecases import purchasing, shipping, structure

AS_OF = date(2026, 9, 14)


@pytest.fixture(scope="module")
def store(demo_db: Path) -> Iterator[Store]:
    """Nobody writes to it, so what was read of it once is not read again."""
    with open_store(str(demo_db)) as opened, pytest.MonkeyPatch.context() as patch:
        read_dataset, read_plan = cache(opened.dataset), cache(opened.plan)

        def dataset(tables: Iterable[str] | None = None) -> Dataset:
            return read_dataset(None if tables is None else tuple(tables))

        patch.setattr(opened, "dataset", dataset)
        patch.setattr(opened, "plan", read_plan)
        yield opened


def pages(store: Store) -> Iterator[tuple[str, Page]]:
    """Every list at its longest, and pages of single things."""
    short = purchasing.shortages(store)
    yield "shortages", shortages_page(short, every=True)
    yield "purchases", purchases_page(purchasing.purchases(store), every=True)
    yield "open", open_page(purchasing.open_purchases(store), every=True)
    yield "transfers", transfers_page(shipping.transfers(store), every=True)
    yield "orders", orders_page(shipping.orders(store), every=True)
    for row in short.shortages:
        part = row.part
        yield f"shortages {part}", part_page(purchasing.part(store, part), every=True)
        yield (
            f"where-used {part}",
            where_used_page(structure.where_used(store, part, AS_OF), every=True),
        )
    dataset = store.dataset(("builds", "parts_orders", "suppliers"))
    for order in sorted({row.order for row in dataset.parts_orders}):
        yield f"orders {order}", order_page(shipping.order(store, order))
    for supplier in dataset.suppliers:
        found = purchasing.purchases(store, supplier=supplier.supplier)
        yield f"purchases {supplier.supplier}", purchases_page(found, every=True)
    for build in dataset.builds[::6]:
        tree = structure.explode(store, build.build, 1000, AS_OF)
        yield f"explode {build.build}", explode_page(tree, every=True)
        yield f"explode {build.build} --points", explode_page(tree, every=True, points=True)


def test_every_page_fits_a_hundred_columns(store: Store) -> None:
    shown = {name: max(map(len, page.lines(100))) for name, page in pages(store)}
    assert len(shown) > 100
    assert {name: width for name, width in shown.items() if width > 100} == {}


def test_a_parts_order_that_no_point_could_send_alone(store: Store) -> None:
    # twelve kits, ordered on Friday 11 September, within three carrier days: Wednesday the 16th
    found = shipping.order(store, "S-7301")
    (row,) = found.lines
    assert row.line.arrive_by == date(2026, 9, 16)
    spare = {point.point: point.spare_milli for point in row.points}
    assert max(spare.values()) < row.line.quantity_milli == 12_000
    tulsa = next(point for point in row.points if point.point == "TULSA")
    # 36 for the shipment and 0.51 for each of 12 x 3.4 kg
    assert tulsa.cost_micro == 36_000_000 + 40_800 * 510
    text = " ".join(order_page(found).lines(100))
    assert "no point has 12 ea to spare now" in text


def test_the_scarce_engine_if_ordered_today(store: Store) -> None:
    engine = purchasing.part(store, "ENG-014D").shortage
    (offer,) = engine.offers
    # 112 days after 14 September is Monday 4 January; 21 days sooner is Monday 14 December
    assert (offer.usable_on, offer.expedited_on) == (date(2027, 1, 4), date(2026, 12, 14))
    assert (offer.minimum_milli, offer.multiple_milli, offer.monthly_cap_milli) == (
        2000,
        2000,
        8000,
    )
    # three are free at the plant and one is held, one lies in Memphis
    assert [(row.point, row.free_milli, row.held_milli) for row in engine.on_hand] == [
        ("MEMPHIS", 1000, 0),
        ("TWIN-FALLS", 3000, 1000),
    ]
    # every build late on its account was lost before today, however the plan shares them out
    assert engine.late_days > 0
    assert engine.order_by is not None
    assert engine.order_by < AS_OF


def test_a_past_due_purchase_is_the_first_doubt(store: Store) -> None:
    found = purchasing.open_purchases(store, doubtful_only=True)
    assert (found.total, found.past_due, found.unconfirmed) == (73, 3, 11)
    # one line is both, so 13 are doubtful
    assert len(found.lines) == 3 + 11 - 1
    masts = next(row for row in found.lines if row.part == "CYL-MAST")
    assert (masts.order, masts.due, masts.counted_on) == (
        "PO-4426",
        date(2026, 9, 2),
        date(2026, 9, 21),
    )
    assert masts.slack_days == 0
    slack = [row.slack_days for row in found.lines if row.slack_days is not None]
    assert slack == sorted(slack)

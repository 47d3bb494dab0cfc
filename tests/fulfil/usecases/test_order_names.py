"""Which parts order is meant, where names hold the stroke that stands between order and line?"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from fulfil_models.tables import Setting
from tiny_shop import delivery, march, order, shop, stock

from fulfil.store import open_store
from fulfil.usecases.planning import make_plan
from fulfil.usecases.shipping import order as order_answer

DATA = dataclasses.replace(
    shop(
        stock=(stock(9),),
        deliveries=(delivery("A"),),
        parts_orders=(
            order("P", 1, march(3)),
            order("P", 1, march(3), line="2"),
            order("P/1", 1, march(3)),
            order("P/1", 1, march(3), line="7"),
        ),
    ),
    settings=(Setting(key="as_of", value="2026-03-02"),),
)


@pytest.mark.parametrize(
    ("asked", "lines"),
    [
        ("P", [("P", "1"), ("P", "2")]),
        ("P/2", [("P", "2")]),
        ("P/1", [("P/1", "1"), ("P/1", "7")]),  # an order of that name, not line 1 of P as well
        ("p/1/7", [("P/1", "7")]),
    ],
)
def test_an_order_goes_before_a_line_of_the_same_name(
    tmp_path: Path, asked: str, lines: list[tuple[str, str]]
) -> None:
    with open_store(str(tmp_path / "db.sqlite")) as store:
        store.replace_dataset(DATA)
        make_plan(store, seconds=0.3, seed=1, mode="repeatable")
        answer = order_answer(store, asked)
    assert [(row.line.order, row.line.line) for row in answer.lines] == lines

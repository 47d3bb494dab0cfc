"""Open purchases: which are doubtful, and whom would it hurt if one slipped?"""

from __future__ import annotations

import dataclasses
from datetime import date

import small_shop
from fulfil_models.open_purchases import LateOne, open_purchases
from fulfil_models.plan import SupplyKind
from fulfil_models.settings import Settings

SETTINGS = Settings(as_of=small_shop.AS_OF)
DATA, PLAN = small_shop.dataset(), small_shop.plan()


def test_past_due_and_not_confirmed() -> None:
    lamps, engine = open_purchases(DATA, SETTINGS, PLAN)
    # due 02-20, ten days before 03-02; counted on seven days after that
    assert (lamps.order, lamps.past_due_days, lamps.counted_on) == ("P2", 10, date(2026, 3, 9))
    assert (lamps.doubtful, lamps.confirmed) == (True, True)
    assert (engine.order, engine.past_due_days, engine.doubtful) == ("P1", 0, True)
    sure = dataclasses.replace(DATA.purchases[0], confirmed=True)
    (row,) = open_purchases(dataclasses.replace(DATA, purchases=(sure,)), SETTINGS, PLAN)
    assert not row.doubtful


def test_whom_it_would_hurt() -> None:
    lamps, engine = open_purchases(DATA, SETTINGS, PLAN)
    assert [use.who for use in engine.for_whom] == ["B4"]
    assert engine.late == (LateOne("B4", 6),)
    # usable on 03-16, and taken that day: it may not slip at all
    assert (engine.needed_on, engine.slack_days) == (date(2026, 3, 16), 0)
    assert lamps.late == (LateOne("O2/1", 10),)
    assert (lamps.drawn_milli, lamps.quantity_milli) == (4000, 10_000)


def test_who_takes_it_later_leaves_it_time() -> None:
    operations = tuple(
        dataclasses.replace(row, start=small_shop.march(19), end=small_shop.march(19, "12:00"))
        if (row.job, row.operation) == ("B4", 10)
        else row
        for row in PLAN.operations
    )
    _, engine = open_purchases(DATA, SETTINGS, dataclasses.replace(PLAN, operations=operations))
    assert (engine.needed_on, engine.slack_days) == (date(2026, 3, 19), 3)  # from 03-16


def test_what_is_moved_on_is_needed_when_it_leaves() -> None:
    # the engine moved for B3 comes of a purchase to RNO that is usable on 03-02
    data = dataclasses.replace(
        DATA,
        purchases=(
            dataclasses.replace(DATA.purchases[0], order="P9", point="RNO", due=date(2026, 3, 2)),
        ),
    )
    supplies = tuple(
        dataclasses.replace(row, kind=SupplyKind.PURCHASE, order="P9", line="1")
        if row.supply == "stock/RNO/ENG-A"
        else row
        for row in PLAN.supplies
    )
    (engine,) = open_purchases(data, SETTINGS, dataclasses.replace(PLAN, supplies=supplies))
    assert engine.needed_on == date(2026, 3, 3)  # the Tuesday of the lane
    assert engine.slack_days == 1
    assert engine.late == (LateOne("B3", 1),)


def test_one_that_nobody_takes() -> None:
    spare = dataclasses.replace(DATA.purchases[0], order="P3", part="VALVE")
    rows = open_purchases(dataclasses.replace(DATA, purchases=(spare,)), SETTINGS, PLAN)
    assert [(row.needed_on, row.slack_days, row.for_whom) for row in rows] == [(None, None, ())]

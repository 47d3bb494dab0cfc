"""What purchasing is told ahead from a plan that believes the record, and that all tell one date.

The shop of `sales_shop`, whose supplier of engines brought ten of them in 20, 30, ... 110 days, and
lets five go in a month. The planning date is Monday 2026-03-02. P1/1 was ordered on 2026-01-05, 56
days before, and is due on the 16th. Of the six that took longer than 56 days half had come after
80, on Thursday 2026-03-26, and nine in ten after 110: on Saturday 2026-04-25, so that it is there
on Monday 27.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from fulfil_models.rationing import Ration
from fulfil_models.tables import Dataset, Purchase, Receipt
from sales_shop import AS_OF, FIRST, SECOND, THIRD, book, plan_again, ships
from tiny_shop import build, march, purchase, source

from fulfil.store import open_store
from fulfil.store.session import Store
from fulfil.usecases import buying
from fulfil.usecases.chasing import ChaseAnswer, chase
from fulfil.usecases.cover import Asked, CoverAnswer, cover
from fulfil.usecases.planning import make_plan
from fulfil.usecases.rationing import ration, rations

pytestmark = pytest.mark.usefixtures("monday")

STATED, LEARNT = 1, 2
"""numbers of the plans"""
HALF, NINE, THERE = march(26), date(2026, 4, 25), date(2026, 4, 27)


def recorded(line: Purchase) -> Dataset:
    """Three engines on the shelf for five builds; one is on order."""
    ordered = AS_OF - timedelta(300)
    return book(
        builds=(
            build("B1", march(2)),
            build("B2", march(3)),
            build("B3", FIRST),
            build("B4", SECOND),
            build("B5", THIRD),
        ),
        sources=(source(29, 5),),
        purchases=(line,),
        receipts=tuple(
            Receipt(
                order="R",
                line=str(days),
                part="ENGINE",
                supplier="S",
                point="A",
                quantity_milli=1000,
                ordered=ordered,
                received=ordered + timedelta(days),
            )
            for days in range(20, 111, 10)
        ),
    )


def planned(path: Path, line: Purchase) -> Store:
    """A store with a plan of what is stated, then one that believes nine in ten."""
    store = open_store(str(path))
    store.replace_dataset(recorded(line))
    assert plan_again(store) == STATED
    learnt = make_plan(store, seconds=0.2, seed=1, mode="repeatable", lead_times="learnt-90")
    assert (learnt.number, learnt.violations) == (LEARNT, ())
    return store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with planned(tmp_path / "fulfil.db", purchase("P1", SECOND)) as store:
        yield store


@pytest.mark.parametrize(("number", "counted_on"), [(STATED, SECOND), (LEARNT, NINE)])
def test_a_line_to_chase_keeps_its_due_date_and_is_counted_on_later(
    store: Store, number: int, counted_on: date
) -> None:
    (row,) = chase(store, number).lines
    assert (row.line.due, row.line.counted_on) == (SECOND, counted_on)
    assert (row.expected_50, row.expected_90) == (HALF, THERE)


def test_it_slips_from_the_day_that_the_plan_counts_on(store: Store) -> None:
    """B4 ships on the 27th of April by the plan that believes the record; with the engine on
    Saturday 2 May it ships on the 4th: five working days more, at weight 1."""
    assert ships(store, LEARNT)["B4"] == THERE
    (row,) = chase(store, LEARNT).lines
    (hit,) = row.hits
    assert (hit.who, hit.ships, hit.ships_then) == ("B4", THERE, date(2026, 5, 4))
    assert row.late_days == 5
    assert row.record_late_days == 0  # that it comes then is in the plan already
    (stated,) = chase(store, STATED).lines
    assert stated.record_late_days == 30  # working days from 16 March to 27 April


def test_a_line_past_due_stays_so_whatever_the_plan_believes(tmp_path: Path) -> None:
    with planned(tmp_path / "db", purchase("P1", march(1))) as store:
        for number, counted_on in ((STATED, march(9)), (LEARNT, NINE)):
            found = chase(store, number)
            (row,) = found.lines
            assert (found.past_due, row.line.past_due_days, row.line.due) == (1, 1, march(1))
            assert row.line.counted_on == counted_on


def test_cover_tells_stated_dates_beside_those_of_the_record(store: Store) -> None:
    for number in (STATED, LEARNT):
        (row,) = cover(store, Asked(part="ENGINE"), number).rows
        (line,) = row.lines
        assert (line.due, line.stated_on, line.on_50, line.on_90) == (SECOND, SECOND, HALF, THERE)
        assert row.last_order is not None
        assert (row.last_order.stated_days, row.last_order.days_90) == (29, 110)


@pytest.mark.parametrize(("number", "month"), [(STATED, "2026-03"), (LEARNT, "2026-04")])
def test_what_is_rationed_comes_in_the_month_that_the_plan_counts_on(
    store: Store, number: int, month: str
) -> None:
    def opened(row: Ration) -> dict[str, int]:
        return {each.month: each.open_milli for each in row.months if each.open_milli}

    assert opened(ration(store, "ENGINE", number).ration) == {month: 1000}
    for row in rations(store, number).rations:
        assert opened(row) == {month: 1000}
    assert rations(store, LEARNT).rations  # B4 and B5 wait


def test_what_is_bought_is_due_as_the_supplier_states_it(store: Store) -> None:
    """Whatever lead time the plan believes: 29 days after it is ordered; nine in ten by the record
    after 110."""
    asked = buying.Asked(part="ENGINE", service=0.5)
    for number in (STATED, LEARNT):
        lines = buying.buy(store, asked, number).lines
        assert lines
        for row in lines:
            assert row.due_on - row.place_on == timedelta(29)
            assert row.arrives_90 - row.place_on == timedelta(110)


# ---- one account of dates


def dates_of(answer: CoverAnswer) -> dict[tuple[str, str], tuple[date | None, date | None]]:
    return {
        (line.order, line.line): (line.on_50, line.on_90)
        for row in answer.rows
        for line in row.lines
    }


def chased(answer: ChaseAnswer) -> dict[tuple[str, str], tuple[date | None, date | None]]:
    return {
        (row.line.order, row.line.line): (row.expected_50, row.expected_90) for row in answer.lines
    }


@pytest.mark.parametrize("due", [march(1), SECOND, THIRD, date(2026, 5, 2)])
def test_chase_and_cover_tell_the_same_dates(tmp_path: Path, due: date) -> None:
    """Past due; due before the record lets it come; after that of half, and of nine in ten: then
    what was agreed upon counts."""
    with planned(tmp_path / "db", purchase("P1", due)) as store:
        for number in (STATED, LEARNT):
            told = dates_of(cover(store, Asked(part="ENGINE"), number))
            assert len(told) == 1
            assert chased(chase(store, number)) == told


def test_chase_and_cover_of_the_demo_tell_the_same_dates(demo_db: Path) -> None:
    with open_store(str(demo_db)) as store:
        told = dates_of(cover(store, Asked()))
        assert len(told) > 10
        lines = chased(chase(store))
    assert {key: lines[key] for key in told} == told

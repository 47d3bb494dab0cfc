"""How long the demo's short engines last, what is to be chased in it, and who gets the one that is
rationed, whichever plan was found."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from fulfil_models.plan import Plan

from fulfil.render.chasing import chase_page
from fulfil.render.page import Page
from fulfil.render.rationing import ration_page, rations_page
from fulfil.store import open_store
from fulfil.store.session import Store
from fulfil.usecases.chasing import ChaseAnswer, chase
from fulfil.usecases.cover import Asked, cover
from fulfil.usecases.rationing import RationAnswer, ration, rations

AS_OF = date(2026, 9, 14)


@pytest.fixture(scope="module")
def store(demo_db: Path) -> Iterator[Store]:
    with open_store(str(demo_db)) as opened:
        yield opened


@pytest.fixture(scope="module")
def chased(store: Store) -> ChaseAnswer:
    return chase(store)


@pytest.fixture(scope="module")
def engine(store: Store) -> RationAnswer:
    return ration(store, "ENG-014D")


def _plan(store: Store) -> Plan:
    return store.plan(None).plan


@pytest.mark.parametrize(
    ("engine", "days", "passed"), [("ENG-014D", 143, True), ("ENG-008G", 70, False)]
)
def test_both_short_engines_run_out_and_have_a_last_day_to_order(
    store: Store, engine: str, days: int, passed: bool
) -> None:
    """Of a hundred orders ninety come within so many days: the last day is that much before the
    engine runs out, or the working day before that, at most a weekend earlier."""
    (row,) = cover(store, Asked(part=engine)).rows
    found = row.learnt_90
    assert found.runs_out_on is not None
    assert found.order_by is not None
    weekend = found.runs_out_on - timedelta(days) - found.order_by
    assert timedelta(0) <= weekend <= timedelta(2)
    assert (found.order_by < AS_OF) is passed


def test_the_cylinders_past_due_come_first(chased: ChaseAnswer) -> None:
    """Two masts wait for them, both late in any plan; 5 working days a week for each."""
    first = chased.lines[0]
    assert (first.line.order, first.line.part) == ("PO-4426", "CYL-MAST")
    assert first.line.past_due_days == 12
    assert {hit.who for hit in first.hits} >= {"B-2105", "B-2107"}
    assert first.late_days >= first.free_late_days >= 5
    assert (first.line.needed_on, first.harmless_days) == (date(2026, 9, 21), 0)


def test_the_record_says_when_they_come(chased: ChaseAnswer) -> None:
    for row in chased.lines:
        assert row.expected_50 is not None
        assert row.expected_90 is not None
        assert AS_OF <= row.expected_50 <= row.expected_90


def test_harm_is_in_order_and_slack_does_none(chased: ChaseAnswer) -> None:
    rows = [row for row in chased.lines if not (row.hurts and row.line.past_due_days)]
    assert [row.late_days for row in rows] == sorted((r.late_days for r in rows), reverse=True)
    for row in chased.lines:
        if row.line.slack_days is not None and row.line.slack_days >= 7:
            assert not row.hits
        if row.line.needed_on is None:
            assert row.harmless_days is None
        assert all(hit.who for hit in row.hits)


def test_the_engine_is_rationed(store: Store, engine: RationAnswer) -> None:
    found = rations(store)
    assert found.rations[0].part == "ENG-014D"
    assert found.rations[0] == engine.ration
    plan = _plan(store)
    late = {row.build for row in plan.builds if row.late_days}
    waiting = [taker.who for taker in engine.ration.waiting]
    assert len(waiting) >= 3
    assert {who for who in waiting if who.startswith("B-")} <= late


def test_everybody_who_draws_is_there_once(store: Store, engine: RationAnswer) -> None:
    plan = _plan(store)
    drawn = sum(peg.quantity_milli for peg in plan.pegs if peg.used == "ENG-014D")
    drawn += sum(row.quantity_milli for row in plan.shipments if row.used == "ENG-014D")
    assert sum(taker.quantity_milli for taker in engine.ration.takers) == drawn
    wanted = sum(month.wanted_milli for month in engine.ration.months)
    assert wanted == drawn  # nothing stands in for it


def test_one_more_is_worth_something_and_less_later(store: Store, engine: RationAnswer) -> None:
    costs = [row.cost for row in engine.worth]
    assert costs[0] > 0
    assert costs == sorted(costs, reverse=True)
    assert costs[0] <= _plan(store).objective.total


def _pages(store: Store, chased: ChaseAnswer, engine: RationAnswer) -> Iterator[tuple[str, Page]]:
    yield "chase", chase_page(chased, every=True)
    yield "rations", rations_page(rations(store), every=True)
    yield "ration", ration_page(engine, every=True)


@pytest.mark.parametrize("width", [80, 100])
def test_pages_keep_to_their_width(
    store: Store, chased: ChaseAnswer, engine: RationAnswer, width: int
) -> None:
    for name, page in _pages(store, chased, engine):
        wide = [line for line in page.lines(width) if len(line) > width]
        assert not wide, name


def test_every_heading_has_its_cells(
    store: Store, chased: ChaseAnswer, engine: RationAnswer
) -> None:
    for name, page in _pages(store, chased, engine):
        for record in page.records():
            assert set(page.headings) <= set(record), name

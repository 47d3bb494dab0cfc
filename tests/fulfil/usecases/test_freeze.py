"""A plan is held to what was frozen when it was made: by `plan`, and by `audit` ever after."""

from __future__ import annotations

import dataclasses
from datetime import datetime
from pathlib import Path

import pytest
from fulfil_models.tables import Dataset, Setting
from tiny_shop import build, march, shop, stock

from fulfil.store import open_store
from fulfil.store.session import Store
from fulfil.usecases.planning import FirstPlan, PlanOutcome, make_plan
from fulfil.usecases.plans import audit


def book(**promised: int) -> Dataset:
    """Builds of a whole day on one station with an engine each, promised for days of March 2026;
    the planning date is Monday the 2nd, and what starts by Wednesday keeps its slot."""
    settings = {"as_of": "2026-03-02", "freeze_days": "3"}
    return dataclasses.replace(
        shop(builds=tuple(build(b, march(d)) for b, d in promised.items()), stock=(stock(9),)),
        settings=tuple(Setting(key=key, value=value) for key, value in settings.items()),
    )


def planned(store: Store) -> tuple[PlanOutcome, list[FirstPlan]]:
    told: list[FirstPlan] = []
    outcome = make_plan(store, seconds=0.3, seed=1, mode="repeatable", on_first=told.append)
    return outcome, told


def starts(outcome: PlanOutcome) -> dict[str, datetime]:
    return {row.job: row.start for row in outcome.plan.operations}


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(str(tmp_path / "db.sqlite"))


FIRST = {"B1": march(2), "B2": march(3)}
"""by hand: the day on which each build stands, once both are promised for that day"""


def accepted(store: Store) -> None:
    store.replace_dataset(book(B1=2, B2=3))
    outcome, _ = planned(store)
    assert {job: start.date() for job, start in starts(outcome).items()} == FIRST
    store.accept_plan(outcome.number)
    # now the other way round: without the freeze they would change places
    store.replace_dataset(book(B1=3, B2=2))


def test_what_is_frozen_stays_and_is_audited_to_have_stayed(store: Store) -> None:
    with store:
        accepted(store)
        outcome, told = planned(store)
        assert outcome.violations == ()
        assert {job: start.date() for job, start in starts(outcome).items()} == FIRST
        assert len(told) == 1
        assert store.plan_header().options["accepted_plan"] == 1
        assert audit(store).good


def test_a_plan_that_moves_what_is_frozen_is_refused(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    with store:
        accepted(store)
        # a planner that forgets the freeze: B2 stands on Monday and B1 on Tuesday; both old slots
        # are taken by then, so that neither could go back, and nothing is wrong
        monkeypatch.setattr("fulfil_models.book.Book._apply_freeze", lambda *_: None)
        outcome, _ = planned(store)
        assert outcome.violations == ()
        # with B1 alone nothing stands in its old slot, which it left for the day it is promised for
        store.replace_dataset(book(B1=5))
        outcome, told = planned(store)
        assert starts(outcome)["B1"].date() == march(5)
        assert [row.rule for row in outcome.violations] == ["freeze"]
        assert (outcome.number, told) == (0, [])
        assert store.plan_header().number == 2


def test_an_audit_knows_the_plan_that_was_worked_by_then(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    with store:
        accepted(store)
        monkeypatch.setattr("fulfil_models.audit.audit", lambda *_: ())
        monkeypatch.setattr("fulfil_models.book.Book._apply_freeze", lambda *_: None)
        store.replace_dataset(book(B1=5))
        outcome, _ = planned(store)
        monkeypatch.undo()
        # accepted since: that is not what it was to keep to
        store.accept_plan(outcome.number)
        (broken,) = audit(store, outcome.number).violations
        assert (broken.rule, broken.subject) == ("freeze", "operation B1 10")
        assert all(row.rule != "freeze" for row in audit(store, 1).violations)

"""The first plan that passes its check is told while the search goes on."""

from __future__ import annotations

import dataclasses
from datetime import date
from pathlib import Path

import pytest
from fulfil_models.audit import Violation
from fulfil_models.tables import (
    BillLine,
    Build,
    Dataset,
    Part,
    Point,
    RoutingStep,
    Setting,
    Stock,
    WorkCentre,
)

from fulfil.store import open_store
from fulfil.usecases.planning import FirstPlan, PlanOutcome, make_plan

# Two builds of 300 minutes on one station that works 480 a day: the second ends on the next day.
# Both are promised for the first; a day late costs the default of 1,000.
BOOK = Dataset(
    settings=(Setting(key="as_of", value="2026-03-02"),),
    points=(Point(point="P"),),
    parts=(Part(part="MACHINE", make=True), Part(part="ENGINE")),
    bills=(BillLine(parent="MACHINE", component="ENGINE", quantity_milli=1000),),
    stock=(Stock(point="P", part="ENGINE", quantity_milli=2000),),
    work_centres=(WorkCentre(work_centre="W", point="P"),),
    routings=(RoutingStep(part="MACHINE", operation=10, work_centre="W", minutes_milli=300_000),),
    builds=tuple(
        Build(
            build=name,
            product="MACHINE",
            point="P",
            ordered=date(2026, 2, 2),
            promised=date(2026, 3, 2),
        )
        for name in ("B1", "B2")
    ),
)


def planned(folder: Path, book: Dataset) -> tuple[list[FirstPlan], PlanOutcome]:
    told: list[FirstPlan] = []
    with open_store(str(folder / "db.sqlite")) as store:
        store.replace_dataset(book)
        outcome = make_plan(store, seconds=1.0, seed=1, mode="repeatable", on_first=told.append)
    return told, outcome


def test_the_first_plan_is_told_once(tmp_path: Path) -> None:
    (first,), outcome = planned(tmp_path, BOOK)
    assert (first.builds_in_time, first.builds_late) == (1, 1)
    assert first.cost >= outcome.plan.objective.total > 0
    assert first.elapsed_seconds < outcome.seconds


def test_a_first_plan_that_breaks_a_rule_is_not_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = Violation("drawn-twice", "B1", "both draw the same engine")
    monkeypatch.setattr("fulfil_models.audit.audit", lambda *_: (broken,))
    told, outcome = planned(tmp_path, BOOK)
    assert told == []
    assert outcome.violations == (broken,)


def test_a_first_plan_that_leaves_a_build_out_is_not_told(tmp_path: Path) -> None:
    short = dataclasses.replace(BOOK, stock=(Stock(point="P", part="ENGINE", quantity_milli=1000),))
    told: list[FirstPlan] = []
    with open_store(str(tmp_path / "db.sqlite")) as store:
        store.replace_dataset(short)
        with pytest.raises(Exception, match="not enough of some part"):
            make_plan(store, seconds=1.0, seed=1, mode="repeatable", on_first=told.append)
    assert told == []

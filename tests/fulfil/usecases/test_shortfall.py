"""Several builds need a part of which there is not enough, ever."""

from __future__ import annotations

import dataclasses
from datetime import date, timedelta
from pathlib import Path

import pytest
from fulfil_models.tables import (
    BillLine,
    Build,
    Closure,
    Dataset,
    Part,
    Point,
    RoutingStep,
    Setting,
    Stock,
    WorkCentre,
)

from fulfil.errors import NO_PLAN, NoPlan
from fulfil.store import open_store
from fulfil.usecases.planning import make_plan

# Two builds take one engine each; one engine is on the shelf and none can be bought.
BOOK = Dataset(
    settings=(Setting(key="as_of", value="2026-03-02"),),
    points=(Point(point="P"),),
    parts=(Part(part="MACHINE", make=True), Part(part="ENGINE")),
    bills=(BillLine(parent="MACHINE", component="ENGINE", quantity_milli=1000),),
    stock=(Stock(point="P", part="ENGINE", quantity_milli=1000),),
    work_centres=(WorkCentre(work_centre="W", point="P"),),
    routings=(RoutingStep(part="MACHINE", operation=10, work_centre="W", minutes_milli=60_000),),
    builds=tuple(
        Build(build=name, product="MACHINE", point="P", ordered=date(2026, 2, 2))
        for name in ("B1", "B2")
    ),
)


def test_a_shortfall_is_named_and_nothing_is_kept(tmp_path: Path) -> None:
    with open_store(str(tmp_path / "db.sqlite")) as store:
        store.replace_dataset(BOOK)
        with pytest.raises(NoPlan, match="not enough of some part") as refused:
            make_plan(store, seconds=1.0, seed=1, mode="repeatable")
        assert refused.value.exit_code == NO_PLAN
        assert store.plan_headers() == []


def test_work_that_the_calendars_have_no_days_for(tmp_path: Path) -> None:
    # open on Monday 2026-03-02 alone: 480 minutes, for two builds of 300 each
    shut = tuple(
        Closure(calendar="standard", day=date(2026, 3, 3) + timedelta(d)) for d in range(1900)
    )
    long = RoutingStep(part="MACHINE", operation=10, work_centre="W", minutes_milli=300_000)
    two = Stock(point="P", part="ENGINE", quantity_milli=2000)
    book = dataclasses.replace(BOOK, closures=shut, routings=(long,), stock=(two,))
    with open_store(str(tmp_path / "db.sqlite")) as store:
        store.replace_dataset(book)
        with pytest.raises(NoPlan) as caught:
            make_plan(store, seconds=0.3, seed=1, mode="repeatable")
        assert caught.value.exit_code == NO_PLAN
        assert "working days are known to 2026-03-02 only" in caught.value.wrong
        assert "horizon_days" in caught.value.remedy
        assert store.plan_headers() == []

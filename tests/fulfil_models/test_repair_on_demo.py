"""The plan of the demo goes on: as it is, and with a short part a month late."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from fulfil_models.audit import audit
from fulfil_models.plan import Plan
from fulfil_models.planning import Workbench
from fulfil_models.problem import Problem
from fulfil_models.repair import retimed_plan
from fulfil_models.settings import Settings
from fulfil_models.stranded import left_out, stranded
from fulfil_models.tables import (
    Dataset,
)
from going_on import assert_kept, dates, drawing, slots

from fulfil.store import open_store
from fulfil.usecases.basis import settings_of as stored_settings


@pytest.fixture(scope="module")
def demo(demo_db: Path) -> tuple[Dataset, Settings, Plan]:
    with open_store(str(demo_db)) as store:
        data, plan = store.dataset(), store.plan().plan
    return data, stored_settings(data, plan.as_of), plan


def demo_bench(data: Dataset, settings: Settings) -> Workbench:
    out = left_out(data, settings)
    return Workbench(Problem(data, settings, out.builds, out.lines, {}, stranded(data, settings)))


def test_the_demo_goes_on_as_it_is(demo: tuple[Dataset, Settings, Plan]) -> None:
    data, settings, plan = demo
    after = retimed_plan(demo_bench(data, settings), plan, notes=("so it is",)).plan
    assert slots(after) == slots(plan)
    assert dates(after) == dates(plan)
    assert after.objective == plan.objective
    assert after.notes == ("so it is",)


@pytest.mark.parametrize("part", ["ENG-014D", "CYL-MAST"])
def test_the_demo_with_a_short_part_a_month_late(
    demo: tuple[Dataset, Settings, Plan], part: str
) -> None:
    data, settings, plan = demo
    late = [replace(row, due=row.due + timedelta(30)) for row in data.purchases if row.part == part]
    others = [row for row in data.purchases if row.part != part]
    data = replace(data, purchases=(*late, *others))
    after = retimed_plan(demo_bench(data, settings), plan)
    assert (after.unplaced, after.unshipped) == ((), ())
    assert audit(data, settings, after.plan) == ()
    hit = drawing(plan, lambda supply: supply.part == part)
    assert 0 < len(hit) < len(plan.builds) / 2
    assert slots(after.plan) != slots(plan)
    assert_kept(data, plan, after.plan, hit)

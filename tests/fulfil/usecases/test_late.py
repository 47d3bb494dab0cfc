"""What is late is the same in every answer."""

from __future__ import annotations

import dataclasses
from datetime import date, datetime
from pathlib import Path

from fulfil_models.tables import Progress, Setting
from tiny_shop import build, march, shop, stock

from fulfil.render.build import build_page
from fulfil.store import open_store
from fulfil.usecases.builds import build as build_answer
from fulfil.usecases.builds import builds
from fulfil.usecases.planning import FirstPlan, make_plan

# B1 was done on Friday 2026-02-27, promised for the 20th, and ships on the planning date, Monday
# 2026-03-02: 10 days late, no working minute of which is still to come. B2 is in time.
DATA = dataclasses.replace(
    shop(builds=(build("B1", date(2026, 2, 20)), build("B2", march(6))), stock=(stock(1),)),
    settings=(Setting(key="as_of", value="2026-03-02"),),
    progress=(
        Progress(
            build="B1",
            operation=10,
            started=datetime(2026, 2, 27, 8),
            finished=datetime(2026, 2, 27, 16, 30),
        ),
    ),
)


def test_a_build_that_was_done_and_still_stands_there_is_late_everywhere(tmp_path: Path) -> None:
    told: list[FirstPlan] = []
    with open_store(str(tmp_path / "db.sqlite")) as store:
        store.replace_dataset(DATA)
        outcome = make_plan(store, seconds=0.3, seed=1, mode="repeatable", on_first=told.append)
        (done,) = (row for row in outcome.plan.builds if row.build == "B1")
        assert (done.ships, done.late_minutes, done.late_days) == (march(2), 0, 10)
        (first,) = told
        assert (first.builds_in_time, first.builds_late) == (1, 1)
        assert store.plan_header().late == 1
        found = builds(store, late_only=True)
        assert ([row.build for row in found.builds], found.late) == (["B1"], 1)
        shown = " ".join(build_page(build_answer(store, "B1")).lines(100))
        assert "10 days late" in shown
        assert "in time" not in shown

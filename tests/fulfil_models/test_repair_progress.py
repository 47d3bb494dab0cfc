"""A plan goes on after work was done: two operations of two hours on one station, all on Monday."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from fulfil_models.cells import MILLI
from fulfil_models.plan import Plan
from fulfil_models.planning import Effort, Workbench, finished, search_plan
from fulfil_models.problem import Problem
from fulfil_models.tables import (
    Dataset,
    Part,
    Progress,
    RoutingStep,
)
from going_on import gone_on, slots
from tiny_shop import (
    SETTINGS,
    build,
    engines,
    march,
    purchase,
    shop,
    stock,
)

TWICE = replace(
    shop(bills=()),
    routings=tuple(
        RoutingStep(part="MACHINE", operation=n, work_centre="CELL", minutes_milli=120 * MILLI)
        for n in (10, 20)
    ),
    builds=(build("B1", march(2)), build("B2", march(2))),
)


def at(day: int, time: str) -> datetime:
    return datetime.fromisoformat(f"2026-03-{day:02}T{time}")


def frozen_plan(data: Dataset, starts: dict[tuple[str, int], datetime]) -> Plan:
    """The plan with these slots, though there may be a better one."""
    settings = replace(SETTINGS, freeze_days=9)
    bench = Workbench(Problem(data, settings, previous_starts=starts))
    plan = finished(bench, search_plan(bench, Effort(seconds=0.1)))
    assert {key: start for key, (start, _) in slots(plan).items()} == starts
    return plan


@pytest.fixture(scope="module")
def twice() -> Plan:
    """B1 in the morning, B2 after noon."""
    morning = {("B1", 10): at(2, "08:00"), ("B1", 20): at(2, "10:00")}
    noon = {("B2", 10): at(2, "12:30"), ("B2", 20): at(2, "14:30")}
    return frozen_plan(TWICE, morning | noon)


def test_what_is_finished_is_gone_and_the_rest_keeps_its_slots(twice: Plan) -> None:
    friday = datetime(2026, 2, 27, 8)
    done = Progress(build="B1", operation=10, started=friday, finished=friday + timedelta(hours=2))
    after = gone_on(replace(TWICE, progress=(done,)), twice).plan
    rest = slots(twice)
    del rest["B1", 10]
    assert slots(after) == rest


def test_work_that_runs_late_pushes_what_was_to_follow(twice: Plan) -> None:
    # On Tuesday B1's first operation is done, its second was started on Monday at 16:00 and has
    # 90 minutes left. B2 was to start on Monday and did not: it follows.
    progress = (
        Progress(build="B1", operation=10, started=at(2, "08:00"), finished=at(2, "16:00")),
        Progress(build="B1", operation=20, started=at(2, "16:00")),
    )
    tuesday = replace(SETTINGS, as_of=march(3))
    after = gone_on(replace(TWICE, progress=progress), twice, tuesday).plan
    assert slots(after) == {
        ("B1", 20): (at(2, "16:00"), at(3, "09:30")),
        ("B2", 10): (at(3, "09:30"), at(3, "11:30")),
        ("B2", 20): (at(3, "11:30"), at(3, "14:00")),
    }


def test_frozen_slots_are_kept_though_something_started_unplanned(twice: Plan) -> None:
    # B3, which the plan does not know, was started on Monday at 8:00 and goes on at 10:00. B1 was
    # to start at 8:00 and goes to Tuesday, no slot before being free: B2 is frozen and stays.
    started = Progress(build="B3", operation=10, started=at(2, "08:00"))
    data = replace(TWICE, builds=(*TWICE.builds, build("B3", march(2))), progress=(started,))
    settings = replace(SETTINGS, freeze_days=1)
    after = slots(gone_on(data, twice, settings, frozen=twice).plan)
    assert {key: start for key, (start, _) in after.items()} == {
        ("B3", 10): at(2, "08:00"),
        ("B3", 20): at(2, "10:00"),
        ("B2", 10): at(2, "12:30"),
        ("B2", 20): at(2, "14:30"),
        ("B1", 10): at(3, "08:00"),
        ("B1", 20): at(3, "10:00"),
    }


def test_what_is_made_for_a_build_keeps_its_slot_with_other_units() -> None:
    # The frame is made on Monday of the engine of P1, for a build of Wednesday. P1 has come in and
    # lies on the shelf: the frame could be made as late as on Tuesday, and stays.
    base = shop()
    data = shop(
        parts=(*base.parts, Part(part="FRAME", make=True)),
        bills=(
            replace(engines(1), component="FRAME"),
            replace(engines(1), parent="FRAME"),
        ),
        routings=(*base.routings, replace(base.routings[0], part="FRAME")),
        builds=(build("B1", march(4)), build("B2", march(10))),
        purchases=(purchase("P1", march(2)), purchase("P2", march(9))),
    )
    plan = frozen_plan(
        data,
        {
            ("B1/10/FRAME", 10): at(2, "08:00"),
            ("B1", 10): at(4, "08:00"),
            ("B2/10/FRAME", 10): at(9, "08:00"),
            ("B2", 10): at(10, "08:00"),
        },
    )
    received = replace(data, purchases=data.purchases[1:], stock=(stock(1),))
    after = gone_on(received, plan).plan
    assert slots(after) == slots(plan)

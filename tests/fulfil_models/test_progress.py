"""Rule 9: finished, started and frozen operations, each on a shop of one or two stations."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

from fulfil_models.audit import audit
from fulfil_models.freeze import thaw
from fulfil_models.plan import Plan
from fulfil_models.planning import Effort, Workbench, finished, search_plan
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    BillLine,
    Build,
    Dataset,
    Lane,
    Part,
    Point,
    Progress,
    Purchase,
    RoutingStep,
    Stock,
    WorkCentre,
)

AS_OF = date(2026, 3, 2)  # a Monday; the standard calendar: 08:00-12:00 and 12:30-16:30
SETTINGS = Settings(as_of=AS_OF, freeze_days=3)
B1 = Build(build="B1", product="M", point="P", ordered=date(2026, 2, 2), promised=date(2026, 3, 2))
# Two operations of two hours each on one station.
SHOP = Dataset(
    points=(Point(point="P"),),
    parts=(Part(part="M", make=True),),
    work_centres=(WorkCentre(work_centre="W", point="P"),),
    routings=tuple(
        RoutingStep(part="M", operation=n, work_centre="W", minutes_milli=120_000) for n in (10, 20)
    ),
    builds=(B1,),
)
Frozen = dict[tuple[str, int], datetime]


def monday(time: str) -> datetime:
    return datetime.fromisoformat(f"2026-03-02T{time}")


def planned(data: Dataset, frozen: Frozen | None = None) -> tuple[Plan, Workbench]:
    bench = Workbench(Problem(data, SETTINGS, previous_starts=frozen or {}))
    plan = finished(bench, search_plan(bench, Effort(seconds=0.2)))
    assert audit(data, SETTINGS, plan) == ()
    return plan, bench


def starts(plan: Plan) -> Frozen:
    return {(row.job, row.operation): row.start for row in plan.operations}


def test_a_finished_build_is_not_late_for_a_day_before_which_it_might_not_have_started() -> None:
    done = tuple(
        Progress(
            build="B1",
            operation=n,
            started=datetime(2026, 2, 26, 8),
            finished=datetime(2026, 2, 26, 10),
        )
        for n in (10, 20)
    )
    data = replace(SHOP, builds=(replace(B1, earliest=date(2026, 3, 9)),), progress=done)
    plan, _ = planned(data)
    assert plan.operations == ()
    assert plan.builds[0].late_minutes == 0
    assert plan.builds[0].ships == AS_OF


def test_what_follows_started_work_still_waits_for_the_earliest_day() -> None:
    # Operation 10 was started on Friday 15:30: one hour is done, it ends on Monday at 09:00.
    started = Progress(build="B1", operation=10, started=datetime(2026, 2, 27, 15, 30))
    data = replace(SHOP, builds=(replace(B1, earliest=date(2026, 3, 4)),), progress=(started,))
    plan, _ = planned(data)
    ends = {row.operation: row.end for row in plan.operations}
    assert ends[10] == monday("09:00")
    assert starts(plan)["B1", 20] == datetime(2026, 3, 4, 8)


def test_a_frozen_operation_keeps_its_slot() -> None:
    frozen = {("B1", 10): monday("09:00"), ("B1", 20): monday("14:00")}
    plan, _ = planned(SHOP, frozen)
    assert starts(plan) == frozen  # without the freeze they would start at 08:00 and 10:00


def test_a_frozen_operation_gives_way_to_started_work_on_the_only_station() -> None:
    b2 = replace(B1, build="B2")
    started = Progress(build="B2", operation=10, started=monday("08:00"))
    data = replace(SHOP, builds=(B1, b2), progress=(started,))
    plan, bench = planned(data, {("B1", 10): monday("09:00")})
    assert thaw(bench.book).tasks[0].root.operations[0].pinned is None
    assert starts(plan)["B2", 10] == monday("08:00")
    assert starts(plan)["B1", 10] >= monday("10:00")


def test_an_operation_frozen_after_the_freeze_ends_may_move() -> None:
    frozen = {("B1", 10): datetime(2026, 3, 5, 8)}  # the freeze covers 2, 3 and 4 March
    plan, _ = planned(SHOP, frozen)
    assert starts(plan)["B1", 10] < frozen["B1", 10]


def test_frozen_builds_share_parts_so_that_each_keeps_its_slot() -> None:
    # One engine here, free; one at Q, which a lane brings on Tuesday for 50. B1 starts on Wednesday
    # and can have either, B2 starts on Monday and can have the one that is here alone.
    data = replace(
        SHOP,
        points=(Point(point="P"), Point(point="Q")),
        parts=(Part(part="M", make=True), Part(part="ENGINE")),
        bills=(BillLine(parent="M", component="ENGINE", quantity_milli=1000, operation=10),),
        stock=tuple(Stock(point=p, part="ENGINE", quantity_milli=1000) for p in "PQ"),
        lanes=(Lane(origin="Q", destination="P", days=1, cost_per_move_micro=50_000_000),),
        builds=(B1, replace(B1, build="B2")),
    )
    frozen = {
        ("B1", 10): datetime(2026, 3, 4, 8),
        ("B1", 20): datetime(2026, 3, 4, 10),
        ("B2", 10): monday("09:00"),
        ("B2", 20): monday("13:00"),
    }
    plan, _ = planned(data, frozen)
    assert starts(plan) == frozen


def test_a_frozen_made_part_whose_parts_are_gone_is_let_go_and_its_build_planned() -> None:
    # Making the mast was frozen for Monday; its pipe is no longer there, but comes on Thursday. The
    # build itself was to start on Thursday, after the freeze of 2, 3 and 4 March.
    data = replace(
        SHOP,
        parts=(Part(part="M", make=True), Part(part="MAST", make=True), Part(part="PIPE")),
        bills=(
            BillLine(parent="M", component="MAST", quantity_milli=1000, operation=10),
            BillLine(parent="MAST", component="PIPE", quantity_milli=1000),
        ),
        routings=(
            *SHOP.routings,
            RoutingStep(part="MAST", operation=10, work_centre="W", minutes_milli=60_000),
        ),
        purchases=(
            Purchase(
                order="P1",
                line="1",
                part="PIPE",
                supplier="S",
                point="P",
                quantity_milli=1000,
                ordered=date(2026, 2, 2),
                due=date(2026, 3, 5),
            ),
        ),
    )
    plan, bench = planned(data, {("B1/10/MAST", 10): monday("08:00")})
    assert [task.task.build.build for task in bench.compiled.pinned] == []
    # Thursday the 5th: the mast from 08:00 to 09:00, then the build's four hours
    assert starts(plan)["B1/10/MAST", 10] == datetime(2026, 3, 5, 8)
    assert starts(plan)["B1", 10] == datetime(2026, 3, 5, 9)
    # where the pipe is there, it stays
    there = replace(data, stock=(Stock(point="P", part="PIPE", quantity_milli=1000),))
    plan, _ = planned(there, {("B1/10/MAST", 10): monday("15:00")})
    assert starts(plan)["B1/10/MAST", 10] == monday("15:00")

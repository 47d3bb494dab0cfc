"""What each build waits for: reasons and ladders on shops small enough to time by hand.

All on the standard calendar (Mon-Fri 08:00-12:00 and 12:30-16:30, 480 minutes a day) from Monday
2 March 2026 on.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
from books import Shape, random_book
from books import settings_of as settings_of_book
from fulfil_models.audit import audit
from fulfil_models.plan import Blocker, BlockerKind, Plan, PlannedBuild, SupplyKind
from fulfil_models.planning import Effort, Workbench, finished, search_plan
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    BillLine,
    Build,
    Dataset,
    Downtime,
    Lane,
    Part,
    Point,
    Progress,
    Purchase,
    RoutingStep,
    Source,
    Stock,
    WorkCentre,
)

AS_OF = date(2026, 3, 2)
SETTINGS = Settings(as_of=AS_OF, freeze_days=3)
PART, CENTRE, WORK = BlockerKind.PART, BlockerKind.WORK_CENTRE, BlockerKind.WORK


def march(day: int, time: str = "08:00") -> datetime:
    return datetime.fromisoformat(f"2026-03-{day:02}T{time}")


def step(part: str, operation: int, centre: str, minutes: int) -> RoutingStep:
    return RoutingStep(
        part=part, operation=operation, work_centre=centre, minutes_milli=minutes * 1000
    )


def bought(part: str, due: date, confirmed: bool = True) -> Purchase:
    return Purchase(
        order=f"PO-{part}",
        line="1",
        part=part,
        supplier="S",
        point="P",
        quantity_milli=1000,
        ordered=date(2026, 1, 5),
        due=due,
        confirmed=confirmed,
    )


B1 = Build(build="B1", product="M", point="P", ordered=date(2026, 2, 2), promised=date(2026, 3, 3))
# half a day of assembly, which takes an engine, and half a day of test
SHOP = Dataset(
    points=(Point(point="P"),),
    parts=(Part(part="M", make=True), Part(part="E")),
    bills=(BillLine(parent="M", component="E", quantity_milli=1000),),
    work_centres=(
        WorkCentre(work_centre="ASM", point="P"),
        WorkCentre(work_centre="TEST", point="P"),
    ),
    routings=(step("M", 10, "ASM", 240), step("M", 20, "TEST", 240)),
    builds=(B1,),
)


def planned(
    data: Dataset,
    frozen: dict[tuple[str, int], datetime] | None = None,
    settings: Settings = SETTINGS,
) -> Plan:
    bench = Workbench(Problem(data, settings, previous_starts=frozen or {}))
    plan = finished(bench, search_plan(bench, Effort(seconds=0.2)))
    assert audit(data, settings, plan) == ()
    return plan


def build(plan: Plan, name: str = "B1") -> PlannedBuild:
    return next(row for row in plan.builds if row.build == name)


def told(rows: tuple[Blocker, ...]) -> list[tuple[BlockerKind, str, int]]:
    return [(row.kind, row.what, row.days) for row in rows]


def test_a_part_then_a_queue_then_only_work() -> None:
    # B2 holds the test station from Monday 08:00 for 960 minutes, to Tuesday 16:30
    data = replace(
        SHOP,
        parts=(*SHOP.parts, Part(part="N", make=True)),
        routings=(*SHOP.routings, step("N", 10, "TEST", 960)),
        purchases=(bought("E", date(2026, 3, 9)),),
        builds=(B1, replace(B1, build="B2", product="N")),
    )
    row = build(planned(data, {("B2", 10): march(2)}))
    # engine Monday 9th: assembly to noon, test to 16:30
    assert row.ships == date(2026, 3, 9)
    # engine on the shelf: assembly Monday 2nd to noon, test Wednesday 4th to noon: 5 days sooner;
    # test station free, too: test Monday 2nd to 16:30: 2 days; and that is all there is to gain
    assert told(row.blockers) == [(PART, "E", 5), (CENTRE, "TEST", 2), (WORK, "B1", 0)]
    engine, queue, work = row.blockers
    assert (engine.until, queue.until, work.until) == (march(9), march(4), None)
    assert (engine.ahead, queue.ahead) == ((), ("B2",))
    assert engine.why == "E comes with purchase PO-E/1, due 2026-03-09"
    assert queue.why == "TEST: busy with B2"
    assert work.why == "8 h of working time from the planning date on"
    assert [(r.operation, r.kind, r.at, r.why) for r in row.reasons] == [
        (20, WORK, march(9, "12:30"), "follows operation 10"),
        (10, PART, march(9), "E comes with purchase PO-E/1, due 2026-03-09"),
    ]


def test_a_past_due_purchase_is_told_as_that() -> None:
    data = replace(SHOP, purchases=(bought("E", date(2026, 2, 20), confirmed=False),))
    row = build(planned(data))
    # counted on seven days after the planning date
    assert told(row.blockers) == [(PART, "E", 7), (WORK, "B1", 0)]
    assert row.blockers[0].until == march(9)
    assert row.blockers[0].why == (
        "E comes with purchase PO-E/1, past due since 2026-02-20, not confirmed, "
        "counted on 2026-03-09"
    )


def test_a_new_order_counts_from_the_day_on_which_it_can_be_here() -> None:
    # a week's lead time, but nothing may start before the 16th, so that the plan orders for then
    data = replace(
        SHOP,
        sources=(Source(part="E", supplier="S", point="P", lead_days=7),),
        builds=(replace(B1, earliest=date(2026, 3, 16), promised=date(2026, 3, 16)),),
    )
    row = build(planned(data))
    assert row.ships == date(2026, 3, 16)
    # without the date it could be had on the 9th, without the part on the 2nd
    assert told(row.blockers) == [
        (BlockerKind.EARLIEST, "B1", 7),
        (PART, "E", 7),
        (WORK, "B1", 0),
    ]
    assert row.blockers[0].why == "not to be started before 2026-03-16"
    part = row.blockers[1]
    assert part.until == march(9)
    assert part.why == (
        "E can be here from S on 2026-03-09 at the soonest "
        "(the plan orders on 2026-03-09 for 2026-03-16)"
    )


def test_a_transfer_counts_from_the_first_departure() -> None:
    # Tuesday 3rd is the first departure, three days on the way: Friday 6th
    data = replace(
        SHOP,
        points=(Point(point="P"), Point(point="Q")),
        stock=(Stock(point="Q", part="E", quantity_milli=1000),),
        lanes=(Lane(origin="Q", destination="P", days=3, weekdays=("Tue", "Fri")),),
        builds=(replace(B1, earliest=date(2026, 3, 16), promised=date(2026, 3, 16)),),
    )
    row = build(planned(data))
    assert told(row.blockers) == [
        (BlockerKind.EARLIEST, "B1", 10),  # 16th to 6th
        (PART, "E", 4),
        (WORK, "B1", 0),
    ]
    part = row.blockers[1]
    assert part.until == march(6)
    assert part.why == (
        "E can be here from Q on 2026-03-06 at the soonest "
        "(the plan moves it on 2026-03-13 for 2026-03-16)"
    )


def test_days_that_two_parts_gain_only_together_are_put_to_the_last_of_them() -> None:
    data = replace(
        SHOP,
        parts=(*SHOP.parts, Part(part="G")),
        bills=(*SHOP.bills, BillLine(parent="M", component="G", quantity_milli=1000)),
        purchases=(bought("E", date(2026, 3, 9)), bought("G", date(2026, 3, 10))),
    )
    row = build(planned(data))
    # Tuesday 10th for G; without it still Monday 9th for E: one day, then seven
    assert told(row.blockers) == [(PART, "G", 1), (PART, "E", 7), (WORK, "B1", 0)]
    same = replace(data, purchases=(bought("E", date(2026, 3, 9)), bought("G", date(2026, 3, 9))))
    row = build(planned(same))
    assert [r.days for r in row.blockers] == [7, 0, 0]
    assert {r.what for r in row.blockers[:2]} == {"E", "G"}
    assert row.blockers[0].why.endswith(
        f"; the days count with {row.blockers[1].what} out of the way, too"
    )


def test_own_work_never_shares_a_station() -> None:
    # two sub-parts of half a day each on one station: Monday is full; assembly on Tuesday to noon
    made = ("S1", "S2")
    data = replace(
        SHOP,
        parts=(Part(part="M", make=True), *(Part(part=name, make=True) for name in made)),
        bills=tuple(BillLine(parent="M", component=n, quantity_milli=1000) for n in made),
        work_centres=(*SHOP.work_centres, WorkCentre(work_centre="WELD", point="P")),
        routings=(step("M", 10, "ASM", 240), *(step(name, 10, "WELD", 240) for name in made)),
    )
    row = build(planned(data))
    assert row.ships == date(2026, 3, 3)
    # nothing is to be gained: a free station would still be taken by the other sub-part
    assert told(row.blockers) == [(WORK, "B1", 1)]
    assert row.blockers[0].why == "12 h of working time from the planning date on"
    assert any(r.why.startswith("WELD: busy with other work of this build") for r in row.reasons)


def test_a_promise_that_no_work_could_keep_is_told() -> None:
    data = replace(
        SHOP,
        stock=(Stock(point="P", part="E", quantity_milli=1000),),
        builds=(replace(B1, promised=date(2026, 2, 27)),),
    )
    row = build(planned(data))
    (work,) = row.blockers
    assert (work.kind, work.days) == (WORK, 0)  # ships on the planning date
    assert work.why.endswith("that alone goes past the promised 2026-02-27")


def test_stations_that_are_out_are_named() -> None:
    down = Downtime(work_centre="TEST", starts=march(2), ends=march(4, "12:00"), stations=1)
    data = replace(SHOP, stock=(Stock(point="P", part="E", quantity_milli=1000),), downtime=(down,))
    row = build(planned(data))
    # test Wednesday 12:30 to 16:30 instead of Monday
    assert told(row.blockers) == [(CENTRE, "TEST", 2), (WORK, "B1", 0)]
    assert row.blockers[0].why == "TEST: 1 of 1 stations out until 2026-03-04 12:00"


def test_a_start_later_than_need_be_is_told() -> None:
    # promised for the 20th and pinned to nothing: whatever the plan chooses is said truly
    data = replace(SHOP, purchases=(bought("E", date(2026, 3, 4)),))
    data = replace(data, builds=(replace(B1, promised=date(2026, 3, 20)),))
    plan = planned(data)
    starts = {(row.job, row.operation): row.start for row in plan.operations}
    row = build(plan)
    assert sum(r.days for r in row.blockers) == 2  # could ship on Wednesday 4th
    for reason in row.reasons:
        assert reason.operation is not None
        start = starts[reason.job, reason.operation]
        assert reason.at <= start
        assert (f"(planned for {start:%Y-%m-%d %H:%M})" in reason.why) == (reason.at < start)


def test_started_and_frozen_work_ends_the_chain() -> None:
    # assembly was started on Monday at 08:10; test follows when it ends at 12:00 + 10 minutes
    progress = (Progress(build="B1", operation=10, started=march(2, "08:10")),)
    soon = (replace(B1, promised=AS_OF),)
    row = build(planned(replace(SHOP, progress=progress, builds=soon)))
    assert [(r.operation, r.why) for r in row.reasons] == [
        (20, "follows operation 10"),
        (10, "was started then"),
    ]
    assert row.reasons[1].at == march(2, "08:10")
    data = replace(SHOP, stock=(Stock(point="P", part="E", quantity_milli=1000),))
    row = build(planned(data, {("B1", 10): march(3)}))
    assert row.reasons[-1].why == "keeps its slot in the freeze"
    # assembly Tuesday to noon, test to 16:30; what is frozen is no wait that could be taken away
    assert row.ships == date(2026, 3, 3)
    assert told(row.blockers) == [(WORK, "B1", 1)]


# ---- an oracle


def naive_ships(
    plan: Plan,
    problem: Problem,
    row: PlannedBuild,
    waived: Collection[tuple[BlockerKind, str]] = (),
) -> date | None:
    """Day on which a build could ship with everybody else staying where they are, by counting
    stations minute by minute; None where it draws on what could come sooner than planned.

    Operations are placed in the order of the plan, each as soon as may be.
    """
    axis = problem.axes[row.point]
    kinds = {supply.supply: supply.kind for supply in plan.supplies}
    makers = {supply.supply: supply.job for supply in plan.supplies}
    jobs = {job.job: job for job in plan.jobs}
    own = [job.job for job in plan.jobs if job.build == row.build]
    pegs = [peg for peg in plan.pegs if peg.job in own]
    if {kinds[peg.supply] for peg in pegs} & {SupplyKind.NEW_PURCHASE, SupplyKind.TRANSFER}:
        return None
    load: dict[tuple[str, int], int] = defaultdict(int)
    stations = {step.part + str(step.operation): step.stations for step in problem.dataset.routings}
    for out in problem.dataset.downtime:
        if (CENTRE, out.work_centre) in waived:
            continue
        for minute in range(axis.position(out.starts), axis.position(out.ends)):
            load[out.work_centre, minute] += out.stations
    for op in plan.operations:
        if op.job not in own and (CENTRE, op.work_centre) not in waived:
            for minute in range(axis.position(op.start), axis.position(op.end)):
                load[op.work_centre, minute] += stations[jobs[op.job].part + str(op.operation)]
    first = next(r for r in problem.builds if r.build == row.build).earliest
    if (BlockerKind.EARLIEST, row.build) in waived:
        first = None
    floor = axis.opening(first) if first is not None else 0
    ends: dict[str, int] = {}

    def arrival(job: str, operation: int | None) -> int:
        """When all that a job takes at an operation, or as a phantom, is there."""
        moments = [floor]
        for peg in pegs:
            here = (peg.job, peg.operation) == (job, operation)
            if here and (PART, peg.part) not in waived:
                maker = makers[peg.supply]
                if maker is None:
                    moments.append(axis.position(peg.usable))
                else:
                    moments.append(ends[maker] if maker in ends else arrival(maker, None))
        return max(moments)

    depth = {job: job.count("/") for job in own}
    mine = [op for op in plan.operations if op.job in own]
    for op in sorted(mine, key=lambda op: (op.start, -depth[op.job], op.operation)):
        length = axis.position(op.end) - axis.position(op.start)
        wanted = stations[jobs[op.job].part + str(op.operation)]
        most = problem.work_centres[op.work_centre].stations
        at = max(arrival(op.job, op.operation), ends.get(op.job, 0))
        while any(load[op.work_centre, at + m] + wanted > most for m in range(length)):
            at += 1
        for minute in range(at, at + length):
            load[op.work_centre, minute] += wanted
        ends[op.job] = at + length
    finish = axis.end_moment(ends[row.build])
    return max(axis.ship_day(finish, problem.points[row.point].cutoff), problem.as_of)


def groups(rungs: Sequence[Blocker]) -> Iterator[Sequence[Blocker]]:
    """What is taken away by then, each time that a ladder has gained its days."""
    for number, rung in enumerate(rungs[1:], start=1):
        if rung.days or rung.kind is WORK:
            yield rungs[:number]


@pytest.mark.parametrize("seed", range(16))
def test_ladders_add_up_to_the_day_on_which_a_build_could_ship(seed: int) -> None:
    data = random_book(seed, Shape(builds=4, points=2, operations=2))
    settings = settings_of_book(data)
    plan = planned(data, settings=settings)
    problem = Problem(data, settings)
    assert plan.builds
    for row in plan.builds:
        days = [rung.days for rung in row.blockers]
        assert min(days) >= 0
        assert row.blockers[-1].kind is WORK
        # a build in time may be planned later than it could ship, none sooner
        assert sum(days) <= (row.ships - settings.as_of).days
        ships = naive_ships(plan, problem, row)
        if ships is None:
            continue
        assert ships == settings.as_of + timedelta(sum(days))
        for taken in groups(row.blockers):
            gained = timedelta(sum(rung.days for rung in taken))
            without = {(rung.kind, rung.what) for rung in taken}
            assert naive_ships(plan, problem, row, without) == ships - gained

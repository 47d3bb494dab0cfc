"""Which open purchase line is to be chased first: harm worked out by hand, and what must hold."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from fractions import Fraction
from typing import Any

from books import books, settings_of
from fulfil_models.cells import MILLI, PPM
from fulfil_models.chasing import MOST_DAYS, WEEK, Chase, chases
from fulfil_models.decisions import from_solution
from fulfil_models.expected_days import ExpectedDays
from fulfil_models.leadtimes import Share, lead_times
from fulfil_models.open_purchases import OpenPurchase
from fulfil_models.order_days import OpenDays
from fulfil_models.plan import Plan, Supply, SupplyKind
from fulfil_models.planning import Effort, Workbench, finished, search_plan, solution_of
from fulfil_models.problem import Problem
from fulfil_models.repair import aligned, repaired
from fulfil_models.retiming import Retimer
from fulfil_models.settings import Settings
from fulfil_models.slipping import Slipping, weighted
from fulfil_models.tables import BillLine, Dataset, Downtime, Part, Receipt, RoutingStep
from hypothesis import given
from hypothesis import settings as effort
from tiny_shop import (
    AS_OF,
    DAY,
    SETTINGS,
    build,
    delivery,
    lane,
    march,
    order,
    purchase,
    shop,
    source,
    stock,
)


def planned(data: Dataset, settings: Settings = SETTINGS) -> Plan:
    bench = Workbench(Problem(data, settings))
    return finished(bench, search_plan(bench, Effort(seconds=0.1)))


def chased(data: Dataset, settings: Settings = SETTINGS) -> tuple[Chase, ...]:
    return chases(Problem(data, settings), planned(data, settings))


def told(row: Chase) -> list[tuple[str, int, int, Fraction]]:
    return [
        (hit.who, hit.late_days, hit.late_days_then, hit.weighted_late_days) for hit in row.hits
    ]


def test_a_week_later_is_five_working_days_late() -> None:
    """Needed and promised on Wednesday 4th; with the engine on the 11th it ships on the 11th: seven
    calendar days, five working days, at weight 2 ten, at 1000 each."""
    data = shop(
        builds=(build("B1", march(4), weight_ppm=2_000_000),), purchases=(purchase("P1", march(4)),)
    )
    (row,) = chased(data)
    assert told(row) == [("B1", 0, 7, Fraction(10))]
    assert (row.late_days, row.cost) == (10, 10_000)
    assert (row.line.needed_on, row.line.slack_days) == (march(4), 0)
    assert (row.harmless_days, row.harmless_until) == (0, march(4))
    assert row.hurts


def test_who_is_late_already_counts_what_is_more() -> None:
    """Promised on the 2nd, two working days late in the plan; five more with the slip."""
    data = shop(builds=(build("B1", march(2)),), purchases=(purchase("P1", march(4)),))
    (row,) = chased(data)
    assert told(row) == [("B1", 2, 9, Fraction(5))]


def test_slack_does_no_harm() -> None:
    """Promised on Friday 20th, engine on Monday 9th: it may come on the 20th, eleven days later,
    wherever in between the plan puts the work; not later."""
    data = shop(builds=(build("B1", march(20)),), purchases=(purchase("P1", march(9)),))
    (row,) = chased(data)
    assert (row.late_days, row.hurts) == (0, False)
    assert row.harmless_until == march(20)
    slipping = Slipping(Problem(data, SETTINGS), planned(data))
    (hit,) = slipping.hits(slipping.later("purchase/P1/1", march(23)))
    assert hit.weighted_late_days == 1


def test_no_further_is_looked_than_four_weeks() -> None:
    """A build that weighs nothing is never harmed."""
    data = shop(
        builds=(build("B1", march(4), weight_ppm=0),), purchases=(purchase("P1", march(4)),)
    )
    (row,) = chased(data)
    assert (row.harmless_days, row.harmless_until) == (28, date(2026, 4, 1))


def test_a_line_that_nobody_draws_on() -> None:
    data = shop(
        builds=(build("B1", march(2)),), stock=(stock(1),), purchases=(purchase("P1", march(9)),)
    )
    (row,) = chased(data)
    assert (row.hits, row.harmless_days, row.harmless_until) == ((), None, None)


def others(*days: int) -> dict[str, tuple[Any, ...]]:
    """Tables with machines of another kind that keep the station busy on some days of March, and
    what they take."""
    return {
        "parts": (*shop().parts, Part(part="OTHER", make=True)),
        "bills": (
            *shop().bills,
            BillLine(parent="OTHER", component="ENGINE2", quantity_milli=MILLI),
        ),
        "routings": (
            *shop().routings,
            RoutingStep(part="OTHER", operation=10, work_centre="CELL", minutes_milli=DAY * MILLI),
        ),
        "builds": tuple(
            build(f"O{day}", march(day), earliest=march(day), product="OTHER") for day in days
        ),
        "stock": (stock(len(days), part="ENGINE2"),),
    }


def test_nobody_else_is_moved() -> None:
    """Others have the station on the 11th to the 13th, the 16th and the 17th, and cannot be on any
    other day. With its engine on the 11th B1 is built on the 18th, ten working days after the 4th;
    were a station free, on the 11th: five."""
    tables = others(11, 12, 13, 16, 17)
    tables["builds"] += (build("B1", march(4)),)
    (row,) = chased(shop(**tables, purchases=(purchase("P1", march(4)),)))
    assert told(row) == [("B1", 0, 14, Fraction(10))]
    assert row.free_late_days == 5


def test_a_station_that_is_out_is_waited_for() -> None:
    """The station is out on the 11th and 12th: the engine of the 11th is used on the 13th."""
    out = Downtime(
        work_centre="CELL",
        starts=datetime(2026, 3, 11, 8),
        ends=datetime(2026, 3, 12, 16, 30),
        stations=1,
    )
    data = shop(
        builds=(build("B1", march(4)),), purchases=(purchase("P1", march(4)),), downtime=(out,)
    )
    (row,) = chased(data)
    assert (row.late_days, row.free_late_days) == (7, 5)


def test_what_is_moved_on_goes_with_the_next_departure() -> None:
    """Bought to B, due on Tuesday 3rd, when the lane leaves; two days later in A. A week later it
    leaves on the 10th and is there on the 12th: five working days after the 5th."""
    data = shop(
        builds=(build("B1", march(5)),),
        purchases=(purchase("P1", march(3), point="B"),),
        lanes=(lane("B", "A", 2, weekdays=("Tue",)),),
    )
    (row,) = chased(data)
    assert row.late_days == 5
    # one day later it misses the departure all the same
    assert (row.line.slack_days, row.harmless_days) == (0, 0)


def test_a_parts_order_ships_when_its_units_come() -> None:
    """Promised to ship on the 4th; with the units on the 11th seven calendar days late, at weight
    3."""
    data = shop(
        parts_orders=(order("S1", 2, march(4), weight_ppm=3_000_000),),
        deliveries=(delivery("A"),),
        purchases=(purchase("P1", march(4), units=2),),
    )
    (row,) = chased(data)
    assert told(row) == [("S1/1", 0, 7, Fraction(21))]


def test_what_is_not_promised_hardly_counts() -> None:
    data = shop(builds=(build("B1", None),), purchases=(purchase("P1", march(4)),))
    (row,) = chased(data)
    assert told(row) == [("B1", 0, 0, Fraction(5, 1000))]


def test_past_due_that_hurts_comes_first() -> None:
    """P1 is past due, counted on the 9th, and hurts one build at weight 1; P2 hurts another at
    weight 5; P3 is past due and nobody needs it."""
    data = shop(
        builds=(build("B1", march(9)), build("O", march(10), product="OTHER", weight_ppm=5 * PPM)),
        purchases=(
            purchase("P3", date(2026, 2, 24), part="ENGINE3"),
            purchase("P2", march(10), part="ENGINE2"),
            purchase("P1", date(2026, 2, 25)),
        ),
        **{key: rows for key, rows in others().items() if key in ("bills", "routings")},
        parts=(*others()["parts"], Part(part="ENGINE3")),
    )
    rows = chased(data)
    assert [(row.line.order, row.late_days) for row in rows] == [("P1", 5), ("P2", 25), ("P3", 0)]


def test_the_day_of_the_record() -> None:
    """Of 90 in 100 it says the 16th: eight working days after the 4th; of 50 the 3rd, no harm."""
    data = shop(builds=(build("B1", march(4)),), purchases=(purchase("P1", march(4)),))
    days = {"50": march(3), "90": march(16)}

    def expected(line: OpenPurchase, share: Share) -> date:
        return days[share]

    (row,) = chases(Problem(data, SETTINGS), planned(data), expected)
    assert (row.expected_50, row.expected_90) == (march(3), march(16))
    assert row.record_late_days == 8


def test_lines_that_were_never_closed() -> None:
    """Eight deliveries and forty lines open for 273 days: by the record 90 of 100 come 546 days
    after their order, 273 from now, on 2026-11-30, and that can be timed."""
    ordered = AS_OF - timedelta(273)
    receipts = tuple(
        Receipt(
            order="R",
            line=str(days),
            part="ENGINE",
            supplier="S",
            point="A",
            quantity_milli=MILLI,
            ordered=ordered,
            received=ordered + timedelta(days),
        )
        for days in (2, 5, 9, 14, 20, 30, 60, 100)
    )
    data = shop(
        builds=(build("B1", march(9)),),
        purchases=tuple(purchase(f"P{n}", march(9), ordered=ordered) for n in range(40)),
        receipts=receipts,
        sources=(source(20),),
    )
    leads = lead_times(data, SETTINGS, with_drift=False)
    by_record = ExpectedDays(SETTINGS, leads, OpenDays(data, AS_OF)).by_record
    rows = chases(Problem(data, SETTINGS), planned(data), by_record)
    assert {row.expected_90 for row in rows} == {date(2026, 11, 30)}
    assert max(row.record_late_days or 0 for row in rows) > 100


def test_what_has_left_the_data_is_no_error() -> None:
    """A plan of data that were changed since: its build and its work centre are gone."""
    data = shop(builds=(build("B1", march(4)),), purchases=(purchase("P1", march(4)),))
    plan = planned(data)
    (row,) = chases(Problem(replace(data, builds=()), SETTINGS), plan)
    assert row.hits == ()


# ---- what holds for every book


BOOKS = books(purchases=True, builds=3)


def _purchases(plan: Plan) -> list[Supply]:
    return [row for row in plan.supplies if row.kind is SupplyKind.PURCHASE]


@effort(max_examples=25, deadline=None)
@given(BOOKS)
def test_later_is_never_better(data: Dataset) -> None:
    """There is no harm on the day on which a line is counted on, and nobody ships sooner; a free
    station never makes it worse, and with one harm never shrinks as the line comes later.

    Without, it may: a job that comes a little later may push another of its build out of its slot,
    and one that comes later still may not.
    """
    settings = settings_of(data)
    problem, plan = Problem(data, settings), planned(data, settings)
    slipping = Slipping(problem, plan)
    for supply in _purchases(plan):
        counted = supply.usable.date()
        assert slipping.later(supply.supply, counted) == {}
        before = Fraction(0)
        for days in range(WEEK * 2):
            later = slipping.later(supply.supply, counted + timedelta(days))
            hits = slipping.hits(later)
            assert all(hit.ships_then >= hit.ships for hit in hits)
            assert all(hit.late_days_then >= hit.late_days for hit in hits)
            free = weighted(slipping.hits(later, free=True))
            assert before <= free <= weighted(hits)
            before = free


@effort(max_examples=25, deadline=None)
@given(BOOKS)
def test_harmless_days_are_harmless_and_no_fewer_than_slack(data: Dataset) -> None:
    settings = settings_of(data)
    problem, plan = Problem(data, settings), planned(data, settings)
    slipping = Slipping(problem, plan)
    names = {(row.order, row.line): row.supply for row in _purchases(plan)}
    for row in chases(problem, plan):
        if row.harmless_days is None:
            assert not row.hits
            continue
        name = names[row.line.order, row.line.line]
        assert row.line.slack_days is not None
        assert row.harmless_days >= row.line.slack_days

        def harm(days: int, name: str = name, counted: date = row.line.counted_on) -> Fraction:
            return weighted(slipping.hits(slipping.later(name, counted + timedelta(days))))

        assert not harm(row.harmless_days)
        assert row.harmless_days >= MOST_DAYS or harm(row.harmless_days + 1)


@effort(max_examples=40, deadline=None)
@given(books(purchases=True, builds=3, parts_orders=False))
def test_builds_end_as_the_retimer_says(data: Dataset) -> None:
    """What is told of a build from the plan alone is what it comes to if it is timed again wholly,
    from the book, with its late units later."""
    settings = settings_of(data)
    bench = Workbench(Problem(data, settings))
    plan = finished(bench, search_plan(bench, Effort(seconds=0.1)))
    compiled = aligned(bench.compiled, plan)
    decisions = from_solution(bench.book, compiled, solution_of(repaired(compiled, plan)))
    slipping = Slipping(bench.problem, plan)
    for supply in _purchases(plan):
        later = slipping.later(supply.supply, supply.usable.date() + timedelta(WEEK))
        hits = {hit.who: hit for hit in slipping.hits(later)}
        retimer = Retimer(compiled, decisions, plan)
        for job in decisions.jobs:
            for need in job.needs():
                moments = [
                    later[peg.supply]
                    for peg in plan.pegs
                    if peg.supply in later
                    and (peg.job, peg.part) == (job.name, need.part)
                    and (need.place < 0 or peg.operation == job.operations[need.place].number)
                ]
                if moments and need.index in retimer.usable:
                    at = max(map(job.task.axis.position, moments))
                    retimer.usable[need.index] = max(at, retimer.usable[need.index])
        for row in plan.builds:
            task = next(t for t in bench.book.tasks if t.build.build == row.build)
            finish = retimer.retime(task).finish * compiled.cell
            late = max(row.late_minutes, finish - task.due, 0) - row.late_minutes
            found = hits.get(row.build)
            told_late = Fraction(0) if found is None else found.more_late_days
            assert told_late * task.axis.standard_day == late

"""What lies beyond the horizon is refused at load where no plan can be right, else left alone."""

from __future__ import annotations

import pickle
from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
from fulfil_models.audit import audit
from fulfil_models.calendar import BeyondAxis, make_axis
from fulfil_models.checking import check
from fulfil_models.findings import Finding
from fulfil_models.plan import Plan
from fulfil_models.planning import Effort
from fulfil_models.planning import plan as make_plan
from fulfil_models.reading import Origins
from fulfil_models.tables import (
    Closure,
    Dataset,
    Downtime,
    Progress,
    RoutingStep,
    Setting,
    Source,
    WorkCentre,
)
from tiny_shop import AS_OF, SETTINGS, build, hurried, march, problem_of, purchase, shop, stock

FOR_GOOD = datetime(2199, 1, 1)
ONE = build("B1", march(6))


def errors(data: Dataset, **settings: int) -> list[Finding]:
    rows = tuple(Setting(key=key, value=str(value)) for key, value in settings.items())
    found = check(replace(data, settings=rows), Origins(), AS_OF)
    return [finding for finding in found if finding.is_error]


def planned(data: Dataset) -> Plan:
    made = make_plan(problem_of(data), Effort(seconds=0.2))
    assert audit(data, SETTINGS, made) == ()
    return made


def down(starts: datetime, ends: datetime, stations: int = 1) -> Downtime:
    return Downtime(work_centre="CELL", starts=starts, ends=ends, stations=stations)


# ---- the calendar


def test_no_open_day_is_made_up_beyond_the_last_that_is_known() -> None:
    axis = make_axis("standard", AS_OF, 5, (), (), ())  # Monday the 2nd to Friday the 6th
    assert axis.next_open_day(march(6)) == march(6)
    with pytest.raises(BeyondAxis) as caught:
        axis.next_open_day(march(7))
    assert "2026-03-07" in caught.value.wrong
    assert "to 2026-03-06 only" in caught.value.wrong
    with pytest.raises(BeyondAxis):
        axis.ship_day(datetime(2026, 3, 6, 17), None)


def test_it_comes_whole_from_another_process() -> None:
    error = BeyondAxis(march(7), march(6))
    again = pickle.loads(pickle.dumps(error))
    assert (again.wrong, again.remedy) == (error.wrong, error.remedy)


# ---- past-due purchases


@pytest.mark.parametrize(("overdue", "refused"), [(30, False), (31, True), (500, True)])
def test_a_purchase_past_due_is_counted_on_within_the_horizon(overdue: int, refused: bool) -> None:
    # 2026-03-02 + 30 days is the last day of a horizon of 30 days
    data = shop(builds=(ONE,), purchases=(purchase("P", date(2026, 2, 20)),))
    found = errors(data, overdue_days=overdue, horizon_days=30)
    assert [(f.code, f.file, f.row, f.column) for f in found] == (
        [("beyond-horizon", "purchases", 1, "due")] if refused else []
    )
    for finding in found:
        assert str(AS_OF + timedelta(overdue)) in finding.text()
        assert "horizon_days" in finding.text()


# ---- suppliers


@pytest.mark.parametrize("cap", [None, 2])
def test_what_even_expedited_comes_after_all_calendars_is_no_supply(cap: int | None) -> None:
    # 3,000 less 10 days; working days are known for 2 x 730 + 400 = 1,860
    data = shop(builds=(ONE,), stock=(stock(1),), sources=(hurried(3000, 10, 5, cap),))
    assert errors(data) == []
    (only,) = planned(data).builds
    assert only.ships == march(6)


def test_it_is_no_supply_of_another_point_either() -> None:
    both = tuple(replace(hurried(3000, 10, 5, 2), point=point) for point in "AB")
    data = shop(builds=(ONE,), stock=(stock(1),), sources=both)
    assert planned(data).builds[0].ships == march(6)


def test_the_last_day_known_is_supply() -> None:
    source = Source(part="ENGINE", supplier="S", point="A", lead_days=700, expedite_days=690)
    (only,) = planned(shop(builds=(ONE,), sources=(source,))).builds
    assert only.ships == march(12)  # 2026-03-02 + 10 days, a Thursday


# ---- downtime

STATIONS = (WorkCentre(work_centre="CELL", point="A", stations=3),)
TWO_AT_ONCE = (
    RoutingStep(
        part="MACHINE", operation=10, work_centre="CELL", minutes_milli=480_000, stations=2
    ),
)
LONG_AGO, MONDAY, NEXT_MONDAY = datetime(2026, 3, 1), datetime(2026, 3, 2), datetime(2026, 3, 9)
LAST, AFTER = datetime(2028, 3, 1, 16), datetime(2028, 3, 2)  # of 730 days, and the day after


@pytest.mark.parametrize(
    ("stations", "rows", "refused"),
    [
        (1, [down(LONG_AGO, FOR_GOOD)], [1]),
        (1, [down(MONDAY, AFTER)], [1]),
        (1, [down(MONDAY, LAST)], []),  # it is back on the last day
        (1, [down(NEXT_MONDAY, FOR_GOOD)], []),  # there is a week before
        (1, [down(NEXT_MONDAY, FOR_GOOD), down(LONG_AGO, NEXT_MONDAY)], [1]),  # one after another
        (1, [down(NEXT_MONDAY + timedelta(1), FOR_GOOD), down(LONG_AGO, NEXT_MONDAY)], []),
        (3, [down(LONG_AGO, FOR_GOOD, 1)], []),  # two are left, and two are used at once
        (3, [down(LONG_AGO, FOR_GOOD, 2)], [1]),
        (3, [down(LONG_AGO, FOR_GOOD, 1), down(LONG_AGO, AFTER, 1)], [1]),
    ],
)
def test_stations_that_are_out_for_good(
    stations: int, rows: list[Downtime], refused: list[int]
) -> None:
    data = shop(builds=(ONE,), stock=(stock(1),), downtime=tuple(rows))
    if stations == 3:
        data = replace(data, work_centres=STATIONS, routings=TWO_AT_ONCE)
    found = errors(data)
    assert [(f.code, f.file, f.row, f.column) for f in found] == [
        ("out-for-good", "downtime", row, "ends") for row in refused
    ]
    assert all("B1" in finding.text() for finding in found)
    if not refused:
        assert len(planned(data).builds) == 1


def test_stations_that_nobody_waits_for_may_be_out_for_good() -> None:
    done = Progress(
        build="B1",
        operation=10,
        started=datetime(2026, 2, 27, 8),
        finished=datetime(2026, 2, 27, 16),
    )
    base = shop(stock=(stock(1),), downtime=(down(LONG_AGO, FOR_GOOD),))
    assert errors(base) == []
    assert errors(replace(base, builds=(replace(ONE, status="quoted"),))) == []
    finished = replace(base, builds=(ONE,), progress=(done,))
    assert errors(finished) == []
    assert planned(finished).builds[0].ships == march(2)


# ---- progress


@pytest.mark.parametrize(
    ("started", "finished", "refused"),
    [
        (datetime(2150, 1, 1), None, ["started"]),
        (datetime(2026, 2, 27), datetime(2150, 1, 1), ["finished"]),
        (datetime(2028, 3, 1), None, []),  # the last day of the horizon
    ],
)
def test_work_beyond_the_horizon_cannot_have_been_done(
    started: datetime, finished: datetime | None, refused: list[str]
) -> None:
    row = Progress(build="B1", operation=10, started=started, finished=finished)
    found = errors(shop(builds=(ONE,), stock=(stock(1),), progress=(row,)))
    assert [(f.code, f.row, f.column) for f in found] == [
        ("beyond-horizon", 1, column) for column in refused
    ]


# ---- what no check of the data can see


def test_more_work_than_the_calendars_have_days_says_so() -> None:
    shut = tuple(Closure(calendar="standard", day=march(7) + timedelta(d)) for d in range(1900))
    week = tuple(build(f"B{number}", march(6)) for number in range(5))
    data = shop(builds=week, stock=(stock(9),), closures=shut)
    assert {row.ships for row in planned(data).builds} == {march(d) for d in range(2, 7)}
    data = replace(data, builds=(*week, build("B5", march(6))))
    with pytest.raises(BeyondAxis, match="2026, 3, 6"):
        make_plan(problem_of(data), Effort(seconds=0.2))

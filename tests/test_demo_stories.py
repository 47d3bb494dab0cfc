"""The stories of the demo, judged on the data alone, without a plan.

The arithmetic of each says why no plan could avoid it or, for what is saved, why a plan can.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from demo_scenario import (
    AS_OF,
    PLANT,
    STORIES,
    STORY,
    Story,
    arrivals,
    axis,
    calls_for,
    carrier_day,
    demo,
    elsewhere,
    find,
    firm,
    in_time,
    line_operation,
    on_shelf,
    promised_day,
    soonest_new,
    way,
    work_from,
)


@pytest.mark.parametrize("story", STORIES, ids=lambda story: story.kind)
def test_story_names_firm_builds_that_call_for_its_part(story: Story) -> None:
    for build in story.builds:
        assert find(build).status == "firm"
        assert calls_for(find(build))[story.part] == 1
    lines = {(row.order, row.part) for row in demo().parts_orders}
    assert story.order is None or (story.order, story.part) in lines


def test_late_for_an_engine() -> None:
    story, part = STORY["late for an engine"], "ENG-014D"
    second = date(2026, 10, 19)
    assert arrivals(part) == [
        (date(2026, 9, 18), 3),
        (second, 3),
        (date(2026, 10, 26), 4),
        (date(2026, 11, 9), 2),
    ]
    # nothing else before the story is over: no approved alternate, new ones come in December
    assert not [row for row in demo().alternates if row.part == part and row.approved]
    assert soonest_new(part) > date(2026, 12, 1)
    # from the engine to the crate takes too long to use the October delivery for these builds ...
    early = {
        row.build
        for row in firm()
        if row.promised
        and part in calls_for(row)
        and not in_time(
            row.build, second, work_from(row.product, line_operation(row.product, part))
        )
    }
    assert early == set(story.builds)
    # ... so 9 builds and the spare engine share 3 on the shelf, 1 in Memphis and 3 due in September
    assert (on_shelf(part, PLANT), elsewhere(part)) == (3, {"MEMPHIS": 1})
    short = len(early) + 1 - (3 + 1 + 3)
    assert short == story.least == 3


def test_saved_by_an_alternate() -> None:
    (build,), part, other = STORY["saved by an alternate"].builds, "ENG-008G", "ENG-013G"
    row, work = find(build), work_from("DP-15")
    # one on the shelf, but held; none elsewhere; the next comes a month after the promise
    assert [r.held_milli for r in demo().stock if r.part == part] == [1000]
    assert (on_shelf(part, PLANT), elsewhere(part)) == (0, {})
    assert arrivals(part)[0][0] == date(2026, 10, 19)
    assert soonest_new(part) > date(2026, 10, 19)
    assert not in_time(build, date(2026, 10, 19), work)
    # the alternate is on the shelf for everyone who could want it before its next delivery
    soon = arrivals(other)[0][0]
    users = [r for r in firm() if r.promised and {part, other} & set(calls_for(r))]
    assert len([r for r in users if promised_day(r) <= soon]) <= on_shelf(other, PLANT)
    # 75 + 15 minutes of pump unit and 855 of the set from Monday morning: in time on Friday
    assert in_time(build, AS_OF, work_from("DPU-15") + work)
    # and 310 is less than the 23 working days until October at 1,000 each
    extra = next(r.extra_cost_micro for r in demo().alternates if r.part == part)
    days = axis().opening(date(2026, 10, 19)) - axis().opening(promised_day(row))
    assert extra == 310_000_000 < days // 480 * 1_000_000_000


def test_saved_by_a_transfer() -> None:
    (build,), part = STORY["saved by a transfer"].builds, "VOL-6"
    work = work_from("PE-6") + work_from("TP-6", line_operation("TP-6", "PE-6"))
    assert (on_shelf(part, PLANT), elsewhere(part)) == (0, {"TULSA": 1})
    assert arrivals(part) == [(date(2026, 10, 19), 2)]
    assert soonest_new(part) > date(2026, 10, 14)
    assert not in_time(build, arrivals(part)[0][0], work)
    lane = next(r for r in demo().lanes if (r.origin, r.destination) == ("TULSA", PLANT))
    assert (lane.weekdays, lane.days) == (("Tue", "Fri"), 3)
    assert in_time(build, date(2026, 9, 18), work)  # leaves on Tuesday 15 September
    # its engine comes on 24 September and still leaves time
    engine = work_from("TP-6", line_operation("TP-6", "ENG-070D"))
    assert in_time(build, arrivals("ENG-070D")[0][0], engine)


def test_waits_for_the_test_bay() -> None:
    story, part, product = STORY["waits for the test bay"], "ENG-070D", "TG-45"
    # no engine before 24 September, whichever way
    assert (on_shelf(part, PLANT), elsewhere(part)) == (0, {})
    first = arrivals(part)[0][0]
    assert first == date(2026, 9, 24) < soonest_new(part)
    test = next(r for r in demo().routings if r.part == product and r.operation == 50)
    assert (test.work_centre, test.stations, test.minutes_milli) == ("TEST", 2, 780_000)
    # assembly and wiring (930 + 540) end on 29 September, when one of the two stations is out
    before = work_from(product, 30) - work_from(product, 50)
    ready = axis().start_moment(axis().opening(first) + before)
    out = next(row for row in demo().downtime if row.work_centre == "TEST")
    assert out.starts < ready < out.ends
    opening = axis().position(out.ends)
    assert opening == axis().opening(date(2026, 10, 1))
    # three tests of both stations end at the soonest 780, 1560, 2340 minutes later; crating follows
    crate = work_from(product, 60)
    ends = sorted(axis().due(find(b).promised, 13 * 60 + 30) - crate for b in story.builds)
    late = [number for number, end in enumerate(ends, 1) if opening + 780 * number > end]
    assert len(late) >= story.least
    # with the bay free, the first of them could have been tested in time
    assert axis().opening(first) + before + 780 <= ends[0]


def test_past_due_purchase_hurts() -> None:
    story, part = STORY["past-due purchase"], "CYL-MAST"
    order = min((r for r in demo().purchases if r.part == part), key=lambda row: row.due)
    assert order.due < AS_OF
    assert arrivals(part)[0] == (date(2026, 9, 21), 3)  # as_of + 7 days
    assert (on_shelf(part, PLANT), elsewhere(part)) == (0, {})
    assert soonest_new(part) > date(2026, 9, 21)
    mast = work_from("MAST-9H", line_operation("MAST-9H", part))
    work = mast + work_from("LT-6H", line_operation("LT-6H", "MAST-9H"))
    late = [b for b in story.builds if not in_time(b, date(2026, 9, 21), work)]
    assert len(late) == story.least
    # had it come when it was due, the second could ship in time, the whole mast made first
    whole = work_from("MSEC-B") + work_from("MAST-9H") + work - mast
    assert in_time("B-2107", AS_OF, whole)


def test_ordered_in_time_or_late() -> None:
    story, part = STORY["ordered in time"], "ATS-200"
    # none on a shelf, none on order, and one way only to get one, which nobody expedites
    assert (on_shelf(part, PLANT), elsewhere(part), arrivals(part)) == (0, {}, [])
    (source,) = (row for row in demo().sources if row.part == part)
    assert (source.lead_days, source.expedite_days, source.monthly_cap_milli) == (49, None, None)
    assert not [row for row in demo().alternates if row.part == part]
    # it is wired in: 420 + 720 + 210 and 540 + 780 + 270 minutes follow, of days of 480
    work = {build: work_from(find(build).product, 40) for build in story.builds}
    assert work == {"B-2148": 1350, "B-2138": 1590}
    for build in story.builds:
        (option,) = (r for r in demo().build_options if (r.build, r.component) == (build, part))
        assert option.operation == 40
    # so the last days on which it is of use are Friday the 6th and Monday the 9th of November (the
    # 11th is a holiday), and the last to order it are 49 days before
    days = {"B-2148": date(2026, 11, 6), "B-2138": date(2026, 11, 9)}
    for build, day in days.items():
        assert in_time(build, day, work[build])
        assert not in_time(build, axis().next_open_day(day + timedelta(1)), work[build])
    last = [day - timedelta(source.lead_days) for day in days.values()]
    assert last == [date(2026, 9, 18), date(2026, 9, 21)]
    assert last[0] > AS_OF  # today there is still time
    # ordered three weeks from now it comes on Monday the 23rd; the 26th is Thanksgiving, and the
    # plant is closed on the 27th
    comes = AS_OF + timedelta(21 + source.lead_days)
    assert comes == date(2026, 11, 23)
    ships = {build: _ships(comes, minutes) for build, minutes in work.items()}
    assert ships == {"B-2148": date(2026, 11, 25), "B-2138": date(2026, 11, 30)}
    late = [(ships[build] - promised_day(find(build))).days for build in story.builds]
    assert late == [13, 17]


def _ships(day: date, minutes: int) -> date:
    """When a build ships whose last so many minutes of work begin at the opening of a day."""
    cutoff = next(row.cutoff for row in demo().points if row.point == PLANT)
    return axis().ship_day(axis().end_moment(axis().opening(day) + minutes), cutoff)


def test_parts_order_must_be_split() -> None:
    story, part = STORY["parts order split"], "SVC-LT"
    line = next(row for row in demo().parts_orders if row.order == story.order)
    assert line.split
    assert line.within_days is not None
    latest = carrier_day(line.ordered, line.within_days)
    assert latest == date(2026, 9, 16)
    assert [row.order for row in demo().parts_orders if row.part == part] == [story.order]
    assert part not in {row.component for row in demo().bills}
    in_reach = {
        point: units
        for point, units in {PLANT: on_shelf(part, PLANT), **elsewhere(part)}.items()
        if (found := way(point, line.destination)) and carrier_day(AS_OF, found.days) <= latest
    }
    # 12 wanted; 7 in Tulsa and 6 in Columbus can be there in time, no point has 12
    assert {point: units for point, units in in_reach.items() if units} == {
        "TULSA": 7,
        "COLUMBUS": 6,
    }
    assert max(in_reach.values()) < line.quantity_milli // 1000 <= sum(in_reach.values())
    assert arrivals(part)[0][0] > latest

"""How much sooner something new ships if the queue is re-ordered, on random books: it makes a plan
that keeps every promise, and where the whole model says all, trying everything finds no sooner.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from functools import cache

import pytest
from books import Shape
from fulfil_models import resequence
from fulfil_models.audit_frame import Frame
from fulfil_models.audit_hours import Hours, carrier_days_after
from fulfil_models.audit_time import minutes_needed
from fulfil_models.cells import MILLI
from fulfil_models.giving_way import Race
from fulfil_models.plan import PlannedBuild
from fulfil_models.resequence import Resequenced
from fulfil_models.room import Request
from fulfil_models.slots import covers_every_plan
from fulfil_models.tables import Build, Dataset, PartsOrder
from fulfil_models.taken import NOTHING
from oracle import Oracle, Unsupported
from questions import asked_line, random_beside
from requeued import Asked, put

SHAPES = (
    Shape(points=1, builds=4),
    Shape(points=2),
    Shape(points=3, builds=4),
    Shape(points=2, builds=5, made=False, unpromised=False),
)


def random_asked(seed: int, shape: Shape, kinds: int = 3) -> Iterator[Asked]:
    """A build, or two pumps, or both, asked for beside the plan of a random book; none where
    something is left out."""
    found = random_beside(seed, shape)
    if found is None:
        return
    requests = [found.request]
    if found.rest.deliveries:
        line = replace(asked_line(2, part="PUMP"), ordered=found.settings.as_of)
        requests += [Request(lines=(line,)), replace(found.request, lines=(line,))]
    request = requests[seed // 5 % min(kinds, len(requests))]
    yield put(found.rest, found.before, request, found.settings)


# ---- laws; what is looked over of every answer says most of them


@pytest.mark.parametrize("seed", range(4000, 4020))
def test_a_small_queue_re_ordered_is_a_plan_in_which_promises_are_kept(seed: int) -> None:
    for asked in random_asked(seed, SHAPES[seed % len(SHAPES)]):
        asked.found(seconds=0.4)


SEARCHED = range(4100, 4130)


@cache
def searched_alone(seed: int) -> tuple[tuple[Asked, Resequenced], ...]:
    """A random question and its answer by the search, without the whole model."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(resequence, "SMALL_BOOK", 0)
        shape = SHAPES[seed % len(SHAPES)]
        return tuple((asked, asked.found(seconds=0.1)) for asked in random_asked(seed, shape))


@pytest.mark.parametrize("seed", SEARCHED)
def test_so_is_one_that_is_searched_alone(seed: int) -> None:
    searched_alone(seed)


def test_these_laws_meet_who_moves_and_who_may_not() -> None:
    """They would say little if nobody ever moved, or nothing were ever sooner."""
    found = [row for seed in SEARCHED for row in searched_alone(seed)]
    sooner = [made for asked, made in found if made.ready < asked.plainly]
    assert 5 < len(sooner) < len(found) - 5
    assert sum(bool(made.moved) for made in sooner) > 3
    assert sum(bool(made.moved_lines) for made in sooner) > 1


@pytest.mark.parametrize("seed", range(4200, 4208))
def test_several_at_once_and_what_the_plan_takes_besides(seed: int) -> None:
    """Two builds are new; the first of the book bears the plan alone."""
    found = random_beside(seed, Shape(points=2, builds=3, options=False))
    if found is None:
        pytest.skip("a list schedule leaves something out")
    (asked,) = found.request.builds
    more = Request((asked, replace(asked, build="R")))
    put(found.rest, found.before, more, found.settings, NOTHING).found(seconds=0.4)


# ---- against trying everything


FIRST, KEPT = 10**12, 10**20
"""weights, in millionths: nothing outweighs that what is new is sooner but a promise"""


def moment_at(hours: Hours, position: int, as_of: date) -> datetime:
    """First moment by which so many minutes have been worked."""
    moment = datetime.combine(as_of, time.min)
    while hours.position(moment) < position:
        moment += timedelta(minutes=1)
    return moment


def last_in_time(frame: Frame, row: PlannedBuild) -> datetime:
    """Last moment at which a promised build may be finished: neither its late minutes nor its late
    days are more than they were. Found by looking at every minute before the latest."""
    hours, cutoff, as_of = frame.hours[row.point], frame.points[row.point].cutoff, frame.terms.as_of
    assert row.promised is not None
    promised = date(row.promised.year, row.promised.month, row.promised.day)
    position = hours.due(row.promised, cutoff) + row.late_minutes
    while position > hours.position(row.finish):
        moment = moment_at(hours, position, as_of)
        if (hours.ship_day(moment, cutoff) - promised).days <= row.late_days:
            return moment
        position -= 1
    return row.finish


def line_in_time(asked: Asked, line: PartsOrder) -> PartsOrder:
    """The line as it would be promised if it were never to be later than it was; if it is new, as
    soon as can be."""
    late = max(r.late_days for r in asked.before.shipments if r.order == line.order)
    if (line.order, line.line) in asked.lines:
        return replace(line, promised=asked.settings.as_of, within_days=None, weight_ppm=FIRST)
    if line.promised is not None:
        return replace(line, promised=line.promised + timedelta(late), weight_ppm=KEPT)
    if line.within_days is None:
        return line
    by = carrier_days_after(line.ordered, line.within_days) + timedelta(late)
    within = line.within_days
    while carrier_days_after(line.ordered, within + 1) <= by:
        within += 1
    return replace(line, within_days=within, weight_ppm=KEPT)


def as_if_wanted(asked: Asked) -> Dataset:
    """The data in which the least cost is the soonest that is new, with every promise kept."""
    frame = Oracle(asked.data, asked.settings).frame
    rows = {row.build: row for row in asked.before.builds}
    midnight = datetime.combine(asked.settings.as_of, time.min)

    def wanted(row: Build) -> Build:
        if row.build in asked.builds:
            return replace(row, promised=midnight, weight_ppm=FIRST)
        if row.promised is None:
            return row
        last = last_in_time(frame, rows[row.build])
        return replace(row, promised=last, weight_ppm=KEPT)

    return replace(
        asked.data,
        builds=tuple(wanted(row) for row in asked.data.builds),
        parts_orders=tuple(line_in_time(asked, row) for row in asked.data.parts_orders),
    )


@dataclass(frozen=True)
class Tried:
    """A random question: the day without re-ordering, and days, with working minutes to the finish
    of a build, as it is answered by the whole model and by trying everything; whether the whole
    model says all of its book."""

    plainly: date
    made: tuple[date, int]
    best: tuple[date, int]
    says_all: bool


def tried(seed: int, shape: Shape) -> Iterator[Tried]:
    for asked in random_asked(seed, shape, kinds=2):
        try:
            oracle = Oracle(as_if_wanted(asked), asked.settings)
        except Unsupported:
            return
        bench = asked.bench()
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(Race, "pull", lambda *_: None)
            patch.setattr(Race, "bring_back", lambda *_: None)
            made = asked.found(seconds=8.0, bench=bench)
        minutes = [
            oracle.frame.hours[row.point].position(row.finish)
            for row in made.plan.builds
            if row.build in asked.builds
        ]
        yield Tried(
            asked.plainly,
            (made.ships, max(minutes, default=0)),
            soonest(oracle, asked),
            covers_every_plan(bench.compiled),
        )


def soonest(oracle: Oracle, asked: Asked) -> tuple[date, int]:
    """Day, and working minutes to the finish of a build, by trying everything."""
    best, frame = oracle.solve(), oracle.frame
    for new in asked.request.builds:
        hours, cutoff = frame.hours[new.point], frame.points[new.point].cutoff
        last = frame.routings[new.product][-1]
        finish = best.starts[new.build, last.operation] + minutes_needed(last, MILLI)
        return hours.ship_day(moment_at(hours, finish, asked.settings.as_of), cutoff), finish
    days = [
        frame.hours[draw.way.point].first_shipping_day(draw.way.usable)
        for draw in best.draws
        if draw.way is not None and draw.wanted.line is not None and draw.wanted.line.order == "Q"
    ]
    return max(days), 0


TINY = (
    Shape(points=1, builds=2),
    Shape(points=2, builds=2),
    Shape(points=1, caps=False, purchases=False),
)
TRIED = range(5002, 5026)


@cache
def all_tried(seed: int) -> tuple[Tried, ...]:
    return tuple(tried(seed, TINY[seed % len(TINY)]))


@pytest.mark.parametrize("seed", TRIED)
def test_trying_everything_finds_no_sooner(seed: int) -> None:
    for row in all_tried(seed):
        assert row.best[0] <= row.made[0] <= row.plainly
        assert row.best[1] <= row.made[1]
        if row.says_all:
            assert row.made[0] == row.best[0]
        if row.says_all and row.made[0] < row.plainly:  # on the same day nobody moves for hours
            assert row.made == row.best


def test_that_law_meets_what_is_sooner_and_what_is_not() -> None:
    proven = [row for seed in TRIED for row in all_tried(seed) if row.says_all]
    sooner = [row for row in proven if row.made[0] < row.plainly]
    assert 5 < len(sooner) < len(proven) - 1

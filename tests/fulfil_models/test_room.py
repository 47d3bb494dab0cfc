"""A room: what is asked in it is what a book made from scratch says, whatever was asked before."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import islice
from typing import Any

import pytest
from books import Shape
from demo_scenario import AS_OF as DEMO_DAY
from demo_scenario import demo
from fulfil_models.book import Book, Job, Line, Need, Way
from fulfil_models.cells import MILLI, PPM
from fulfil_models.problem import Problem
from fulfil_models.promise import by_whatever
from fulfil_models.room import Request, Room, beside
from fulfil_models.settings import Settings
from fulfil_models.supply import Bin, Route
from fulfil_models.tables import Alternate, BillLine, BuildOption, Dataset, Part
from fulfil_models.taken import NOTHING, ORDERED, Taken
from questions import QUOTED, answer, random_beside, taken_of
from tiny_shop import (
    SETTINGS,
    build,
    engines,
    march,
    order,
    purchase,
    shop,
    source,
    stock,
)

# ---- books that say the same


def bin_said(there: Bin | None) -> Any:
    return None if there is None else (there.part, there.point, there.lots)


def route_said(route: Route | None) -> Any:
    if route is None:
        return None
    return (
        route.legs,
        route.departures,
        route.arrivals,
        route.cost_per_move_micro,
        route.cost_per_kg_micro,
    )


def way_said(way: Way) -> Any:
    advance = way.advance
    return (
        way.kind,
        way.used,
        way.quantity_milli,
        way.cost,
        way.move_cost,
        bin_said(way.bin),
        route_said(way.route),
        None if advance is None else (bin_said(advance.bin), advance.event, advance.usable),
        None if way.job is None else job_said(way.job),
    )


def need_said(need: Need) -> Any:
    said = (need.place, need.part, need.quantity_milli, need.tail, need.plentiful)
    return (*said, [way_said(way) for way in need.ways])


def job_said(job: Job) -> Any:
    return (
        job.name,
        job.part,
        job.units_milli,
        [
            (
                op.number,
                op.centre,
                op.duration,
                op.stations,
                op.pinned,
                list(map(need_said, op.needs)),
            )
            for op in job.operations
        ],
        [need_said(need) for need in job.loose],
    )


def line_said(line: Line) -> Any:
    return (
        line.row,
        line.cost_per_late_day,
        [
            (
                outlet.used,
                outlet.quantity_milli,
                outlet.extra_cost,
                bin_said(outlet.bin),
                outlet.delivery,
                outlet.cost_per_milli,
                route_said(outlet.route),
                None if outlet.advance is None else (outlet.advance.event, outlet.advance.usable),
            )
            for outlet in line.outlets
        ],
    )


def said(book: Book) -> Any:
    """All that a book says of times, ways and costs."""
    return (
        [(c.name, c.point, c.stations, c.down, c.held, c.gone) for c in book.centres],
        book.gone.divisor,
        [
            (task.build, task.earliest, task.due, task.rate, task.weight, job_said(task.root))
            for task in book.tasks
        ],
        [line_said(line) for line in book.lines],
    )


def from_scratch(
    data: Dataset, settings: Settings, taken: Taken, request: Request, stand_ins: Any = ()
) -> Book:
    bare = beside(data, taken, request)
    bare = replace(bare, alternates=(*bare.alternates, *stand_ins))
    return Book(Problem(bare, settings, taken=taken))


# ---- by hand


def test_what_others_have_is_gone_and_their_orders_stay() -> None:
    data = shop(builds=(build("B1", march(12)),), sources=(source(10, minimum_milli=2 * MILLI),))
    taken = taken_of(data)
    room = Room(data, SETTINGS, taken)
    assert room.dataset is data
    assert room.problem.builds == []
    (bought,) = room.problem.dataset.purchases
    assert (bought.line, bought.quantity_milli) == (ORDERED, 2 * MILLI)
    book = room.book_for(Request(builds=(QUOTED,)))
    (need,) = book.tasks[0].root.needs()
    # two were ordered, of which B1 takes one; another new order comes on the same day
    assert [lot.quantity_milli for lot in bin_of(need).lots][:1] == [MILLI]
    (centre,) = book.centres
    assert [who for *_, who in centre.held] == ["B1"]


def bin_of(need: Need) -> Bin:
    (way,) = need.ways
    assert way.bin is not None
    return way.bin


def test_a_book_has_the_supplies_of_what_may_go_into_it_alone() -> None:
    data = shop(
        parts=(
            Part(part="MACHINE", make=True),
            Part(part="FRAME", make=True),
            *(Part(part=name) for name in ("ENGINE", "ENGINE2", "ENGINE3", "BEAM", "SEAT", "LAMP")),
        ),
        bills=(
            engines(1),
            BillLine(parent="MACHINE", component="FRAME", quantity_milli=MILLI),
            BillLine(parent="FRAME", component="BEAM", quantity_milli=MILLI),
        ),
        alternates=(stands_in("ENGINE", "ENGINE2"), stands_in("ENGINE2", "ENGINE3")),
        stock=tuple(
            stock(1, part=name)
            for name in ("ENGINE", "ENGINE2", "ENGINE3", "BEAM", "SEAT", "LAMP", "FRAME")
        ),
    )
    room = Room(data, SETTINGS)
    options = (BuildOption(build="Q", component="SEAT", quantity_milli=MILLI),)
    book = room.book_for(Request((QUOTED,), options))
    there = {row.part for row in book.problem.dataset.stock}
    assert there == {"ENGINE", "ENGINE2", "ENGINE3", "BEAM", "SEAT", "FRAME"}
    lamps = Request(lines=(order("Q", 1, None, part="LAMP"),))
    assert [r.part for r in room.book_for(lamps).problem.dataset.stock] == ["LAMP"]
    tried = room.book_for(Request((QUOTED,)), (stands_in("ENGINE", "LAMP"),))
    assert "LAMP" in {row.part for row in tried.problem.dataset.stock}
    assert "SEAT" not in {row.part for row in tried.problem.dataset.stock}


def stands_in(part: str, alternate: str) -> Alternate:
    return Alternate(part=part, alternate=alternate, ratio_ppm=PPM, approved=True)


def test_the_room_itself_stays_as_it_was() -> None:
    data = shop(stock=(stock(1),), purchases=(purchase("P", march(16)),))
    room = Room(data, SETTINGS)
    before = room.problem.dataset
    two = Request((QUOTED, build("R", None)))
    assert [row.ships for row in ships_of(room, two)] == [march(2), march(16)]
    assert [row.ships for row in ships_of(room, two)] == [march(2), march(16)]
    assert room.problem.dataset is before
    assert room.problem.builds == []


def ships_of(room: Room, request: Request) -> Any:
    plan = answer(room, request)
    assert plan is not None
    return plan.builds


# ---- on random books and on the demo


SHAPES = (Shape(points=3), Shape(points=2), Shape(points=1), Shape(points=3, alternates=False))


def shared_cap(data: Dataset) -> Dataset:
    """The same with sources that deliver to a second point as well, within one cap."""
    if len(data.points) == 1:
        return data
    more = tuple(replace(row, point="B", lead_days=row.lead_days + 2) for row in data.sources)
    return replace(data, sources=(*data.sources, *more))


def requests_of(data: Dataset) -> Iterable[Request]:
    """Each build by itself, each line, and all at once."""
    for row in data.builds:
        options = tuple(option for option in data.build_options if option.build == row.build)
        yield Request((replace(row, status="firm"),), options)
    for line in data.parts_orders:
        yield Request(lines=(line,))
    builds = tuple(replace(row, status="firm") for row in data.builds)
    yield Request(builds, data.build_options, data.parts_orders)


@pytest.mark.parametrize("seed", range(40))
def test_a_book_of_a_room_is_the_book_made_from_scratch(seed: int) -> None:
    found = random_beside(seed, SHAPES[seed % len(SHAPES)])
    if found is None:
        pytest.skip("a list schedule leaves something out")
    data, settings, taken = shared_cap(found.rest), found.settings, found.taken
    room = Room(data, settings, taken)
    for request in (found.request, *requests_of(data)):
        assert said(room.book_for(request)) == said(from_scratch(data, settings, taken, request))
        more = (stands_in("PUMP", "ENGINE"),)
        tried = said(room.book_for(request, more))
        assert tried == said(from_scratch(data, settings, taken, request, more))


def test_sharing_a_cap_is_part_of_that() -> None:
    """The law above would say nothing of caps, were no book of it to share one."""
    shared = 0
    for seed in range(40):
        found = random_beside(seed, SHAPES[seed % len(SHAPES)])
        if found is not None:
            data = shared_cap(found.rest)
            shared += bool(Room(data, found.settings).book_for(found.request).supplies.shared)
    assert shared > 5


@pytest.mark.parametrize("seed", range(100, 120))
def test_a_room_answers_the_same_whatever_was_asked_before(seed: int) -> None:
    found = random_beside(seed, SHAPES[seed % len(SHAPES)])
    if found is None:
        pytest.skip("a list schedule leaves something out")
    requests = [found.request, *requests_of(found.rest)]
    alone = [answer(found.room(), request, by_whatever) for request in requests]
    room = found.room()
    assert [answer(room, request, by_whatever) for request in requests] == alone
    again = [answer(room, request, by_whatever) for request in reversed(requests)]
    assert again[::-1] == alone


def demo_requests() -> list[Request]:
    data = demo()
    firm = [row for row in data.builds if row.status == "firm"]
    one_of_each = {row.product: row for row in firm}.values()
    builds = [
        Request((row,), tuple(o for o in data.build_options if o.build == row.build))
        for row in sorted(one_of_each, key=lambda row: row.build)
    ]
    return [*islice(builds, 8), *(Request(lines=(line,)) for line in data.parts_orders[:3])]


def test_a_book_of_the_demo_is_the_book_made_from_scratch() -> None:
    data, settings = demo(), Settings(as_of=DEMO_DAY)
    taken = reserved(data)
    room = Room(data, settings, taken)
    requests = demo_requests()
    assert len(requests) == 11
    for request in requests:
        assert said(room.book_for(request)) == said(from_scratch(data, settings, taken, request))


def reserved(data: Dataset) -> Taken:
    """A unit of everything on the shelf and of every purchase, as if others had it."""
    lots = {("stock", row.point, row.part): MILLI for row in data.stock}
    return Taken(lots | {("purchase", row.order, row.line): MILLI for row in data.purchases})


def test_the_demo_answers_the_same_whatever_was_asked_before() -> None:
    data, settings = demo(), Settings(as_of=DEMO_DAY)
    room = Room(data, settings, NOTHING)
    requests = demo_requests()[::2]
    there = [answer(room, request, explained=False) for request in requests]
    assert [answer(room, request, explained=False) for request in requests[::-1]] == there[::-1]
    assert answer(Room(data, settings), requests[-1], explained=False) == there[-1]

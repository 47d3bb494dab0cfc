"""The load of a work centre as bit sets, against a plain count of busy stations cell by cell."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import pytest
from fulfil_models import stations
from fulfil_models.calendar import Axis, make_axis
from fulfil_models.cells import WEEKDAYS
from fulfil_models.tables import Closure, Shift
from hypothesis import given
from hypothesis import strategies as st

LAST = 40
"""cells that anything is loaded on; nothing is busy later"""
BEYOND = LAST + 30

Load = tuple[int, int, int]
"""start, duration, stations"""


@dataclass(frozen=True)
class Centre:
    """A work centre that is loaded with what fits on it."""

    count: int
    loads: tuple[Load, ...]

    def busy(self) -> list[int]:
        """Busy stations in every cell."""
        busy = [0] * BEYOND
        for start, duration, taken in self.loads:
            for cell in range(start, start + duration):
                busy[cell] += taken
        return busy

    def layers(self) -> stations.Layers:
        layers = stations.empty(self.count)
        for load in self.loads:
            layers = stations.add(layers, *load)
        return layers

    def is_free(self, start: int, duration: int, wanted: int) -> bool:
        busy = self.busy()
        return all(busy[cell] + wanted <= self.count for cell in range(start, start + duration))


@st.composite
def centres(draw: st.DrawFn) -> Centre:
    count = draw(st.integers(1, 4))
    loads: list[Load] = []
    for _ in range(draw(st.integers(0, 8))):
        start = draw(st.integers(0, LAST - 1))
        load = (start, draw(st.integers(0, LAST - start)), draw(st.integers(1, count)))
        if Centre(count, tuple(loads)).is_free(*load):
            loads.append(load)
    return Centre(count, tuple(loads))


@st.composite
def asked(draw: st.DrawFn) -> tuple[Centre, int, int, int]:
    """A centre, and the start, duration and stations of an operation."""
    centre = draw(centres())
    return (
        centre,
        draw(st.integers(0, LAST)),
        draw(st.integers(0, 12)),
        draw(st.integers(1, centre.count)),
    )


@given(centres())
def test_a_layer_says_where_more_stations_than_its_number_are_busy(centre: Centre) -> None:
    layers, busy = centre.layers(), centre.busy()
    assert len(layers) == centre.count
    for number, layer in enumerate(layers):
        assert [layer >> cell & 1 for cell in range(BEYOND)] == [int(n > number) for n in busy]
        assert layer >> BEYOND == 0


@given(asked())
def test_the_first_fit_is_the_first_cell_at_which_it_is_free(
    case: tuple[Centre, int, int, int],
) -> None:
    centre, start, duration, wanted = case
    first = next(cell for cell in range(start, BEYOND) if centre.is_free(cell, duration, wanted))
    assert stations.first_fit(centre.layers(), start, duration, wanted) == first


@given(asked(), st.integers(0, LAST + 12))
def test_the_last_fit_is_the_last_cell_from_which_it_ends_in_time(
    case: tuple[Centre, int, int, int], end: int
) -> None:
    centre, low, duration, wanted = case
    fitting = [
        cell for cell in range(low, end - duration + 1) if centre.is_free(cell, duration, wanted)
    ]
    found = stations.last_fit(centre.layers(), low, end, duration, wanted)
    assert found == max(fitting, default=-1)


@given(asked())
def test_it_fits_at_a_cell_where_it_is_free(case: tuple[Centre, int, int, int]) -> None:
    centre, start, duration, wanted = case
    fits = stations.fits(centre.layers(), start, duration, wanted)
    assert fits == centre.is_free(start, duration, wanted)


@given(centres(), st.data())
def test_what_is_taken_away_leaves_the_rest(centre: Centre, data: st.DataObject) -> None:
    layers = centre.layers()
    left = list(centre.loads)
    for load in data.draw(st.permutations(centre.loads)):
        layers = stations.remove(layers, *load)
        left.remove(load)
        assert layers == Centre(centre.count, tuple(left)).layers()
    assert layers == stations.empty(centre.count)


@given(centres(), st.data())
def test_the_order_of_loads_does_not_matter(centre: Centre, data: st.DataObject) -> None:
    mixed = tuple(data.draw(st.permutations(centre.loads)))
    assert Centre(centre.count, mixed).layers() == centre.layers()


@given(centres(), st.integers(0, LAST), st.integers(0, 12), st.integers(1, 4))
def test_more_than_there_are_stations_is_all_of_them(
    centre: Centre, start: int, duration: int, out: int
) -> None:
    """Downtime that overlaps running work, or other downtime, takes what is left."""
    layers = stations.add(centre.layers(), start, duration, out)
    busy = centre.busy()
    for cell in range(start, start + duration):
        busy[cell] = min(centre.count, busy[cell] + out)
    assert len(layers) == centre.count > 0
    for number, layer in enumerate(layers):
        assert [layer >> cell & 1 for cell in range(BEYOND)] == [int(n > number) for n in busy]


@pytest.mark.parametrize(
    ("duration", "wanted", "first", "last"),
    [
        # Three stations: one busy in 0-4, two in 2-6, one in 9-10. Busy: 1 1 3 3 2 2 0 0 0 1 0 ...
        (2, 1, 0, 10),
        (3, 1, 4, 9),
        (2, 2, 0, 10),
        (3, 2, 6, 9),
        (3, 3, 6, 6),
        (4, 3, 10, -1),
        (0, 3, 0, 12),
    ],
)
def test_fits_worked_out_by_hand(duration: int, wanted: int, first: int, last: int) -> None:
    """The first from cell 0, the last that ends by cell 12."""
    layers = Centre(3, ((0, 4, 1), (2, 4, 2), (9, 1, 1))).layers()
    assert stations.first_fit(layers, 0, duration, wanted) == first
    assert stations.last_fit(layers, 0, 12, duration, wanted) == last


# ---- in working time

MONDAY = date(2026, 3, 2)


def test_a_slot_goes_on_the_next_day() -> None:
    """Mon-Fri 08:00-12:00, 12:30-16:30. The only station is busy until 15:30, minute 420: 120
    minutes go from there to Tuesday 09:00, minute 540. Out on Tuesday from 08:30, minute 510, to
    10:00, it has no room for 120 before 10:00, minute 600."""
    axis = make_axis("standard", MONDAY, 10, (), (), ())
    layers = stations.add(stations.empty(1), 0, 420, 1)
    start = stations.first_fit(layers, 0, 120, 1)
    assert axis.start_moment(start) == datetime(2026, 3, 2, 15, 30)
    assert axis.end_moment(start + 120) == datetime(2026, 3, 3, 9, 0)
    opens = axis.position(datetime(2026, 3, 3, 8, 30))
    closes = axis.position(datetime(2026, 3, 3, 10, 0))
    layers = stations.add(layers, opens, closes - opens, 1)
    assert axis.start_moment(stations.first_fit(layers, 0, 90, 1)) == datetime(2026, 3, 2, 15, 30)
    assert axis.start_moment(stations.first_fit(layers, 0, 120, 1)) == datetime(2026, 3, 3, 10, 0)


HOURS = ((0, 4), (6, 9))
"""a short day, in minutes after midnight: seven minutes of work"""


def short_days() -> Axis:
    shifts = [
        Shift(calendar="short", weekday=day, opens=opens, closes=closes)
        for day in WEEKDAYS[:5]
        for opens, closes in HOURS
    ]
    closed = Closure(calendar="short", day=MONDAY + timedelta(2))
    return make_axis("short", MONDAY, 21, (), shifts, (closed,))


def open_minutes() -> list[datetime]:
    """Every minute of work of two weeks, one by one."""
    midnight = datetime(2026, 3, 2)
    return [
        midnight + timedelta(day, minutes=minute)
        for day in range(14)
        if day % 7 < 5 and day != 2
        for opens, closes in HOURS
        for minute in range(opens, closes)
    ]


@given(
    st.integers(1, 3),
    st.lists(
        st.tuples(st.integers(0, 7), st.integers(0, 9), st.integers(0, 3000), st.integers(1, 3))
    ),
    st.integers(1, 12),
    st.data(),
)
def test_the_first_slot_in_working_time_keeps_clear_of_downtime(
    count: int, down: list[tuple[int, int, int, int]], duration: int, data: st.DataObject
) -> None:
    """Downtime (day, minute, length, stations out) by the clock, over nights and closed days."""
    wanted = data.draw(st.integers(1, count))
    axis = short_days()
    layers = stations.empty(count)
    out = [0] * len(minutes := open_minutes())
    for day, minute, length, stopped in down:
        starts = datetime(2026, 3, 2) + timedelta(day, minutes=minute)
        ends = starts + timedelta(minutes=length)
        first, last = axis.position(starts), axis.position(ends)
        layers = stations.add(layers, first, last - first, stopped)
        for index, moment in enumerate(minutes):
            out[index] += stopped if starts <= moment < ends else 0
    naive = next(
        (
            start
            for start in range(len(minutes) - duration + 1)
            if all(out[cell] + wanted <= count for cell in range(start, start + duration))
        ),
        None,
    )
    found = stations.first_fit(layers, 0, duration, wanted)
    if naive is None:
        assert found + duration > len(minutes)
    else:
        assert found == naive
        assert axis.start_moment(found) == minutes[naive]

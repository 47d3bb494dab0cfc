"""What is the last day to order a part so that it is there by a day, and when does an order come?

Rules 4 and 5 of the plan, backwards and forwards: an order is usable from the opening of the day it
arrives or of the next working day; a lane leaves on its departure days with what is usable by then.
A monthly cap enters here only where no order fits it, not where a month of it is used up.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable
from datetime import date, timedelta

from fulfil_models.calendar import STANDARD, make_axis
from fulfil_models.cells import WEEKDAYS
from fulfil_models.routes import MOST_LEGS
from fulfil_models.source_terms import can_order, days_to_arrive
from fulfil_models.tables import Dataset, Lane, Source

BACK_DAYS = 500
"""how far before the planning date working days are known; beyond, every day counts as open"""
AHEAD_DAYS = 1100
WEEK = 7
FRIDAY = 4


def order_on(place_on: date, first: date) -> date:
    """Day on which somebody is there to order what is to be placed on a day.

    Of a Saturday or Sunday the Friday before, unless that is before `first`: then the day itself
    stands, and what is ordered after it comes as many days later.
    """
    friday = place_on - timedelta(max(0, place_on.weekday() - FRIDAY))
    return friday if friday >= first else place_on


class OpenDays:
    """Working days of every point, before and after a day."""

    def __init__(self, dataset: Dataset, around: date) -> None:
        self._dataset = dataset
        self._first = around - timedelta(BACK_DAYS)
        self._calendar_of = {row.point: row.calendar for row in dataset.points}
        self._days: dict[str, tuple[date, ...]] = {}

    def _of(self, point: str) -> tuple[date, ...]:
        calendar = self._calendar_of.get(point, STANDARD)
        if calendar not in self._days:
            rows = self._dataset
            axis = make_axis(
                calendar,
                self._first,
                BACK_DAYS + AHEAD_DAYS,
                rows.calendars,
                rows.shifts,
                rows.closures,
            )
            self._days[calendar] = axis.open_days
        return self._days[calendar]

    def until(self, point: str, day: date) -> date:
        """The day itself if the point is open, else the last open day before it."""
        days = self._of(point)
        index = bisect_right(days, day)
        return days[index - 1] if index and day <= days[-1] else day

    def open_anywhere(self, points: Iterable[str], day: date) -> bool:
        """Whether it is a working day of any of these points."""
        return any(self.until(point, day) == day for point in points)

    def onward(self, point: str, day: date) -> date:
        """The day itself if the point is open, else the first open day after it."""
        days = self._of(point)
        index = bisect_left(days, day)
        return days[index] if index < len(days) and day >= days[0] else day

    def departure(self, lane: Lane, day: date) -> date:
        """The last departure of a lane on a day or before it."""
        if not lane.weekdays:
            return self.until(lane.origin, day)
        return next(
            earlier
            for earlier in (day - timedelta(back) for back in range(WEEK))
            if WEEKDAYS[earlier.weekday()] in lane.weekdays
        )


class OrderDays:
    """The ways by which a new order of one part may reach a point.

    `sources` are by point those of which anything can be ordered: some order fits their cap.
    """

    def __init__(self, dataset: Dataset, part: str, days: OpenDays) -> None:
        self.days = days
        self.sources: dict[str, list[Source]] = defaultdict(list)
        for row in sorted(dataset.sources, key=lambda r: (r.part, r.rank, r.supplier, r.point)):
            if row.part == part and can_order(row):
                self.sources[row.point].append(row)
        self._into: dict[str, list[Lane]] = defaultdict(list)
        for lane in dataset.lanes:
            self._into[lane.destination].append(lane)

    def last(self, point: str, wanted: date, *, hurried: bool = False) -> date | None:
        """Last day on which an order is usable at a point on a day.

        Parameters
        ----------
        hurried: expedited where the source offers it; None where no source on the way does.
        """
        found: date | None = None
        best = {point: wanted}
        front = dict(best)
        for legs in range(MOST_LEGS + 1):
            before: dict[str, date] = {}
            for place, by in front.items():
                usable = self.days.until(place, by)
                for source in self.sources.get(place, ()):
                    if hurried and not source.expedite_days:
                        continue
                    placed = usable - timedelta(days_to_arrive(source, expedited=hurried))
                    found = placed if found is None else max(found, placed)
                for lane in self._into.get(place, ()) if legs < MOST_LEGS else ():
                    leaves = self.days.departure(lane, usable - timedelta(lane.days))
                    # whoever may be there later needs no way by which it is to be there sooner
                    if lane.origin not in best or leaves > best[lane.origin]:
                        before[lane.origin] = best[lane.origin] = leaves
            front = before
        return found

    def shortest(self, point: str) -> int | None:
        """Shortest lead time to a point in calendar days, lanes included, waits for departures
        not; None where no source reaches it."""
        found: int | None = None
        best = {point: 0}
        front = dict(best)
        for legs in range(MOST_LEGS + 1):
            before: dict[str, int] = {}
            for place, lanes_days in front.items():
                for source in self.sources.get(place, ()):
                    days = source.lead_days + lanes_days
                    found = days if found is None else min(found, days)
                for lane in self._into.get(place, ()) if legs < MOST_LEGS else ():
                    days = lanes_days + lane.days
                    if lane.origin not in best or days < best[lane.origin]:
                        before[lane.origin] = best[lane.origin] = days
            front = before
        return found

    def usable_from(self, source: Source, placed: date, *, hurried: bool = False) -> date:
        """Day from which an order placed on a day is usable where its source delivers."""
        days = days_to_arrive(source, expedited=hurried)
        return self.days.onward(source.point, placed + timedelta(days))

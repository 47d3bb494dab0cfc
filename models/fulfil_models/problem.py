"""A data set ready to be planned: its rows by key, its settings and a time axis for every point."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import cached_property

from fulfil_models.calendar import Axis, make_axis
from fulfil_models.plan import Stranded
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    Alternate,
    BillLine,
    Build,
    BuildOption,
    Dataset,
    Delivery,
    Lane,
    Part,
    PartsOrder,
    Point,
    Progress,
    RoutingStep,
    WorkCentre,
)
from fulfil_models.taken import NOTHING, Taken

FIRM = "firm"
_SHARED = (
    "axes",
    "points",
    "parts",
    "bills",
    "routings",
    "work_centres",
    "lanes",
    "deliveries",
)
"""rows by key that do not depend on what is ordered, nor on supplies"""


def carrier_day(start: date, days: int) -> date:
    """The day so many carrier days (Mon-Fri) after a day."""
    day = start
    while days > 0:
        day += timedelta(1)
        days -= day.weekday() < 5
    return day


@dataclass(frozen=True)
class Problem:
    """The rows of a data set by key. Lists are in the order of their keys, never of the file.

    `left_out` holds builds and parts-order lines (order, line) that cannot be planned at all.
    """

    dataset: Dataset
    settings: Settings
    left_out_builds: frozenset[str] = frozenset()
    left_out_lines: frozenset[tuple[str, str]] = frozenset()
    previous_starts: dict[tuple[str, int], datetime] = field(default_factory=dict)
    """start of each (job, operation) of the last accepted plan, for the freeze"""
    stranded: tuple[Stranded, ...] = ()
    """what is left out, and why"""
    taken: Taken = NOTHING
    """what others hold: it is gone, and nobody is moved"""
    kept_builds: frozenset[str] = frozenset()
    kept_lines: frozenset[tuple[str, str]] = frozenset()
    """promises that a search keeps before it looks at any cost; what a plan costs is the same"""

    @property
    def as_of(self) -> date:
        return self.settings.as_of

    @cached_property
    def axes(self) -> dict[str, Axis]:
        """The axis of every point; points that share a calendar share it.

        Covers twice the horizon and a year, so that work behind a long queue still has a date.
        """
        days = 2 * self.settings.horizon_days + 400
        made: dict[str, Axis] = {}
        for point in self.points.values():
            if point.calendar not in made:
                made[point.calendar] = make_axis(
                    point.calendar,
                    self.as_of,
                    days,
                    self.dataset.calendars,
                    self.dataset.shifts,
                    self.dataset.closures,
                )
        return {point.point: made[point.calendar] for point in self.points.values()}

    @cached_property
    def points(self) -> dict[str, Point]:
        return {row.point: row for row in sorted(self.dataset.points, key=lambda r: r.point)}

    @cached_property
    def parts(self) -> dict[str, Part]:
        return {row.part: row for row in self.dataset.parts}

    @cached_property
    def bills(self) -> dict[str, list[BillLine]]:
        by: defaultdict[str, list[BillLine]] = defaultdict(list)
        for row in sorted(
            self.dataset.bills,
            key=lambda r: (
                r.parent,
                r.component,
                -1 if r.operation is None else r.operation,
                r.scrap_ppm,
                r.starts or date.min,
            ),
        ):
            by[row.parent].append(row)
        return dict(by)

    @cached_property
    def routings(self) -> dict[str, list[RoutingStep]]:
        by: defaultdict[str, list[RoutingStep]] = defaultdict(list)
        for row in sorted(self.dataset.routings, key=lambda r: (r.part, r.operation)):
            by[row.part].append(row)
        return dict(by)

    @cached_property
    def work_centres(self) -> dict[str, WorkCentre]:
        return {
            row.work_centre: row
            for row in sorted(self.dataset.work_centres, key=lambda r: r.work_centre)
        }

    @cached_property
    def alternates(self) -> dict[str, list[Alternate]]:
        """Approved alternates of each part, in order of rank."""
        by: defaultdict[str, list[Alternate]] = defaultdict(list)
        for row in sorted(self.dataset.alternates, key=lambda r: (r.part, r.rank, r.alternate)):
            if row.approved:
                by[row.part].append(row)
        return dict(by)

    @cached_property
    def options(self) -> dict[str, list[BuildOption]]:
        by: defaultdict[str, list[BuildOption]] = defaultdict(list)
        for row in sorted(
            self.dataset.build_options,
            key=lambda r: (r.build, r.component, -1 if r.operation is None else r.operation),
        ):
            by[row.build].append(row)
        return dict(by)

    @cached_property
    def builds(self) -> list[Build]:
        """Firm builds that can be planned."""
        return sorted(
            (
                row
                for row in self.dataset.builds
                if row.status == FIRM and row.build not in self.left_out_builds
            ),
            key=lambda r: r.build,
        )

    @cached_property
    def parts_orders(self) -> list[PartsOrder]:
        """Lines of parts orders that can be planned."""
        return sorted(
            (
                row
                for row in self.dataset.parts_orders
                if (row.order, row.line) not in self.left_out_lines
            ),
            key=lambda r: (r.order, r.line),
        )

    @cached_property
    def lanes(self) -> list[Lane]:
        return sorted(
            (row for row in self.dataset.lanes if row.origin != row.destination),
            key=lambda r: (r.origin, r.destination),
        )

    @cached_property
    def deliveries(self) -> dict[str, list[Delivery]]:
        by: defaultdict[str, list[Delivery]] = defaultdict(list)
        for row in sorted(self.dataset.deliveries, key=lambda r: (r.point, r.destination)):
            by[row.point].append(row)
        return dict(by)

    @cached_property
    def progress(self) -> dict[tuple[str, int], Progress]:
        return {(row.build, row.operation): row for row in self.dataset.progress}

    @cached_property
    def begun(self) -> frozenset[tuple[str, int]]:
        """Builds and their operations that are under way or done, with all before such a one: what
        they take is gone from the shelf."""
        worked_on = {
            (row.build, row.operation)
            for row in self.dataset.progress
            if row.started or row.finished
        }
        builds = {build for build, _ in worked_on}
        begun: set[tuple[str, int]] = set()
        for row in self.dataset.builds:
            if row.build in builds:
                steps = [(row.build, step.operation) for step in self.routings.get(row.product, ())]
                last = max(
                    (place for place, step in enumerate(steps) if step in worked_on), default=-1
                )
                begun.update(steps[: last + 1])
        return frozenset(begun)

    def asking(self, dataset: Dataset) -> Problem:
        """The same problem of a data set that differs in its orders, supplies and alternates
        alone: all other rows by key are shared with this one."""
        other = replace(self, dataset=dataset)
        vars(other).update({name: getattr(self, name) for name in _SHARED})
        if dataset.alternates is self.dataset.alternates:
            vars(other)["alternates"] = self.alternates
        return other

    def delivery(self, point: str, destination: str) -> Delivery | None:
        """The delivery row from a point to a destination: the longest match wins."""
        matches = [
            row for row in self.deliveries.get(point, ()) if destination.startswith(row.destination)
        ]
        return max(matches, key=lambda row: len(row.destination), default=None)

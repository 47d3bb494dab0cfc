"""Is what is quoted there on the days that were wanted, each build and line by its own?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from fulfil.usecases.quote_documents import arrivals_of, ship_days_of

if TYPE_CHECKING:
    from fulfil_models.plan import Plan
    from fulfil_models.room import Request


@dataclass(frozen=True, slots=True)
class Wanted:
    """A day on which a build, or a line of a parts order, was wanted.

    Attributes
    ----------
    what: the build, or the number of the line.
    is_arrival: it is to arrive by that day, not to ship.
    comes: the day on which it ships, or arrives, as quoted.
    """

    what: str
    day: date
    is_arrival: bool
    comes: date

    @property
    def days_past(self) -> int:
        """Days by which it comes after the wanted day; 0 when in time."""
        return max(0, (self.comes - self.day).days)


def wanted_days(request: Request, plan: Plan) -> tuple[Wanted, ...]:
    """Every day that was wanted of a request. `plan` is of the request alone."""
    return tuple(_wanted_days(request, plan))


def _wanted_days(request: Request, plan: Plan) -> Iterator[Wanted]:
    from fulfil_models.cells import day_of
    from fulfil_models.problem import carrier_day

    builds = {row.build: row.ships for row in plan.builds}
    for build in request.builds:
        if build.promised is not None:
            yield Wanted(build.build, day_of(build.promised), False, builds[build.build])
    ships, arrives = ship_days_of(plan), arrivals_of(plan)
    for line in request.lines:
        key = line.order, line.line
        if line.promised is not None:
            yield Wanted(line.line, line.promised, False, ships[key])
        if line.within_days is not None:
            day = carrier_day(line.ordered, line.within_days)
            yield Wanted(line.line, day, True, arrives[key])


def worst(rows: tuple[Wanted, ...]) -> Wanted | None:
    """The one that misses its day by most, or has least time to spare; of several the first day."""
    return max(
        rows, key=lambda row: ((row.comes - row.day).days, -row.day.toordinal()), default=None
    )

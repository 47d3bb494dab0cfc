"""Which builds moved from one plan to another, by how much, and why?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from fulfil_models.plan import Blocker, BlockerKind, PlannedBuild


@dataclass(frozen=True, slots=True)
class Moved:
    """A build whose ship date is not the same in both plans.

    Attributes
    ----------
    ships_before, ships_after: None where that plan does not hold the build.
    moved_days: calendar days; above 0 later, below 0 sooner; None where one plan lacks it.
    blocker_before, blocker_after: what held it up first in each plan; None where only its own
        work did, or that plan does not hold it.
    """

    build: str
    product: str
    promised: date | datetime | None
    ships_before: date | None
    ships_after: date | None
    moved_days: int | None
    late_days_before: int
    late_days_after: int
    blocker_before: Blocker | None
    blocker_after: Blocker | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Builds that moved, the largest delay first; then those that only one plan holds."""

    moved: tuple[Moved, ...]
    unchanged: int
    builds_before: int
    builds_after: int
    late_before: int
    late_after: int

    @property
    def later(self) -> int:
        return sum(1 for row in self.moved if row.moved_days is not None and row.moved_days > 0)

    @property
    def sooner(self) -> int:
        return sum(1 for row in self.moved if row.moved_days is not None and row.moved_days < 0)

    @property
    def added(self) -> int:
        return sum(1 for row in self.moved if row.ships_before is None)

    @property
    def removed(self) -> int:
        return sum(1 for row in self.moved if row.ships_after is None)


def first_blocker(build: PlannedBuild | None) -> Blocker | None:
    """What holds a build up first; None where nothing does but its own work."""
    if build is None:
        return None
    return next((row for row in build.blockers if row.kind is not BlockerKind.WORK), None)


def is_late(build: PlannedBuild) -> bool:
    """Whether a build misses its promise, by working minutes or by days; one without a promise
    cannot.

    Either alone may be above 0: one promised to the minute is late by hours on its day, and one
    whose work was finished before the planning date ships on that date at the soonest.
    """
    return build.promised is not None and (build.late_minutes > 0 or build.late_days > 0)


def compare(before: Iterable[PlannedBuild], after: Iterable[PlannedBuild]) -> Comparison:
    """What changed between two plans."""
    old = {build.build: build for build in before}
    new = {build.build: build for build in after}
    moved = [
        _moved(old.get(name), new.get(name))
        for name in sorted({*old, *new})
        if name not in old or name not in new or old[name].ships != new[name].ships
    ]
    return Comparison(
        moved=tuple(
            sorted(
                moved,
                key=lambda row: (row.moved_days is None, -(row.moved_days or 0), row.build),
            )
        ),
        unchanged=len({*old, *new}) - len(moved),
        builds_before=len(old),
        builds_after=len(new),
        late_before=sum(map(is_late, old.values())),
        late_after=sum(map(is_late, new.values())),
    )


def _moved(old: PlannedBuild | None, new: PlannedBuild | None) -> Moved:
    known = new or old
    assert known is not None
    return Moved(
        build=known.build,
        product=known.product,
        promised=known.promised,
        ships_before=None if old is None else old.ships,
        ships_after=None if new is None else new.ships,
        moved_days=None if old is None or new is None else (new.ships - old.ships).days,
        late_days_before=0 if old is None else old.late_days,
        late_days_after=0 if new is None else new.late_days,
        blocker_before=first_blocker(old),
        blocker_after=first_blocker(new),
    )

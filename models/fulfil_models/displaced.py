"""Who stands elsewhere in another plan of the same orders?

A build that ships, ends or begins at another time; a line of a parts order that ships or arrives on
another day, or comes from another point.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterator
from dataclasses import dataclass
from datetime import date, datetime

from fulfil_models.plan import Plan, Shipment
from fulfil_models.ready import LineKey


@dataclass(frozen=True, slots=True)
class Moved:
    """A build that ships, ends or begins at another time than before."""

    build: str
    promised: date | datetime | None
    """None: nobody was told a day, so it may go later"""
    ships_before: date
    ships_after: date
    finish_before: datetime
    finish_after: datetime
    late_days_before: int
    late_days_after: int
    starts_before: datetime | None
    """of its first operation or of what is made for it; None where nothing is left to be done"""
    starts_after: datetime | None


@dataclass(frozen=True, slots=True)
class MovedLine:
    """A line of a parts order that ships last, or arrives, on another day than before, or that is
    sent from another point."""

    order: str
    line: str
    is_promised: bool
    """whether it is to ship, or to arrive, by some day"""
    ships_before: date
    ships_after: date
    arrives_before: date
    arrives_after: date
    points_before: tuple[str, ...]
    """that it is sent from, by name"""
    points_after: tuple[str, ...]
    late_days_before: int
    late_days_after: int


@dataclass(frozen=True, slots=True)
class Shipped:
    """Last days on which a line ships and arrives, the points it is sent from, its late days."""

    ships: date
    arrives: date
    points: tuple[str, ...]
    late_days: int

    @property
    def where(self) -> tuple[date, date, tuple[str, ...]]:
        return self.ships, self.arrives, self.points


def shipped(plan: Plan) -> dict[LineKey, Shipped]:
    rows: defaultdict[LineKey, list[Shipment]] = defaultdict(list)
    for row in plan.shipments:
        rows[row.order, row.line].append(row)
    return {
        key: Shipped(
            max(row.ships for row in sent),
            max(row.arrives for row in sent),
            tuple(sorted({row.point for row in sent})),
            max(row.late_days for row in sent),
        )
        for key, sent in rows.items()
    }


def _starts(plan: Plan) -> dict[str, datetime]:
    """By build: when its first operation starts, or that of what is made for it."""
    builds = {job.job: job.build for job in plan.jobs}
    first: dict[str, datetime] = {}
    for row in plan.operations:
        build = builds[row.job]
        first[build] = min(row.start, first.get(build, row.start))
    return first


def where_builds(
    plan: Plan, but: Container[str] = frozenset()
) -> dict[str, tuple[date, datetime, datetime | None]]:
    """By build, but for some: when it ships, ends and begins."""
    starts = _starts(plan)
    return {
        row.build: (row.ships, row.finish, starts.get(row.build))
        for row in plan.builds
        if row.build not in but
    }


def moved(before: Plan, after: Plan, but: Container[str]) -> Iterator[Moved]:
    """Builds that stand elsewhere in another plan, but for some."""
    where_before, where_after = where_builds(before, but), where_builds(after, but)
    late = {row.build: row.late_days for row in after.builds}
    for row in before.builds:
        name = row.build
        if name in where_before and where_before[name] != where_after[name]:
            ships, finish, starts = where_after[name]
            yield Moved(
                name,
                row.promised,
                row.ships,
                ships,
                row.finish,
                finish,
                row.late_days,
                late[name],
                where_before[name][2],
                starts,
            )


def moved_lines(
    before: Plan, after: Plan, but: Container[LineKey], promised: Container[LineKey]
) -> Iterator[MovedLine]:
    """Lines that are sent otherwise in another plan, but for some. `promised`: lines that are to
    ship, or to arrive, by some day."""
    lines = shipped(after)
    for key, old in shipped(before).items():
        new = lines[key]
        if key not in but and new.where != old.where:
            yield MovedLine(
                *key,
                key in promised,
                old.ships,
                new.ships,
                old.arrives,
                new.arrives,
                old.points,
                new.points,
                old.late_days,
                new.late_days,
            )

"""Where units can come from in a tiny book: every lot, and every way it can go, of any interest."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from fulfil_models.audit_frame import Frame
from fulfil_models.cells import WEEKDAYS
from fulfil_models.plan import SupplyKind
from fulfil_models.tables import Build, Lane, Purchase, Source


@dataclass(frozen=True, eq=False)
class Lot:
    """Units that come to one point at one moment. `left_milli` is None where there is no end."""

    kind: SupplyKind
    part: str
    point: str
    usable: datetime
    left_milli: int | None
    purchase: Purchase | None = None
    source: Source | None = None
    arrives_on: date | None = None
    expedited: bool = False

    @property
    def month(self) -> tuple[int, int]:
        assert self.arrives_on is not None
        return (self.arrives_on.year, self.arrives_on.month)


Leg = tuple[Lane, date]
"""a lane and the day of departure"""


@dataclass(frozen=True, eq=False)
class Way:
    """A lot, moved over some legs or none, and where and when it is usable then."""

    lot: Lot
    legs: tuple[Leg, ...]
    point: str
    usable: datetime


def lots_of(frame: Frame, potential: dict[str, int]) -> list[Lot]:
    """Every lot that could be of use. `potential` is the most that could be drawn of each part."""
    lots = [
        Lot(SupplyKind.STOCK, row.part, row.point, frame.midnight, free)
        for row in frame.dataset.stock
        if (free := row.quantity_milli - row.held_milli) > 0
    ]
    for row in frame.dataset.purchases:
        usable = frame.hours[row.point].opening(frame.due_day(row.due))
        lots.append(Lot(SupplyKind.PURCHASE, row.part, row.point, usable, row.quantity_milli, row))
    arrivals = {
        (source, arrival): None
        for source in frame.dataset.sources
        for arrival in _arrivals(frame, potential, source)
    }
    arrivals |= {(source, (day, False)): None for source, day in _shared_days(frame, arrivals)}
    for source, (arrives_on, expedited) in arrivals:
        usable = frame.hours[source.point].opening(arrives_on)
        lots.append(
            Lot(
                SupplyKind.NEW_PURCHASE,
                source.part,
                source.point,
                usable,
                None,
                source=source,
                arrives_on=arrives_on,
                expedited=expedited,
            )
        )
    return lots


def _shared_days(
    frame: Frame, arrivals: Iterable[tuple[Source, tuple[date, bool]]]
) -> Iterator[tuple[Source, date]]:
    """Later days on which a part for a parts order might come to ship with others, where what is
    saved is a delivery."""
    if not any(row.cost_micro for row in frame.dataset.deliveries):
        return
    wanted = {row.part for row in frame.dataset.parts_orders}
    wanted |= {row.alternate for row in frame.dataset.alternates if row.part in wanted}
    days = {(row.point, frame.due_day(row.due)) for row in frame.dataset.purchases}
    days |= {(source.point, day) for source, (day, _) in arrivals}
    for source in frame.dataset.sources:
        first = frame.ordering_from + timedelta(source.lead_days)
        if source.part in wanted:
            for point, day in sorted(days):
                if point == source.point and day > first:
                    yield source, day


def _arrivals(
    frame: Frame, potential: dict[str, int], source: Source
) -> Iterator[tuple[date, bool]]:
    """The days of interest on which a new purchase can come, and whether hurried."""
    unhurried = frame.ordering_from + timedelta(source.lead_days)
    hurried = None
    if source.expedite_days:
        hurried_days = max(0, source.lead_days - source.expedite_days)
        hurried = frame.ordering_from + timedelta(hurried_days)
    if source.monthly_cap_milli is None:
        yield unhurried, False
        if hurried is not None:
            yield hurried, True
        return
    for day in [] if hurried is None else _months(hurried):
        if day >= unhurried:
            break
        yield day, True
    roomy = -(-potential[source.part] // frame.parts[source.part].step_milli)
    for day in _months(unhurried):
        if roomy <= 0:
            break
        yield day, False
        roomy -= open_in(frame, source, (day.year, day.month)) == 0


def ways_of(frame: Frame, lots: list[Lot]) -> dict[tuple[str, str], list[Way]]:
    """Every way in which every lot can come to every point, the best first."""
    ways = [Way(lot, (), lot.point, lot.usable) for lot in lots]
    departures: set[Leg] = set()
    for _ in frame.points:
        departures |= {
            (lane, _departure(frame, lane, way.usable.date()))
            for way in ways
            for lane in frame.dataset.lanes
            if lane.origin == way.point
        }
        ways = [Way(lot, (), lot.point, lot.usable) for lot in lots]
        for way in ways:  # grows while it is walked
            visited = {way.lot.point, *(lane.destination for lane, _ in way.legs)}
            ways += [
                Way(
                    way.lot,
                    (*way.legs, (lane, day)),
                    lane.destination,
                    frame.hours[lane.destination].opening(day + timedelta(lane.days)),
                )
                for lane, day in departures
                if lane.origin == way.point
                and lane.destination not in visited
                and day >= max(way.usable.date(), frame.terms.as_of)
            ]
    by: defaultdict[tuple[str, str], list[Way]] = defaultdict(list)
    for way in sorted(ways, key=lambda w: (w.usable, w.lot.expedited, len(w.legs), str(w))):
        by[way.lot.part, way.point].append(way)
    return dict(by)


def _departure(frame: Frame, lane: Lane, day: date) -> date:
    """First departure of a lane on or after a day."""
    day = max(day, frame.terms.as_of)
    while not (
        WEEKDAYS[day.weekday()] in lane.weekdays
        if lane.weekdays
        else frame.hours[lane.origin].is_open_on(day)
    ):
        day += timedelta(1)
    return day


def open_in(frame: Frame, source: Source, month: tuple[int, int]) -> int:
    """Open purchases of a source's part and supplier that count in a month."""
    total = 0
    for row in frame.dataset.purchases:
        day = frame.due_day(row.due)
        same = (row.part, row.supplier) == (source.part, source.supplier)
        if same and (day.year, day.month) == month:
            total += row.quantity_milli
    return total


def order_size(source: Source, milli: int) -> int:
    """The least order of a source that yields so much."""
    size = max(milli, source.minimum_milli)
    if source.multiple_milli:
        size = -(-size // source.multiple_milli) * source.multiple_milli
    return size


def _months(day: date) -> Iterator[date]:
    """The day itself, then the first of every month after it."""
    while True:
        yield day
        day = (day.replace(day=1) + timedelta(32)).replace(day=1)


def parts_for(frame: Frame, part: str) -> list[str]:
    """The part itself and its approved alternates."""
    return [part, *(used for called, used in sorted(frame.alternates) if called == part)]


def potential_of(frame: Frame, builds: list[Build]) -> dict[str, int]:
    """For each part, more than all builds and lines together could ever draw."""
    most: defaultdict[str, int] = defaultdict(int)
    stack = [
        (part, milli, build)
        for build in builds
        for (_, part), milli in frame.build_needs(build).items()
    ]
    stack += [(row.part, row.quantity_milli, None) for row in frame.planned_lines()]
    while stack:
        part, milli, build = stack.pop()
        for used in parts_for(frame, part):
            wanted = frame.wanted(part, used, milli)
            most[used] += wanted
            if build is not None and frame.parts[used].make:
                below = frame.part_needs(used, wanted, build.ordered)
                stack += [(need[1], needed, build) for need, needed in below.items()]
    return most

"""Where can units come from, and when are they usable? (contract rule 4)

A `Bin` is all supply of one part at one point in order of the day it is usable: stock, open
purchases and new purchases that cost nothing extra. Expedited purchases stand apart, since they
cost. What brings units from one point to another is in `routes`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from itertools import accumulate

from fulfil_models.plan import SupplyKind
from fulfil_models.problem import Problem
from fulfil_models.routes import Route, find_routes
from fulfil_models.tables import Purchase, Source

__all__ = ["UNLIMITED_MILLI", "Advance", "Bin", "Lot", "Route", "Supplies", "due_day"]

UNLIMITED_MILLI = 10**12
"""stands for a source without a cap: more than any book can draw"""


@dataclass(frozen=True, slots=True)
class Lot:
    """Units of one part that become usable at one point on one day."""

    kind: SupplyKind
    part: str
    point: str
    usable_on: date
    """working day from whose opening the units are usable"""
    usable: int
    """that opening on the point's axis"""
    quantity_milli: int
    purchase: Purchase | None = None
    source: Source | None = None
    arrives_on: date | None = None
    expedited: bool = False


@dataclass(frozen=True)
class Bin:
    """Supply of one part at one point, in order of the day it is usable."""

    index: int
    part: str
    point: str
    lots: tuple[Lot, ...]

    @cached_property
    def times(self) -> tuple[int, ...]:
        return tuple(lot.usable for lot in self.lots)

    @cached_property
    def days(self) -> tuple[date, ...]:
        return tuple(lot.usable_on for lot in self.lots)

    @cached_property
    def supply(self) -> tuple[int, ...]:
        """Units that have become usable with each lot, in thousandths."""
        return tuple(accumulate(lot.quantity_milli for lot in self.lots))


@dataclass(frozen=True, slots=True)
class Advance:
    """A monthly lot of a bin that may come sooner if it is expedited.

    Units drawn this way are the lot's own (the month's cap is shared), only usable from `usable`.
    """

    bin: Bin
    event: int
    """index of the lot in its bin"""
    usable: int
    arrives_on: date
    source: Source

    @property
    def limit_milli(self) -> int:
        return self.bin.lots[self.event].quantity_milli


def due_day(problem: Problem, purchase: Purchase) -> date:
    """Day an open purchase is counted on: its due date, or `overdue_days` from now if that is
    past (contract rule 4b)."""
    if purchase.due < problem.as_of:
        return problem.as_of + timedelta(problem.settings.overdue_days)
    return purchase.due


def month_of(day: date) -> str:
    return day.isoformat()[:7]


def months_from(day: date, last: date) -> Iterable[date]:
    """The day itself, then the first of every later month up to `last`."""
    while day <= last:
        yield day
        day = (day.replace(day=1) + timedelta(32)).replace(day=1)


class Supplies:
    """Every bin, expedited bin and route of a problem, made once and found by key."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self._open_in_month: defaultdict[tuple[str, str, str], int] = defaultdict(int)
        purchases: defaultdict[tuple[str, str], list[Purchase]] = defaultdict(list)
        for purchase in problem.dataset.purchases:
            purchases[purchase.part, purchase.point].append(purchase)
            month = month_of(due_day(problem, purchase))
            self._open_in_month[purchase.part, purchase.supplier, month] += purchase.quantity_milli
        self._purchases = purchases
        self._stock = {(row.point, row.part): row for row in problem.dataset.stock}
        self._sources: defaultdict[tuple[str, str], list[Source]] = defaultdict(list)
        capped: defaultdict[tuple[str, str], list[Source]] = defaultdict(list)
        for source in sorted(
            problem.dataset.sources, key=lambda r: (r.part, r.rank, r.supplier, r.point)
        ):
            self._sources[source.part, source.point].append(source)
            if source.monthly_cap_milli is not None:
                capped[source.part, source.supplier].append(source)
        self._cap_holder = {key: self._holder(rows) for key, rows in capped.items()}
        self.bins: list[Bin] = []
        self._bins: dict[tuple[str, str], Bin] = {}
        self._expedited: dict[tuple[str, str], tuple[Bin, ...]] = {}
        routes = find_routes(problem)
        self.routes = routes.kept
        self.undercut = routes.undercut
        into: defaultdict[str, list[Route]] = defaultdict(list)
        for route in self.routes:
            into[route.destination].append(route)
        self.routes_into = dict(into)

    def _holder(self, rows: list[Source]) -> str:
        """The point to which a supplier's monthly cap goes, where he could deliver to several.

        A cap is shared by all points. Sharing it out move by move would couple all of them, so it
        goes whole to one point: the one that assembles most builds, then the best ranked.
        """
        assembling: defaultdict[str, int] = defaultdict(int)
        for build in self.problem.builds:
            assembling[build.point] += 1
        return min(rows, key=lambda r: (-assembling[r.point], r.rank, r.point)).point

    def bin(self, part: str, point: str) -> Bin:
        """The bin of a part at a point, empty where nothing ever comes."""
        key = (part, point)
        if key not in self._bins:
            lots = sorted(
                self._shelf_lots(part, point) + self._new_lots(part, point),
                key=lambda lot: lot.usable,
            )
            self._bins[key] = self._register(part, point, lots)
        return self._bins[key]

    def expedited(self, part: str, point: str) -> tuple[Bin, ...]:
        """One bin of expedited purchases for every source that offers it.

        For a capped source only the months before its first unhurried arrival stand here; that
        month itself may be advanced (`advances`), later ones come unhurried all the same.
        """
        key = (part, point)
        if key not in self._expedited:
            self._expedited[key] = tuple(
                self._register(part, point, lots)
                for source in self._sources.get(key, ())
                if (lots := self._hurried_lots(source))
            )
        return self._expedited[key]

    def advances(self, part: str, point: str) -> tuple[Advance, ...]:
        """Expedited forms of the month in which a capped source first delivers unhurried."""
        axis = self.problem.axes[point]
        own = self.bin(part, point)
        found = []
        for event, lot in enumerate(own.lots):
            source = lot.source
            if source is None or source.monthly_cap_milli is None or not source.expedite_days:
                continue
            hurried = self._first_hurried(source)
            assert lot.arrives_on is not None
            arrives = max(hurried, lot.arrives_on.replace(day=1))
            if arrives < lot.arrives_on and axis.opening(arrives) < lot.usable:
                found.append(Advance(own, event, axis.opening(arrives), arrives, source))
        return tuple(found)

    def _first_hurried(self, source: Source) -> date:
        days = max(0, source.lead_days - (source.expedite_days or 0))
        return self.problem.as_of + timedelta(days)

    def _register(self, part: str, point: str, lots: list[Lot]) -> Bin:
        made = Bin(len(self.bins), part, point, tuple(lots))
        self.bins.append(made)
        return made

    def _lot(self, kind: SupplyKind, part: str, point: str, day: date, milli: int) -> Lot:
        axis = self.problem.axes[point]
        return Lot(kind, part, point, axis.next_open_day(day), axis.opening(day), milli)

    def _shelf_lots(self, part: str, point: str) -> list[Lot]:
        """Stock on hand less held, and open purchases."""
        lots = []
        as_of = self.problem.as_of
        row = self._stock.get((point, part))
        if row is not None and row.quantity_milli > row.held_milli:
            usable = row.quantity_milli - row.held_milli
            lots.append(self._lot(SupplyKind.STOCK, part, point, as_of, usable))
        axis = self.problem.axes[point]
        for purchase in sorted(
            self._purchases.get((part, point), ()), key=lambda r: (r.due, r.order, r.line)
        ):
            day = due_day(self.problem, purchase)
            lots.append(
                Lot(
                    SupplyKind.PURCHASE,
                    part,
                    point,
                    axis.next_open_day(day),
                    axis.opening(day),
                    purchase.quantity_milli,
                    purchase=purchase,
                )
            )
        return lots

    def _month_capacity(self, source: Source, day: date) -> int:
        """Most units a source can deliver in the month of a day, in whole orders."""
        if source.monthly_cap_milli is None:
            return UNLIMITED_MILLI
        left = source.monthly_cap_milli
        left -= self._open_in_month[source.part, source.supplier, month_of(day)]
        if source.multiple_milli:
            left -= left % source.multiple_milli
        return left if left > 0 and left >= source.minimum_milli else 0

    def _source_lots(self, source: Source, days: Iterable[date], expedited: bool) -> list[Lot]:
        axis = self.problem.axes[source.point]
        return [
            Lot(
                SupplyKind.NEW_PURCHASE,
                source.part,
                source.point,
                axis.next_open_day(day),
                axis.opening(day),
                capacity,
                source=source,
                arrives_on=day,
                expedited=expedited,
            )
            for day in days
            if (capacity := self._month_capacity(source, day)) > 0
        ]

    def _holds_cap(self, source: Source) -> bool:
        return (
            source.monthly_cap_milli is None
            or self._cap_holder[source.part, source.supplier] == source.point
        )

    def _new_lots(self, part: str, point: str) -> list[Lot]:
        """New purchases that cost nothing extra: one lot for each source, and month if capped."""
        lots = []
        last = self.problem.axes[point].open_days[-1]
        for source in self._sources.get((part, point), ()):
            first = self.problem.as_of + timedelta(source.lead_days)
            if not self._holds_cap(source) or first > last:
                continue
            days = [first] if source.monthly_cap_milli is None else months_from(first, last)
            lots.extend(self._source_lots(source, days, expedited=False))
        return lots

    def _hurried_lots(self, source: Source) -> list[Lot]:
        if not source.expedite_days or not self._holds_cap(source):
            return []
        unhurried = self.problem.as_of + timedelta(source.lead_days)
        first = self._first_hurried(source)
        if source.monthly_cap_milli is None:
            return self._source_lots(source, [first], expedited=True)
        days = [
            day for day in months_from(first, unhurried) if month_of(day) != month_of(unhurried)
        ]
        return self._source_lots(source, days, expedited=True)

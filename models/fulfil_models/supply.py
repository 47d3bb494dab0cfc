"""Where can units come from, and when are they usable? (contract rule 4)

A `Bin` is all supply of one part at one point in order of the day it is usable: stock, open
purchases and new purchases that cost nothing extra. Expedited purchases stand apart, since they
cost. What brings units from one point to another is in `routes`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from itertools import accumulate

from fulfil_models.months import month_of
from fulfil_models.plan import SupplyKind
from fulfil_models.problem import Problem
from fulfil_models.routes import Route, Routes, find_routes
from fulfil_models.shared_cap import (
    first_hurried,
    hurried_days,
    share_caps,
    unhurried_days,
)
from fulfil_models.source_terms import first_arrival, whole_orders
from fulfil_models.tables import Purchase, Source
from fulfil_models.taken import purchase_key, stock_key

__all__ = [
    "UNLIMITED_MILLI",
    "Advance",
    "Bin",
    "Lot",
    "Route",
    "SharedMonth",
    "Supplies",
]

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


@dataclass(frozen=True, slots=True)
class SharedMonth:
    """A month in which several points share what a supplier lets go of a part.

    `left_milli` is what new orders of all of them may bring, if open purchases bring the rest.
    """

    part: str
    supplier: str
    month: str
    left_milli: int


class Supplies:
    """Every bin, expedited bin and route of a problem, made once and found by key."""

    def __init__(self, problem: Problem, routes: Routes | None = None) -> None:
        """`routes` are those of the problem where they are known, or they are found."""
        self.problem = problem
        self._open_in_month: defaultdict[tuple[str, str, str], int] = defaultdict(int)
        purchases: defaultdict[tuple[str, str], list[Purchase]] = defaultdict(list)
        for purchase in problem.dataset.purchases:
            purchases[purchase.part, purchase.point].append(purchase)
            month = month_of(problem.settings.counted_on(purchase.due))
            self._open_in_month[purchase.part, purchase.supplier, month] += purchase.quantity_milli
        self._purchases = purchases
        self._stock = {(row.point, row.part): row for row in problem.dataset.stock}
        self.found_routes = routes or find_routes(problem)
        self.routes = self.found_routes.kept
        self.undercut = self.found_routes.undercut
        self.shared = share_caps(problem, self.routes, self._open_in_month)
        """monthly caps over several points, by part and supplier"""
        self._sources: defaultdict[tuple[str, str], list[Source]] = defaultdict(list)
        for source in sorted(
            problem.dataset.sources, key=lambda r: (r.part, r.rank, r.supplier, r.point)
        ):
            shared = self.shared.get((source.part, source.supplier))
            own = source if shared is None else shared.source(source)
            self._sources[source.part, source.point].append(own)
        self.bins: list[Bin] = []
        self._bins: dict[tuple[str, str], Bin] = {}
        self._expedited: dict[tuple[str, str], tuple[Bin, ...]] = {}
        into: defaultdict[str, list[Route]] = defaultdict(list)
        for route in self.routes:
            into[route.destination].append(route)
        self.routes_into = dict(into)

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
            hurried = first_hurried(self.problem, source)
            assert lot.arrives_on is not None
            arrives = max(hurried, lot.arrives_on.replace(day=1))
            if arrives < lot.arrives_on and axis.opening(arrives) < lot.usable:
                found.append(Advance(own, event, axis.opening(arrives), arrives, source))
        return tuple(found)

    def most_milli(self, lot: Lot) -> int:
        """Most units that a lot could have, were all of a cap for its point alone.

        What a point shares with others is dealt out beforehand; a bound must hold for every
        other way of sharing it.
        """
        source = self._sharing(lot)
        if source is None:
            return lot.quantity_milli
        if source.monthly_cap_milli is None:
            return UNLIMITED_MILLI
        assert lot.arrives_on is not None
        return self._capped_milli(source, lot.arrives_on)

    def shared_month(self, lot: Lot) -> SharedMonth | None:
        """The month whose cap a lot shares with other points; None if it is its own."""
        source = self._sharing(lot)
        if source is None or source.monthly_cap_milli is None:
            return None
        assert lot.arrives_on is not None
        key = (lot.part, source.supplier, month_of(lot.arrives_on))
        most = self.shared[lot.part, source.supplier].highest_milli
        return SharedMonth(*key, max(0, most - self._open_in_month.get(key, 0)))

    def _sharing(self, lot: Lot) -> Source | None:
        """The source of a lot whose cap is shared with other points, as the data set has it."""
        if lot.source is None:
            return None
        shared = self.shared.get((lot.part, lot.source.supplier))
        return None if shared is None else shared.sources.get(lot.point)

    def _register(self, part: str, point: str, lots: list[Lot]) -> Bin:
        made = Bin(len(self.bins), part, point, tuple(lots))
        self.bins.append(made)
        return made

    def _lot(self, kind: SupplyKind, part: str, point: str, day: date, milli: int) -> Lot:
        axis = self.problem.axes[point]
        return Lot(kind, part, point, axis.next_open_day(day), axis.opening(day), milli)

    def _shelf_lots(self, part: str, point: str) -> list[Lot]:
        """Stock on hand less held, and open purchases, less what others have taken of them."""
        lots = []
        as_of = self.problem.as_of
        row = self._stock.get((point, part))
        taken = self.problem.taken.lots_milli
        if row is not None:
            usable = row.quantity_milli - row.held_milli - taken.get(stock_key(point, part), 0)
            if usable > 0:
                lots.append(self._lot(SupplyKind.STOCK, part, point, as_of, usable))
        axis = self.problem.axes[point]
        for purchase in sorted(
            self._purchases.get((part, point), ()), key=lambda r: (r.due, r.order, r.line)
        ):
            left = purchase.quantity_milli
            left -= taken.get(purchase_key(purchase.order, purchase.line), 0)
            if left <= 0:
                continue
            day = self.problem.settings.counted_on(purchase.due)
            lots.append(
                Lot(
                    SupplyKind.PURCHASE,
                    part,
                    point,
                    axis.next_open_day(day),
                    axis.opening(day),
                    left,
                    purchase=purchase,
                )
            )
        return lots

    def _month_capacity(self, source: Source, day: date) -> int:
        """Most units a source can deliver in the month of a day, in whole orders."""
        if source.monthly_cap_milli is None:
            return UNLIMITED_MILLI
        shared = self.shared.get((source.part, source.supplier))
        if shared is not None:
            return shared.shares.get((month_of(day), source.point), 0)
        return self._capped_milli(source, day)

    def _capped_milli(self, source: Source, day: date) -> int:
        """What the cap of a source leaves of the month of a day, in whole orders."""
        assert source.monthly_cap_milli is not None
        taken = self._open_in_month.get((source.part, source.supplier, month_of(day)), 0)
        return whole_orders(source, source.monthly_cap_milli - taken)

    def _source_lots(self, source: Source, days: Iterable[date], expedited: bool) -> list[Lot]:
        """A lot for each day. One with a share of nothing stays: others may leave it something,
        which the allocation model weighs."""
        axis = self.problem.axes[source.point]
        lots = [
            Lot(
                SupplyKind.NEW_PURCHASE,
                source.part,
                source.point,
                axis.next_open_day(day),
                axis.opening(day),
                self._month_capacity(source, day),
                source=source,
                arrives_on=day,
                expedited=expedited,
            )
            for day in days
        ]
        return [lot for lot in lots if self.most_milli(lot) > 0]

    def _new_lots(self, part: str, point: str) -> list[Lot]:
        """New purchases that cost nothing extra: one lot for each source, and month if capped."""
        lots = []
        last = self.problem.axes[point].open_days[-1]
        for source in self._sources.get((part, point), ()):
            first = first_arrival(self.problem.settings, source)
            if first > last:
                continue
            capped = source.monthly_cap_milli is not None
            days = unhurried_days(self.problem, source) if capped else [first]
            lots.extend(self._source_lots(source, days, expedited=False))
        return lots

    def _hurried_lots(self, source: Source) -> list[Lot]:
        if not source.expedite_days:
            return []
        last = self.problem.axes[source.point].open_days[-1]
        capped = source.monthly_cap_milli is not None
        first = [first_hurried(self.problem, source)]
        days = hurried_days(self.problem, source) if capped else first
        return self._source_lots(source, [day for day in days if day <= last], expedited=True)

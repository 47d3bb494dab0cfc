"""Which orders, from whom and of which size, bring what is wanted in each month at the least cost?

A period is a calendar month, as caps and budgets are. An order stands in the month in which it is
due; a want in that of the day by which an order for it is to be due: its day less what the record
adds to the stated lead time. In the month in which a source can deliver for the first time the day
counts, too: what is wanted before it comes from sources that are faster, as far as they bring it
and whatever they ask, since nothing comes later than it can; the rest of the month is free for it.
"""

from __future__ import annotations

import threading
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property

from fulfil_models.buying_needs import Want, Why, usable_sources
from fulfil_models.buying_prices import Prices
from fulfil_models.buying_safety import lead_days
from fulfil_models.cells import MILLI, PPM
from fulfil_models.leadtimes import LeadTime
from fulfil_models.lot_sizes import LotOffer, LotPlan, PartLots, plan_lots
from fulfil_models.months import first_day, last_day, month_of, next_month
from fulfil_models.plan import Plan, Supply, SupplyKind
from fulfil_models.problem import Problem
from fulfil_models.source_terms import first_arrival, whole_orders
from fulfil_models.tables import Part, Source
from fulfil_models.taken import with_orders

Key = tuple[str, str]
"""part and point"""
MONTHS_A_YEAR = 12
MONTH_DAYS = 30
WAITS_TIMES, FIRM_TIMES = 3, 20
"""how many times its cost a unit costs that waits a month for cash, and that times what is firm"""


@dataclass(frozen=True, slots=True)
class Ordered:
    """One order to place.

    Attributes
    ----------
    first, last: the days on or between which it is to be due, where its month counts.
    in_month: whether it does: for a cap or for a budget.
    arrives: of an order that the plan expedites the day it comes; None for the others.
    """

    source: Source
    milli: int
    first: date
    last: date
    in_month: bool
    arrives: date | None = None


@dataclass(frozen=True, slots=True)
class Orders:
    """All orders, by part and point, and what they cost.

    Attributes
    ----------
    for_cash: by part and point, the months at whose end something waits that more cash could have
        brought.
    early_for_cash: those in which more cash could have brought something sooner, though it comes.
    """

    by_key: Mapping[Key, tuple[Ordered, ...]]
    lots: LotPlan
    for_cash: Mapping[Key, frozenset[str]]
    early_for_cash: Mapping[Key, frozenset[str]]


@dataclass(frozen=True)
class Buyer:
    """Terms of all sources of what is wanted, and the months in which they deliver."""

    problem: Problem
    plan: Plan
    leads: Mapping[Key, LeadTime]
    wants: Mapping[Key, tuple[Want, ...]]
    homes: Mapping[str, str]
    least_months: int
    budget_micro: int | None = None

    @cached_property
    def sources(self) -> dict[Key, list[Source]]:
        return usable_sources(self.problem)

    @cached_property
    def months(self) -> tuple[str, ...]:
        """From that of the planning date to the last in which anything is wanted, or to the first
        in which it can come in any number."""
        days = [want.day for rows in self.wants.values() for want in rows]
        days += [self._comes(self.sources[key]) for key in self.wants]
        return _months(self.problem.as_of, self.least_months, max(days, default=date.min))

    @cached_property
    def prices(self) -> Prices:
        return Prices(self.problem)

    @cached_property
    def hurried(self) -> dict[Key, tuple[Ordered, ...]]:
        """Orders of the plan that it expedites, as far as anything of them is still wanted."""
        supplies = {row.supply: row for row in self.plan.supplies}
        return {key: self._hurried(key, supplies) for key in self.wants}

    @cached_property
    def _open(self) -> defaultdict[Key, Counter[str]]:
        """By part and supplier: what open purchases, and those that quotes hold, bring in each
        month."""
        found: defaultdict[Key, Counter[str]] = defaultdict(Counter)
        for row in with_orders(self.problem.dataset, self.problem.taken).purchases:
            month = month_of(self.problem.settings.counted_on(row.due))
            found[row.part, row.supplier][month] += row.quantity_milli
        return found

    # ---- days

    def buffer(self, source: Source) -> int:
        """Days that the record adds to the stated lead time, for 90 of 100 deliveries."""
        lead = self.leads.get((source.part, source.supplier))
        return max(0, lead_days(source, lead)[1] - source.lead_days)

    def due_by(self, key: Key, day: date) -> date:
        """Day by which an order for what is wanted on a day is to be due, never before the planning
        date."""
        least = min(self.buffer(source) for source in self.sources[key])
        return max(self.problem.as_of, day - timedelta(least))

    def soonest(self, source: Source) -> date:
        return first_arrival(self.problem.settings, source)

    def _comes(self, sources: Sequence[Source]) -> date:
        """First day on which any number can come, or where all have a cap, one order at least."""
        free = [self.soonest(row) for row in sources if row.monthly_cap_milli is None]
        return min(free) if free else min(map(self._comes_capped, sources))

    def _comes_capped(self, source: Source) -> date:
        """First day on which an order fits under the cap, beside what is on order."""
        day, gone = self.soonest(source), self._open[source.part, source.supplier]
        while not whole_orders(source, (source.monthly_cap_milli or 0) - gone[month_of(day)]):
            day = next_month(day)
        return day

    def _period(self, day: date) -> int:
        first = self.problem.as_of
        return (day.year - first.year) * MONTHS_A_YEAR + day.month - first.month

    # ---- what the plan expedites

    def _hurried(self, key: Key, supplies: Mapping[str, Supply]) -> tuple[Ordered, ...]:
        wanted: Counter[str] = Counter()
        for want in self.wants[key]:
            if want.hurried is not None:
                wanted[want.hurried] += want.milli
        found = []
        for name, milli in sorted(wanted.items()):
            supply = supplies[name]
            source = next(
                (row for row in self.sources[key] if row.supplier == supply.supplier), None
            )
            if source is None or supply.arrives_on is None:
                continue
            # the data may let orders be placed only later, since the plan was made
            if supply.arrives_on >= first_arrival(self.problem.settings, source, expedited=True):
                whole = whole_order(source, self.problem.parts[key[0]], milli)
                day = supply.arrives_on
                found.append(Ordered(source, whole, day, day, True, arrives=day))
        return tuple(found)

    # ---- lots

    def orders(self, *, gap: float, seconds: float, stop: threading.Event | None = None) -> Orders:
        """Orders of the least cost. `gap`, `seconds` and `stop` as in `plan_lots`."""
        lots: list[PartLots] = []
        keys: dict[str, Key] = {}
        for key in self.wants:
            row = self._lots(key, _free_name(key, keys))
            keys[row.part] = key
            lots.append(row)
        plan = plan_lots(lots, cash_micro=self._cash(), gap=gap, seconds=seconds, stop=stop)
        found = {key: list(rows) for key, rows in self.hurried.items()}
        sources = {(key, row.supplier): row for key, rows in self.sources.items() for row in rows}
        for order in plan.orders:
            key = keys[order.part]
            source = sources[key, order.offer]
            month = self.months[order.period]
            found[key].append(
                Ordered(
                    source,
                    order.milli,
                    max(first_day(month), self.soonest(source)),
                    last_day(month),
                    source.monthly_cap_milli is not None or self.budget_micro is not None,
                )
            )
        for_cash: defaultdict[Key, set[str]] = defaultdict(set)
        early: defaultdict[Key, set[str]] = defaultdict(set)
        for short in plan.shortfalls if self.budget_micro is not None else ():
            if short.for_cash_milli:
                for_cash[keys[short.part]].add(self.months[short.period])
            if short.early_milli:
                early[keys[short.part]].add(self.months[short.period])
        return Orders(
            {key: tuple(rows) for key, rows in found.items()},
            plan,
            {key: frozenset(for_cash[key]) for key in found},
            {key: frozenset(early[key]) for key in found},
        )

    def _lots(self, key: Key, name: str) -> PartLots:
        needs = [0] * len(self.months)
        firm = [0] * len(self.months)
        open_ones: list[tuple[int, date, int]] = []
        left = sum(row.milli for row in self.hurried[key])
        for want in sorted(self.wants[key], key=lambda w: (w.hurried is None, w.day)):
            took = min(left, want.milli)
            left -= took
            period = self._period(self.due_by(key, want.day))
            needs[period] += want.milli - took
            firm[period] += want.milli - took if want.why is Why.FIRM else 0
            open_ones.append((period, want.day, want.milli - took))
        part = self.problem.parts[key[0]]
        price = max(map(self.prices.counted, self.sources[key]))
        share_ppm = self.problem.settings.holding_share_ppm
        lots = PartLots(
            part=name,
            needs_milli=tuple(needs),
            offers=tuple(self._offer(key, source, open_ones) for source in self.sources[key]),
            holding_micro=price * share_ppm // (PPM * MONTHS_A_YEAR),
            step_milli=part.step_milli,
        )
        return lots if self.budget_micro is None else self._waiting(key, lots, tuple(firm))

    def _waiting(self, key: Key, lots: PartLots, firm: tuple[int, ...]) -> PartLots:
        """With what decides who gets the cash of a month: the price of what waits for it.

        Of a unit that is only expected it goes by what a unit costs, so that none goes before
        another for being cheap. Of one that is firm it is the lateness of who takes it, an order
        taking as much as firm ones do on average, and in any case much more. A month in which
        anything waits costs as much as the smallest order does besides, so that nothing waits only
        to save one.
        """
        sources = self.sources[key]
        step = self.problem.parts[key[0]].step_milli
        least = min(max(row.minimum_milli, row.multiple_milli, step) for row in sources)
        each_order = self.problem.settings.order_cost_micro * MILLI // least
        price = max(map(self.prices.counted, sources))
        expected = WAITS_TIMES * (price + each_order + 1)
        rows = [want.milli for want in self.wants[key] if want.why is Why.FIRM]
        late = self.problem.settings.late_day_cost_micro * MONTH_DAYS * MILLI * len(rows)
        return replace(
            lots,
            short_micro=expected,
            short_fixed_micro=max(_smallest_order_micro(offer, lots) for offer in lots.offers),
            firm_milli=firm,
            short_firm_micro=max(FIRM_TIMES * expected, late // max(sum(rows), 1)) - expected,
        )

    def _offer(
        self, key: Key, source: Source, open_ones: Iterable[tuple[int, date, int]]
    ) -> LotOffer:
        """Terms of a source; within the month in which it can deliver for the first time, what is
        wanted before that day is for others that are faster, as far as they bring it.

        Parameters
        ----------
        open_ones: month, day and thousandths of what is wanted of it.
        """
        soonest = self.soonest(source)
        first = self._period(soonest)
        return LotOffer(
            offer=source.supplier,
            price_micro=self.prices.counted(source),
            ordering_micro=self.problem.settings.order_cost_micro,
            first_period=first,
            first_day=soonest.day - 1,
            early_milli=sum(m for t, day, m in open_ones if t == first and day < soonest),
            minimum_milli=source.minimum_milli,
            multiple_milli=source.multiple_milli,
            caps_milli=self._caps(key, source),
            breaks=self.prices.steps(source),
        )

    def _caps(self, key: Key, source: Source) -> tuple[int | None, ...]:
        cap = source.monthly_cap_milli
        if cap is None:
            return ()
        gone = self._gone(key, source)
        return tuple(max(0, cap - gone[month]) for month in self.months)

    def cap_milli(self, key: Key, source: Source, day: date) -> int | None:
        """What a source may bring in the month of a day by new orders that the plan does not
        expedite; None = any number."""
        caps = self._caps(key, source)
        return caps[self._period(day)] if caps else None

    def _gone(self, key: Key, source: Source) -> Counter[str]:
        """By month: what of a cap is not for new orders of this point that nobody expedites.

        Where a cap is one for several points, each of the others keeps what the plan has for it;
        what is expected is bought for the point that takes the most.
        """
        offer = source.part, source.supplier
        gone = Counter(self._open[offer])
        for (part, _), orders in self.hurried.items():
            for order in orders if part == key[0] else ():
                if order.source.supplier == source.supplier:
                    gone[month_of(order.first)] += order.milli
        points = [
            row.point
            for (part, _), rows in self.sources.items()
            if part == key[0]
            for row in rows
            if row.supplier == source.supplier and (part, row.point) in self.wants
        ]
        if len(points) > 1:
            self._share(key, source, points, gone)
        return gone

    def _share(self, key: Key, source: Source, points: list[str], gone: Counter[str]) -> None:
        home = self.homes.get(key[0])
        shares = self._planned((source.part, source.supplier))
        if key[1] == (home if home in points else points[0]):
            for point in points:
                if point != key[1]:
                    gone.update(shares[point])
            return
        for month in self.months:
            gone[month] = max(gone[month], (source.monthly_cap_milli or 0) - shares[key[1]][month])

    def _planned(self, offer: Key) -> defaultdict[str, Counter[str]]:
        """By point: what orders of the plan bring it of a part from a supplier in each month."""
        found: defaultdict[str, Counter[str]] = defaultdict(Counter)
        for row in self.plan.supplies:
            if (
                row.kind is SupplyKind.NEW_PURCHASE
                and (row.part, row.supplier) == offer
                and not row.expedited
                and row.arrives_on is not None
            ):
                found[row.point][month_of(row.arrives_on)] += row.quantity_milli
        return found

    def _cash(self) -> list[int] | None:
        """The budget of each month less what is expedited in it."""
        if self.budget_micro is None:
            return None
        cash = [self.budget_micro] * len(self.months)
        for orders in self.hurried.values():
            for order in orders:
                paid = self.prices.paid_micro(order.source, order.milli, expedited=True)
                period = self._period(order.first)
                cash[period] = max(0, cash[period] - paid)
        return cash


def whole_order(source: Source, part: Part, milli: int) -> int:
    """The smallest order of a source that brings so many thousandths."""
    multiple = source.multiple_milli or part.step_milli
    return -(-max(milli, source.minimum_milli) // multiple) * multiple


def _smallest_order_micro(offer: LotOffer, lots: PartLots) -> int:
    """What the smallest order of an offer costs, kept to the end, at the most."""
    price = max(offer.price_micro, *(row[1] for row in offer.breaks), 0)
    kept = lots.holding_micro * len(lots.needs_milli)
    least = offer.least_milli(lots.step_milli)
    return offer.ordering_micro + -(-(price + kept) * least // MILLI)


def _free_name(key: Key, names: Mapping[str, Key]) -> str:
    """The part, or where it is bought for several points, the part and the point."""
    name = key[0] if key[0] not in names else f"{key[0]} for {key[1]}"
    while name in names:
        name += "'"
    return name


def _months(as_of: date, least: int, last: date) -> tuple[str, ...]:
    """Months from that of a day on: so many at least, and that of the last day."""
    months: list[str] = []
    day = as_of.replace(day=1)
    while len(months) < least or month_of(day) <= month_of(last):
        months.append(month_of(day))
        day = next_month(day)
    return tuple(months)

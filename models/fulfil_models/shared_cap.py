"""How is the monthly cap of a supplier who delivers a part to several points shared between them?

The cap is one for all points (contract rule 4c). The search looks at every point by itself, so what
the supplier lets go each month is dealt out beforehand: in the order in which builds and lines of
parts orders that may call for the part fall due, each for the point that would supply it, in whole
orders. What a point is short of in one month, since its orders are too large, it gets in a later
one. When all are served, the same order is gone through anew.

First come wishes that only a purchase can fill; then those that the shelf covers and those that
call for another part, for which this one may stand in.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from fractions import Fraction
from math import gcd

from fulfil_models.cells import MILLI
from fulfil_models.months import month_of, months_from
from fulfil_models.problem import Problem
from fulfil_models.routes import Route
from fulfil_models.source_terms import can_order, first_arrival, order_for, whole_orders
from fulfil_models.tables import Source
from fulfil_models.taken import purchase_key, stock_key
from fulfil_models.wishes import Wish, wishes_for

OpenInMonth = Mapping[tuple[str, str, str], int]
"""by part, supplier and month: thousandths that open purchases bring"""


# ---- days on which a source delivers


def first_hurried(problem: Problem, source: Source) -> date:
    """First day on which an expedited order of a source can arrive."""
    return first_arrival(problem.settings, source, expedited=True)


def hurried_days(problem: Problem, source: Source) -> list[date]:
    """The first day of each month in which nothing of a capped source comes unless expedited."""
    if not source.expedite_days:
        return []
    unhurried = first_arrival(problem.settings, source)
    days = months_from(first_hurried(problem, source), unhurried)
    return [day for day in days if month_of(day) != month_of(unhurried)]


def unhurried_days(problem: Problem, source: Source) -> list[date]:
    """The first day of each month on which an order of a capped source can arrive."""
    first = first_arrival(problem.settings, source)
    return list(months_from(first, problem.axes[source.point].open_days[-1]))


# ---- what is shared


@dataclass(frozen=True)
class SharedCap:
    """The cap of one part and supplier over several points.

    Attributes
    ----------
    sources: by point, as the data set has them. Where their caps differ, the least is dealt out.
    cap_milli: most thousandths in a month over all points, open purchases included.
    shares: by month and point, thousandths that new orders may bring. Within the cap in sum.
    """

    sources: Mapping[str, Source]
    cap_milli: int
    shares: Mapping[tuple[str, str], int]

    @property
    def highest_milli(self) -> int:
        """The highest cap that a point has: no plan brings more to those that have one."""
        return max(s.monthly_cap_milli or 0 for s in self.sources.values())

    def source(self, row: Source) -> Source:
        """A source of the part and supplier with the cap that is shared."""
        if row.monthly_cap_milli == self.cap_milli:
            return row
        return replace(row, monthly_cap_milli=self.cap_milli)


def share_caps(
    problem: Problem, routes: Iterable[Route], open_in_month: OpenInMonth
) -> dict[tuple[str, str], SharedCap]:
    """Every cap that several points share, by part and supplier."""
    rows: defaultdict[tuple[str, str], dict[str, Source]] = defaultdict(dict)
    for row in sorted(problem.dataset.sources, key=lambda r: (r.part, r.supplier, r.rank, r.point)):
        if can_order(row) and (unhurried_days(problem, row) or hurried_days(problem, row)):
            rows[row.part, row.supplier][row.point] = row
    groups = {
        key: sources
        for key, sources in rows.items()
        if len(sources) > 1 and any(s.monthly_cap_milli is not None for s in sources.values())
    }
    if not groups:
        return {}
    wishes = wishes_for(problem, {part for part, _ in groups})
    routes = tuple(routes)
    return {
        (part, supplier): _shared_cap(problem, sources, routes, wishes[part], open_in_month)
        for (part, supplier), sources in groups.items()
    }


def _shared_cap(
    problem: Problem,
    sources: dict[str, Source],
    routes: tuple[Route, ...],
    wishes: list[Wish],
    open_in_month: OpenInMonth,
) -> SharedCap:
    cap = min(s.monthly_cap_milli for s in sources.values() if s.monthly_cap_milli is not None)
    able = {point: row for point, row in sources.items() if whole_orders(row, cap)}
    months: defaultdict[str, set[str]] = defaultdict(set)
    for point, row in able.items():
        for day in hurried_days(problem, row) + unhurried_days(problem, row):
            months[month_of(day)].add(point)
    claims = _claims(problem, able, routes, wishes)
    dealer = Dealer(able, problem.parts[next(iter(sources.values())).part].step_milli, claims)
    shares: dict[tuple[str, str], int] = {}
    for month, points in sorted(months.items()):
        row = next(iter(able.values()))
        left = cap - open_in_month.get((row.part, row.supplier, month), 0)
        for point, milli in dealer.deal(left, points).items():
            shares[month, point] = milli
    return SharedCap(sources, cap, shares)


# ---- whose turn it is


@dataclass(frozen=True, slots=True)
class Claim:
    """Units that a point should have, in their turn."""

    point: str
    quantity_milli: int


def _claims(
    problem: Problem, sources: dict[str, Source], routes: tuple[Route, ...], wishes: list[Wish]
) -> list[Claim]:
    """The wishes in the order in which they are served, each for the point that supplies it.

    Where nobody wishes for the part, all of it is for the point that is ranked first.
    """
    by_point: defaultdict[str, list[Wish]] = defaultdict(list)
    for wish in wishes:
        point = _supplying(sources, routes, wish)
        if point is not None:
            by_point[point].append(wish)
    rows: list[tuple[bool, date, Fraction, str, int]] = []
    for point, wanted in by_point.items():
        wanted.sort(key=lambda w: (w.stand_in, w.due))
        covered = _on_the_shelf(problem, sources[point].part, point)
        total = sum(wish.quantity_milli for wish in wanted)
        before = 0
        for wish in wanted:
            # of wishes due on one day, every point's come in turn
            share = Fraction(before, total)
            from_shelf = 0 if wish.stand_in else min(covered, wish.quantity_milli)
            covered -= from_shelf
            for later, milli in (
                (wish.stand_in, wish.quantity_milli - from_shelf),
                (True, from_shelf),
            ):
                if milli:
                    rows.append((later, wish.due, share, point, milli))
            before += wish.quantity_milli
    if rows:
        return [Claim(point, milli) for _, _, _, point, milli in sorted(rows)]
    first = min(sources.values(), key=lambda row: (row.rank, row.point), default=None)
    return [] if first is None else [Claim(first.point, MILLI)]


def _on_the_shelf(problem: Problem, part: str, point: str) -> int:
    """Thousandths of a part that are, or are on order to be, at a point and nobody else has."""
    data, taken = problem.dataset, problem.taken.lots_milli
    stock = sum(
        max(0, row.quantity_milli - row.held_milli - taken.get(stock_key(point, part), 0))
        for row in data.stock
        if (row.part, row.point) == (part, point)
    )
    return stock + sum(
        max(0, row.quantity_milli - taken.get(purchase_key(row.order, row.line), 0))
        for row in data.purchases
        if (row.part, row.point) == (part, point)
    )


def _supplying(sources: dict[str, Source], routes: tuple[Route, ...], wish: Wish) -> str | None:
    """The point whose orders are there soonest for a wish: one at which the units can be used,
    else one from which they can be moved there. None if there is none."""
    direct = [
        (sources[point].lead_days + days, sources[point].rank, point)
        for point, days in wish.places
        if point in sources
    ]
    if direct:
        return min(direct)[-1]
    to = dict(wish.places)
    moved = [
        (
            sources[route.origin].lead_days
            + sum(lane.days for lane in route.legs)
            + to[route.destination],
            sources[route.origin].rank,
            route.origin,
        )
        for route in routes
        if route.origin in sources and route.destination in to
    ]
    return min(moved)[-1] if moved else None


# ---- dealing it out


@dataclass
class Dealer:
    """Deals out month after month what a supplier lets go of a part.

    Parameters
    ----------
    sources: by point, with the minimum and multiple of its orders.
    step_milli: smallest quantity of the part.
    claims: in the order in which they are served, again and again.
    """

    sources: Mapping[str, Source]
    step_milli: int
    claims: list[Claim]
    _waiting: list[Claim] = field(init=False)
    """claims of this round that are still to be served"""
    _ahead: Counter[str] = field(init=False)
    """by point: thousandths dealt beyond what was its turn"""

    def __post_init__(self) -> None:
        self._waiting = list(self.claims)
        self._ahead = Counter()

    def deal(self, left_milli: int, points: Collection[str]) -> dict[str, int]:
        """Shares of a month among the points to which the supplier delivers in it."""
        able = sorted(point for point in points if whole_orders(self.sources[point], left_milli))
        # what no order can bring is nobody's turn
        left_milli -= left_milli % gcd(*(self._unit(point) for point in able)) if able else 0
        turns = self._turns(left_milli, able)
        if not turns:
            return {}
        claiming = {claim.point for claim in self.claims}
        behind = {p: turns[p] - self._ahead[p] for p in able if p in claiming}
        dealt = self._whole_shares(left_milli, behind)
        for point in behind:
            self._ahead[point] += dealt.get(point, 0) - turns[point]
        return dealt

    def _unit(self, point: str) -> int:
        """What the orders of a point are multiples of."""
        return self.sources[point].multiple_milli or self.step_milli

    def _turns(self, left_milli: int, points: Collection[str]) -> Counter[str]:
        """By point: thousandths whose turn it is, were orders of any size."""
        turns: Counter[str] = Counter()
        own = [claim for claim in self.claims if claim.point in points]
        total = sum(claim.quantity_milli for claim in own)
        if not total or left_milli <= 0:
            return turns
        left, self._waiting = self._serve(self._waiting, left_milli, points, turns)
        rounds, left = divmod(left, total)
        for claim in own:
            turns[claim.point] += rounds * claim.quantity_milli
        if left:
            _, unserved = self._serve(own, left, points, turns)
            self._waiting += unserved
        return turns

    @staticmethod
    def _serve(
        claims: list[Claim], left: int, points: Collection[str], turns: Counter[str]
    ) -> tuple[int, list[Claim]]:
        """What is left after claims of some points, and the claims not served."""
        unserved = []
        for claim in claims:
            served = min(left, claim.quantity_milli) if claim.point in points else 0
            turns[claim.point] += served
            left -= served
            if served < claim.quantity_milli:
                unserved.append(Claim(claim.point, claim.quantity_milli - served))
        return left, unserved

    def _whole_shares(self, left: int, behind: dict[str, int]) -> dict[str, int]:
        """What is behind, rounded down to whole orders; then the rest to who is furthest behind."""
        dealt: dict[str, int] = {}
        unit = {point: self._unit(point) for point in behind}
        least = {p: order_for(self.sources[p], 1, self.step_milli) for p in behind}
        for point in sorted(behind, key=lambda p: (-behind[p], p)):
            milli = min(left, behind[point]) // unit[point] * unit[point]
            if milli >= least[point]:
                dealt[point] = milli
                left -= milli
        while True:
            takers = [p for p in behind if (unit[p] if p in dealt else least[p]) <= left]
            if not takers:
                return dealt
            point = min(takers, key=lambda p: (dealt.get(p, 0) - behind[p], p))
            milli = left // unit[point] * unit[point] if point in dealt else least[point]
            dealt[point] = dealt.get(point, 0) + milli
            left -= milli

"""Of which parts does a supplier let too few go each month, who gets them, and who waits?

What a plan decided, read part by part and month by month. What one more unit would save is in
`one_more`, what might be cheaper than waiting in `ways_out`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction

from fulfil_models.book_entries import UNPROMISED_WEIGHT, is_promised, weight_of
from fulfil_models.calendar import Axis
from fulfil_models.cells import MICRO, PPM
from fulfil_models.held_up import held_up
from fulfil_models.months import last_day, month_of, months_from
from fulfil_models.plan import Plan, Supply, SupplyKind
from fulfil_models.plan_index import PlanIndex, Use
from fulfil_models.problem import Problem
from fulfil_models.source_terms import can_order


@dataclass(frozen=True, slots=True)
class Taker:
    """A build, or a line of a parts order, that calls for a rationed part or takes one.

    Attributes
    ----------
    called, used: the part called for, and the part it gets.
    wanted_on: the day on which it would take the units were it in time, not before the planning
        date.
    given_on: the day on which it takes them.
    supply, kind: what it draws on, moves left aside.
    comes: the month in which that arrives, as a cap counts it, though it may be usable in the next
        only; None for what is on the shelf.
    late_days: calendar days that it is late in the plan.
    waits: it is late, and waits for the part; other things may hold it as long.
    weighted_late_days: as the plan counts them: of a build late working time in standard days of
        its point, of a line late calendar days, times its weight.
    cost: of those, in the currency.
    """

    who: str
    called: str
    used: str
    quantity_milli: int
    wanted_on: date
    given_on: date
    supply: str
    kind: SupplyKind
    comes: str | None
    late_days: int
    waits: bool
    weight: Fraction
    weighted_late_days: Fraction
    cost: Fraction


@dataclass(frozen=True, slots=True)
class Month:
    """A month of a rationed part.

    Attributes
    ----------
    cap_milli: the most that its suppliers let go; None where one of them has no cap.
    open_milli, new_milli: what open purchases bring in it, and new orders of the plan.
    wanted_milli: what is wanted in it, by builds and lines that get another part included.
    given: who takes what comes in it.
    waiting: who wants units in it or before, and takes such as come later.
    """

    month: str
    cap_milli: int | None
    open_milli: int
    new_milli: int
    wanted_milli: int
    given: tuple[Taker, ...]
    waiting: tuple[Taker, ...]

    @property
    def over_cap(self) -> bool:
        """More is wanted in it than its suppliers let go."""
        return self.cap_milli is not None and self.wanted_milli > self.cap_milli


@dataclass(frozen=True, slots=True)
class Ration:
    """A part whose suppliers let only so many go each month.

    Attributes
    ----------
    suppliers: those with a cap.
    shelf_milli: on hand at all points, less held.
    from_shelf: who takes of that.
    months: from that of the planning date to the last in which anything is wanted or comes.
    stand_ins: who calls for it and gets another part.
    """

    part: str
    description: str | None
    unit: str
    suppliers: tuple[str, ...]
    shelf_milli: int
    from_shelf: tuple[Taker, ...]
    months: tuple[Month, ...]
    stand_ins: tuple[Taker, ...]

    @property
    def takers(self) -> tuple[Taker, ...]:
        """Everybody who takes units of it, from the shelf first."""
        return (*self.from_shelf, *(taker for month in self.months for taker in month.given))

    @property
    def waiting(self) -> tuple[Taker, ...]:
        """Everybody who is late and waits for it, the dearest first; each once."""
        found: dict[str, Taker] = {}
        for taker in sorted(self.takers, key=lambda row: (-row.cost, row.who, row.given_on)):
            if taker.waits:
                found.setdefault(taker.who, taker)
        return tuple(found.values())

    @property
    def cost(self) -> Fraction:
        """What all who wait for it cost by being late, in the currency."""
        return sum((taker.cost for taker in self.waiting), Fraction(0))

    @property
    def scarce(self) -> bool:
        """Somebody waits for it, or gets another part in its place."""
        return bool(self.waiting or self.stand_ins)


def capped_parts(problem: Problem) -> tuple[str, ...]:
    """Parts of which some supplier lets only so many go in a month."""
    return tuple(
        sorted({row.part for row in problem.dataset.sources if row.monthly_cap_milli is not None})
    )


def rations(problem: Problem, plan: Plan, parts: Iterable[str] | None = None) -> tuple[Ration, ...]:
    """Parts with a monthly cap, those first for which waiting costs most; all that are `scarce`,
    or those that are named."""
    reading = _Reading(problem, plan)
    named = capped_parts(problem) if parts is None else parts
    found = [reading.ration(part) for part in named]
    if parts is None:
        found = [row for row in found if row.scarce]
    return tuple(sorted(found, key=lambda row: (-row.cost, row.part)))


def weighted_late_days(problem: Problem, plan: Plan) -> Fraction:
    """Weighted late days of a whole plan, as its cost of lateness counts them (contract rules 8
    and 10)."""
    late = _Lateness(problem, PlanIndex(plan))
    names = [row.build for row in plan.builds]
    names += sorted({f"{row.order}/{row.line}" for row in plan.shipments})
    return sum((late.weight(who) * late.days(who) for who in names), Fraction(0))


class _Lateness:
    """How late everybody is in a plan, and what a day of it weighs."""

    def __init__(self, problem: Problem, index: PlanIndex) -> None:
        self.index = index
        self._problem = problem
        self._builds = {row.build: row for row in problem.dataset.builds}
        self._lines = {f"{row.order}/{row.line}": row for row in problem.dataset.parts_orders}
        self._line_days: defaultdict[str, int] = defaultdict(int)
        for row in index.plan.shipments:
            who = f"{row.order}/{row.line}"
            self._line_days[who] = max(self._line_days[who], row.late_days)

    def weight(self, who: str) -> Fraction:
        """Of a late day; of what is not promised the small one that the plan counts with."""
        row = self._builds.get(who) or self._lines.get(who)
        return UNPROMISED_WEIGHT if row is None else weight_of(row)

    def days(self, who: str) -> Fraction:
        """Late days as the plan counts them, unweighted."""
        build = self.index.builds.get(who)
        if build is None:
            return Fraction(self._line_days[who])
        return Fraction(build.late_minutes) / self._problem.axes[build.point].standard_day

    def calendar_days(self, who: str) -> int:
        """Calendar days after the promise; 0 where nothing is promised."""
        build, line = self.index.builds.get(who), self._lines.get(who)
        if build is not None:
            return build.late_days
        return self._line_days[who] if line is not None and is_promised(line) else 0


class _Reading:
    """A plan read for who takes what of which part."""

    def __init__(self, problem: Problem, plan: Plan) -> None:
        self.problem = problem
        self.index = PlanIndex(plan)
        self.lateness = _Lateness(problem, self.index)
        self._held = held_up(self.index)
        self._arrives = {
            (row.order, row.line): problem.settings.counted_on(row.due)
            for row in problem.dataset.purchases
        }
        """by order and line, of open purchases"""
        self._called: defaultdict[str, list[Use]] = defaultdict(list)
        for use in self.index.uses:
            if use.called != use.part:
                self._called[use.called].append(use)

    def ration(self, part: str) -> Ration:
        row = self.problem.parts[part]
        sources = [source for source in self.problem.dataset.sources if source.part == part]
        uses = self.index.uses_of_part.get(part, [])
        takers = [self._taker(use) for use in uses]
        stand_ins = [self._taker(use) for use in self._called[part]]
        return Ration(
            part=part,
            description=row.description,
            unit=row.unit,
            suppliers=tuple(
                sorted({s.supplier for s in sources if s.monthly_cap_milli is not None})
            ),
            shelf_milli=sum(
                stock.quantity_milli - stock.held_milli
                for stock in self.problem.dataset.stock
                if stock.part == part
            ),
            from_shelf=tuple(taker for taker in takers if taker.comes is None),
            months=self._months(part, takers, stand_ins),
            stand_ins=tuple(stand_ins),
        )

    def _taker(self, use: Use) -> Taker:
        root = self.index.root(self.index.supplies[use.supply])
        weight = self.lateness.weight(use.who)
        days = weight * self.lateness.days(use.who)
        hold = self._held.get(use.part, {}).get(use)
        waits = hold is not None and hold.late_days > 0
        return Taker(
            who=use.who,
            called=use.called,
            used=use.part,
            quantity_milli=use.quantity_milli,
            wanted_on=self._wanted_on(use),
            given_on=use.at.date(),
            supply=root.supply,
            kind=root.kind,
            comes=self._comes(root),
            late_days=self.lateness.calendar_days(use.who),
            waits=waits,
            weight=weight,
            weighted_late_days=days,
            cost=days * Fraction(self.problem.settings.late_day_cost_micro, MICRO),
        )

    def _comes(self, root: Supply) -> str | None:
        if root.kind is SupplyKind.STOCK:
            return None
        arrives_on = root.arrives_on
        if root.order is not None and root.line is not None:
            arrives_on = self._arrives.get((root.order, root.line))
        return month_of(arrives_on or root.usable.date())

    def _wanted_on(self, use: Use) -> date:
        """The day of a draw less what it is late, in time that counts."""
        as_of = self.problem.as_of
        build = None if use.build is None else self.index.builds[use.build]
        if build is None:
            days = self.lateness.calendar_days(use.who)
            return max(as_of, date.fromordinal(use.at.toordinal() - days))
        if build.promised is None:
            return use.at.date()
        return max(as_of, _before(self.problem.axes[build.point], use.at, build.late_minutes))

    def _months(self, part: str, takers: list[Taker], stand_ins: list[Taker]) -> tuple[Month, ...]:
        coming: defaultdict[str, int] = defaultdict(int)
        new: defaultdict[str, int] = defaultdict(int)
        as_of = self.problem.as_of
        for row in self.problem.dataset.purchases:
            if row.part == part:
                coming[month_of(self._arrives[row.order, row.line])] += row.quantity_milli
        for supply in self.index.plan.supplies:
            if (supply.kind, supply.part) == (SupplyKind.NEW_PURCHASE, part):
                assert supply.arrives_on is not None
                new[month_of(supply.arrives_on)] += supply.quantity_milli
        wanted: defaultdict[str, int] = defaultdict(int)
        for taker in takers:
            wanted[month_of(taker.wanted_on)] += taker.quantity_milli
        for taker in stand_ins:
            wanted[month_of(taker.wanted_on)] += self._called_milli(taker)
        cap = self._cap(part)
        comes = [taker.comes for taker in takers if taker.comes is not None]
        last = max([month_of(as_of), *coming, *new, *wanted, *comes])
        return tuple(
            Month(
                month=month,
                cap_milli=cap,
                open_milli=coming[month],
                new_milli=new[month],
                wanted_milli=wanted[month],
                given=tuple(taker for taker in takers if taker.comes == month),
                waiting=tuple(
                    taker
                    for taker in takers
                    if taker.comes is not None and month_of(taker.wanted_on) <= month < taker.comes
                ),
            )
            for month in map(month_of, months_from(as_of, last_day(last)))
        )

    def _called_milli(self, taker: Taker) -> int:
        """What was called for where another part is used, by the ratio of the two."""
        ratio_ppm = next(
            (
                row.ratio_ppm
                for row in self.problem.alternates.get(taker.called, ())
                if row.alternate == taker.used
            ),
            PPM,
        )
        return taker.quantity_milli * PPM // ratio_ppm

    def _cap(self, part: str) -> int | None:
        """What all suppliers of a part together let go in a month, those left out of whom no order
        fits their cap; None without a limit."""
        caps: dict[str, int | None] = {}
        for row in self.problem.dataset.sources:
            if row.part == part and can_order(row):
                before, cap = caps.get(row.supplier, 0), row.monthly_cap_milli
                caps[row.supplier] = None if cap is None or before is None else max(before, cap)
        found = list(caps.values())
        return None if None in found else sum(cap for cap in found if cap is not None)


def _before(axis: Axis, moment: datetime, minutes: int) -> date:
    """The day on which a moment lies that is so many working minutes sooner."""
    return axis.start_moment(max(0, axis.position(moment) - minutes)).date()

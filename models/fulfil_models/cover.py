"""How long do the parts that are there and on order last, and when is the last day to order more?

Three balances of each part, day by day: with open purchases on the days that are stated, and on
those by which 50 and 90 of 100 come by the record. New orders of the plan are not counted: nobody
has placed them. So that they do not hide what is missing, a need that the plan delays for want of
the part stands on the day on which it would have to be there for no lateness on its account.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping
from datetime import date, timedelta
from operator import itemgetter

from fulfil_models.cells import PPM, day_of
from fulfil_models.cover_caps import MostToCome
from fulfil_models.cover_days import KINDS, Course, Ints, Period, course, horizon
from fulfil_models.cover_rows import (
    ComingLine,
    Hit,
    LastOrder,
    Outlook,
    PartCover,
    PeriodCover,
    decisive,
)
from fulfil_models.demand_ahead import DemandAhead, FirmNeed
from fulfil_models.expected_days import ExpectedDays, order_days
from fulfil_models.held_up import Hold, held_up
from fulfil_models.leadtimes import LeadTime, LearntFrom
from fulfil_models.order_days import OpenDays
from fulfil_models.plan import Plan
from fulfil_models.plan_index import PlanIndex, Use
from fulfil_models.problem import Problem
from fulfil_models.source_terms import can_order
from fulfil_models.stranded import line_key
from fulfil_models.tables import Purchase, Source
from fulfil_models.taken import LotKey, Taken, purchase_key, stock_key

__all__ = [
    "ComingLine",
    "Hit",
    "LastOrder",
    "Outlook",
    "PartCover",
    "PeriodCover",
    "cover",
]

Leads = Mapping[tuple[str, str], LeadTime]
"""by part and supplier"""


def cover(
    problem: Problem,
    plan: Plan | None,
    demand: DemandAhead,
    leads: Leads,
    *,
    parts: Collection[str] | None = None,
    point: str | None = None,
    weeks: bool = False,
    with_periods: bool = True,
    index: PlanIndex | None = None,
    days: OpenDays | None = None,
) -> tuple[PartCover, ...]:
    """Every bought part that is there, on order or needed; the soonest last day to order first.

    All points together, as if moving took no time. A part that is made here and that nobody
    supplies is left out: what it is made of stands for it.

    Parameters
    ----------
    problem: what is taken beside it is not there, as what a held quote keeps.
    demand: its months are the horizon.
    leads: of the parts that are bought; where one is missing, what is stated stands.
    parts: only these, in any case; None for all that are bought.
    point: what is there, comes and is needed at this point alone. Forecast needs name no point,
        so none are counted.
    weeks: periods are weeks from Monday, not months.
    index: of the plan, if it was made already.
    """
    index = index or (None if plan is None else PlanIndex(plan))
    maker = _Maker(
        problem, demand, leads, point, index, days or OpenDays(problem.dataset, problem.as_of)
    )
    span = maker.span
    periods = (span.by_week if weeks else span.by_month) if with_periods else ()
    names = sorted(parts) if parts is not None else [p for p in maker.bought if maker.known(p)]
    return tuple(sorted((maker.part_cover(name, periods) for name in names), key=_soonest))


def _soonest(row: PartCover) -> tuple[date, date, str]:
    return (row.order_by or date.max, row.decisive.runs_out_on or date.max, row.part)


class _Kept:
    """What quotes that are held keep of stock and open purchases, and would order, by part."""

    def __init__(self, taken: Taken, point: str | None) -> None:
        self._taken = taken
        self.milli: Counter[str] = Counter()
        self.order_milli: Counter[str] = Counter()
        self.names: defaultdict[str, set[str]] = defaultdict(set)
        for row in taken.orders:
            if point in (None, row.point):
                self.order_milli[row.part] += row.quantity_milli
                self._name(row.part, purchase_key(row.order, row.line))

    def of(self, part: str, key: LotKey) -> int:
        """Of one lot."""
        milli = self._taken.lots_milli.get(key, 0)
        if milli:
            self.milli[part] += milli
            self._name(part, key)
        return milli

    def _name(self, part: str, key: LotKey) -> None:
        self.names[part] |= set(self._taken.drawers.get(key, ()))


class _Maker:
    """What all parts share, and one part from it."""

    def __init__(
        self,
        problem: Problem,
        demand: DemandAhead,
        leads: Leads,
        point: str | None,
        index: PlanIndex | None,
        days: OpenDays,
    ) -> None:
        data = problem.dataset
        self.problem, self.demand, self.leads, self.point = problem, demand, leads, point
        self.days = days
        self._expected = ExpectedDays(problem.settings, leads, days)
        places = sorted(row.point for row in data.points)
        self.span = horizon(problem.as_of, demand.months, days, places)
        self.parts = {row.part: row for row in data.parts}
        self._promises: dict[str, tuple[date | None, int]] = {
            row.build: (None if row.promised is None else day_of(row.promised), row.weight_ppm)
            for row in data.builds
        }
        for order in data.parts_orders:
            who = line_key(order.order, order.line)
            self._promises[who] = order.promised, order.weight_ppm
        self.on_hand: defaultdict[str, int] = defaultdict(int)
        self.kept = _Kept(problem.taken, point)
        for row in data.stock:
            if point in (None, row.point):
                kept_milli = self.kept.of(row.part, stock_key(row.point, row.part))
                free_milli = row.quantity_milli - row.held_milli - kept_milli
                self.on_hand[row.part] += max(free_milli, 0)
        self.sources: defaultdict[str, list[Source]] = defaultdict(list)
        self.supplied = {row.part for row in data.sources}
        for source in data.sources:
            if point in (None, source.point):
                self.sources[source.part].append(source)
        self.lines: defaultdict[str, list[ComingLine]] = defaultdict(list)
        for line in data.purchases:
            if point in (None, line.point):
                self.lines[line.part].append(self._coming(line))
        self._most = MostToCome(problem, self.span.day(self.span.count - 1), self.sources)
        self._firm: dict[str, list[tuple[date, FirmNeed]]] = {}
        self._lasts: dict[tuple[str, date], tuple[date | None, LastOrder | None]] = {}
        self._held = {} if index is None else held_up(index)
        self._index = index

    @property
    def bought(self) -> list[str]:
        return [
            row.part for row in self.parts.values() if not row.make or row.part in self.supplied
        ]

    def known(self, part: str) -> bool:
        """Whether there is anything to tell of it."""
        forecast = self.point is None and part in self.demand.forecast
        there = self.on_hand.get(part) or self.lines.get(part) or self.kept.milli[part]
        return forecast or bool(there or self.firm(part))

    # ---- what comes

    def _coming(self, row: Purchase) -> ComingLine:
        return ComingLine(
            order=row.order,
            line=row.line,
            supplier=row.supplier,
            point=row.point,
            quantity_milli=row.quantity_milli,
            kept_milli=self.kept.of(row.part, purchase_key(row.order, row.line)),
            due=row.due,
            past_due=row.due < self.problem.as_of,
            stated_on=self._expected.stated(row),
            on_50=self._expected.by_record(row, "50"),
            on_90=self._expected.by_record(row, "90"),
        )

    # ---- what is needed

    def firm(self, part: str) -> list[tuple[date, FirmNeed]]:
        """Firm needs with the day on which they are wanted, earliest first."""
        if part not in self._firm:
            late = {
                (use.who, use.at.date()): self._wanted(use, hold)
                for use, hold in self._held.get(part, {}).items()
                if hold.blamed_days > 0
            }
            rows = [
                (late.get((need.who, need.day), need.day), need)
                for need in self.demand.firm.get(part, ())
                if self.point in (None, need.point)
            ]
            self._firm[part] = sorted(rows, key=lambda row: (row[0], row[1].who))
        return self._firm[part]

    def _wanted(self, use: Use, hold: Hold) -> date:
        """The day on which a draw would have had to be possible for no lateness on its account."""
        assert self._index is not None  # it is held up in a plan
        came = min(use.at, use.usable or use.at).date()
        point = self._index.supplies[use.supply].point
        wanted = self.days.until(point, came - timedelta(hold.blamed_days))
        return max(wanted, self.problem.as_of)

    def _hits(self, part: str, outlook: Outlook) -> tuple[Hit, ...]:
        """Who is late in the plan for want of it, then whose needs it cannot fill, by promise."""
        late_days = {
            use.who: hold.blamed_days
            for use, hold in self._held.get(part, {}).items()
            if hold.blamed_days > 0
        }
        last = self.span.day(self.span.count - 1)
        if outlook.runs_out_on is None:
            begin, end = last, last
        else:
            begin = outlook.runs_out_on
            end = outlook.back_on or last + timedelta(1)
        found: dict[str, tuple[date, FirmNeed]] = {}
        quantity: Counter[str] = Counter()
        for day, need in self.firm(part):
            if need.who in found or begin <= day < end or need.who in late_days:
                found.setdefault(need.who, (day, need))
                quantity[need.who] += need.milli
        hits = []
        for who, (day, need) in found.items():
            promised, weight_ppm = self._promises.get(who, (None, PPM))
            days = late_days.get(who, 0)
            hits.append(Hit(who, need.kind, day, quantity[who], promised, days, days * weight_ppm))
        return tuple(sorted(hits, key=lambda h: (-h.harm_ppm, h.promised or date.max, h.who)))

    # ---- one part

    def part_cover(self, part: str, periods: tuple[Period, ...]) -> PartCover:
        row = self.parts[part]
        lines = sorted(
            self.lines.get(part, ()), key=lambda line: (line.stated_on, line.order, line.line)
        )
        forecast: Counter[str] = Counter()
        how: set[str] = set()
        for need in () if self.point is not None else self.demand.forecast.get(part, ()):
            forecast[need.month] += need.milli
            how.add(need.how)
        run = course(
            self.span,
            self.on_hand.get(part, 0),
            [(day, need.milli) for day, need in self.firm(part)],
            forecast,
            [(line.free_milli, (line.stated_on, line.on_50, line.on_90)) for line in lines],
        )
        stated = learnt_50 = learnt_90 = self._outlook(part, run, 0)
        if lines:  # without any, it is all one on which days they come
            learnt_50, learnt_90 = self._outlook(part, run, 1), self._outlook(part, run, 2)
        worst = decisive(stated, learnt_50, learnt_90)
        return PartCover(
            part=part,
            description=row.description,
            family=row.family,
            unit=row.unit,
            on_hand_milli=run.on_hand_milli,
            on_order_milli=sum(line.free_milli for line in lines),
            kept_milli=self.kept.milli[part],
            kept_order_milli=self.kept.order_milli[part],
            kept_for=tuple(sorted(self.kept.names[part])),
            firm_milli=int(run.firm[-1]),
            forecast_milli=int(run.forecast[-1]),
            how=tuple(sorted(how)),
            stock_days=run.lasts(run.on_hand_milli, -1),
            stated=stated,
            learnt_50=learnt_50,
            learnt_90=learnt_90,
            last_order=self._last(part, worst.runs_out_on or self.span.first)[1],
            most_milli=self._most.milli(part),
            hits=self._hits(part, worst),
            lines=tuple(lines),
            periods=tuple(self._periods(run, periods)),
        )

    def _outlook(self, part: str, run: Course, kind: int) -> Outlook:
        fails, firm = run.runs_out[kind], run.runs_out_firm[kind]
        if fails is None:
            return Outlook(None, None, None, None, 0, None)
        day, back = self.span.day(fails), run.back(kind, fails)
        return Outlook(
            runs_out_on=day,
            firm_runs_out_on=None if firm is None else self.span.day(firm),
            days=fails,
            back_on=None if back is None else self.span.day(back),
            short_milli=run.short_milli[kind],
            order_by=self._last(part, day)[0],
        )

    def _last(self, part: str, day: date) -> tuple[date | None, LastOrder | None]:
        """The last working day to order for a day, and from whom."""
        if (part, day) not in self._lasts:
            found = ((self._placed(source, last, day), last) for source, last in self._offers(part))
            self._lasts[part, day] = max(found, key=itemgetter(0), default=(None, None))
        return self._lasts[part, day]

    def _placed(self, source: Source, last: LastOrder, day: date) -> date:
        usable = self.days.until(source.point, day)
        return self.days.until(source.point, usable - timedelta(last.days_90))

    def _offers(self, part: str) -> Iterator[tuple[Source, LastOrder]]:
        """Who can be asked for a part, and how long he takes by what is learnt."""
        for source in filter(can_order, self.sources.get(part, ())):
            lead = self.leads.get((part, source.supplier))
            learnt_from = LearntFrom.STATED if lead is None else lead.learnt_from
            takes = order_days(source, lead, "90")
            yield (
                source,
                LastOrder(
                    supplier=source.supplier,
                    point=source.point,
                    stated_days=source.lead_days,
                    days_90=takes,
                    learnt_from=learnt_from,
                    at_least=lead is not None and "90" in lead.at_least,
                ),
            )

    def _periods(self, run: Course, periods: tuple[Period, ...]) -> Iterator[PeriodCover]:
        balances = list(run.left) if periods else []
        before = -1
        for period in periods:
            end = self.span.number(period.until)

            def of(sums: Ints, begin: int = before, end: int = end) -> int:
                return int(sums[end]) - (int(sums[begin]) if begin >= 0 else 0)

            left = [int(balance[end]) for balance in balances]
            opening = run.on_hand_milli if before < 0 else int(balances[0][before])
            coming = [of(run.came[kind]) for kind in range(KINDS)]
            yield PeriodCover(
                period=period.name,
                first=period.first,
                until=period.until,
                on_hand_milli=opening,
                firm_milli=of(run.firm),
                forecast_milli=of(run.forecast),
                coming_stated_milli=coming[0],
                coming_50_milli=coming[1],
                coming_90_milli=coming[2],
                balance_stated_milli=left[0],
                balance_50_milli=left[1],
                balance_90_milli=left[2],
                cover_days=run.lasts(left[2], end),
            )
            before = end

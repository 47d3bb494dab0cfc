"""The least cost of a tiny book, by trying everything: what a planner is held against.

It shares bills and opening hours with the checker of plans and nothing with the models that plan.

Covered: builds at points with their own calendars and cut-offs; `earliest`, weights, unpromised
builds; nested make parts as jobs, from stock, or partly either; phantoms; options, region rules,
scrap, steps, effective dates; work centres with several stations, several used at once, downtime;
stock, open purchases, new purchases with minimum, multiple, monthly cap and expediting; transfers
over any lanes end to end; alternates; parts orders, split or not. Not covered (`Unsupported`):
progress, freeze, delivery costs per departure beside lanes, unlike caps of one supplier and part.

Why that is everything, for an objective that nothing coming earlier ever makes worse:

- *Stations.* Given what each need draws, every operation has a release. Some optimal schedule is
  active: no operation can start earlier without moving another. Taking the operations in each order
  that precedence allows, each at its earliest fit, yields every active schedule. Branches are cut
  only where a bound, the work left without any queue, is no better than the best plan known.
- *New purchases.* The earliest day of a calendar month on which a source can deliver is as good as
  any later one of that month. Orders of one source and month may be put together: the minimum and
  the multiple then cost least. A capped source needs no more months than there are units to draw:
  an order in a later month could move to an empty one before it. Expediting never helps in a month
  that opens after the unhurried order comes.
- *Transfers.* No unit visits a point twice. A departure can be put forward to the first on which
  all that it carries is there, so only first departures after the coming of some unit matter.
- *Plenty.* Where free stock at the build's point covers all that could ever be drawn of a part,
  taking it costs nothing and harms nobody.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from datetime import date
from fractions import Fraction
from math import lcm

from fulfil_models.audit_frame import UNPROMISED_WEIGHT, Frame, Terms, money
from fulfil_models.audit_hours import carrier_days_after
from fulfil_models.cells import MICRO, MILLI, PPM
from fulfil_models.plan import Objective, Plan, Status, SupplyKind
from fulfil_models.tables import Build, Dataset, PartsOrder
from oracle_slots import Work, best_schedule, least_late
from oracle_supply import Lot, Way, lots_of, open_in, order_size, parts_for, potential_of, ways_of
from oracle_work import Best, Draw, Made, Wanted, stations_of, work_of


class Unsupported(ValueError):
    """The book has something that is not tried exhaustively."""


def optimum(dataset: Dataset, settings: Terms) -> Fraction:
    """The least cost that any plan of the book can have, in the currency."""
    return Oracle(dataset, settings).solve().cost


class Oracle:
    def __init__(self, dataset: Dataset, settings: Terms) -> None:
        if dataset.progress or settings.freeze_days:
            raise Unsupported("progress or freeze")
        if dataset.lanes and dataset.parts_orders and any(r.cost_micro for r in dataset.deliveries):
            raise Unsupported("delivery costs per departure beside lanes")
        caps = {(s.part, s.supplier): s.monthly_cap_milli for s in dataset.sources}
        if any(caps[s.part, s.supplier] != s.monthly_cap_milli for s in dataset.sources):
            raise Unsupported("different caps of one supplier and part")
        nothing = Plan(settings.as_of, Status.FEASIBLE, Objective(), Fraction(0), Fraction(0))
        self.frame = Frame(dataset, settings, nothing, None)
        self.dataset = dataset
        self.as_of = settings.as_of
        self.builds = sorted(self.frame.planned_builds(), key=lambda b: b.build)
        self.potential = potential_of(self.frame, self.builds)
        self.ways = ways_of(self.frame, lots_of(self.frame, self.potential))
        day_cost = money(settings.late_day_cost_micro)
        self.rate = {
            b.build: _weight(b.weight_ppm, b.promised is not None)
            * day_cost
            / self.frame.hours[b.point].standard_day
            for b in self.builds
        }
        # Costs are counted in whole units of the finest fraction of the currency that occurs; so
        # many are a millionth, and so many that of a thousandth or a millionth of something.
        self.unit = lcm(*(rate.denominator for rate in self.rate.values())) * 10**15
        self.micro = self.unit // MICRO
        self.micro_per_milli = self.micro // MILLI
        self.micro_per_ppm = self.micro // PPM
        self.whole_rate = {name: self._int(rate) for name, rate in self.rate.items()}
        self.late_day = {
            (line.order, line.line): self._int(
                _weight(line.weight_ppm, line.promised is not None or line.within_days is not None)
                * day_cost
            )
            for line in self.frame.planned_lines()
        }
        self.stations = stations_of(self.frame)
        self.open_in_month: dict[Lot, int] = {}
        self.left: dict[Lot, int] = {}
        self.ordered: defaultdict[Lot, int] = defaultdict(int)
        self.moves: defaultdict[tuple[str, str, date], int] = defaultdict(int)
        self.departures: defaultdict[tuple[str, str, date, int], int] = defaultdict(int)
        self.draws: list[Draw] = []
        self.jobs: dict[str, Made] = {}
        self.releases: dict[tuple[str, int | None], int] = {}
        self.floors: dict[str, int] = {}
        self.least: int | None = None
        self.best: Best | None = None

    def solve(self) -> Best:
        """Raises ValueError where no plan exists."""
        pending: list[Wanted | Build] = []
        for build in self.builds:
            self.jobs[build.build] = Made(build, build.product, MILLI, None)
            pending += [
                Wanted(part, milli, build, build.build, operation, (build.build, operation))
                for (operation, part), milli in sorted(self.frame.build_needs(build).items())
            ]
            pending.append(build)
        pending += [
            Wanted(line.part, line.quantity_milli, line=line)
            for line in sorted(self.frame.planned_lines(), key=lambda r: (r.order, r.line))
        ]
        self.floors = {build.build: self._floor(build) for build in self.builds}
        self._decide(pending, 0)
        if self.best is None:
            raise ValueError("no plan exists")
        return self.best

    # ---- deciding what each need draws

    def _decide(self, pending: list[Wanted | Build], cost: int) -> None:
        """Tries everything for the needs still pending; `cost` is of what is decided, at least."""
        if self.least is not None:
            to_come = sum(self.floors[one.build] for one in pending if isinstance(one, Build))
            if cost + self._shared() + to_come >= self.least:
                return
        if not pending:
            self._time(cost)
            return
        first, rest = pending[0], pending[1:]
        if isinstance(first, Build):  # all its needs are decided: it is at least so late
            self._decide(rest, cost + least_late(self._work_of(first)))
            return
        for used in parts_for(self.frame, first.part):
            milli = self.frame.wanted(first.part, used, first.milli)
            extra = 0
            if used != first.part:
                row = self.frame.alternates[first.part, used]
                extra = row.extra_cost_micro * milli * self.micro_per_milli
            ways = self._ways_for(first, used)
            self._draw(
                first,
                used,
                milli,
                ways,
                lambda more, extra=extra: self._decide(
                    [*more, *rest], cost + extra + self._carriage(first)
                ),
            )

    def _draw(
        self,
        wanted: Wanted,
        used: str,
        milli: int,
        ways: list[Way],
        then: Callable[[list[Wanted | Build]], None],
    ) -> None:
        """Every way to draw so much from these ways and, at a build, to make the rest."""
        if milli == 0:
            then([])
            return
        if not ways:
            if wanted.build is not None:
                self._make(wanted, used, milli, then)
            return
        way, others = ways[0], ways[1:]
        step = self.frame.parts[used].step_milli
        most = min(milli, self._available(way.lot))
        for taken in range(most - most % step, -1, -step):
            if not taken:
                self._draw(wanted, used, milli, others, then)
                continue
            with_same_point = (
                [w for w in others if w.point == way.point]
                if wanted.line is not None and not wanted.line.split
                else others
            )
            self._take(
                Draw(wanted, used, taken, way),
                lambda taken=taken, rest=with_same_point: self._draw(
                    wanted, used, milli - taken, rest, then
                ),
            )

    def _take(self, draw: Draw, then: Callable[[], None]) -> None:
        """One draw, done and undone."""
        way, lot = draw.way, draw.way.lot if draw.way else None
        assert way is not None
        assert lot is not None
        if lot.source is not None:
            self.ordered[lot] += draw.milli
        if lot.left_milli is not None:
            self.left[lot] = self.left.get(lot, lot.left_milli) - draw.milli
        for lane, day in way.legs:
            self.moves[lane.origin, lane.destination, day] += 1
        before = self.releases.get(draw.wanted.at)
        box = self._box(draw)
        if box is not None:
            self.departures[box] += 1
        elif draw.wanted.build is not None:
            position = self.frame.hours[way.point].position(way.usable)
            self.releases[draw.wanted.at] = max(before or 0, position)
        self.draws.append(draw)
        if self._caps_hold(lot):
            then()
        self.draws.pop()
        if box is not None:
            self.departures[box] -= 1
        elif before is None:
            self.releases.pop(draw.wanted.at, None)
        else:
            self.releases[draw.wanted.at] = before
        for lane, day in way.legs:
            self.moves[lane.origin, lane.destination, day] -= 1
        if lot.left_milli is not None:
            self.left[lot] += draw.milli
        if lot.source is not None:
            self.ordered[lot] -= draw.milli

    def _make(
        self, wanted: Wanted, part: str, milli: int, then: Callable[[list[Wanted | Build]], None]
    ) -> None:
        """The rest is made, by a job of its own with needs of its own."""
        build, frame = wanted.build, self.frame
        assert build is not None
        steps = frame.routings.get(part, [])
        if (
            not frame.parts[part].make
            or not (steps or part in frame.bills)
            or any(frame.work_centres[s.work_centre].point != build.point for s in steps)
        ):
            return
        name = f"{wanted.job}/{wanted.operation}/{part}"
        self.jobs[name] = Made(build, part, milli, wanted)
        self.draws.append(Draw(wanted, part, milli, None, name))
        then(
            [
                Wanted(
                    component,
                    needed,
                    build,
                    name,
                    operation,
                    (name, operation) if steps else wanted.at,
                )
                for (operation, component), needed in sorted(
                    frame.part_needs(part, milli, build.ordered).items(), key=str
                )
            ]
        )
        self.draws.pop()
        del self.jobs[name]

    def _ways_for(self, wanted: Wanted, used: str) -> list[Way]:
        if wanted.line is not None:
            return [
                way
                for point in sorted(self.frame.points)
                if self.frame.delivery(point, wanted.line.destination) is not None
                for way in self.ways.get((used, point), [])
            ]
        assert wanted.build is not None
        ways = self.ways.get((used, wanted.build.point), [])
        for way in ways:
            if (
                way.lot.kind is SupplyKind.STOCK
                and not way.legs
                and (way.lot.left_milli or 0) >= self.potential[used]
            ):
                return [way]
        return ways

    def _available(self, lot: Lot) -> int:
        if lot.left_milli is None:
            return 10**15
        return self.left.get(lot, lot.left_milli)

    # ---- cost

    def _int(self, amount: Fraction) -> int:
        scaled = amount * self.unit
        assert scaled.denominator == 1
        return scaled.numerator

    def _carriage(self, wanted: Wanted) -> int:
        """Cost of the draws of a need by weight, and of a line's lateness."""
        frame = self.frame
        total = late = 0
        for draw in self.draws:
            if draw.wanted is not wanted or draw.way is None:
                continue
            per_kg = sum(lane.cost_per_kg_micro for lane, _ in draw.way.legs)
            if wanted.line is not None:
                delivery = frame.delivery(draw.way.point, wanted.line.destination)
                assert delivery is not None
                per_kg += delivery.cost_per_kg_micro
                late = max(late, self.late_days(wanted.line, draw.way, delivery.days))
            # thousandths of a part of so many grams: millionths of a kilogram
            total += (frame.parts[draw.used].weight_g or 0) * draw.milli * per_kg
        total *= self.micro_per_ppm
        if wanted.line is not None:
            total += late * self.late_day[wanted.line.order, wanted.line.line]
        return total

    def late_days(self, line: PartsOrder, way: Way, transit: int) -> int:
        ships = self.frame.hours[way.point].first_shipping_day(way.usable)
        if line.promised is not None:
            return max(0, (ships - line.promised).days)
        if line.within_days is not None:
            by = carrier_days_after(line.ordered, line.within_days)
            return max(0, (carrier_days_after(ships, transit) - by).days)
        return max(0, (ships - self.as_of).days)

    def _box(self, draw: Draw) -> tuple[str, str, date, int] | None:
        """The departure of a parts order that a draw goes with."""
        line, way = draw.wanted.line, draw.way
        if line is None or way is None:
            return None
        delivery = self.frame.delivery(way.point, line.destination)
        assert delivery is not None
        ships = self.frame.hours[way.point].first_shipping_day(way.usable)
        return (line.order, way.point, ships, delivery.cost_micro)

    def _shared(self) -> int:
        """Cost of what needs share: departures of lanes and orders, expedited purchases."""
        lanes = self.frame.lanes
        micro = sum(lanes[o, d].cost_per_move_micro for (o, d, _), n in self.moves.items() if n)
        micro += sum(cost for (*_, cost), n in self.departures.items() if n)
        total = micro * self.micro
        for lot, milli in self.ordered.items():
            if milli and lot.expedited:
                assert lot.source is not None
                each = lot.source.expedite_cost_micro or 0
                total += each * order_size(lot.source, milli) * self.micro_per_milli
        return total

    def _caps_hold(self, lot: Lot) -> bool:
        """Whether all orders that arrive in a lot's month are within the cap."""
        source = lot.source
        if source is None or source.monthly_cap_milli is None:
            return True
        if lot not in self.open_in_month:
            self.open_in_month[lot] = open_in(self.frame, source, lot.month)
        arriving = self.open_in_month[lot]
        for other, milli in self.ordered.items():
            theirs = other.source
            if (
                milli
                and theirs is not None
                and (theirs.part, theirs.supplier) == (source.part, source.supplier)
                and other.month == lot.month
            ):
                arriving += order_size(theirs, milli)
        return arriving <= source.monthly_cap_milli

    # ---- timing

    def _work_of(self, build: Build) -> list[Work]:
        rate = self.whole_rate[build.build]
        return work_of(self.frame, build, self.jobs, self.releases, rate)

    def _floor(self, build: Build) -> int:
        """Cost of a build's lateness if all that it needs came by the soonest way there is, what
        can be made at once, and nobody were before it: no plan has less."""
        frame = self.frame
        releases: dict[tuple[str, int | None], int] = {}
        for (operation, part), milli in frame.build_needs(build).items():
            soonest: list[int] = []
            for used in parts_for(frame, part):
                if frame.parts[used].make or frame.wanted(part, used, milli) == 0:
                    soonest.append(0)
                for way in self.ways.get((used, build.point), []):
                    soonest.append(frame.hours[way.point].position(way.usable))
            at = (build.build, operation)
            releases[at] = max(releases.get(at, 0), min(soonest, default=0))
        jobs = {build.build: Made(build, build.product, MILLI, None)}
        return least_late(work_of(frame, build, jobs, releases, self.whole_rate[build.build]))

    def _time(self, cost: int) -> None:
        """Times everything as well as can be, for what has been decided."""
        work = [one for build in self.builds for one in self._work_of(build)]
        # `cost` has in it how late each build is at least; the schedule says how late it is.
        fixed = cost + self._shared() - sum(least_late(self._work_of(b)) for b in self.builds)
        limit = None if self.least is None else self.least - fixed
        found = best_schedule(work, self.stations, limit)
        if found is None:
            return
        self.least = fixed + found.cost
        self.best = Best(
            Fraction(self.least, self.unit), tuple(self.draws), dict(self.jobs), found.starts
        )


def _weight(weight_ppm: int, promised: bool) -> Fraction:
    return Fraction(weight_ppm, PPM) if promised else UNPROMISED_WEIGHT

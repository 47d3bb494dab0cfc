"""For whoever waits for a rationed part: is another way to fill his need cheaper than waiting?

An approved alternate, an expedited order, a move from another point, an order from another
supplier. What each leaves to others stays with them: a way counts from when there are units that
nobody has in the plan. The build is timed again with them, all others staying where they are, so
its date is re-computed; of two ways together nothing is said.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from fractions import Fraction

from fulfil_models.book import Outlet
from fulfil_models.book_entries import build_late_days
from fulfil_models.buying_prices import Prices
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.compiled import (
    MIXED,
    NEVER,
    CLine,
    CNeed,
    COutlet,
    CTask,
    CWay,
    all_jobs,
    all_needs,
)
from fulfil_models.decisions import from_solution
from fulfil_models.ledger import ADVANCE, EXPEDITE, MAKE, MOVE
from fulfil_models.offers import offers
from fulfil_models.order_days import OpenDays, OrderDays
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.plan_index import PlanIndex
from fulfil_models.planning import Workbench, solution_of, unexplained
from fulfil_models.problem import Problem
from fulfil_models.rationing import Taker
from fulfil_models.repair import aligned, repaired
from fulfil_models.retiming import Retimer
from fulfil_models.source_terms import order_for
from fulfil_models.tables import Source


class OutKind(StrEnum):
    """What may be done instead of waiting."""

    ALTERNATE = "alternate"
    EXPEDITE = "expedite"
    TRANSFER = "transfer"
    SUPPLIER = "supplier"
    FREE = "free"
    """units of the part that nobody has in the plan"""


@dataclass(frozen=True, slots=True)
class WayOut:
    """One thing to do for one who waits.

    Attributes
    ----------
    by: the alternate, the supplier, or the point it is moved from.
    usable_on: the day from which the units are there; of a line of a parts order, the day on
        which it ships.
    ships, late_days: of the build or line then; `late_days` are calendar days.
    way_cost: what the way costs at most, nobody sharing a departure or an order: extra cost of
        the alternate, expediting, moves; of another supplier the whole of the smallest order that
        brings what is needed, less what that costs from the supplier waited for (what is not known
        of the two is taken to be as the other). Not what the way that it has now would save.
    late_cost: what it still costs by being late then.
    saves: what it costs by waiting less both; below 0 where waiting is cheaper.
    """

    who: str
    kind: OutKind
    by: str
    used: str
    usable_on: date
    ships: date
    late_days: int
    way_cost: Fraction
    late_cost: Fraction
    saves: Fraction

    @property
    def cheaper(self) -> bool:
        """Cheaper than waiting."""
        return self.saves > 0


def ways_out(problem: Problem, plan: Plan, takers: Iterable[Taker]) -> tuple[WayOut, ...]:
    """What would let those who wait ship sooner, for each the way that saves most first."""
    trial = _Trial(problem, plan)
    found: list[WayOut] = []
    for taker in takers:
        ways = trial.ways(taker)
        found += sorted(ways, key=lambda row: (-row.saves, row.ships, row.kind, row.by))
    return tuple(found)


class _Trial:
    """The plan as it stands, with whoever waits taken out one at a time."""

    def __init__(self, problem: Problem, plan: Plan) -> None:
        self.problem = problem
        self._prices = Prices(problem)
        bench = Workbench(problem)
        self.compiled = aligned(bench.compiled, plan)
        self.state = repaired(self.compiled, plan)
        decisions = from_solution(bench.book, self.compiled, solution_of(self.state))
        made = unexplained(bench, decisions)
        # where all stand as they are, they wait for what the plan gives them, and not for what
        # else is there by now
        self.plan = plan if _dates(made) == _dates(plan) else made
        self.retimer = Retimer(self.compiled, decisions, self.plan)
        self.rows = {row.build: row for row in self.plan.builds}
        self.tasks = {task.task.build.build: task for task in self.compiled.tasks}
        self.lines = {_name(line): line for line in self.compiled.lines}
        self.index = PlanIndex(self.plan)
        self._days = OpenDays(problem.dataset, problem.as_of)

    def ways(self, taker: Taker) -> Iterator[WayOut]:
        """Ways of one who waits, by which he ships sooner."""
        task, line = self.tasks.get(taker.who), self.lines.get(taker.who)
        if task is not None and self.state.placed[task.index] is not None:
            need = self._need(task, taker)
            if need is not None:
                yield from self._of_build(task, need, taker)
        elif line is not None and self.state.lines[line.index] is not None:
            yield from self._of_line(line, taker)

    # ---- builds

    def _need(self, task: CTask, taker: Taker) -> CNeed | None:
        """The need of a build for the part that is filled last."""
        needs = [need for job in all_jobs(task.root) for need in all_needs(job)]
        waits = [
            need
            for need in needs
            if need.need.part == taker.called and need.need.index in self.retimer.usable
        ]
        return max(waits, key=lambda need: self.retimer.usable[need.need.index], default=None)

    def _of_build(self, task: CTask, need: CNeed, taker: Taker) -> Iterator[WayOut]:
        mark, placement = len(self.state.log), self.state.placed[task.index]
        now = self.retimer.usable[need.need.index]
        self.state.remove(task)
        found = [(way, self.state.ready(way)) for way in _simple_ways(need)]
        self.state.rollback(mark)
        self.state.placed[task.index] = placement
        waited = self._supplier(need)
        for way, cell in found:
            if cell < NEVER and cell * self.compiled.cell < now:
                cost = _money(way.cost + way.shared_cost)
                position = cell * self.compiled.cell
                kind, by = _label(way, taker.called)
                if kind is OutKind.FREE:
                    suppliers = _new_from(way, position)
                    if suppliers and waited not in suppliers:
                        continue  # told below, with what it costs more
                    if suppliers:
                        kind, by = OutKind.SUPPLIER, f"{waited}, a new order"
                yield from self._timed(task, need, taker, kind, by, way.way.used, position, cost)
        for by, usable_on, cost in self._other_suppliers(need, waited):
            position = task.task.axis.opening(usable_on)
            if position < now:
                kind, used = OutKind.SUPPLIER, taker.called
                yield from self._timed(task, need, taker, kind, by, used, position, cost)

    def _timed(
        self,
        task: CTask,
        need: CNeed,
        taker: Taker,
        kind: OutKind,
        by: str,
        used: str,
        position: int,
        cost: Fraction,
    ) -> Iterator[WayOut]:
        """The way with the build timed again, if it ships sooner by it."""
        usable, own = self.retimer.usable, task.task
        # what it could do without the way is not the way's to claim
        before = min(self._finish(task), own.axis.position(self.rows[taker.who].finish))
        now, usable[need.need.index] = usable[need.need.index], position
        finish = self._finish(task)
        usable[need.need.index] = now
        if finish >= before:
            return
        cutoff = self.problem.points[own.build.point].cutoff
        moment = own.axis.end_moment(finish)
        ships = max(own.axis.ship_day(moment, cutoff), self.problem.as_of)
        late_cost = own.rate * max(0, finish - own.due)
        yield WayOut(
            who=taker.who,
            kind=kind,
            by=by,
            used=used,
            usable_on=own.axis.start_moment(position).date(),
            ships=ships,
            late_days=build_late_days(own.build, ships),
            way_cost=cost,
            late_cost=late_cost,
            saves=own.rate * max(0, before - own.due) - late_cost - cost,
        )

    def _finish(self, task: CTask) -> int:
        """Where a build ends if it is timed again alone, in working minutes."""
        return self.retimer.retime(task.task).finish * self.compiled.cell

    def _other_suppliers(
        self, need: CNeed, waited: str | None
    ) -> Iterator[tuple[str, date, Fraction]]:
        """Suppliers that the build does not wait for, with the day on which an order of today is
        usable at its point, and what it costs more; only where their month still has room for the
        smallest order that brings what is needed."""
        part, needed = need.need.part, need.need.quantity_milli
        dataset, point = self.problem.dataset, need.need.job.task.build.point
        ways = OrderDays(dataset, part, self._days)
        new = [row for row in self.plan.supplies if row.kind is SupplyKind.NEW_PURCHASE]
        sources = {row.supplier: row for row in ways.sources[point]}
        now = self._price(sources.get(waited or ""), needed)
        for row in offers(dataset, self.problem.settings, ways, part, new):
            if row.supplier == waited or row.point != point:
                continue
            source = sources[row.supplier]
            ordered = order_for(source, needed, self.problem.parts[part].step_milli)
            left = row.month_left_milli
            if left is not None and left < ordered:
                continue
            price = self._price(source, ordered)
            known = [each for each in (price, now) if each is not None] or [0]
            more = Fraction(known[0] * ordered - known[-1] * needed, MICRO * MILLI)
            size = f", an order of {ordered / MILLI:g}" if ordered > needed else ""
            yield f"{row.supplier}{size}", row.usable_on, more

    def _price(self, source: Source | None, quantity_milli: int) -> int | None:
        """Of one unit in an order of that size, in micro-currency; None where none is known."""
        if source is None:
            return None
        return self._prices.given(source, quantity_milli)

    def _supplier(self, need: CNeed) -> str | None:
        """Whom the units come from that a need waits for; None for what is on a shelf."""
        peg = self.retimer.peg_of[need.need.index]
        root = self.index.root(self.index.supplies[peg.supply])
        if root.supplier is not None:
            return root.supplier
        return next(
            (
                row.supplier
                for row in self.problem.dataset.purchases
                if (row.order, row.line) == (root.order, root.line)
            ),
            None,
        )

    # ---- lines of parts orders

    def _of_line(self, line: CLine, taker: Taker) -> Iterator[WayOut]:
        """Outlets that could send all of a line sooner."""
        sent = self.state.lines[line.index]
        assert sent is not None
        last = max(line.outlets[number].days[event] for number, event, _ in sent.draws)
        worst = max(line.outlets[number].late[event] for number, event, _ in sent.draws)
        mark, shared = len(self.state.log), self.state.shared_cost
        cost_now = sent.cost - worst * line.day_cost
        self.state.remove_line(line)
        cost_now += shared - self.state.shared_cost
        offered = []
        for number, outlet in enumerate(line.outlets):
            event = self.state.outlet_event(line, number, outlet.quantity)
            if event >= 0:
                cost = self.state.outlet_cost(line, number, event, outlet.quantity)
                offered.append((number, event, cost))
        self.state.rollback(mark)
        self.state.lines[line.index] = sent
        for number, event, cost in offered:
            outlet = line.outlets[number]
            if outlet.days[event] >= last or outlet.late[event] > worst:
                continue
            day = date.fromordinal(outlet.days[event])
            late = outlet.late[event]
            settings = self.problem.settings
            late_cost = line.line.weight * late * Fraction(settings.late_day_cost_micro, MICRO)
            more = _money(cost - late * line.day_cost - cost_now)
            kind, by = _label_of_outlet(outlet, line.line.outlets[number], taker.called)
            yield WayOut(
                who=taker.who,
                kind=kind,
                by=by,
                used=outlet.used,
                usable_on=day,
                ships=day,
                late_days=late,
                way_cost=more,
                late_cost=late_cost,
                saves=taker.cost - late_cost - more,
            )


def _dates(plan: Plan) -> dict[str, datetime]:
    """When every build is finished."""
    return {row.build: row.finish for row in plan.builds}


def _name(line: CLine) -> str:
    return f"{line.line.row.order}/{line.line.row.line}"


def _simple_ways(need: CNeed) -> list[CWay]:
    """Ways that fill all of a need by themselves, those that make the part left out."""
    ways = [part for way in need.ways for part in (way.parts if way.kind == MIXED else (way,))]
    return [way for way in dict.fromkeys(ways) if way.kind != MAKE]


def _label(way: CWay, called: str) -> tuple[OutKind, str]:
    """What kind a way is of, and by what it works."""
    used = way.way.used
    hurried = f"{way.source.supplier}, expedited" if way.source is not None else ""
    origin = f"from {way.way.route.origin}" if way.way.route is not None else ""
    if used != called:
        return OutKind.ALTERNATE, ", ".join(filter(None, (used, hurried, origin)))
    if way.kind in (EXPEDITE, ADVANCE):
        return OutKind.EXPEDITE, way.source.supplier if way.source is not None else ""
    if way.kind == MOVE and way.way.route is not None:
        return OutKind.TRANSFER, way.way.route.origin
    return OutKind.FREE, called


def _new_from(way: CWay, position: int) -> set[str]:
    """Suppliers whose new orders a bin first has units of at a position; nobody where something on
    the shelf or ordered already is there, too."""
    assert way.way.bin is not None
    lots = [lot for lot in way.way.bin.lots if lot.usable == position]
    if any(lot.source is None for lot in lots):
        return set()
    return {lot.source.supplier for lot in lots if lot.source is not None}


def _label_of_outlet(outlet: COutlet, own: Outlet, called: str) -> tuple[OutKind, str]:
    """The same of an outlet."""
    if outlet.used != called:
        return OutKind.ALTERNATE, f"{outlet.used} from {outlet.point}"
    if outlet.source is not None:
        return OutKind.EXPEDITE, outlet.source.supplier
    if own.route is not None:
        return OutKind.TRANSFER, own.route.origin
    return OutKind.FREE, f"from {outlet.point}"


def _money(amount: float) -> Fraction:
    """A cost that the search counts in floating point, to a millionth of the currency."""
    return Fraction(round(amount * MICRO), MICRO)

"""When does everything run, and on what lots, exactly? The whole model of a small book in CP-SAT.

All choices of the contract are in it at once: slots, alternates, jobs, lots, moves, expedited
orders, shipments of parts orders. Where it is solved to the end, the plan is proven optimal. It is
used for small books only: beyond a few hundred operations its bound says little.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from math import lcm
from typing import TYPE_CHECKING

from fulfil_models.book import Need, WayKind
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.compiled import (
    MIXED,
    CJob,
    CLine,
    CNeed,
    Compiled,
    COperation,
    CWay,
    all_jobs,
)
from fulfil_models.ledger import Draw, LinePlacement, Placement
from fulfil_models.plan import Status
from fulfil_models.search import Solution
from fulfil_models.solving import ConstraintAnswer, solve_constraints

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

LARGEST_SCALE = 10**9
LARGEST_TOTAL = 2**52


@dataclass(slots=True)
class Offer:
    """Units of one lot that a need may draw by one way."""

    need: CNeed
    way: CWay
    event: int
    departure: int
    amount: cp_model.IntVar


@dataclass(slots=True)
class Variables:
    starts: dict[str, list[cp_model.IntVar]] = field(default_factory=dict)
    """by job, in order of its operations, in cells"""
    done: dict[str, cp_model.IntVar] = field(default_factory=dict)
    """by job made for a need: whether it is"""
    offers: list[Offer] = field(default_factory=list)
    shipped: list[tuple[CLine, int, int, cp_model.IntVar]] = field(default_factory=list)
    """(line, outlet, event, amount)"""
    loads: defaultdict[int, list[tuple[cp_model.IntervalVar, int]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    drawn: defaultdict[tuple[int, int], list[cp_model.IntVar]] = field(
        default_factory=lambda: defaultdict(list)
    )
    """by lot: what is drawn of it"""
    moved: dict[tuple[int, int], cp_model.IntVar] = field(default_factory=dict)
    hurried: defaultdict[tuple[int, int, bool], list[cp_model.IntVar]] = field(
        default_factory=lambda: defaultdict(list)
    )
    """by (bin, event, advanced): expedited draws"""
    boxes: dict[tuple[str, str, int], cp_model.IntVar] = field(default_factory=dict)
    costs: list[tuple[cp_model.IntVar, Fraction]] = field(default_factory=list)


class WholeModel:
    """Builds the whole model of a compiled book; `rules` is the order in which."""

    def __init__(self, compiled: Compiled) -> None:
        from ortools.sat.python import cp_model

        self.compiled = compiled
        self.model = cp_model.CpModel()
        self.v = Variables()
        self.exact = True
        """whether its bound holds for every plan of the contract"""
        self.horizon = self._horizon()
        self.first_departures = self._first_departures()
        for rule in (
            self.operations_in_order,
            self.needs_filled,
            self.lines_shipped,
            self.lots_not_overdrawn,
            self.stations_not_overloaded,
            self.orders_whole,
            self.lateness,
        ):
            rule()
        self.scale = self._objective()

    def _horizon(self) -> int:
        """No semi-active plan starts anything later: last lot that is short, and all work."""
        work = sum(
            operation.duration
            for task in self.compiled.tasks
            for job in all_jobs(task.root)
            for operation in job.operations
        )
        last = max((t for times in self.compiled.times for t in times[-1:]), default=0)
        arrivals = max((a[0] for a in self.compiled.arrivals if a), default=0)
        earliest = max((task.earliest for task in self.compiled.tasks), default=0)
        pinned = max(
            (
                op.pinned or 0
                for task in self.compiled.tasks
                for job in all_jobs(task.root)
                for op in job.operations
            ),
            default=0,
        )
        down = max(
            (end // self.compiled.cell for c in self.compiled.book.centres for _, end, _ in c.down),
            default=0,
        )
        return max(last, earliest, pinned, down) + 2 * arrivals + work + 1

    def _first_departures(self) -> list[list[int]]:
        """By route: departures that are the first after some lot at its origin. Sharing a later
        one can always be brought forward to one of these."""
        found: list[set[int]] = [set() for _ in self.compiled.book.supplies.routes]
        for there in self.compiled.book.supplies.bins:
            for route in self.compiled.book.supplies.routes:
                if route.origin == there.point:
                    for day in there.days:
                        departure = route.first_departure(day)
                        if departure < len(route.departures):
                            found[route.index].add(departure)
        supplies = self.compiled.book.supplies
        if supplies.undercut or any(len(route.legs) > 1 for route in supplies.routes):
            self.exact = False  # legs of several routes may share a departure
        return [sorted(departures) for departures in found]

    # ---- rules

    def operations_in_order(self) -> None:
        """start of an operation >= end of the one before; of the first >= the build's earliest."""
        for task in self.compiled.tasks:
            for job in all_jobs(task.root):
                name = job.job.name
                present = None
                if job.job.parent is not None:
                    present = self.model.new_bool_var(f"made[{name}]")
                    self.v.done[name] = present
                starts = []
                for k, operation in enumerate(job.operations):
                    starts.append(self._slot(name, operation, k, present))
                    if operation.pinned is None:
                        self.model.add(starts[k] >= job.earliest)
                    if k:
                        end = starts[k - 1] + job.operations[k - 1].duration
                        ordered = self.model.add(starts[k] >= end)
                        if present is not None:
                            ordered.only_enforce_if(present)
                self.v.starts[name] = starts

    def _slot(
        self, name: str, operation: COperation, k: int, present: cp_model.IntVar | None
    ) -> cp_model.IntVar:
        label = f"start[{name}/{operation.operation.number}]"
        if operation.pinned is not None:
            start = self.model.new_int_var(operation.pinned, operation.pinned, label)
        else:
            start = self.model.new_int_var(0, self.horizon, label)
        if operation.duration:
            if present is None:
                interval = self.model.new_fixed_size_interval_var(
                    start, operation.duration, f"run[{name}/{k}]"
                )
            else:
                interval = self.model.new_optional_fixed_size_interval_var(
                    start, operation.duration, present, f"run[{name}/{k}]"
                )
            self.v.loads[operation.centre].append((interval, operation.stations))
        return start

    def needs_filled(self) -> None:
        """For every need of a job that is done: one part fills it wholly, or a job made for it;
        what a lot gives is there when the operation starts; a job made ends by then."""
        for task in self.compiled.tasks:
            for job in all_jobs(task.root):
                done = self.v.done.get(job.job.name)
                for need in job.loose:
                    self._fill(need, done)
                for operation in job.operations:
                    for need in operation.needs:
                        self._fill(need, done)

    def _moment(self, need: Need) -> cp_model.IntVar | int:
        """Start of the operation that a need is for."""
        while need.place < 0:
            parent = need.job.parent
            if parent is None:
                return 0
            need = parent
        return self.v.starts[need.job.name][need.place]

    def _fill(self, need: CNeed, done: cp_model.IntVar | None) -> None:
        model = self.model
        at = self._moment(need.need)
        ways = [part for way in need.ways for part in (way.parts or (way,))]
        ways = list({id(way): way for way in ways}.values())
        jobs = [way for way in ways if way.job is not None]
        by_part: dict[str, list[CWay]] = {}
        for way in ways:
            if way.job is None:
                by_part.setdefault(way.way.used, []).append(way)
        step = self.compiled.book.problem.parts[need.need.part].step_milli
        if jobs and by_part and need.need.quantity_milli > step:
            self.exact = False  # might be part made, part drawn
        picks = []
        for way in jobs:
            assert way.job is not None
            made = self.v.done[way.job.job.name]
            picks.append(made)
            if way.job.operations:
                last = way.job.operations[-1]
                end = self.v.starts[way.job.job.name][-1] + last.duration
                model.add(end <= at).only_enforce_if(made)
            if way.cost:
                self.v.costs.append((made, self._extra(need, way, way.quantity)))
        for used, drawn in by_part.items():
            pick = model.new_bool_var(f"uses[{need.need.index}/{used}]")
            picks.append(pick)
            quantity = drawn[0].quantity
            amounts = [amount for way in drawn for amount in self._offers(need, way, at)]
            model.add(sum(amounts) == quantity * pick)
            extra = self._extra(need, drawn[0], quantity)
            if extra:
                self.v.costs.append((pick, extra))
        if done is None:
            model.add_exactly_one(picks)
        else:
            model.add(sum(picks) == done)

    def _extra(self, need: CNeed, way: CWay, quantity: int) -> Fraction:
        """Extra cost of an alternate."""
        if way.way.used == need.need.part:
            return Fraction(0)
        rows = self.compiled.book.problem.alternates[need.need.part]
        each = next(a.extra_cost_micro for a in rows if a.alternate == way.way.used)
        return Fraction(each * quantity, MICRO * MILLI)

    def _offers(self, need: CNeed, way: CWay, at: cp_model.IntVar | int) -> list[cp_model.IntVar]:
        found = []
        lots = self.compiled.book.supplies.bins[way.bin].lots
        if way.kind == WayKind.ADVANCE:
            found.append(self._offer(need, way, way.event, -1, way.usable, at))
            key = (way.bin, way.event, True)
            self.v.hurried[key].append(found[-1])
        elif way.kind == WayKind.MOVE:
            for event, day in enumerate(way.days):
                for departure in self.first_departures[way.route]:
                    if way.departures[departure] >= day:
                        usable = way.arrivals[departure]
                        amount = self._offer(need, way, event, departure, usable, at)
                        self._moves(way, departure, amount)
                        found.append(amount)
        else:
            for event, usable in enumerate(way.times):
                found.append(self._offer(need, way, event, -1, usable, at))
                if way.kind == WayKind.EXPEDITE:
                    self.v.hurried[way.bin, event, False].append(found[-1])
        assert lots
        return found

    def _offer(
        self,
        need: CNeed,
        way: CWay,
        event: int,
        departure: int,
        usable: int,
        at: cp_model.IntVar | int,
    ) -> cp_model.IntVar:
        model = self.model
        label = f"draw[{need.need.index}/{way.way.used}/{way.bin}/{event}/{departure}]"
        amount = model.new_int_var(0, way.quantity, label)
        step = self.compiled.book.problem.parts[way.way.used].step_milli
        if way.quantity <= step:
            taken = model.new_bool_var(label + "?")
            model.add(amount == way.quantity * taken)
        else:
            taken = model.new_bool_var(label + "?")
            model.add(amount <= way.quantity * taken)
        if usable > 0:
            model.add(at >= usable).only_enforce_if(taken)
        self.v.offers.append(Offer(need, way, event, departure, amount))
        self.v.drawn[way.bin, event].append(amount)
        return amount

    def _moves(self, way: CWay, departure: int, amount: cp_model.IntVar) -> None:
        route = self.compiled.book.supplies.routes[way.route]
        grams = self.compiled.book.problem.parts[way.way.used].weight_g or 0
        each = Fraction(grams * route.cost_per_kg_micro, 1000 * MICRO * MILLI)
        if each:
            self.v.costs.append((amount, each))
        if route.cost_per_move_micro:
            key = (way.route, departure)
            if key not in self.v.moved:
                self.v.moved[key] = self.model.new_bool_var(f"move[{key}]")
                self.v.costs.append((self.v.moved[key], Fraction(route.cost_per_move_micro, MICRO)))
            self.model.add(amount <= way.quantity * self.v.moved[key])

    def lines_shipped(self) -> None:
        """Every line is filled by one part, from one point unless it may be split; a delivery is
        paid once for an order, point and day; the worst shipment counts."""
        into = self.compiled.book.supplies.routes_into
        for line in self.compiled.lines:
            self._ship(line)
            if any(outlet.point in into for outlet in line.outlets):
                self.exact = False  # might be moved to the point that ships it

    def _ship(self, line: CLine) -> None:
        model = self.model
        row = line.line.row
        late = model.new_int_var(
            0, max((d for o in line.outlets for d in o.late), default=0), f"late[{row.order}]"
        )
        by_part: defaultdict[str, list[cp_model.IntVar]] = defaultdict(list)
        quantity: dict[str, int] = {}
        extra: dict[str, Fraction] = {}
        from_point: defaultdict[str, list[cp_model.IntVar]] = defaultdict(list)
        for number, outlet in enumerate(line.outlets):
            quantity[outlet.used] = outlet.quantity
            extra[outlet.used] = Fraction(line.line.outlets[number].extra_cost).limit_denominator(
                MICRO
            )
            delivery = line.line.outlets[number].delivery
            grams = self.compiled.book.problem.parts[outlet.used].weight_g or 0
            each = Fraction(grams * delivery.cost_per_kg_micro, 1000 * MICRO * MILLI)
            for event in outlet.events:
                days = outlet.late[event]
                label = f"ship[{row.order}/{row.line}/{number}/{event}]"
                amount = model.new_int_var(0, outlet.quantity, label)
                taken = model.new_bool_var(label + "?")
                model.add(amount <= outlet.quantity * taken)
                if days:
                    model.add(late >= days).only_enforce_if(taken)
                if each:
                    self.v.costs.append((amount, each))
                if delivery.cost_micro:
                    key = (row.order, outlet.point, outlet.days[event])
                    if key not in self.v.boxes:
                        self.v.boxes[key] = model.new_bool_var(f"box[{key}]")
                        self.v.costs.append(
                            (self.v.boxes[key], Fraction(delivery.cost_micro, MICRO))
                        )
                    model.add_implication(taken, self.v.boxes[key])
                if not row.split:
                    from_point[outlet.point].append(taken)
                by_part[outlet.used].append(amount)
                self.v.drawn[outlet.bin, event].append(amount)
                if outlet.source is not None:
                    self.v.hurried[outlet.bin, event, outlet.advanced >= 0].append(amount)
                self.v.shipped.append((line, number, event, amount))
        picks = []
        for used, amounts in by_part.items():
            pick = model.new_bool_var(f"ships[{row.order}/{row.line}/{used}]")
            model.add(sum(amounts) == quantity[used] * pick)
            picks.append(pick)
            if extra[used]:
                self.v.costs.append((pick, extra[used]))
        model.add_exactly_one(picks)
        if not row.split:
            here = []
            for point, flags in from_point.items():
                used_here = model.new_bool_var(f"from[{row.order}/{row.line}/{point}]")
                for flag in flags:
                    model.add_implication(flag, used_here)
                here.append(used_here)
            model.add(sum(here) <= 1)
        day_cost = line.line.weight * Fraction(
            self.compiled.book.problem.settings.late_day_cost_micro, MICRO
        )
        self.v.costs.append((late, day_cost))

    def lots_not_overdrawn(self) -> None:
        """sum of what is drawn of a lot <= the lot."""
        for (number, event), amounts in self.v.drawn.items():
            lot = self.compiled.book.supplies.bins[number].lots[event]
            if lot.quantity_milli < sum(_upper(a) for a in amounts):
                self.model.add(sum(amounts) <= lot.quantity_milli)

    def stations_not_overloaded(self) -> None:
        """At no moment do running operations and downtime exceed a work centre's stations."""
        cell = self.compiled.cell
        for index, centre in enumerate(self.compiled.book.centres):
            loads = list(self.v.loads[index])
            for number, (start, end, out) in enumerate(centre.down):
                loads.append(
                    (
                        self.model.new_fixed_size_interval_var(
                            start // cell, (end - start) // cell, f"down[{centre.name}/{number}]"
                        ),
                        min(out, centre.stations),
                    )
                )
            if not loads:
                continue
            if centre.stations == 1:
                self.model.add_no_overlap([interval for interval, _ in loads])
            else:
                self.model.add_cumulative(
                    [interval for interval, _ in loads],
                    [count for _, count in loads],
                    centre.stations,
                )

    def orders_whole(self) -> None:
        """An expedited order is 0, or at least the minimum and a multiple; all of it costs."""
        capped = defaultdict(set)
        for row in self.compiled.book.problem.dataset.sources:
            if row.monthly_cap_milli is not None:
                capped[row.part, row.supplier].add(row.point)
        if any(len(points) > 1 for points in capped.values()):
            self.exact = False  # the cap goes to one of the points
        model = self.model
        for (index, event, advanced), amounts in self.v.hurried.items():
            lot = self.compiled.book.supplies.bins[index].lots[event]
            source = lot.source
            assert source is not None
            most = sum(_upper(a) for a in amounts)
            top = max(most, source.minimum_milli) + source.multiple_milli
            ordered = model.new_int_var(0, top, f"order[{index}/{event}/{advanced}]")
            model.add(ordered >= sum(amounts))
            any_ = model.new_bool_var(f"orders[{index}/{event}/{advanced}]")
            model.add(ordered <= top * any_)
            model.add(ordered >= source.minimum_milli * any_)
            if source.multiple_milli:
                count = model.new_int_var(0, top // source.multiple_milli, f"times[{index}]")
                model.add(ordered == source.multiple_milli * count)
            self.v.costs.append((ordered, Fraction(source.expedite_cost_micro or 0, MICRO * MILLI)))

    def lateness(self) -> None:
        """late_b >= finish_b - due_b."""
        for task in self.compiled.tasks:
            late = self.model.new_int_var(0, self.horizon * 2, f"late[{task.task.build.build}]")
            if task.root.operations:
                last = task.root.operations[-1]
                start = self.v.starts[task.root.job.name][-1]
                self.model.add(late >= start + last.duration - task.due)
            else:
                self.exact = False
            self.v.costs.append((late, task.task.rate * self.compiled.cell))

    def _objective(self) -> int:
        """Minimise the cost in whole 1/scale of the currency; rounded down where it must be."""
        scale = 1
        for _, cost in self.v.costs:
            scale = lcm(scale, cost.denominator)
            if scale > LARGEST_SCALE:
                scale = 10**6
                break
        most = sum(_upper(var) * cost for var, cost in self.v.costs)
        while most * scale > LARGEST_TOTAL and scale > 1:
            scale = max(1, scale // 10)
        self.model.minimize(sum(int(cost * scale) * var for var, cost in self.v.costs))
        return scale

    # ---- hints and reading

    def hint(self, solution: Solution) -> None:
        for placement in solution.placed:
            if placement is not None:
                for job, starts in placement.starts:
                    for var, start in zip(self.v.starts[job.job.name], starts, strict=True):
                        self.model.add_hint(var, start)

    def read(self, answer: ConstraintAnswer) -> tuple[list[Placement], list[LinePlacement]]:
        """Where the answer puts every build and line."""
        values = answer.values
        assert values is not None
        draws: defaultdict[int, list[Draw]] = defaultdict(list)
        for offer in self.v.offers:
            amount = values[offer.amount.index]
            if amount:
                draws[offer.need.need.job.task.index].append(
                    Draw(offer.need, offer.way, offer.event, amount, offer.departure)
                )
        placements = []
        for task in self.compiled.tasks:
            placement = Placement()
            for job in all_jobs(task.root):
                done = self.v.done.get(job.job.name)
                if done is not None and not values[done.index]:
                    continue
                starts = [values[var.index] for var in self.v.starts[job.job.name]]
                placement.starts.append((job, starts))
                placement.draws += _made(job, values, self.v.done)
            placement.draws += draws[task.index]
            placements.append(placement)
        lines = [LinePlacement() for _ in self.compiled.lines]
        for line, number, event, shipped in self.v.shipped:
            if values[shipped.index]:
                lines[line.index].draws.append((number, event, values[shipped.index]))
        return placements, lines


def _made(job: CJob, values: tuple[int, ...], done: dict[str, cp_model.IntVar]) -> list[Draw]:
    """Draws on the jobs that are made for a job's needs."""
    needs = [*job.loose, *(need for op in job.operations for need in op.needs)]
    return [
        Draw(need, way, -1, way.quantity)
        for need in needs
        for way in need.ways
        if way.kind != MIXED and way.job is not None and values[done[way.job.job.name].index]
    ]


def _upper(var: cp_model.IntVar) -> int:
    # the list is read out first: counted from its end, the solver's own one answers 0
    return int(list(var.proto.domain)[-1])


@dataclass(frozen=True, slots=True)
class Proof:
    """What the whole model found: a solution if a better one, and its bound (0 if not exact)."""

    solution: Solution | None
    bound: float
    cut: bool


def prove(
    compiled: Compiled,
    solution: Solution,
    seconds: float,
    deterministic: float,
    stop: Callable[[], bool] | None = None,
) -> Proof:
    """Put a small book to the whole model, starting from a solution."""
    if any(p is None for p in solution.placed) or any(p is None for p in solution.lines):
        return Proof(None, 0.0, False)
    whole = WholeModel(compiled)
    whole.hint(solution)
    answer = solve_constraints(whole.model, deterministic=deterministic, seconds=seconds, stop=stop)
    bound = max(0.0, answer.bound) / whole.scale if whole.exact else 0.0
    if answer.status is Status.INFEASIBLE:
        return Proof(None, 0.0, answer.cut_by_clock)  # a solution is at hand: not believed
    found = None
    if answer.values is not None:
        placed, lines = whole.read(answer)
        found = Solution(tuple(placed), tuple(lines), 0.0)
    return Proof(found, bound, answer.cut_by_clock)

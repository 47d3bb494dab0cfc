"""Who gets the scarce parts? A mixed-integer model over flows of parts through points and time.

Every part has a node for each point and moment at which some of it becomes usable. Units flow from
lots into nodes, on in time, along routes, and out to needs. Stations are left out, so the least
cost of this model is a proven lower bound of the whole plan's (each relaxation says so below), and
its lateness tells the search in which order to serve the builds.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from math import gcd

from fulfil_models.book import Book, Job, Line, Need, Way, WayKind
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.problem import carrier_day
from fulfil_models.solving import INFINITY, LinearAnswer, LinearModel
from fulfil_models.supply import UNLIMITED_MILLI, Route

PriceOfStart = Callable[[Need, int], float]
"""least cost of a build's lateness and stations if a need is filled at a position"""


@dataclass(slots=True)
class Network:
    """Nodes of one part at one point: moments at which units become usable, and their columns."""

    part: str
    point: str
    times: list[int]
    carried: list[int] = field(default_factory=list)
    """column of what is carried on from each node; the last one is left over"""
    inflow: list[list[tuple[int, float]]] = field(default_factory=list)
    entered: list[list[tuple[int, WayKind, int]]] = field(default_factory=list)
    """by node: (column, how, route) of what comes in at a cost"""
    outflow: list[list[tuple[int, float]]] = field(default_factory=list)
    lots: list[float] = field(default_factory=list)
    unit: int = MILLI
    """thousandths in one unit of flow"""
    hurried: float = 0.0
    """units that expedited orders could bring"""
    unlimited_from: int = 1 << 60
    """index of the first node at which there is as much as one likes"""

    def node_at(self, position: int) -> int:
        """Last node no later than a position; -1 if none."""
        return bisect_right(self.times, position) - 1


@dataclass(slots=True)
class Allocation:
    """The model with the columns one reads the answer from."""

    model: LinearModel
    late: dict[int, int]
    """by task: column of its cost of lateness (and stations, with prices)"""
    chosen: dict[int, list[tuple[Way, int | None]]]
    """by need: ways that fill it wholly, with their binary; None where there is no choice"""
    draws: dict[int, list[tuple[int, int]]]
    """by need: (column, position) of what it may draw when"""
    networks: dict[tuple[str, str], Network]

    def releases(self, answer: LinearAnswer) -> dict[int, int]:
        """By need: position of the last unit that it draws."""
        return {
            need: max((at for column, at in columns if answer.values[column] > 0.5), default=0)
            for need, columns in self.draws.items()
        }

    def late_cells(self, answer: LinearAnswer, book: Book, cell: int) -> dict[int, float]:
        """Lateness of each build in cells, as the model has it."""
        found = {}
        for task in book.tasks:
            column = self.late.get(task.index)
            if column is not None and task.rate:
                found[task.index] = answer.values[column] / float(task.rate) / cell
        return found


class Builder:
    """Builds the model for a book. `price` replaces plain lateness where stations are priced."""

    def __init__(self, book: Book, price: PriceOfStart | None = None) -> None:
        self.book = book
        self.price = price
        self.model = LinearModel()
        self.networks: dict[tuple[str, str], Network] = {}
        self.late: dict[int, int] = {}
        self.base: dict[int, float] = {}
        self.chosen: dict[int, list[tuple[Way, int | None]]] = {}
        self.draws: defaultdict[int, list[tuple[int, int]]] = defaultdict(list)
        self.moved: dict[tuple[str, str], int] = {}
        """by lane: binary that it is used at all; routes over it may share its departures"""
        self.units = self._units()

    def build(self, bases: dict[int, float] | None = None) -> Allocation:
        """All rules, in order. `bases` is the least cost of each build with nothing short."""
        self._lateness(bases)
        self._nodes()
        for task in self.book.tasks:
            self._fill_job(task.root, None)
        self._ship_lines()
        self._balance()
        return Allocation(self.model, self.late, self.chosen, dict(self.draws), self.networks)

    # ---- variables

    def _lateness(self, bases: dict[int, float] | None) -> None:
        """late_b >= base_b: the cost of a build if it waits for no part."""
        for task in self.book.tasks:
            work = sum(op.duration for op in task.root.operations)
            plain = float(task.rate) * max(0, task.earliest + work - task.due)
            base = plain if bases is None else max(plain, bases[task.index])
            self.base[task.index] = base
            self.late[task.index] = self.model.variable(base, cost=1.0)

    def _units(self) -> dict[str, int]:
        """Thousandths in one unit of flow of each part: the largest that divides all amounts."""
        units: defaultdict[str, int] = defaultdict(int)
        for need in self.book.needs:
            if not need.plentiful:
                for way in need.ways:
                    units[way.used] = gcd(units[way.used], way.quantity_milli)
        for line in self.book.lines:
            for outlet in line.outlets:
                units[outlet.used] = gcd(units[outlet.used], outlet.quantity_milli)
        for there in self.book.supplies.bins:
            for lot in there.lots:
                if lot.quantity_milli < UNLIMITED_MILLI:
                    units[there.part] = gcd(units[there.part], lot.quantity_milli)
        return {part: unit or MILLI for part, unit in units.items()}

    def _used_parts(self) -> set[str]:
        used = {
            way.used
            for need in self.book.needs
            if not need.plentiful
            for way in need.ways
            if way.kind != WayKind.MAKE
        }
        return used | {outlet.used for line in self.book.lines for outlet in line.outlets}

    def _nodes(self) -> None:
        """A node for each moment at which a lot, a move or an expedited order becomes usable."""
        supplies = self.book.supplies
        for part in sorted(self._used_parts()):
            points = [p for p in self.book.problem.points if (part, p) in self._reached(part)]
            arcs = [
                (route, event, position)
                for route in supplies.routes
                if route.origin in points and route.destination in points
                for event, position in self._departures(part, route)
            ]
            for point in points:
                times = set(supplies.bin(part, point).times)
                times.update(t for route, _, t in arcs if route.destination == point)
                for hurried in supplies.expedited(part, point):
                    times.update(hurried.times)
                times.update(a.usable for a in supplies.advances(part, point))
                self._make_network(part, point, sorted(times))
            for route, event, position in arcs:
                self._move(part, route, event, position)

    def _reached(self, part: str) -> set[tuple[str, str]]:
        supplies = self.book.supplies
        return {
            (part, point)
            for point in self.book.problem.points
            if supplies.bin(part, point).lots
            or supplies.expedited(part, point)
            or any(supplies.bin(part, r.origin).lots for r in supplies.routes_into.get(point, ()))
        }

    def _departures(self, part: str, route: Route) -> Iterator[tuple[int, int]]:
        """(event, arrival) of a route from each lot at its origin, by the first departure."""
        for event, day in enumerate(self.book.supplies.bin(part, route.origin).days):
            departure = route.first_departure(day)
            if departure < len(route.arrivals):
                yield event, route.arrivals[departure]

    def _make_network(self, part: str, point: str, times: list[int]) -> None:
        supplies, model = self.book.supplies, self.model
        net = Network(part, point, times)
        self.networks[part, point] = net
        unit = self.units.get(part, MILLI)
        count = len(times)
        net.unit = unit
        net.inflow = [[] for _ in times]
        net.entered = [[] for _ in times]
        net.outflow = [[] for _ in times]
        net.lots = [0.0] * count
        for lot in supplies.bin(part, point).lots:
            node = bisect_left(times, lot.usable)
            if lot.quantity_milli >= UNLIMITED_MILLI:
                net.unlimited_from = min(net.unlimited_from, node)
            else:
                net.lots[node] += lot.quantity_milli // unit
        net.carried = [model.variable() for _ in times]
        for hurried in supplies.expedited(part, point):
            for lot in hurried.lots:
                assert lot.source is not None
                each = (lot.source.expedite_cost_micro or 0) / MICRO
                most = lot.quantity_milli // unit
                net.hurried += most
                column = model.variable(0, most, cost=each * unit / MILLI)
                node = bisect_left(times, lot.usable)
                net.inflow[node].append((column, 1.0))
                net.entered[node].append((column, WayKind.EXPEDITE, -1))
        for advance in supplies.advances(part, point):
            each = (advance.source.expedite_cost_micro or 0) / MICRO
            column = model.variable(0, advance.limit_milli // unit, cost=each * unit / MILLI)
            lot = advance.bin.lots[advance.event]
            node = bisect_left(times, advance.usable)
            net.inflow[node].append((column, 1.0))
            net.entered[node].append((column, WayKind.ADVANCE, -1))
            net.outflow[bisect_left(times, lot.usable)].append((column, 1.0))

    def _move(self, part: str, route: Route, event: int, position: int) -> None:
        """Units moved along a route; relaxed: a lane's departures cost once in all."""
        problem, supplies, model = self.book.problem, self.book.supplies, self.model
        origin = self.networks[part, route.origin]
        target = self.networks[part, route.destination]
        unit = self.units.get(part, MILLI)
        kg = (problem.parts[part].weight_g or 0) / 1000 * unit / MILLI
        lot = supplies.bin(part, route.origin).lots[event]
        column = model.variable(cost=kg * route.cost_per_kg_micro / MICRO)
        node = bisect_left(origin.times, lot.usable)
        if node < origin.unlimited_from:
            origin.outflow[node].append((column, 1.0))
        arrival = bisect_left(target.times, position)
        target.inflow[arrival].append((column, 1.0))
        target.entered[arrival].append((column, WayKind.MOVE, route.index))
        most = self._most_from(part, route.origin)
        if node < origin.unlimited_from and most is not None:
            for lane in route.legs:
                key = (lane.origin, lane.destination)
                if lane.cost_per_move_micro and key not in supplies.undercut:
                    if key not in self.moved:
                        self.moved[key] = model.binary(lane.cost_per_move_micro / MICRO)
                    model.row([(column, 1.0), (self.moved[key], -most)], -INFINITY, 0)

    def _most_from(self, part: str, origin: str) -> float | None:
        """Most units of a part that could leave a point; None where that is without limit."""
        points = self.book.problem.points if origin in self.book.supplies.routes_into else (origin,)
        nets = [net for point in points if (net := self.networks.get((part, point))) is not None]
        if any(net.unlimited_from < len(net.times) for net in nets):
            return None
        return max(1.0, sum(sum(net.lots) + net.hurried for net in nets))

    # ---- rules

    def _fill_job(self, job: Job, done: int | None) -> None:
        """Every need of a job is filled if the job is done (`done`: its binary, None if it is)."""
        for need in job.needs():
            if not need.plentiful:
                self._fill(need, done)

    def _fill(self, need: Need, done: int | None) -> None:
        """sum over parts u of x_u = done; draws of u = quantity_u x_u; lateness of the draws."""
        drawn: dict[str, Way] = {}
        made: list[Way] = []
        for way in need.ways:
            if way.kind == WayKind.MAKE:
                made.append(way)
            else:
                drawn.setdefault(way.used, way)
        point = need.job.task.build.point
        if done is None and not made and self._always_in_time(need, drawn, point):
            return
        if made and drawn and need.quantity_milli > self._step(need.part):
            return  # may be part made, part drawn: left out, which only lowers the bound
        single = len(drawn) + len(made) == 1
        terms: list[tuple[int, float]] = []
        choices: list[tuple[Way, int | None]] = []
        for way in [*drawn.values(), *made]:
            extra = self._alternate_cost(need, way)
            if single:
                pick = done
                if extra:
                    self.model.offset += extra if done is None else 0.0
            else:
                pick = self.model.binary(extra)
                terms.append((pick, 1.0))
            choices.append((way, pick))
        if not single:
            self._exactly(terms, done)
        self.chosen[need.index] = choices
        late_terms: list[tuple[int, float]] = []
        classes: defaultdict[float, list[tuple[int, float]]] = defaultdict(list)
        for way, pick in choices:
            if way.job is not None:
                self._fill_job(way.job, pick)
            else:
                self._draw(need, way, pick, late_terms, classes)
        self._latest_counts(need, late_terms, classes)

    def _exactly(self, terms: list[tuple[int, float]], done: int | None) -> None:
        if done is None:
            self.model.row(terms, 1, 1)
        else:
            self.model.row([*terms, (done, -1.0)], 0, 0)

    def _step(self, part: str) -> int:
        return self.book.problem.parts[part].step_milli

    def _alternate_cost(self, need: Need, way: Way) -> float:
        if way.used == need.part:
            return 0.0
        rows = self.book.problem.alternates[need.part]
        each = next(a.extra_cost_micro for a in rows if a.alternate == way.used)
        return each * way.quantity_milli / MILLI / MICRO

    def _always_in_time(self, need: Need, drawn: dict[str, Way], point: str) -> bool:
        """Whether the part itself is unlimited by the time that costs nothing."""
        if need.part not in drawn:
            return False
        net = self.networks[need.part, point]
        first = net.unlimited_from
        return first < len(net.times) and self._cost_at(need, net.times[first]) <= 0.0

    def _cost_at(self, need: Need, position: int) -> float:
        """Cost above the build's base if a need is filled at a position."""
        task = need.job.task
        if self.price is not None:
            return max(0.0, self.price(need, position) - self.base[task.index])
        cost = float(task.rate) * max(0, position + need.tail - task.due)
        return max(0.0, cost - self.base[task.index])

    def _draw(
        self,
        need: Need,
        way: Way,
        pick: int | None,
        late_terms: list[tuple[int, float]],
        classes: defaultdict[float, list[tuple[int, float]]],
    ) -> None:
        """sum of draws over nodes = quantity x pick, from the last node that costs nothing on."""
        net = self.networks[way.used, need.job.task.build.point]
        count = way.quantity_milli // self.units[way.used]
        costs = [self._cost_at(need, t) for t in net.times]
        free = bisect_right(costs, 0.0) - 1
        terms: list[tuple[int, float]] = []
        for node in range(max(free, 0), len(net.times)):
            column = self.model.variable(0, count, integer=True)
            net.outflow[node].append((column, 1.0))
            terms.append((column, 1.0))
            self.draws[need.index].append((column, net.times[node]))
            if costs[node] > 0:
                late_terms.append((column, costs[node] / count))
                classes[costs[node]].append((column, 1.0 / count))
            if node >= net.unlimited_from:
                break
        if pick is None:
            self.model.row(terms, count, count)
        else:
            self.model.row([*terms, (pick, -float(count))], 0, 0)

    def _latest_counts(
        self,
        need: Need,
        late_terms: list[tuple[int, float]],
        classes: defaultdict[float, list[tuple[int, float]]],
    ) -> None:
        """A build waits for the last unit of a need.

        late >= base + sum of costs x shares; where a need has several units also, with z_c saying
        that class c is the latest drawn: shares of classes >= c <= sum of z over classes >= c,
        sum z <= 1, late >= base + sum of c z_c.
        """
        if not late_terms:
            return
        task = need.job.task
        late, base = self.late[task.index], self.base[task.index]
        pieces = need.quantity_milli // self.units.get(need.part, need.quantity_milli)
        if pieces <= 1 or len(classes) == 0:
            terms = [(late, 1.0), *((c, -v) for c, v in late_terms)]
            self.model.row(terms, base, INFINITY)
            return
        ordered = sorted(classes, reverse=True)
        marks = {cost: self.model.binary() for cost in ordered}
        above: list[tuple[int, float]] = []
        flags: list[tuple[int, float]] = []
        for cost in ordered:
            above += classes[cost]
            flags.append((marks[cost], -1.0))
            self.model.row([*above, *flags], -INFINITY, 0)
        self.model.row([(mark, 1.0) for mark in marks.values()], -INFINITY, 1)
        self.model.row([(late, 1.0), *((marks[cost], -cost) for cost in ordered)], base, INFINITY)

    def _ship_lines(self) -> None:
        """Every parts-order line is filled by one kind of part, from one point unless it may be
        split; relaxed: an order pays a point's delivery once, whatever the days."""
        boxes: dict[tuple[str, str], int] = {}
        for line in self.book.lines:
            self._ship_line(line, boxes)

    def _ship_line(self, line: Line, boxes: dict[tuple[str, str], int]) -> None:
        model, row = self.model, line.row
        as_of = self.book.problem.as_of
        late = model.variable(cost=line.cost_per_late_day)
        kinds = {outlet.used: outlet for outlet in line.outlets}
        if not kinds:
            return
        picks: dict[str, int | None] = dict.fromkeys(kinds)
        if len(kinds) > 1:
            for used, outlet in kinds.items():
                picks[used] = model.binary(outlet.extra_cost)
            model.row([(p, 1.0) for p in picks.values() if p is not None], 1, 1)
        marks: dict[int, int] = {}
        sums: defaultdict[str, list[tuple[int, float]]] = defaultdict(list)
        by_class: defaultdict[int, list[tuple[int, float]]] = defaultdict(list)
        by_point: defaultdict[str, list[tuple[int, float]]] = defaultdict(list)
        done: set[tuple[str, str]] = set()
        for outlet in line.outlets:
            used, point = outlet.used, outlet.bin.point
            if (used, point) in done:
                continue
            done.add((used, point))
            net = self.networks[used, point]
            unit = self.units[used]
            count = outlet.quantity_milli // unit
            axis = self.book.problem.axes[point]
            days = []
            for time in net.times:
                ships = axis.start_moment(time).date()
                days.append(line.late_days(ships, carrier_day(ships, outlet.delivery.days), as_of))
            free = bisect_right(days, 0) - 1
            for node in range(max(free, 0), len(net.times)):
                column = model.variable(0, count, integer=True, cost=outlet.cost_per_milli * unit)
                net.outflow[node].append((column, 1.0))
                sums[used].append((column, 1.0))
                by_point[point].append((column, 1.0 / count))
                if days[node] > 0:
                    by_class[days[node]].append((column, 1.0 / count))
                if node >= net.unlimited_from:
                    break
        for used, outlet in kinds.items():
            count = outlet.quantity_milli // self.units[used]
            pick = picks[used]
            if pick is None:
                model.row(sums[used], count, count)
            else:
                model.row([*sums[used], (pick, -float(count))], 0, 0)
        above: list[tuple[int, float]] = []
        flags: list[tuple[int, float]] = []
        for days_late in sorted(by_class, reverse=True):
            marks[days_late] = model.binary()
            above += by_class[days_late]
            flags.append((marks[days_late], -1.0))
            model.row([*above, *flags], -INFINITY, 0)
        if marks:
            model.row([(mark, 1.0) for mark in marks.values()], -INFINITY, 1)
            model.row([(late, 1.0), *((mark, -float(d)) for d, mark in marks.items())], 0, INFINITY)
        self._from_points(line, by_point, boxes, row.split)

    def _from_points(
        self,
        line: Line,
        by_point: defaultdict[str, list[tuple[int, float]]],
        boxes: dict[tuple[str, str], int],
        split: bool,
    ) -> None:
        model = self.model
        ships = []
        cost = {o.bin.point: o.delivery.cost_micro / MICRO for o in line.outlets}
        for point, terms in by_point.items():
            if cost[point] and (line.row.order, point) not in boxes:
                boxes[line.row.order, point] = model.binary(cost[point])
            box = boxes.get((line.row.order, point))
            if split:
                if box is not None:
                    model.row([*terms, (box, -1.0)], -INFINITY, 0)
                continue
            here = model.binary()
            ships.append((here, 1.0))
            model.row([*terms, (here, -1.0)], -INFINITY, 0)
            if box is not None:
                model.row([(here, 1.0), (box, -1.0)], -INFINITY, 0)
        if ships:
            model.row(ships, 1, 1)

    def _balance(self) -> None:
        """At each node: carried in + lots + moved in + expedited = drawn + moved out + carried."""
        for net in self.networks.values():
            for node in range(min(len(net.times), net.unlimited_from)):
                terms = [(net.carried[node], -1.0), *net.inflow[node]]
                terms += [(column, -value) for column, value in net.outflow[node]]
                if node:
                    terms.append((net.carried[node - 1], 1.0))
                self.model.row(terms, -net.lots[node], -net.lots[node])

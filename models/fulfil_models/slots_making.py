"""Making the variables of the whole model: which choices does a compiled book leave open?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from fulfil_models.book import Need, WayKind
from fulfil_models.compiled import (
    CJob,
    CLine,
    CNeed,
    Compiled,
    COperation,
    COutlet,
    CWay,
    all_jobs,
    all_needs,
)
from fulfil_models.slots_variables import (
    Filling,
    LineFilling,
    LineUse,
    Offer,
    Order,
    OrderKey,
    Parcel,
    Units,
    Use,
    Variables,
)

if TYPE_CHECKING:
    from ortools.sat.python import cp_model


def make_variables(model: cp_model.CpModel, compiled: Compiled) -> Variables:
    """All variables of a book's whole model, put into `model`."""
    return _Maker(model, compiled).variables()


class _Maker:
    def __init__(self, model: cp_model.CpModel, compiled: Compiled) -> None:
        self.model = model
        self.compiled = compiled
        self.v = Variables(compiled)
        self.horizon = latest_start(compiled)
        self.first_departures = first_departures(compiled)

    def variables(self) -> Variables:
        for task in self.compiled.tasks:
            for job in all_jobs(task.root):
                self._job(job)
        for task in self.compiled.tasks:
            for job in all_jobs(task.root):
                for need in all_needs(job):
                    self.v.fillings.append(self._filling(need, self.v.done.get(job.job.name)))
        for line in self.compiled.lines:
            self.v.lines.append(self._line(line))
        for key, drawn in self.v.hurried().items():
            self.v.orders.append(self._order(key, drawn))
        for task in self.compiled.tasks:
            name = f"late[{task.task.build.build}]"
            self.v.late.append((task, self.model.new_int_var(0, self.horizon * 2, name)))
        return self.v

    # ---- work

    def _job(self, job: CJob) -> None:
        name = job.job.name
        if job.job.parent is not None:
            self.v.done[name] = self.model.new_bool_var(f"made[{name}]")
        self.v.starts[name] = [self._start(name, operation) for operation in job.operations]

    def _start(self, name: str, operation: COperation) -> cp_model.IntVar:
        number = operation.operation.number
        earliest, latest = 0, self.horizon
        if operation.pinned is not None:
            earliest = latest = operation.pinned
        start = self.model.new_int_var(earliest, latest, f"start[{name}/{number}]")
        if operation.duration:
            label = f"run[{name}/{number}]"
            done = self.v.done.get(name)
            run = (
                self.model.new_fixed_size_interval_var(start, operation.duration, label)
                if done is None
                else self.model.new_optional_fixed_size_interval_var(
                    start, operation.duration, done, label
                )
            )
            self.v.runs[operation.centre].append((run, operation.stations))
        return start

    def _moment(self, need: Need) -> cp_model.IntVar | int:
        """Start of the operation that a need is for."""
        while need.place < 0:
            parent = need.job.parent
            if parent is None:
                return 0
            need = parent
        return self.v.starts[need.job.name][need.place]

    # ---- needs

    def _filling(self, need: CNeed, done: cp_model.IntVar | None) -> Filling:
        by_part: dict[str, list[CWay]] = {}
        for way in single_ways(need):
            if way.job is None:
                by_part.setdefault(way.way.used, []).append(way)
        return Filling(
            need,
            done,
            self._moment(need.need),
            tuple(way for way in single_ways(need) if way.job is not None),
            tuple(self._use(need, used, ways) for used, ways in by_part.items()),
        )

    def _use(self, need: CNeed, used: str, ways: list[CWay]) -> Use:
        pick = self.model.new_bool_var(f"uses[{need.need.index}/{used}]")
        offers = [offer for way in ways for offer in self._offers(need, way)]
        return Use(used, ways[0].quantity, pick, tuple(offers))

    def _offers(self, need: CNeed, way: CWay) -> Iterator[Offer]:
        if way.kind == WayKind.ADVANCE:
            yield self._offer(need, way, way.event, -1, way.usable)
        elif way.kind == WayKind.MOVE:
            for event, day in enumerate(way.days):
                for departure in self.first_departures[way.route]:
                    if way.departures[departure] >= day:
                        yield self._offer(need, way, event, departure, way.arrivals[departure])
                        self._move(way.route, departure)
        else:
            for event, usable in enumerate(way.times):
                yield self._offer(need, way, event, -1, usable)

    def _offer(self, need: CNeed, way: CWay, event: int, departure: int, usable: int) -> Offer:
        label = f"draw[{need.need.index}/{way.way.used}/{way.bin}/{event}/{departure}]"
        units = self._units(way.way.used, way.quantity, label)
        return Offer(need, way, event, departure, usable, units)

    def _units(self, part: str, most_milli: int, label: str) -> Units:
        step_milli = self.compiled.book.problem.parts[part].step_milli
        steps = self.model.new_int_var(0, most_milli // step_milli, label)
        return Units(step_milli, most_milli, steps, self.model.new_bool_var(label + "?"))

    def _move(self, route: int, departure: int) -> None:
        key = (route, departure)
        costs = self.compiled.book.supplies.routes[route].cost_per_move_micro
        if costs and key not in self.v.moved:
            self.v.moved[key] = self.model.new_bool_var(f"move[{key}]")

    # ---- parts orders

    def _line(self, line: CLine) -> LineFilling:
        row = line.line.row
        latest = max((days for outlet in line.outlets for days in outlet.late), default=0)
        late = self.model.new_int_var(0, latest, f"late[{row.order}/{row.line}]")
        parcels = [
            self._parcel(line, outlet, number, event, lot)
            for number, outlet in enumerate(line.outlets)
            for event in outlet.events
            for lot in (range(outlet.last_lot[event] + 1) if outlet.route >= 0 else (event,))
        ]
        quantities = {parcel.outlet.used: parcel.outlet.quantity for parcel in parcels}
        uses = [
            LineUse(
                used,
                quantity,
                self.model.new_bool_var(f"ships[{row.order}/{row.line}/{used}]"),
                tuple(parcel for parcel in parcels if parcel.outlet.used == used),
            )
            for used, quantity in quantities.items()
        ]
        points = dict.fromkeys(parcel.outlet.point for parcel in parcels)
        origins = {
            point: self.model.new_bool_var(f"from[{row.order}/{row.line}/{point}]")
            for point in points
            if not row.split
        }
        filling = LineFilling(line, late, tuple(parcels), tuple(uses), origins)
        for parcel in parcels:
            key = filling.box(parcel)
            if filling.delivery(parcel).cost_micro and key not in self.v.boxes:
                self.v.boxes[key] = self.model.new_bool_var(f"box[{key}]")
        return filling

    def _parcel(self, line: CLine, outlet: COutlet, number: int, event: int, lot: int) -> Parcel:
        row = line.line.row
        label = f"ship[{row.order}/{row.line}/{number}/{event}/{lot}]"
        if outlet.route >= 0:
            self._move(outlet.route, outlet.departures[event])
        return Parcel(outlet, number, event, lot, self._units(outlet.used, outlet.quantity, label))

    # ---- expedited orders

    def _order(self, key: OrderKey, drawn: list[Units]) -> Order:
        index, event, advanced = key
        lot = self.compiled.book.supplies.bins[index].lots[event]
        source = lot.source
        assert source is not None
        label = f"[{index}/{event}/{advanced}]"
        most = max(sum(units.most_milli for units in drawn), source.minimum_milli)
        most += source.multiple_milli
        ordered = self.model.new_int_var(0, most, "order" + label)
        placed = self.model.new_bool_var("orders" + label)
        times = None
        if source.multiple_milli:
            times = self.model.new_int_var(0, most // source.multiple_milli, "times" + label)
        return Order(lot, tuple(drawn), ordered, placed, times)


def single_ways(need: CNeed) -> list[CWay]:
    """Ways of a need, mixed ones taken apart; each once."""
    ways = [part for way in need.ways for part in (way.parts or (way,))]
    return list({id(way): way for way in ways}.values())


def latest_start(compiled: Compiled) -> int:
    """No plan in which nothing could start earlier has an operation that starts after this cell:
    the last lot that is short, the moves it may wait for, and all work one after another."""
    jobs = [job for task in compiled.tasks for job in all_jobs(task.root)]
    operations = [operation for job in jobs for operation in job.operations]
    work = sum(operation.duration for operation in operations)
    last = max((t for times in compiled.times for t in times[-1:]), default=0)
    arrivals = max((cells[0] for cells in compiled.arrivals if cells), default=0)
    earliest = max((task.earliest for task in compiled.tasks), default=0)
    pinned = max((operation.pinned or 0 for operation in operations), default=0)
    down = max(
        (end // compiled.cell for centre in compiled.book.centres for _, end, _ in centre.gone),
        default=0,
    )
    return max(last, earliest, pinned, down) + 2 * arrivals + work + 1


def first_departures(compiled: Compiled) -> list[list[int]]:
    """By route: departures that are the first after some lot at its origin. Sharing a later one
    can always be brought forward to one of these."""
    supplies = compiled.book.supplies
    found: list[set[int]] = [set() for _ in supplies.routes]
    for there in supplies.bins:
        for route in supplies.routes:
            if route.origin == there.point:
                for day in there.days:
                    departure = route.first_departure(day)
                    if departure < len(route.departures):
                        found[route.index].add(departure)
    return [sorted(departures) for departures in found]

"""Putting one build, or one parts-order line, into a plan that stands, and taking it out again.

What is drawn is kept as a balance for every bin: `slack[bin][k]` is what is left of the supply of
its first k + 1 events after every draw that falls before event k + 1. A need at a moment may draw
so much as the least slack from then on: then, and only then, some sharing-out of lots serves all.

Every change is logged, so that a move which does not pay is rolled back whole.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from typing import Any

from fulfil_models import stations
from fulfil_models.book import WayKind
from fulfil_models.compiled import (
    MIXED,
    NEVER,
    CJob,
    CLine,
    CNeed,
    Compiled,
    COperation,
    COutlet,
    CTask,
    CWay,
    all_jobs,
    purchase_cost,
)

OWN, MOVE, ADVANCE, EXPEDITE, MAKE = (int(kind) for kind in WayKind)

_ATTEMPTS = 80

Advice = tuple[str, dict[tuple[int, int], int]]
"""part to use, and how much of it by (kind of way, route)"""


@dataclass(slots=True)
class Draw:
    need: CNeed
    way: CWay
    event: int
    quantity: int
    departure: int = -1


@dataclass(slots=True)
class Placement:
    """Where a build stands: the starts of its jobs' operations, and what its needs draw on."""

    starts: list[tuple[CJob, list[int]]] = field(default_factory=list)
    loads: list[tuple[int, int, int, int]] = field(default_factory=list)
    draws: list[Draw] = field(default_factory=list)
    finish: int = 0
    cost: float = 0.0
    """lateness and the costs that are its own"""


@dataclass(slots=True)
class LinePlacement:
    draws: list[tuple[int, int, int]] = field(default_factory=list)
    """(outlet, event, quantity)"""
    cost: float = 0.0


class State:
    """A partial plan: the load of every work centre, the balance of every bin, who stands where."""

    def __init__(self, book: Compiled) -> None:
        self.book = book
        self.layers = [stations.empty(c.stations) for c in book.book.centres]
        for index, centre in enumerate(book.book.centres):
            for start, end, out in centre.down:
                self.layers[index] = stations.add(
                    self.layers[index],
                    start // book.cell,
                    (end - start) // book.cell,
                    min(out, centre.stations),
                )
        self._load_pinned()
        self.slack = [list(row) for row in book.supply]
        self.moves: dict[tuple[int, int], int] = {}
        self.boxes: dict[tuple[str, str, int], int] = {}
        self.bought: dict[tuple[int, int], int] = {}
        self.shared_cost = 0.0
        """departures, boxes and expedited orders, which several needs may share"""
        self.placed: list[Placement | None] = [None] * len(book.tasks)
        self.lines: list[LinePlacement | None] = [None] * len(book.lines)
        self.log: list[tuple[Any, ...]] = []
        self.advised: dict[int, Advice] = {}
        """by need: what a model advises; kept to where it can be"""

    def _load_pinned(self) -> None:
        """Started and frozen operations hold their stations whatever is moved around them."""
        for task in self.book.tasks:
            for job in all_jobs(task.root):
                for operation in job.operations:
                    if operation.pinned is not None and operation.duration:
                        self.layers[operation.centre] = stations.add(
                            self.layers[operation.centre],
                            operation.pinned,
                            operation.duration,
                            operation.stations,
                        )

    # ---- undoing

    def rollback(self, mark: int) -> None:
        log = self.log
        while len(log) > mark:
            entry = log.pop()
            what = entry[0]
            if what == 0:
                self.slack[entry[1]] = entry[2]
            elif what == 1:
                self.layers[entry[1]] = entry[2]
            elif what == 2:
                entry[1][entry[2]] = entry[3]
                self.shared_cost = entry[4]

    def forget(self) -> None:
        """Make everything so far final."""
        self.log.clear()

    def _set_slack(self, index: int, event: int, quantity: int) -> None:
        old = self.slack[index]
        self.log.append((0, index, old))
        self.slack[index] = old[:event] + [left - quantity for left in old[event:]]

    def _load(self, centre: int, start: int, duration: int, count: int) -> None:
        old = self.layers[centre]
        self.log.append((1, centre, old))
        self.layers[centre] = stations.add(old, start, duration, count)

    def load(self, operation: COperation, start: int, placement: Placement) -> None:
        """Put an operation on its stations."""
        self._load(operation.centre, start, operation.duration, operation.stations)
        placement.loads.append((operation.centre, start, operation.duration, operation.stations))

    def _unload(self, centre: int, start: int, duration: int, count: int) -> None:
        old = self.layers[centre]
        self.log.append((1, centre, old))
        self.layers[centre] = stations.remove(old, start, duration, count)

    def _share(self, table: dict[Any, int], key: Any, count: int, cost: float) -> None:
        old = table.get(key, 0)
        self.log.append((2, table, key, old, self.shared_cost))
        table[key] = old + count
        self.shared_cost += cost

    # ---- what a need can get

    def _first_event(self, index: int, quantity: int) -> int:
        """First event of a bin from which on so much is left; the number of events if none."""
        slack = self.slack[index]
        event = len(slack)
        while event and slack[event - 1] >= quantity:
            event -= 1
        return event

    def ready(self, way: CWay) -> int:
        """First cell at which a way could fill its need; NEVER if it cannot."""
        kind = way.kind
        if kind == MAKE:
            assert way.job is not None
            return self._job_ready(way.job)
        if kind == ADVANCE:
            return way.usable if self._left_to_advance(way) >= way.quantity else NEVER
        if kind == MIXED:
            return self._mixed_ready(way)
        event = self._first_event(way.bin, way.quantity)
        return way.times[event] if event < len(way.times) else NEVER

    def _left_to_advance(self, way: CWay) -> int:
        left = way.limit - self.bought.get((way.bin, way.event), 0)
        return min(left, min(self.slack[way.bin][way.event :]))

    def _profile(self, way: CWay) -> list[tuple[int, int]]:
        """(cell, units that the way could bring by then), latest first."""
        if way.kind == ADVANCE:
            left = self._left_to_advance(way)
            return [(way.usable, left)] if left > 0 else []
        slack, times = self.slack[way.bin], way.times
        rows = []
        least = NEVER
        for event in range(len(slack) - 1, -1, -1):
            if slack[event] < least:
                least = slack[event]
                if least <= 0:
                    break
            rows.append((times[event], least))
        return rows

    def _offers(self, way: CWay) -> list[tuple[int, int, int]]:
        """(cell, which part of a mixed way, units it could bring by then) in order of time."""
        offers = [
            (at, number, count)
            for number, part in enumerate(way.parts)
            for at, count in self._profile(part)
        ]
        offers.sort()
        return offers

    def _mixed_ready(self, way: CWay) -> int:
        """First cell at which all parts of a mixed way together bring what is needed."""
        counts = [0] * len(way.parts)
        total = 0
        for at, number, count in self._offers(way):
            total += count - counts[number]
            counts[number] = count
            if total >= way.quantity:
                return at
        return NEVER

    def _mixed_options(self, way: CWay) -> list[tuple[int, float]]:
        """(cell, cost) of a mixed way, each later one cheaper."""
        counts = [0] * len(way.parts)
        total = 0
        options: list[tuple[int, float]] = []
        for at, number, count in self._offers(way):
            total += count - counts[number]
            counts[number] = count
            if total >= way.quantity and at < NEVER:
                left, cost = way.quantity, 0.0
                for part, most in zip(way.parts, counts, strict=True):
                    taken = min(left, most)
                    if taken > 0:
                        left -= taken
                        cost += (part.cost + part.shared_cost) * taken / way.quantity
                if not options or cost < options[-1][1] - 1e-9:
                    options.append((at, cost))
                    if not cost:
                        break
        return options

    def _job_ready(self, job: CJob) -> int:
        """First cell at which a job could be done if no station were busy."""
        at = job.earliest
        for need in job.loose:
            at = max(at, self._need_ready(need))
        for operation in job.operations:
            if operation.pinned is not None:
                at = operation.pinned
            for need in operation.needs:
                at = max(at, self._need_ready(need))
            at += operation.duration
        return min(at, NEVER)

    def _need_ready(self, need: CNeed) -> int:
        return min((self.ready(way) for way in need.ways), default=NEVER)

    def _ways(self, need: CNeed) -> tuple[CWay, ...]:
        """Ways to consider: those advised if they can serve at all, else every one."""
        advised = self.advised.get(need.need.index)
        if advised is None:
            return need.ways
        used, amounts = advised
        kept = tuple(
            way
            for way in need.ways
            if way.way.used == used
            and (way.kind == MIXED or (way.kind, way.route) in amounts)
            and (way.kind != OWN or len(amounts) == 1)
            and self.ready(way) < NEVER
        )
        return kept or need.ways

    def _pick(self, need: CNeed, wanted: int, rate: float) -> int:
        """When to expect a need, weighing what the ways cost against the lateness they bring."""
        if need.simple:
            return self.ready(need.ways[0])
        best, best_cost = NEVER, float("inf")
        for way in self._ways(need):
            if way.kind == MIXED:
                options = self._mixed_options(way)
            else:
                options = [(self.ready(way), way.cost + way.shared_cost)]
            for at, extra in options:
                cost = extra + (rate * (at - wanted) if at > wanted else 0.0)
                if at < NEVER and cost < best_cost:
                    best, best_cost = at, cost
        return best

    # ---- placing a build

    def place(
        self, task: CTask, justify: bool, not_before: dict[int, int] | None = None
    ) -> Placement | None:
        """Put a build in at the first free slots, with what is left of the supplies.

        With `justify` it is then pushed right, to its due moment or its own finish, so that it
        leaves early stations and early lots to others. None where its parts never come.
        `not_before`: cells before which operations, by place, do not start.
        """
        mark = len(self.log)
        lower: dict[int, int] = dict(not_before or {})
        for _ in range(_ATTEMPTS):
            placement = Placement()
            blocked = self._attempt(task, lower, justify, placement)
            if blocked is None:
                late = placement.finish - task.due
                placement.cost += task.rate * late if late > 0 else 0.0
                self.placed[task.index] = placement
                return placement
            self.rollback(mark)
            place, at = blocked
            if at >= NEVER:
                return None
            if lower.get(place, 0) >= at:
                at = lower[place] + 1
            lower[place] = at
        return None

    def _attempt(
        self, task: CTask, lower: dict[int, int], justify: bool, placement: Placement
    ) -> tuple[int, int] | None:
        """One attempt; the operation that is blocked and until when, None if it stands."""
        root = task.root
        operations = root.operations
        forced = 0
        ready: list[int] = []
        for operation in operations:
            if operation.pinned is None:
                for need in operation.needs:
                    at = self._pick(need, task.due - need.tail, task.rate)
                    ready.append(at)
                    forced = max(forced, at + need.tail - task.due)
        if forced >= NEVER // 2:
            return 0, NEVER
        starts: list[int] = []
        at = root.earliest
        number = 0
        for place, operation in enumerate(operations):
            if operation.pinned is not None:
                starts.append(operation.pinned)
                at = operation.pinned + operation.duration
                continue
            at = max(at, lower.get(place, 0))
            for need in operation.needs:
                known = ready[number]
                number += 1
                if known > at and not need.simple and forced:
                    wanted = max(at, task.due + forced - need.tail)
                    known = self._pick(need, wanted, task.rate)
                if known > at:
                    at = known
            at = stations.first_fit(
                self.layers[operation.centre], at, operation.duration, operation.stations
            )
            starts.append(at)
            at += operation.duration
        finish = at
        if justify and operations:
            end = max(finish, task.due)
            for place in range(len(operations) - 1, -1, -1):
                operation = operations[place]
                if operation.pinned is None:
                    starts[place] = stations.last_fit(
                        self.layers[operation.centre],
                        starts[place],
                        end,
                        operation.duration,
                        operation.stations,
                    )
                end = starts[place]
            finish = starts[-1] + operations[-1].duration
        placement.finish = finish
        placement.starts.append((root, starts))
        for operation, start in zip(operations, starts, strict=True):
            if operation.pinned is None and operation.duration:
                self.load(operation, start, placement)
        for place in range(len(operations) - 1, -1, -1):
            for need in operations[place].needs:
                until = self._fill(need, starts[place], placement)
                if until is not None:
                    return place, until
        for need in root.loose:
            until = self._fill(need, finish, placement)
            if until is not None:
                return 0, until
        return None

    def _fill(self, need: CNeed, at: int, placement: Placement) -> int | None:
        """Fill a need at a moment by the cheapest way; until when it must wait, None if filled."""
        if need.simple:
            way = need.ways[0]
            event = bisect_right(way.times, at) - 1
            if event >= 0 and min(self.slack[way.bin][event:]) >= way.quantity:
                self._set_slack(way.bin, event, way.quantity)
                placement.draws.append(Draw(need, way, event, way.quantity))
                return None
            return max(self.ready(way), at + 1)
        until = NEVER
        for way in self._ways(need):
            if way.kind == MAKE:
                failed = self._fill_by_job(need, way, at, placement)
                if failed is None:
                    return None
                until = min(until, failed)
            elif way.kind == MIXED:
                if self._draw_mixed(need, way, at, placement):
                    return None
                until = min(until, max(self._mixed_ready(way), at + 1))
            elif self._draw(need, way, at, placement, way.quantity):
                return None
            else:
                until = min(until, max(self.ready(way), at + 1))
        return until

    def _draw_mixed(self, need: CNeed, way: CWay, at: int, placement: Placement) -> bool:
        """Put a need together from what its ways have at a moment, the cheapest first."""
        mark, draws, cost = len(self.log), len(placement.draws), placement.cost
        left = way.quantity
        advised = self.advised.get(need.need.index)
        for part in way.parts:
            most = left
            if advised is not None and advised[0] == part.way.used:
                most = min(left, advised[1].get((part.kind, part.route), 0))
            count = min(most, self._there_at(part, at))
            if count > 0 and self._draw(need, part, at, placement, count):
                left -= count
        if left and advised is not None:
            for part in way.parts:
                count = min(left, self._there_at(part, at))
                if count > 0 and self._draw(need, part, at, placement, count):
                    left -= count
        if left:
            self.rollback(mark)
            del placement.draws[draws:]
            placement.cost = cost
        return not left

    def _there_at(self, way: CWay, at: int) -> int:
        """Units that a way could bring by a moment."""
        if way.kind == ADVANCE:
            return self._left_to_advance(way) if way.usable <= at else 0
        if way.kind == MOVE:
            departure = bisect_right(way.arrivals, at) - 1
            if departure < 0:
                return 0
            event = bisect_right(way.days, way.departures[departure]) - 1
        else:
            event = bisect_right(way.times, at) - 1
        return min(self.slack[way.bin][event:]) if event >= 0 else 0

    def _draw(self, need: CNeed, way: CWay, at: int, placement: Placement, quantity: int) -> bool:
        if way.kind == MOVE:
            return self._draw_moved(need, way, at, placement, quantity)
        if way.kind == ADVANCE:
            if way.usable > at or self._left_to_advance(way) < quantity:
                return False
            event = way.event
        else:
            event = bisect_right(way.times, at) - 1
        if event < 0 or min(self.slack[way.bin][event:]) < quantity:
            return False
        self.draw_exactly(need, way, event, quantity, -1, placement)
        return True

    def draw_exactly(
        self,
        need: CNeed,
        way: CWay,
        event: int,
        quantity: int,
        departure: int,
        placement: Placement,
    ) -> None:
        """Draw so much at an event of a way's bin, on a departure if it is moved."""
        self._set_slack(way.bin, event, quantity)
        placement.cost += way.cost * quantity / way.quantity
        if departure >= 0:
            key = (way.route, departure)
            self._share(self.moves, key, 1, 0.0 if self.moves.get(key, 0) else way.shared_cost)
        elif way.source is not None:
            key = (way.bin, way.event)
            taken = self.bought.get(key, 0)
            cost = purchase_cost(way.source, taken + quantity) - purchase_cost(way.source, taken)
            self._share(self.bought, key, quantity, cost)
        placement.draws.append(Draw(need, way, event, quantity, departure))

    def _draw_moved(
        self, need: CNeed, way: CWay, at: int, placement: Placement, quantity: int
    ) -> bool:
        """Draw at another point, on a departure that is used already where there is one."""
        last = bisect_right(way.arrivals, at) - 1
        if last < 0:
            return False
        first = self._first_event(way.bin, quantity)
        chosen = -1
        for route, departure in self.moves:
            if route == way.route and departure <= last and self.moves[route, departure] > 0:
                event = bisect_right(way.days, way.departures[departure]) - 1
                if event >= first:
                    chosen = max(chosen, departure)
        if chosen < 0:
            chosen = last
        event = bisect_right(way.days, way.departures[chosen]) - 1
        if event < first or event < 0:
            return False
        self.draw_exactly(need, way, event, quantity, chosen, placement)
        return True

    def _fill_by_job(self, need: CNeed, way: CWay, at: int, placement: Placement) -> int | None:
        """Make what is needed, as late as it can be; until when to wait, None if it stands."""
        job = way.job
        assert job is not None
        mark, draws, loads, jobs = (
            len(self.log),
            len(placement.draws),
            len(placement.loads),
            len(placement.starts),
        )
        cost = placement.cost
        until = None
        starts = self._latest(job, at) or self._soonest(job)
        if starts is None:
            return NEVER
        end = starts[-1] + job.operations[-1].duration if job.operations else at
        if end > at:
            return end
        placement.starts.append((job, starts))
        placement.draws.append(Draw(need, way, -1, way.quantity))
        for operation, start in zip(job.operations, starts, strict=True):
            if operation.pinned is None and operation.duration:
                self.load(operation, start, placement)
        for own in job.loose:
            until = until or self._fill(own, at, placement)
        for operation, start in zip(job.operations, starts, strict=True):
            for own in operation.needs:
                if until is None:
                    until = self._fill(own, start, placement)
                    if until is not None:
                        until = max(at + 1, until + at - start)
        if until is not None:
            self.rollback(mark)
            del placement.draws[draws:], placement.loads[loads:], placement.starts[jobs:]
            placement.cost = cost
        return until

    def _latest(self, job: CJob, at: int) -> list[int] | None:
        """Latest starts with which a job ends by a moment and has its parts; None if there are
        none without waiting."""
        starts = [0] * len(job.operations)
        end = at
        for place in range(len(job.operations) - 1, -1, -1):
            operation = job.operations[place]
            if operation.pinned is not None:
                starts[place] = operation.pinned
                end = operation.pinned
                continue
            start = stations.last_fit(
                self.layers[operation.centre],
                job.earliest,
                end,
                operation.duration,
                operation.stations,
            )
            if start < 0 or any(self._need_ready(need) > start for need in operation.needs):
                return None
            starts[place] = start
            end = start
        return starts

    def _soonest(self, job: CJob) -> list[int] | None:
        """First starts at which a job finds free stations and its parts."""
        starts = []
        at = job.earliest
        for operation in job.operations:
            if operation.pinned is not None:
                starts.append(operation.pinned)
                at = operation.pinned + operation.duration
                continue
            for need in operation.needs:
                at = max(at, self._need_ready(need))
            if at >= NEVER:
                return None
            at = stations.first_fit(
                self.layers[operation.centre], at, operation.duration, operation.stations
            )
            starts.append(at)
            at += operation.duration
        return starts

    def remove(self, task: CTask) -> None:
        """Take a build out."""
        placement = self.placed[task.index]
        assert placement is not None
        for load in placement.loads:
            self._unload(*load)
        for draw in placement.draws:
            way = draw.way
            if way.kind == MAKE:
                continue
            self._set_slack(way.bin, draw.event, -draw.quantity)
            if way.kind == MOVE:
                key = (way.route, draw.departure)
                last = self.moves[key] == 1
                self._share(self.moves, key, -1, -way.shared_cost if last else 0.0)
            elif way.source is not None:
                bought = (way.bin, way.event)
                taken = self.bought[bought]
                self._share(
                    self.bought,
                    bought,
                    -draw.quantity,
                    purchase_cost(way.source, taken - draw.quantity)
                    - purchase_cost(way.source, taken),
                )
        self.placed[task.index] = None

    # ---- parts orders

    def place_line(self, line: CLine) -> LinePlacement | None:
        """Ship a line from where it costs least, lateness counted; split only if it must be."""
        best: tuple[float, int, int] | None = None
        for number, outlet in enumerate(line.outlets):
            event = self._outlet_event(line, number, outlet.quantity)
            if event < 0:
                continue
            cost = self._outlet_cost(line, number, event, outlet.quantity)
            if best is None or cost < best[0]:
                best = (cost, number, event)
        if best is None or (best[0] > line.day_cost and line.line.row.split):
            split = self._split(line)
            if split is not None and (best is None or split[0] < best[0]):
                return self.commit_line(line, split[1])
        if best is None:
            return None
        cost, number, event = best
        return self.commit_line(line, [(number, event, line.outlets[number].quantity)])

    def _outlet_event(self, line: CLine, number: int, quantity: int) -> int:
        """Event to draw on: the last that is not late, else the first there is; -1 if none."""
        outlet = line.outlets[number]
        if outlet.advanced >= 0:
            return outlet.advanced if self._left_for_outlet(outlet) >= quantity else -1
        first = self._first_event(outlet.bin, quantity)
        if first == len(outlet.late):
            return -1
        event = first
        while event + 1 < len(outlet.late) and outlet.late[event + 1] == 0:
            event += 1
        return event

    def _left_for_outlet(self, outlet: COutlet) -> int:
        """Units of a monthly lot that may still be expedited."""
        left = outlet.limit - self.bought.get((outlet.bin, outlet.advanced), 0)
        return min(left, *self.slack[outlet.bin][outlet.advanced :])

    def _outlet_cost(self, line: CLine, number: int, event: int, quantity: int) -> float:
        outlet = line.outlets[number]
        key = (line.line.row.order, outlet.point, outlet.days[event])
        share = outlet.cost * quantity / outlet.quantity
        box = 0.0 if self.boxes.get(key, 0) else outlet.delivery_cost
        return line.day_cost * outlet.late[event] + share + outlet.cost_per_milli * quantity + box

    def _split(self, line: CLine) -> tuple[float, list[tuple[int, int, int]]] | None:
        """Fill a line piece by piece, the cheapest first, with one kind of part."""
        best: tuple[float, list[tuple[int, int, int]]] | None = None
        for used in dict.fromkeys(outlet.used for outlet in line.outlets):
            numbers = [n for n, o in enumerate(line.outlets) if o.used == used]
            wanted = line.outlets[numbers[0]].quantity
            offers = []
            for number in numbers:
                outlet = line.outlets[number]
                slack = self.slack[outlet.bin]
                least = NEVER if outlet.advanced < 0 else self._left_for_outlet(outlet)
                for event in reversed(outlet.events):
                    least = min(least, slack[event])
                    if least > 0:
                        cost = line.day_cost * outlet.late[event] + outlet.delivery_cost
                        offers.append((cost, outlet.late[event], number, event, least))
            offers.sort()
            pieces: list[tuple[int, int, int]] = []
            taken: dict[int, int] = {}
            for _, _, number, event, least in offers:
                there = line.outlets[number].bin
                step = min(wanted, least - taken.get(there, 0))
                if step > 0:
                    pieces.append((number, event, step))
                    taken[there] = taken.get(there, 0) + step
                    wanted -= step
            if wanted == 0 and pieces:
                worst = max(line.outlets[n].late[e] for n, e, _ in pieces)
                cost = line.day_cost * worst + sum(
                    self._outlet_cost(line, n, e, q) - line.day_cost * line.outlets[n].late[e]
                    for n, e, q in pieces
                )
                if best is None or cost < best[0]:
                    best = (cost, pieces)
        return best

    def commit_line(self, line: CLine, pieces: list[tuple[int, int, int]]) -> LinePlacement:
        placement = LinePlacement(pieces)
        worst = 0
        for number, event, quantity in pieces:
            outlet = line.outlets[number]
            self._set_slack(outlet.bin, event, quantity)
            if outlet.advanced >= 0:
                self._share(self.bought, (outlet.bin, event), quantity, 0.0)
            key = (line.line.row.order, outlet.point, outlet.days[event])
            self._share(self.boxes, key, 1, 0.0 if self.boxes.get(key, 0) else outlet.delivery_cost)
            placement.cost += outlet.cost * quantity / outlet.quantity
            placement.cost += outlet.cost_per_milli * quantity
            worst = max(worst, outlet.late[event])
        placement.cost += worst * line.day_cost
        self.lines[line.index] = placement
        return placement

    def remove_line(self, line: CLine) -> None:
        placement = self.lines[line.index]
        assert placement is not None
        for number, event, quantity in placement.draws:
            outlet = line.outlets[number]
            self._set_slack(outlet.bin, event, -quantity)
            if outlet.advanced >= 0:
                self._share(self.bought, (outlet.bin, event), -quantity, 0.0)
            key = (line.line.row.order, outlet.point, outlet.days[event])
            last = self.boxes[key] == 1
            self._share(self.boxes, key, -1, -outlet.delivery_cost if last else 0.0)
        self.lines[line.index] = None

    # ---- cost

    def cost(self) -> float:
        """Cost of everything that stands, in the currency."""
        return (
            sum(p.cost for p in self.placed if p is not None)
            + sum(p.cost for p in self.lines if p is not None)
            + self.shared_cost
        )

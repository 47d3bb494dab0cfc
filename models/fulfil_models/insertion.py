"""Putting one build into a plan that stands, and taking it out again."""

from __future__ import annotations

from bisect import bisect_right

from fulfil_models import stations
from fulfil_models.compiled import MIXED, NEVER, CJob, CNeed, CTask, CWay, purchase_cost
from fulfil_models.ledger import ADVANCE, MAKE, MOVE, Draw, Placement
from fulfil_models.line_insertion import LineInsertion

_ATTEMPTS = 80


class State(LineInsertion):
    """A partial plan: who stands where, and what is left for others."""

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
                if place and operation.pinned < at:
                    return place, NEVER
                starts.append(operation.pinned)
                at = operation.pinned + operation.duration
                continue
            at = max(at, root.earliest, lower.get(place, 0))
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
        for place in self._filling_order(len(operations)):
            for need in operations[place].needs:
                until = self._fill(need, starts[place], placement)
                if until is not None:
                    return place, until
        for need in root.loose:
            until = self._fill(need, finish, placement)
            if until is not None:
                return 0, until
        return None

    def _filling_order(self, operations: int) -> range:
        """Places of so many operations in the order in which their needs are filled."""
        return range(operations - 1, -1, -1)

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
                until = min(until, self._mixed_until(way, at))
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

    def _mixed_until(self, way: CWay, at: int) -> int:
        """First cell after a moment at which a mixed way that fails then could do.

        Parts of it may count the same units, so it may fail when it seems ready; then only what
        comes next can help.
        """
        ready = self._mixed_ready(way)
        if ready > at:
            return ready
        return min((moment for moment, _, _ in self._offers(way) if moment > at), default=NEVER)

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
                if operation.pinned + operation.duration > end:
                    return None
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
                if operation.pinned < at:
                    return None
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

"""What is left at any moment? The load of every work centre and the balance of every bin.

What is drawn is kept as a balance for every bin: `slack[bin][k]` is what is left of the supply of
its first k + 1 events after every draw that falls before event k + 1. A need at a moment may draw
so much as the least slack from then on: then, and only then, some sharing-out of lots serves all.

Every change is logged, so that a move which does not pay is rolled back whole.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from fulfil_models import stations
from fulfil_models.book import WayKind
from fulfil_models.compiled import (
    MIXED,
    NEVER,
    CJob,
    CNeed,
    Compiled,
    COperation,
    CWay,
    all_jobs,
)

OWN, MOVE, ADVANCE, EXPEDITE, MAKE = (int(kind) for kind in WayKind)


Box = tuple[str, str, int, float]
"""what is delivered together: order, point, ordinal of the day it ships, and what that costs"""
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


class Ledger:
    """A partial plan: the load of every work centre, the balance of every bin, who stands where."""

    def __init__(self, book: Compiled) -> None:
        self.book = book
        self.layers = book.book.gone.layers(book.cell)
        self._load_pinned()
        self.slack = [list(row) for row in book.supply]
        self.moves: dict[tuple[int, int], int] = {}
        self.boxes: dict[Box, int] = {}
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
            if part.kind != ADVANCE
            for at, count in self._profile(part)
        ]
        advances = [(part.event, number) for number, part in enumerate(way.parts) if part.limit]
        if advances:
            offers += self._advanced(way, sorted(advances))
        offers.sort()
        return offers

    def _advanced(self, way: CWay, advances: list[tuple[int, int]]) -> list[tuple[int, int, int]]:
        """What monthly lots that are expedited bring to a mixed way, at every moment at which that
        changes. The units are those of the own bin: what it brings itself is not counted twice."""
        index = way.parts[advances[0][1]].bin
        slack, times = self.slack[index], self.book.times[index]
        own = next((p for p in way.parts if p.kind == OWN and p.bin == index), None)
        there = [] if own is None else sorted(self._profile(own))
        moments = {at for at, _ in there} | {times[event] for event, _ in advances}
        moments |= {way.parts[number].usable for _, number in advances}
        offers = []
        for at in sorted(moments):
            counted = max((count for when, count in there if when <= at), default=0)
            for event, number in advances:
                part = way.parts[number]
                count = 0
                if part.usable <= at < times[event]:
                    left = part.limit - self.bought.get((index, event), 0)
                    count = max(0, min(left, min(slack[event:]) - counted))
                offers.append((at, number, count))
                counted += count
        return offers

    def _mixed_ready(self, way: CWay) -> int:
        """First cell at which all parts of a mixed way together bring what is needed."""
        for at, counts in self._mixed_counts(way):
            if sum(counts) >= way.quantity:
                return at
        return NEVER

    def _mixed_counts(self, way: CWay) -> Iterator[tuple[int, list[int]]]:
        """At each moment at which it changes: what every part of a mixed way could bring."""
        counts = [0] * len(way.parts)
        offers = self._offers(way)
        for place, (at, number, count) in enumerate(offers):
            counts[number] = count
            if place + 1 == len(offers) or offers[place + 1][0] > at:
                yield at, counts

    def _mixed_options(self, way: CWay) -> list[tuple[int, float]]:
        """(cell, cost) of a mixed way, each later one cheaper."""
        options: list[tuple[int, float]] = []
        for at, counts in self._mixed_counts(way):
            if sum(counts) < way.quantity or at >= NEVER:
                continue
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

    # ---- cost

    def cost(self) -> float:
        """Cost of everything that stands, in the currency."""
        return (
            sum(p.cost for p in self.placed if p is not None)
            + sum(p.cost for p in self.lines if p is not None)
            + self.shared_cost
        )

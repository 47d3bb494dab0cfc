"""Which sequence of builds is best? A list schedule, then builds taken out and put back in.

The search is a walk by annealing over orders of insertion. It counts its steps, never the clock,
so that the same seed and the same data give the same plan.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from random import Random

from fulfil_models.book import WayKind
from fulfil_models.compiled import NEVER, CLine, Compiled, CTask, all_needs, is_pinned
from fulfil_models.guidance import Guidance
from fulfil_models.insertion import State
from fulfil_models.ledger import Draw, LinePlacement, Placement

_HOLDERS = 0.3
"""how often the holders of what a late build waits for are taken out with it"""
_PUSHED = 0.7
"""how often a build that is put back is pushed right"""
Item = CTask | CLine


@dataclass(frozen=True, slots=True)
class Solution:
    """Where everything stands, and what it costs."""

    placed: tuple[Placement | None, ...]
    lines: tuple[LinePlacement | None, ...]
    cost: float


def never_stop() -> bool:
    return False


def ignore(cost: float) -> None:
    """Takes no notice of a better solution."""


def place(
    state: State, item: Item, justify: bool, not_before: dict[int, int] | None = None
) -> bool:
    """Put a build or a line in; whether that was possible."""
    if isinstance(item, CTask):
        return state.place(item, justify, not_before) is not None
    return state.place_line(item) is not None


def list_schedule(
    book: Compiled,
    order: Sequence[Item],
    advice: Guidance | None = None,
    justify: bool = True,
) -> State:
    """Insert everything in a given order, at the first free slots, then as late as is no harm.

    `advice` says from when and by which way a model fills each need; kept to, everybody's draws
    are served. What has pinned operations goes first. What can never be filled
    with what is left is left out.
    """
    state = State(book)
    state.advised = advice.ways if advice else {}
    for item in [*book.pinned, *(item for item in order if not _goes_first(item))]:
        lower = release_cells(item, advice.releases, book.cell) if advice else None
        place(state, item, justify and not _goes_first(item), lower)
    state.advised = {}
    state.forget()
    return state


def release_cells(item: Item, releases: dict[int, int], cell: int) -> dict[int, int]:
    """By operation of a build: the cell before which its needs, and those of what is made for
    them, are not released."""
    if not isinstance(item, CTask):
        return {}
    lower: dict[int, int] = {}
    for place_, operation in enumerate(item.root.operations):
        stack = list(operation.needs)
        latest = 0
        while stack:
            need = stack.pop()
            after = need.tail - rest_of(item, place_)
            at = releases.get(need.need.index, 0) // cell
            latest = max(latest, at + after if at else 0)
            stack += [n for way in need.ways if way.job for n in all_needs(way.job)]
        if latest:
            lower[place_] = latest
    return lower


def usable_at(draw: Draw) -> int:
    """Cell from which what a draw takes is usable."""
    way = draw.way
    if draw.departure >= 0:
        return way.arrivals[draw.departure]
    return way.usable if way.kind == WayKind.ADVANCE else way.times[draw.event]


def rest_of(task: CTask, place_: int) -> int:
    """Work of a build from one of its operations on, in cells."""
    return sum(operation.duration for operation in task.root.operations[place_:])


def _goes_first(item: Item) -> bool:
    return isinstance(item, CTask) and is_pinned(item)


def by_due(book: Compiled, late: dict[int, float] | None = None) -> list[Item]:
    """Builds and lines in order of the start they need: due moment less work, plus lateness
    expected (in cells) where a model has said so."""
    late = late or {}
    keys: list[tuple[float, int, int, Item]] = []
    for task in book.tasks:
        start = task.due + late.get(task.index, 0.0) - task.work
        keys.append((start if task.rate and task.due else start + NEVER, 1, task.index, task))
    for line in book.lines:
        keys.append((0.0 if line.day_cost >= 1 else float(NEVER), 0, line.index, line))
    return [item for *_, item in sorted(keys, key=lambda key: key[:3])]


def _items(book: Compiled) -> list[Item]:
    items: list[Item] = list(book.tasks)
    items.extend(book.lines)
    return items


class Search:
    """Takes out up to `most_out` builds at a time and puts them back in another order."""

    def __init__(self, state: State, seed: int, most_out: int = 5) -> None:
        self.state = state
        self.book = state.book
        self.random = Random(seed)
        self.most_out = most_out
        self.movable: list[Item] = [
            item
            for item in _items(self.book)
            if not _goes_first(item) and self._placement(item) is not None
        ]
        self.users: defaultdict[int, list[Item]] = defaultdict(list)
        for item in self.movable:
            for index in self._bins(item):
                self.users[index].append(item)
        scarce = {i for i, users in self.users.items() if self._is_scarce(i)}
        self.scarce = {id(item): sorted(self._bins(item) & scarce) for item in self.movable}
        self.by_due = sorted(
            (item for item in self.movable if isinstance(item, CTask)),
            key=lambda task: (task.due, task.index),
        )
        self.dues = [task.due for task in self.by_due]
        self.best = self.solution()

    def _placement(self, item: Item) -> Placement | LinePlacement | None:
        if isinstance(item, CTask):
            return self.state.placed[item.index]
        return self.state.lines[item.index]

    def _bins(self, item: Item) -> frozenset[int]:
        if isinstance(item, CTask):
            return item.parts
        return frozenset(outlet.bin for outlet in item.outlets)

    def _is_scarce(self, index: int) -> bool:
        """Whether draws ever come near what there is: some event with little left."""
        slack, supply = self.state.slack[index], self.book.supply[index]
        return any(left < total / 2 for left, total in zip(slack, supply, strict=True))

    def solution(self) -> Solution:
        return Solution(tuple(self.state.placed), tuple(self.state.lines), self.state.cost())

    # ---- neighbourhoods

    def _late(self) -> list[tuple[CTask, Placement]]:
        """Builds that cost something, with where they stand."""
        placed = self.state.placed
        return [
            (task, placement)
            for task in self.by_due
            if (placement := placed[task.index]) is not None and placement.cost > 1e-9
        ]

    def _choose(self) -> list[Item]:
        """Builds to take out: one, late in most cases, and some that stand in its way."""
        random = self.random
        late = self._late()
        wanted = random.randint(1, self.most_out)
        if late and random.random() < 0.8:
            weights = [placement.cost**0.5 for _, placement in late]
            first: Item = random.choices(late, weights)[0][0]
        else:
            first = random.choice(self.movable)
        chosen = {id(first): first}
        if isinstance(first, CTask) and random.random() < _HOLDERS:
            for holder in self._holders(first):
                chosen.setdefault(id(holder), holder)
        pools = [pool for _ in range(3) if (pool := self._neighbours(first))]
        for _ in range(3 * wanted):
            if len(chosen) > wanted or not pools:
                break
            item = random.choice(random.choice(pools))
            chosen.setdefault(id(item), item)
        return list(chosen.values())

    def _holders(self, task: CTask) -> list[CTask]:
        """For some of the parts that a late build waits for: a build that has an earlier lot."""
        placement = self.state.placed[task.index]
        assert placement is not None
        random = self.random
        waits = [
            (at, draw.way.bin, draw.event)
            for draw in placement.draws
            if draw.event >= 0 and (at := usable_at(draw) + draw.need.tail) > task.due
        ]
        waits.sort(reverse=True)
        found = []
        for _, index, event in waits[: random.randint(1, 4)]:
            holders = []
            for other in self.users[index]:
                if isinstance(other, CTask) and other is not task:
                    there = self.state.placed[other.index]
                    if there is not None and any(
                        d.way.bin == index and d.event < event for d in there.draws
                    ):
                        holders.append(other)
            if holders:
                found.append(random.choice(holders))
        return found

    def _neighbours(self, item: Item) -> Sequence[Item]:
        random = self.random
        shared = self.scarce[id(item)]
        kind = random.random()
        if shared and (kind < 0.45 or not isinstance(item, CTask)):
            return self.users[random.choice(shared)]
        if not isinstance(item, CTask):
            return self.movable
        if kind < 0.75:
            return self._near_in_time(item)
        middle = bisect_left(self.dues, item.due)
        return self.by_due[max(0, middle - 8) : middle + 9]

    def _near_in_time(self, task: CTask) -> Sequence[Item]:
        """Builds with an operation about the same time on one of its work centres."""
        placement = self.state.placed[task.index]
        if placement is None or not placement.loads:
            return self.by_due
        centre, start, duration, _ = self.random.choice(placement.loads)
        span = 2 * duration
        near = []
        for other in self.by_due:
            there = self.state.placed[other.index]
            if there is None or abs(there.finish - placement.finish) > 40 * span:
                continue
            for c, s, d, _ in there.loads:
                if c == centre and s < start + span and s + d > start - span:
                    near.append(other)
                    break
        return near

    # ---- the walk

    def run(
        self,
        steps: int,
        stop: Callable[[], bool] = never_stop,
        better: Callable[[float], None] = ignore,
        heat: float = 0.02,
    ) -> Solution:
        """So many steps of annealing; the best solution met.

        `heat` is the first temperature as a share of the mean cost of a late build.
        """
        if not self.movable:
            return self.best
        state = self.state
        late = self._late()
        current = state.cost()
        first = heat * current / max(1, len(late)) + 1e-6
        for step in range(steps):
            if step % 64 == 0 and stop():
                break
            temperature = first * (1.0 - step / steps) ** 2 + 1e-9
            accepted = self._step(current, temperature)
            if accepted is not None:
                current = accepted
                if current < self.best.cost - 1e-6:
                    self.best = self.solution()
                    better(current)
            if step % 256 == 255:
                current = state.cost()
        return self.best

    def _step(self, current: float, temperature: float) -> float | None:
        """Take out, put back, keep or undo; the new cost if kept."""
        state, random = self.state, self.random
        chosen = self._choose()
        taken = list(chosen)
        before = [self._placement(item) for item in taken]
        mark = len(state.log)
        old = sum(p.cost for p in before if p is not None) + state.shared_cost
        for item in chosen:
            if isinstance(item, CTask):
                state.remove(item)
            else:
                state.remove_line(item)
        self._order(chosen)
        limit = old - temperature * math.log(random.random() + 1e-300)
        whole = True
        spent = 0.0
        for item in chosen:
            if not place(state, item, random.random() < _PUSHED):
                whole = False
                break
            placement = self._placement(item)
            assert placement is not None
            spent += placement.cost
            if spent > limit:
                whole = False
                break
        new = spent + state.shared_cost
        if whole and new <= limit:
            state.forget()
            return current + new - old
        state.rollback(mark)
        self._restore(taken, before)
        return None

    def _restore(
        self, items: Sequence[Item], placements: Sequence[Placement | LinePlacement | None]
    ) -> None:
        for item, placement in zip(items, placements, strict=True):
            if isinstance(item, CTask):
                assert not isinstance(placement, LinePlacement)
                self.state.placed[item.index] = placement
            else:
                assert not isinstance(placement, Placement)
                self.state.lines[item.index] = placement

    def _order(self, chosen: list[Item]) -> None:
        """Another order of insertion: shuffled, by due date, or by cost of lateness."""
        random = self.random
        kind = random.random()
        first = chosen[0]
        random.shuffle(chosen)
        if kind > 0.7:
            chosen.remove(first)
            chosen.insert(0, first)
        elif kind < 0.3:
            chosen.sort(key=lambda i: (i.due if isinstance(i, CTask) else 0) + random.random() * 64)
        elif kind < 0.5:
            chosen.sort(key=lambda i: -(i.rate if isinstance(i, CTask) else i.day_cost))

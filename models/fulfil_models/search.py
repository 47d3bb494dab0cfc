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

from fulfil_models.compiled import NEVER, CLine, Compiled, CTask
from fulfil_models.insertion import LinePlacement, Placement, State

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


def place(state: State, item: Item, justify: bool) -> bool:
    """Put a build or a line in; whether that was possible."""
    if isinstance(item, CTask):
        return state.place(item, justify) is not None
    return state.place_line(item) is not None


def list_schedule(book: Compiled, order: Sequence[Item], justify: bool = True) -> State:
    """Insert everything in a given order, at the first free slots, then as late as is no harm.

    What has pinned operations goes first. What can never be filled with what is left is left out.
    """
    state = State(book)
    pinned = [item for item in order if is_pinned(item)]
    for item in [*pinned, *(item for item in order if not is_pinned(item))]:
        place(state, item, justify)
    state.forget()
    return state


def is_pinned(item: Item) -> bool:
    return isinstance(item, CTask) and any(op.pinned is not None for op in item.root.operations)


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


class Search:
    """Takes out up to `most_out` builds at a time and puts them back in another order."""

    def __init__(self, state: State, seed: int, most_out: int = 5) -> None:
        self.state = state
        self.book = state.book
        self.random = Random(seed)
        self.most_out = most_out
        self.movable: list[Item] = [
            item
            for item in [*self.book.tasks, *self.book.lines]
            if not is_pinned(item) and self._placement(item) is not None
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

    def _late(self) -> list[CTask]:
        placed = self.state.placed
        return [
            task
            for task in self.by_due
            if (p := placed[task.index]) is not None and p.cost > 1e-9
        ]

    def _choose(self) -> list[Item]:
        """Builds to take out: one, late in most cases, and some that stand in its way."""
        random = self.random
        late = self._late()
        if late and random.random() < 0.8:
            weights = [self.state.placed[task.index].cost**0.5 for task in late]  # type: ignore[union-attr]
            first: Item = random.choices(late, weights)[0]
        else:
            first = random.choice(self.movable)
        chosen = {id(first): first}
        wanted = random.randint(1, self.most_out)
        pools = [pool for _ in range(3) if (pool := self._neighbours(first))]
        for _ in range(3 * wanted):
            if len(chosen) > wanted or not pools:
                break
            item = random.choice(random.choice(pools))
            chosen.setdefault(id(item), item)
        return list(chosen.values())

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
            if not place(state, item, random.random() < 0.7):
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
        random.shuffle(chosen)
        if kind < 0.3:
            chosen.sort(key=lambda i: (i.due if isinstance(i, CTask) else 0) + random.random() * 64)
        elif kind < 0.5:
            chosen.sort(key=lambda i: -(i.rate if isinstance(i, CTask) else i.day_cost))

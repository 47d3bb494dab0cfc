"""What would each part order, and when, if cash had a price in every period? Exact, of many parts.

By levels as in `lot_levels.py`, with orders that may come later than they are due, save that parts
with about as many levels are worked through together: one row of an array each.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fulfil_models.lot_levels import Order, early_nano
from fulfil_models.lot_terms import Mode, Terms

Array = npt.NDArray[Any]

CELLS = 4_000_000
"""levels x parts x stages whose values are kept at a time"""
_LEAST_WIDTH = 8


@dataclass(frozen=True, slots=True)
class _Slot:
    """The same mode of the same offer of several parts in one period.

    Attributes
    ----------
    rows: of the parts, in the table.
    modes: of each, in that order.
    start: by row and level, the place of the level after the least order; one past the table where
        there is no such level.
    any_size: whether every size from the least on may be ordered, as far as it is worth it.
    """

    rows: Array
    modes: tuple[Mode, ...]
    fixed: Array
    price: Array
    least: Array
    most: Array
    step: Array
    start: Array
    any_size: bool


@dataclass(frozen=True, slots=True)
class _Stage:
    """Offers in the same place of several parts in one period.

    Attributes
    ----------
    early: rows of the parts of which something is due before it.
    waiting: by these and level, what it costs that something of that waits.
    """

    slots: tuple[_Slot, ...]
    early: Array
    waiting: Sequence[Array]


class LevelTables:
    """Parts with few levels laid out as arrays; made once, solved for many weights."""

    def __init__(self, parts: Sequence[Terms]) -> None:
        by_width: defaultdict[int, list[int]] = defaultdict(list)
        for number, terms in enumerate(parts):
            by_width[max(_LEAST_WIDTH, 1 << terms.top.bit_length())].append(number)
        self.count = len(parts)
        self.tables: list[_Table] = []
        for width, numbers in sorted(by_width.items()):
            stages = max(sum(map(len, parts[number].modes)) for number in numbers)
            size = max(1, CELLS // (width * (len(parts[numbers[0]].due) + stages)))
            for first in range(0, len(numbers), size):
                some = numbers[first : first + size]
                self.tables.append(_Table(width, some, [parts[number] for number in some]))

    def solve(self, weights: Array) -> tuple[Array, list[tuple[Order, ...]]]:
        """Least costs by part, that of rounding left out, with what is paid in each period weighed;
        and the orders that have them."""
        costs: Array = np.zeros(self.count)
        orders: list[list[Order]] = [[] for _ in range(self.count)]
        for table in self.tables:
            costs[table.numbers], found = table.solve(weights)
            for row, order in found:
                orders[table.numbers[row]].append(order)
        return costs, [tuple(row) for row in orders]


class _Table:
    """Parts that have room in tables of one width."""

    def __init__(self, width: int, numbers: list[int], parts: Sequence[Terms]) -> None:
        self.numbers = numbers
        self.periods = len(parts[0].due)
        self.levels: Array = np.arange(width, dtype=np.float64)

        def column(values: Iterator[int]) -> Array:
            return np.array(list(values), dtype=np.float64)[:, None]

        self.top = column(terms.top for terms in parts)
        self.holding = column(terms.holding_nano for terms in parts)
        self.short = column(terms.short_nano for terms in parts)
        self.short_fixed = column(terms.short_fixed_nano for terms in parts)
        self.firm = column(terms.short_firm_nano for terms in parts)
        self.due: Array = np.array([terms.due for terms in parts], dtype=np.float64)
        self.expected: Array = np.array([terms.expected for terms in parts], dtype=np.float64)
        self.starts: dict[bytes, Array] = {}
        self.stages = [self._stages_of(parts, period) for period in range(self.periods)]

    def _stages_of(self, parts: Sequence[Terms], period: int) -> list[_Stage]:
        """By offer in turn, the slots of its modes, and what waits before it."""
        found: defaultdict[tuple[int, int], list[tuple[int, Mode]]] = defaultdict(list)
        for row, terms in enumerate(parts):
            for stage, offer in enumerate(terms.modes[period]):
                for place, mode in enumerate(offer):
                    if mode.least <= terms.top:
                        found[stage, place].append((row, mode))
        stages: defaultdict[int, list[_Slot]] = defaultdict(list)
        for (stage, _), entries in sorted(found.items()):
            stages[stage] += self._slots(entries)
        early: defaultdict[int, list[int]] = defaultdict(list)
        for row, terms in enumerate(parts):
            for stage, levels in enumerate(terms.early[period]):
                if levels:
                    early[stage].append(row)
        return [
            _Stage(
                tuple(stages[stage]),
                np.array(early[stage], dtype=np.int64),
                [early_nano(parts[row], period, stage, self.levels, True) for row in early[stage]],
            )
            for stage in sorted({*stages, *early})
        ]

    def _slots(self, entries: Sequence[tuple[int, Mode]]) -> Iterator[_Slot]:
        """One of those that may order any size, and one of the others. More than all that is due is
        worth ordering only to reach the least order, so a limit above that is none."""
        kinds: dict[bool, list[tuple[int, Mode]]] = {True: [], False: []}
        for row, mode in entries:
            kinds[mode.step == 1 and mode.most >= self.due[row, -1]].append((row, mode))
        for any_size, some in kinds.items():
            if some:
                yield self._slot(some, any_size)

    def _slot(self, entries: Sequence[tuple[int, Mode]], any_size: bool) -> _Slot:
        rows = np.array([row for row, _ in entries])
        modes = tuple(mode for _, mode in entries)
        least = np.array([mode.least for mode in modes])
        return _Slot(
            rows=rows,
            modes=modes,
            fixed=np.array([mode.fixed_nano for mode in modes], dtype=np.float64),
            price=np.array([mode.price_nano for mode in modes], dtype=np.float64),
            least=least,
            most=np.array([mode.most for mode in modes]),
            step=np.array([mode.step for mode in modes]),
            start=self._start(least),
            any_size=any_size,
        )

    def _start(self, least: Array) -> Array:
        """The same array for the same orders of another period."""
        key = least.tobytes()
        if key not in self.starts:
            width = len(self.levels)
            self.starts[key] = np.minimum(np.arange(width)[None, :] + least[:, None], width)
        return self.starts[key]

    def solve(self, weights: Array) -> tuple[Array, list[tuple[int, Order]]]:
        value = np.where(self.levels[None, :] <= self.top, 0.0, np.inf)
        tables: list[list[tuple[Array, Array]]] = []
        for period in reversed(range(self.periods)):
            value = value + self._kept(period)
            values = []
            for stage in reversed(self.stages[period]):
                before = value.copy()
                for slot in stage.slots:
                    ordered = self._ordered(value, slot, float(weights[period]))
                    before[slot.rows] = np.minimum(before[slot.rows], ordered)
                values.append((before, value))
                value = before
                if len(stage.early):
                    value = before.copy()
                    value[stage.early] += stage.waiting
            tables.append(values[::-1])
        return value[:, 0].copy(), list(self._traced(tables[::-1], weights))

    def _kept(self, period: int) -> Array:
        """What a period costs by the level at its end: what is left is held, what is not waits."""
        over = self.levels[None, :] - self.due[:, period : period + 1]
        cost: Array = np.maximum(over * self.holding, over * -self.short)
        if self.firm.any():
            expected = self.expected[:, period : period + 1]
            np.maximum(cost, over * -(self.short + self.firm) - expected * self.firm, out=cost)
        if self.short_fixed.any():
            cost += self.short_fixed * (over < 0)
        return cost

    def _ordered(self, value: Array, slot: _Slot, weight: float) -> Array:
        """Least cost with an order of a slot, by the level before it."""
        slant = self.levels[None, :] * (slot.price * weight)[:, None]
        after = np.full((len(slot.rows), len(self.levels) + 1), np.inf)
        after[:, :-1] = value[slot.rows] + slant
        found = _least_in_windows(after, slot)
        found += (slot.fixed * weight)[:, None]
        found -= slant
        return found

    def _traced(
        self, tables: Sequence[Sequence[tuple[Array, Array]]], weights: Array
    ) -> Iterator[tuple[int, Order]]:
        """The orders behind the least costs, from the first period on."""
        every = np.arange(len(self.numbers))
        level = np.zeros(len(self.numbers), dtype=np.int64)
        for period, values in enumerate(tables):
            for stage, (before, after) in zip(self.stages[period], values, strict=True):
                orders = np.flatnonzero(before[every, level] < after[every, level])
                if not len(orders):
                    continue
                chosen = self._chosen(orders, level, stage.slots, after, float(weights[period]))
                for row, (_, mode, levels) in sorted(chosen.items()):
                    level[row] += levels
                    yield row, Order(period, mode, levels)

    def _chosen(
        self, rows: Array, level: Array, slots: Sequence[_Slot], after: Array, weight: float
    ) -> dict[int, tuple[float, Mode, int]]:
        """By row: cost, mode and size of the best order of an offer."""
        sizes = np.arange(len(self.levels))[None, :]
        best: dict[int, tuple[float, Mode, int]] = {}
        for slot in slots:
            _, here, _ = np.intersect1d(slot.rows, rows, assume_unique=True, return_indices=True)
            if not len(here):
                continue
            mine = slot.rows[here]
            reached = level[mine][:, None] + sizes
            allowed = (
                (sizes >= slot.least[here][:, None])
                & (sizes <= slot.most[here][:, None])
                & (sizes % slot.step[here][:, None] == 0)
                & (reached < len(self.levels))
            )
            costs = np.where(
                allowed, after[mine[:, None], np.minimum(reached, len(self.levels) - 1)], np.inf
            )
            costs += (slot.fixed[here] * weight)[:, None]
            costs += sizes * (slot.price[here] * weight)[:, None]
            places = costs.argmin(axis=1)
            least = costs[np.arange(len(here)), places]
            for row, number, place, cost in zip(
                mine.tolist(), here.tolist(), places.tolist(), least.tolist(), strict=True
            ):
                if cost < np.inf and (row not in best or cost < best[row][0]):
                    best[row] = (cost, slot.modes[number], place)
        return best


def _least_in_windows(values: Array, slot: _Slot) -> Array:
    """By row and level, the least of the values that an order may lead to.

    Parameters
    ----------
    values: by row and level, with a last column of infinity.
    """
    if slot.any_size:
        np.minimum.accumulate(values[:, ::-1], axis=1, out=values[:, ::-1])
        return np.take_along_axis(values, slot.start, axis=1)
    width = values.shape[1] - 1
    found = np.full_like(values, np.inf)
    found[:, :-1] = np.take_along_axis(values, slot.start, axis=1)
    counts = (slot.most - slot.least) // slot.step + 1
    size = np.ones_like(counts)
    while (size < counts).any():
        shift = np.minimum(size, counts - size)
        apart = shift * slot.step
        if (apart >= width).all():
            break
        # each value stands for `size` steps from its level on, then for `size + shift`
        places = np.minimum(np.arange(width)[None, :] + apart[:, None], width)
        found[:, :-1] = np.minimum(found[:, :-1], np.take_along_axis(found, places, axis=1))
        size += shift
    return found[:, :-1]

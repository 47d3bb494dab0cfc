"""Which plans of all parts together cost the least within the cash, over networks of levels?

The plans of a part are the paths through a network: a node is a level before an offer of a period,
an arc an order or none. As a model of flows, one unit through each network, it is as tight as the
prices of cash are, where a model of sizes and yes-or-no decisions is far from it. At any prices
each arc has a loss: what the best plan through it costs more than the best one of the part. A plan
of all parts loses at least what each arc of it does, so arcs that lose more than the room between
the bound of the prices and a known cost may go, and those that lose more than a smaller room, too,
if the bound is then no higher than that room.

Cash is taken by numbers of orders of the same sum in a period, which are whole: the solver finds
more in a few whole numbers, by branching as by cutting, than in thousands of arcs.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fulfil_models.lot_levels import (
    Order,
    early_nano,
    has_few_levels,
    kept_nano,
    level_tables,
)
from fulfil_models.lot_model import NANO, ModelAnswer, PartModel, add_part
from fulfil_models.lot_terms import Mode, Terms
from fulfil_models.plan import Status
from fulfil_models.solving import INFINITY, LinearModel, solve_linear

Array = npt.NDArray[Any]

MOST_LEVELS = 1_000
"""of a part with a network"""
MOST_ARCS = 2_000
"""of a part; one with more goes into the model by sizes and decisions"""


@dataclass(frozen=True, slots=True)
class Arcs:
    """Arcs of a network that are alike: orders of one mode of one offer, or none.

    Attributes
    ----------
    stage: number of the offer, those of all periods counted on.
    mode: None = no order.
    origin, levels: by arc, the level before it and what it brings.
    cost, paid, lost: by arc, in nano-currency; `lost` with what is paid weighed.
    """

    stage: int
    period: int
    mode: Mode | None
    origin: Array
    levels: Array
    cost: Array
    paid: Array
    lost: Array

    def within(self, room_nano: float) -> Arcs:
        kept = self.lost <= room_nano
        return Arcs(
            *(self.stage, self.period, self.mode),
            *(array[kept] for array in (self.origin, self.levels, self.cost, self.paid, self.lost)),
        )


def arcs_of(terms: Terms, weights: Sequence[float], room_nano: float) -> list[Arcs]:
    """The arcs of a part that lose no more than a room, where a unit of money paid in a period
    counts its weight."""
    tables = level_tables(terms, weights)
    levels = np.arange(terms.top + 1, dtype=np.float64)
    least = float(tables[0][0][0])
    before: Array = np.full(terms.top + 1, np.inf)
    before[0] = 0.0
    found: list[Arcs] = []
    stage = 0
    for period, row in enumerate(terms.modes):
        offers = row or ((),)
        for place, offer in enumerate(offers):
            there_nano = _there_nano(terms, period, place, levels)
            # without an offer there is one table only
            onward = tables[period][place + 1 if row else 0]
            after = before.copy()
            for mode in (None, *offer):
                origin, sizes = _reached(before, mode)
                paid: Array = np.zeros(len(sizes))
                if mode is not None:
                    paid = mode.fixed_nano + mode.price_nano * sizes.astype(np.float64)
                there = origin + sizes
                cost = before[origin] + paid * weights[period]
                np.minimum.at(after, there, cost)
                lost = cost + onward[there] - least
                own = paid + there_nano[there]
                arcs = Arcs(stage, period, mode, origin, sizes, own, paid, lost)
                found.append(arcs.within(room_nano))
            before = after + there_nano
            stage += 1
    return found


def _there_nano(terms: Terms, period: int, place: int, levels: Array) -> Array:
    """What it costs by the level after an offer of a period: at its end, and before the next."""
    cost: Array = np.zeros(len(levels))
    place += 1
    if place >= len(terms.modes[period]):
        cost = cost + kept_nano(terms, period, levels, True)
        period, place = period + 1, 0
    if period < len(terms.early) and any(terms.early[period][place : place + 1]):
        cost = cost + early_nano(terms, period, place, levels, True)
    return cost


def _reached(before: Array, mode: Mode | None) -> tuple[Array, Array]:
    """Levels before, and sizes of the orders of a mode that lead from them to one there is."""
    origin = np.flatnonzero(np.isfinite(before))
    if mode is None:
        return origin, np.zeros(len(origin), dtype=np.int64)
    sizes = np.arange(mode.least, min(mode.most, len(before) - 1) + 1, mode.step)
    rows, columns = np.nonzero(origin[:, None] + sizes[None, :] < len(before))
    return origin[rows], sizes[columns]


class Networks:
    """Networks of all parts at prices of cash, without arcs that lose more than a room.

    Attributes
    ----------
    columns: how many arcs there are.
    """

    def __init__(
        self,
        parts: Sequence[Terms],
        cash_nano: Sequence[int],
        prices: Sequence[float],
        room_nano: float,
    ) -> None:
        self.parts = parts
        self.cash_nano = cash_nano
        self.arcs: list[list[Arcs] | None] = []
        """by part; None for one that goes by sizes"""
        weights = [1.0 + price for price in prices]
        for terms in parts:
            arcs = None
            if terms.top < MOST_LEVELS and has_few_levels(terms):
                arcs = arcs_of(terms, weights, room_nano)
                if sum(len(some.lost) for some in arcs) > MOST_ARCS:
                    arcs = None
            self.arcs.append(arcs)

    def lost(self) -> Array:
        """What each arc of all parts loses, ascending."""
        every = [some.lost for arcs in self.arcs if arcs is not None for some in arcs]
        return np.sort(np.concatenate([*every, np.zeros(0)]))

    def solve(
        self,
        room_nano: float,
        *,
        gap: float,
        seconds: float,
        nodes: int,
        stop: threading.Event | None,
    ) -> ModelAnswer:
        """The best orders over arcs that lose no more than a room; the bound holds for plans of
        such arcs alone, without the cost of rounding, and is infinite where there is none."""
        model = LinearModel()
        taken: list[tuple[int, int, Order]] = []
        by_sizes: list[PartModel] = []
        cash: list[list[tuple[int, float]]] = [[] for _ in self.cash_nano]
        sums: list[dict[int, list[int]]] = [defaultdict(list) for _ in self.cash_nano]
        for number, (terms, arcs) in enumerate(zip(self.parts, self.arcs, strict=True)):
            if arcs is None:
                sized = add_part(model, number, terms, waits=True)
                by_sizes += sized
                for one in sized:
                    cash[one.period] += one.paid()
                continue
            for column, order in _add_network(model, [some.within(room_nano) for some in arcs]):
                paid = order.mode.fixed_nano + order.mode.price_nano * order.levels
                sums[order.period][paid].append(column)
                taken.append((column, number, order))
        for row, same, nano in zip(cash, sums, self.cash_nano, strict=True):
            row += [(_counted(model, columns), paid / NANO) for paid, columns in same.items()]
            if row:
                model.row(row, -INFINITY, nano / NANO)
        answer = solve_linear(model, gap=gap, seconds=seconds, nodes=nodes, stop=stop)
        bound = max(0.0, answer.bound * NANO)
        done = answer.status in (Status.OPTIMAL, Status.INFEASIBLE)
        if not answer.values:
            return ModelAnswer(None, bound, answer.cut_by_clock, done)
        orders: list[list[Order]] = [[] for _ in self.parts]
        for column, number, order in taken:
            if answer.values[column] > 0.5:
                orders[number].append(order)
        for by_size in by_sizes:
            orders[by_size.part] += by_size.orders(answer.values)
        return ModelAnswer(tuple(map(tuple, orders)), bound, answer.cut_by_clock, done)


def _counted(model: LinearModel, columns: Sequence[int]) -> int:
    """A column for how many of some are taken."""
    if len(columns) == 1:
        return columns[0]
    count = model.variable(0.0, float(len(columns)), integer=True)
    model.row([*((column, 1.0) for column in columns), (count, -1.0)], 0.0, 0.0)
    return count


def _add_network(model: LinearModel, arcs: Sequence[Arcs]) -> list[tuple[int, Order]]:
    """Columns and rows of a network; the columns of orders are returned."""
    flows: defaultdict[tuple[int, int], list[tuple[int, float]]] = defaultdict(list)
    taken = []
    for some in arcs:
        rows = zip(some.origin.tolist(), some.levels.tolist(), some.cost.tolist(), strict=True)
        for origin, levels, cost in rows:
            ordered = some.mode is not None
            column = model.variable(0.0, 1.0, integer=ordered, cost=cost / NANO)
            flows[some.stage, origin].append((column, 1.0))
            flows[some.stage + 1, origin + levels].append((column, -1.0))
            if some.mode is not None:
                taken.append((column, Order(some.period, some.mode, levels)))
    last = 1 + max((some.stage for some in arcs), default=-1)
    for (stage, _), flow in flows.items():
        if stage < last:
            source = 1.0 if stage == 0 else 0.0
            model.row(flow, source, source)
    return taken

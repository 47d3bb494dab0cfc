"""How much do the stations cost? Prices on station time that raise the proven bound.

Charging each operation a price for the time it holds a station, and giving back what all the time
there is would fetch, never makes a plan dearer: any prices of nothing or more give a valid bound
(Lagrangian relaxation of the station rule). Good prices are found by subgradient steps with every
build's parts as a good solution has them; the allocation model, with a build's cheapest way through
priced time in place of plain lateness, then gives the bound.

    bound = allocation model with G - sum of price x stations there are
    G_k(t) = min over s >= t of price of operation k at s + G_(k+1)(s + duration)
"""

from __future__ import annotations

import threading
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fulfil_models.allocation import Builder
from fulfil_models.allocation_needs import is_long
from fulfil_models.allocation_rounds import solve_in_rounds
from fulfil_models.book import Need
from fulfil_models.compiled import Compiled, COperation, CTask
from fulfil_models.plan import Status
from fulfil_models.search import Solution, rest_of, usable_at
from fulfil_models.solving import solve_linear

Floats = NDArray[np.float64]
Cells = NDArray[np.int64]

BUCKET_MINUTES = 120
WINDOW = 512
"""cells about its place in the solution in which a build is looked for while prices are sought"""
MOST_CELLS = 40_000_000
"""tasks x operations x cells beyond which prices are not worth their time"""


@dataclass(slots=True)
class Stations:
    """Station time there is, by centre and bucket, and the cells of a bucket."""

    cells: int
    bucket: int
    capacity: Floats
    """(centre, bucket) station-cells"""


def priced_bound(
    compiled: Compiled,
    solution: Solution,
    seconds: float,
    stop: threading.Event,
    steps: int = 300,
) -> tuple[float, bool]:
    """Bound with prices fitted to a solution, and whether a clock cut it; 0 where it is too much.

    `seconds` caps the linear model.
    """
    stations = _stations(compiled, solution)
    tasks = [
        task
        for task in compiled.tasks
        if solution.placed[task.index] is not None
        and task.root.operations
        and all(op.pinned is None for op in task.root.operations)
    ]
    most = max((len(task.root.operations) for task in tasks), default=0)
    if not tasks or len(tasks) * most * stations.cells > MOST_CELLS:
        return 0.0, False
    prices = _find_prices(compiled, tasks, solution, stations, steps, stop)
    if not prices.any():
        return 0.0, False
    priced = PricedStarts(compiled, tasks, stations, prices)
    builder = Builder(compiled.book, priced)
    allocation = builder.build(priced.bases())
    solve = solve_in_rounds if is_long(compiled.book, allocation.networks) else solve_linear
    answer = solve(allocation.model, gap=0.002, seconds=seconds, stop=stop)
    if answer.status is Status.INFEASIBLE:
        return 0.0, False
    given_back = float((prices * stations.capacity).sum())
    return answer.bound - given_back, answer.cut_by_clock


def _stations(compiled: Compiled, solution: Solution) -> Stations:
    cell = compiled.cell
    bucket = max(1, BUCKET_MINUTES // cell)
    last = max((p.finish for p in solution.placed if p is not None), default=0)
    buckets = last // bucket + 1
    cells = buckets * bucket
    free = np.zeros((len(compiled.book.centres), cells))
    for index, centre in enumerate(compiled.book.centres):
        free[index] = centre.stations
        for start, end, count in centre.gone:
            free[index, start // cell : end // cell] -= count
    capacity = np.maximum(free, 0).reshape(len(free), buckets, bucket).sum(axis=2)
    return Stations(cells, bucket, capacity)


def _running(prices: Floats, bucket: int, spare: int) -> Floats:
    """Price of all cells before each cell, by centre; `spare` cells beyond the end cost nothing."""
    by_cell = np.repeat(prices, bucket, axis=1)
    running = np.zeros((len(prices), by_cell.shape[1] + 1 + spare))
    np.cumsum(by_cell, axis=1, out=running[:, 1 : by_cell.shape[1] + 1])
    running[:, by_cell.shape[1] + 1 :] = running[:, by_cell.shape[1], None]
    return running


class _Fit:
    """Every build's cheapest way through priced time, within a window, all builds at once."""

    def __init__(self, tasks: list[CTask], solution: Solution, stations: Stations) -> None:
        self.stations = stations
        self.count = max(len(task.root.operations) for task in tasks)
        rows = len(tasks)
        self.spare = WINDOW + max(task.work for task in tasks) + 1
        self.width = stations.cells + 1 + self.spare
        offsets = np.zeros(rows, dtype=np.int64)
        self.duration = np.zeros((self.count, rows), dtype=np.int64)
        self.weight = np.zeros((self.count, rows))
        self.centre = np.zeros((self.count, rows), dtype=np.int64)
        self.release = np.zeros((self.count, rows), dtype=np.int64)
        self.place = np.zeros((self.count, rows), dtype=np.int64)
        due = np.zeros(rows)
        rate = np.zeros(rows)
        for row, task in enumerate(tasks):
            placement = solution.placed[task.index]
            assert placement is not None
            starts = placement.starts[0][1]
            releases = _releases(task, solution)
            first = max(task.earliest, placement.finish - WINDOW * 3 // 4)
            offsets[row] = first
            due[row], rate[row] = task.due, task.rate
            pad = self.count - len(starts)  # operations of no length before the first
            for k, operation in enumerate(task.root.operations):
                self.duration[pad + k, row] = operation.duration
                self.weight[pad + k, row] = operation.stations
                self.centre[pad + k, row] = operation.centre
                self.release[pad + k, row] = releases[k]
                self.place[pad + k, row] = starts[k]
            self.place[:pad, row] = starts[0]
        self.offsets = offsets
        grid = np.arange(WINDOW)[None, :]
        self.grid = grid
        self.at = np.minimum(offsets[:, None] + grid, self.width - 1)
        self.end = [np.minimum(self.at + d[:, None], self.width - 1) for d in self.duration]
        self.next = [np.minimum(grid + d[:, None], WINDOW) for d in self.duration]
        self.late = rate[:, None] * np.maximum(
            0.0, offsets[:, None] + np.arange(WINDOW + 1)[None, :] - due[:, None]
        )
        self.late[:, WINDOW] = 1e12
        self.prefer = [1e-6 * np.abs(self.at - place[:, None]) for place in self.place]
        self.closed = [self.at < release[:, None] for release in self.release]

    def cheapest(self, prices: Floats) -> tuple[float, Floats]:
        """Least cost of all builds together, and the station-cells they then use."""
        running = _running(prices, self.stations.bucket, self.spare)
        after = self.late
        stages: list[tuple[Floats, Floats]] = []
        for k in range(self.count - 1, -1, -1):
            by_row = running[self.centre[k]]
            price = np.take_along_axis(by_row, self.end[k], 1)
            price -= np.take_along_axis(by_row, self.at, 1)
            price *= self.weight[k][:, None]
            price += np.take_along_axis(after, self.next[k], 1)
            price += self.prefer[k]
            price[self.closed[k]] = 1e12
            least = np.full((len(price), WINDOW + 1), 1e12)
            least[:, :WINDOW] = np.minimum.accumulate(price[:, ::-1], axis=1)[:, ::-1]
            stages.append((price, least))
            after = least
        rows = np.arange(len(self.offsets))
        at = np.zeros(len(rows), dtype=np.int64)
        used = np.zeros((len(prices), self.width + 1))
        total = float(np.minimum(stages[-1][1][:, 0], 1e11).sum())
        for k in range(self.count):
            price, least = stages[self.count - 1 - k]
            wanted = least[rows, np.minimum(at, WINDOW)]
            open_ = (price <= wanted[:, None] + 1e-12) & (self.grid >= at[:, None])
            start = np.argmax(open_, axis=1)
            begin = np.minimum(self.offsets + start, self.width - 1)
            finish = np.minimum(begin + self.duration[k], self.width)
            np.add.at(used, (self.centre[k], begin), self.weight[k])
            np.add.at(used, (self.centre[k], finish), -self.weight[k])
            at = start + self.duration[k]
        cells = np.cumsum(used, axis=1)[:, : self.stations.cells]
        by_bucket = cells.reshape(len(prices), -1, self.stations.bucket).sum(axis=2)
        return total, by_bucket


def _releases(task: CTask, solution: Solution) -> list[int]:
    """Cell before which each operation's parts are not there, as a solution draws them."""
    placement = solution.placed[task.index]
    assert placement is not None
    found = [task.earliest] * len(task.root.operations)
    places = {id(need): k for k, op in enumerate(task.root.operations) for need in op.needs}
    for draw in placement.draws:
        if draw.event >= 0 and id(draw.need) in places:
            k = places[id(draw.need)]
            found[k] = max(found[k], usable_at(draw))
    return found


def _find_prices(
    compiled: Compiled,
    tasks: list[CTask],
    solution: Solution,
    stations: Stations,
    steps: int,
    stop: threading.Event,
) -> Floats:
    """Subgradient steps towards the solution's own lateness; the best prices met."""
    fit = _Fit(tasks, solution, stations)
    prices = np.zeros_like(stations.capacity)
    best, best_value = prices.copy(), -np.inf
    target = 0.0
    for task in tasks:
        placement = solution.placed[task.index]
        assert placement is not None
        target += task.rate * max(0, placement.finish - task.due)
    scale, since = 1.0, 0
    for _ in range(steps):
        if stop.is_set():
            break
        total, used = fit.cheapest(prices)
        value = total - float((prices * stations.capacity).sum())
        if value > best_value + 1e-6 * abs(value):
            best, best_value, since = prices.copy(), value, 0
        else:
            since += 1
            if since >= 8:
                scale, since = scale * 0.6, 0
                prices = best.copy()
                total, used = fit.cheapest(prices)
                value = best_value
        slope = used - stations.capacity
        slope[(prices <= 0) & (slope < 0)] = 0.0
        size = float((slope * slope).sum())
        if size < 1e-9 or scale < 1e-3 or target - value < 1e-4 * target:
            break
        prices = np.maximum(0.0, prices + scale * (target - value) / size * slope)
    return best


class PricedStarts:
    """Least cost of a build's lateness and priced stations if one operation waits for a part.

    Exact on the grid of cells: between two cells every function here is concave, so its least value
    lies on a cell.
    """

    def __init__(
        self, compiled: Compiled, tasks: list[CTask], stations: Stations, prices: Floats
    ) -> None:
        self.compiled = compiled
        self.priced = {task.index for task in tasks}
        self.cells = stations.cells
        spare = max(task.work for task in tasks) + 1
        self.running = _running(prices, stations.bucket, spare)
        self.size = self.cells + 1
        self._task = -1
        self._by_place: list[Floats] = []
        self._rest: list[int] = []
        self._base = 0.0

    def bases(self) -> dict[int, float]:
        """Least cost of each build with nothing short."""
        found = {}
        for task in self.compiled.tasks:
            if task.index in self.priced:
                self._prepare(task)
            found[task.index] = self._base if task.index in self.priced else 0.0
        return found

    def _prepare(self, task: CTask) -> None:
        if self._task == task.index:
            return
        self._task = task.index
        operations = task.root.operations
        grid = np.arange(self.size)
        end = rest_of(task, 0)
        # from the end: cost of operations k and later if k starts no earlier than t
        after = task.rate * np.maximum(0.0, np.arange(self.size + end) - task.due)
        later = [after]
        own = []
        for operation in reversed(operations):
            price = self._price(operation, grid)
            own.append(price)
            here = price + later[-1][operation.duration : operation.duration + self.size]
            least = np.minimum.accumulate(here[::-1])[::-1]
            beyond = np.arange(self.size, self.size + end)
            rest = sum(op.duration for op in operations[len(operations) - len(own) :])
            tail = task.rate * np.maximum(0.0, beyond + rest - task.due)
            later.append(np.concatenate([least, tail]))
        own.reverse()
        later.reverse()
        before = np.where(grid >= task.earliest, 0.0, 1e12)
        self._by_place, self._rest = [], []
        for k, operation in enumerate(operations):
            follow = later[k + 1][operation.duration : operation.duration + self.size]
            whole = before + own[k] + follow
            self._by_place.append(np.minimum.accumulate(whole[::-1])[::-1])
            self._rest.append(rest_of(task, k))
            done = np.minimum.accumulate(before + own[k])
            before = np.full(self.size, 1e12)
            before[operation.duration :] = done[: self.size - operation.duration]
        self._base = float(self._by_place[0][min(task.earliest, self.size - 1)])

    def _price(self, operation: COperation, grid: Cells) -> Floats:
        row = self.running[operation.centre]
        last = len(row) - 1
        ends = np.minimum(grid + operation.duration, last)
        priced: Floats = operation.stations * (row[ends] - row[np.minimum(grid, last)])
        return priced

    def __call__(self, need: Need, position: int) -> float:
        """Cost of the build if the need is filled at a position (working minutes)."""
        job = need.job
        task = self.compiled.tasks[job.task.index]
        plain = task.rate * max(0, (position + need.tail - job.task.due) / self.compiled.cell)
        if task.index not in self.priced:
            return plain
        self._prepare(task)
        place = _root_place(need)
        if place is None:
            return plain
        rest = self._rest[place]
        cell = position // self.compiled.cell + (need.tail // self.compiled.cell - rest)
        if cell >= self.size - 1:
            return plain
        return float(self._by_place[place][max(cell, 0)])


def _root_place(need: Need) -> int | None:
    """Operation of the build's own job that waits for a need, directly or for what it goes into."""
    while need.job.parent is not None:
        need = need.job.parent
    return need.place if need.place >= 0 else None

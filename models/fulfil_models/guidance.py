"""What the allocation model advises the search: in which order, from when, and by which way.

The model's flows meet in nodes, so a need's units are told apart only here: in order of time, each
draw takes the units that came in first, be they lots, moves or expedited orders. In long books,
where late draws are grouped, that also says more exactly than the model when a need is filled.
"""

from __future__ import annotations

from collections import defaultdict, deque
from dataclasses import dataclass, field

from fulfil_models.allocation import Allocation, Network
from fulfil_models.allocation_needs import is_grouped
from fulfil_models.book import Book, WayKind
from fulfil_models.ledger import Advice
from fulfil_models.solving import LinearAnswer


@dataclass(frozen=True, slots=True)
class Guidance:
    """Advice for the first list schedule, by task index and need index."""

    late: dict[int, float]
    """expected lateness of each build, in cells"""
    releases: dict[int, int]
    """position from which a need may draw"""
    ways: dict[int, Advice]
    """which part fills a need, and how much of it comes by which way"""


def guidance(book: Book, allocation: Allocation, answer: LinearAnswer, cell: int) -> Guidance:
    """Read the advice out of a solution of the allocation model."""
    releases = allocation.releases(answer)
    ways, arrivals = _ways(book, allocation, answer)
    if is_grouped(book, allocation.networks):
        releases |= arrivals
    return Guidance(allocation.late_cells(answer, book, cell), releases, ways)


def _ways(
    book: Book, allocation: Allocation, answer: LinearAnswer
) -> tuple[dict[int, Advice], dict[int, int]]:
    """For each need that the model fills its part and how its units come in; for each that draws
    units, the position at which the last of them comes in."""
    values = answer.values
    found: dict[int, Advice] = {}
    arrivals: dict[int, int] = {}
    draws: defaultdict[tuple[str, str], list[tuple[int, int, int]]] = defaultdict(list)
    for index, choices in allocation.chosen.items():
        need = book.needs[index]
        for way, pick in choices:
            if pick is not None and values[pick] < 0.5:
                continue
            if way.kind == WayKind.MAKE:
                found[index] = (way.used, {(int(WayKind.MAKE), -1): way.quantity_milli})
                break
            point = need.job.task.build.point
            for column, at in allocation.draws.get(index, ()):
                count = round(values[column])
                if count:
                    draws[way.used, point].append((at, index, count))
            break
    for (part, point), rows in draws.items():
        net = allocation.networks[part, point]
        for index, entered in _first_in(net, sorted(rows), values).items():
            found[index] = (part, entered.amounts)
            arrivals[index] = entered.last
    return found, arrivals


@dataclass(slots=True)
class _Entered:
    """How many thousandths of what a need draws came into the bin by which way."""

    amounts: dict[tuple[int, int], int] = field(default_factory=dict)
    last: int = 0
    """position at which the last of them came in"""


def _first_in(
    net: Network, draws: list[tuple[int, int, int]], values: tuple[float, ...]
) -> dict[int, _Entered]:
    """By need: what it draws, each draw taking what came in first."""
    queue: deque[tuple[int, tuple[int, int], int]] = deque()
    own = (int(WayKind.OWN), -1)
    node = 0
    found: defaultdict[int, _Entered] = defaultdict(_Entered)
    for at, index, count in draws:
        while node < len(net.times) and net.times[node] <= at:
            time = net.times[node]
            if node >= net.unlimited_from:
                queue.append((1 << 60, own, time))
            queue.append((round(net.lots[node]), own, time))
            queue.extend((round(values[c]), (int(k), r), time) for c, k, r in net.entered[node])
            node += 1
        while count > 0 and queue:
            left, how, time = queue.popleft()
            taken = min(left, count)
            count -= taken
            if taken:
                entered = found[index]
                entered.amounts[how] = entered.amounts.get(how, 0) + taken * net.unit
                entered.last = max(entered.last, time)
            if left > taken:
                queue.appendleft((left - taken, how, time))
    return dict(found)

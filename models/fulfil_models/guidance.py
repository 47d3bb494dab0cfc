"""What the allocation model advises the search: in which order, from when, and by which way.

The model's flows meet in nodes, so a need's units are told apart only here: in order of time, each
draw takes the units that came in first, be they lots, moves or expedited orders.
"""

from __future__ import annotations

from collections import defaultdict, deque
from dataclasses import dataclass

from fulfil_models.allocation import Allocation, Network
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
    return Guidance(
        allocation.late_cells(answer, book, cell),
        allocation.releases(answer),
        _ways(book, allocation, answer),
    )


def _ways(book: Book, allocation: Allocation, answer: LinearAnswer) -> dict[int, Advice]:
    """For each need that the model fills: its part, then how its units come in."""
    values = answer.values
    found: dict[int, Advice] = {}
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
        for index, amounts in _first_in(net, sorted(rows), values).items():
            found[index] = (part, amounts)
    return found


def _first_in(
    net: Network, draws: list[tuple[int, int, int]], values: tuple[float, ...]
) -> dict[int, dict[tuple[int, int], int]]:
    """By need: how many units came into the bin by which way."""
    queue: deque[tuple[int, tuple[int, int]]] = deque()
    own = (int(WayKind.OWN), -1)
    node = 0
    found: defaultdict[int, dict[tuple[int, int], int]] = defaultdict(dict)
    for at, index, count in draws:
        while node < len(net.times) and net.times[node] <= at:
            if node >= net.unlimited_from:
                queue.append((1 << 60, own))
            queue.append((round(net.lots[node]), own))
            queue.extend((round(values[c]), (int(k), r)) for c, k, r in net.entered[node])
            node += 1
        while count > 0 and queue:
            left, how = queue.popleft()
            taken = min(left, count)
            count -= taken
            if taken:
                found[index][how] = found[index].get(how, 0) + taken * net.unit
            if left > taken:
                queue.appendleft((left - taken, how))
    return dict(found)

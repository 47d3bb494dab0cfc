"""Decisions that are put together by hand, draw by draw, and what comes of them.

On the shop of `tiny_shop`: the planning date is Monday 2026-03-02; positions are working minutes,
480 a day.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date

from fulfil_models.book import Book, Need, WayKind
from fulfil_models.decisions import Decisions, Fill, Ship
from fulfil_models.lots import Served, serve
from fulfil_models.plan import Supply, SupplyKind
from fulfil_models.problem import Problem
from fulfil_models.tables import Build, Dataset
from fulfil_models.taken import NOTHING, Taken
from tiny_shop import SETTINGS, build

PROMISED = date(2026, 6, 30)


def builds(count: int) -> tuple[Build, ...]:
    return tuple(build(f"B{number}", PROMISED) for number in range(1, count + 1))


class Draws:
    """Decisions of a book, put together one by one."""

    def __init__(self, data: Dataset, taken: Taken = NOTHING) -> None:
        self.book = Book(Problem(data, SETTINGS, taken=taken))
        self.starts: dict[str, tuple[int, ...]] = {}
        self.fills: list[Fill] = []
        self.ships: list[Ship] = []

    def need(self, number: int) -> Need:
        """The engines of the build so numbered, from 1 on."""
        (need,) = self.book.tasks[number - 1].root.operations[0].needs
        return need

    def fill(
        self,
        number: int,
        on: date,
        event: int = 0,
        kind: WayKind = WayKind.OWN,
        leaves: date | None = None,
        origin: str = "B",
    ) -> None:
        """A build starts at a day's opening, its engines out of the first `event` + 1 lots."""
        need = self.need(number)
        way = next(
            way
            for way in need.ways
            if way.kind == kind and (way.route is None or way.route.origin == origin)
        )
        departure = -1
        if leaves is not None:
            assert way.route is not None
            departure = way.route.departures.index(leaves)
        self.starts[need.job.name] = (need.job.task.axis.opening(on),)
        self.fills.append(Fill(need, way, way.quantity_milli, event, departure))

    def ship(self, number: int, event: int, units: int = 1) -> None:
        line = self.book.lines[number]
        self.ships.append(Ship(line, line.outlets[0], units * 1000, event))

    def served(self) -> Served:
        jobs = tuple(fill.need.job for fill in self.fills)
        return serve(self.book, Decisions(self.starts, jobs, tuple(self.fills), tuple(self.ships)))


def by_build(served: Served) -> dict[str, list[tuple[str, int]]]:
    """(supply, units) of every build."""
    found: defaultdict[str, list[tuple[str, int]]] = defaultdict(list)
    for fill, name, quantity_milli in served.fills:
        found[fill.need.job.name].append((name, quantity_milli // 1000))
    return dict(found)


def orders(served: Served) -> list[tuple[date | None, date | None, int, bool]]:
    """(placed, arrives, units, expedited) of every new purchase, in order of arrival."""
    rows = [row for row in served.supplies.values() if row.kind is SupplyKind.NEW_PURCHASE]
    return sorted(
        (row.place_on, row.arrives_on, row.quantity_milli // 1000, bool(row.expedited))
        for row in rows
    )


def moves(served: Served) -> list[Supply]:
    return [row for row in served.supplies.values() if row.kind is SupplyKind.TRANSFER]

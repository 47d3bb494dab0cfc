"""What do others leave for something new?

A `Room` is a data set without its orders, less what a plan and the promises kept open have taken of
stations and supplies. It is made once; questions are put into it one after another, each alone.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeVar

from fulfil_models.book import Book
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    Alternate,
    Build,
    BuildOption,
    Dataset,
    PartsOrder,
    Purchase,
    Source,
    Stock,
)
from fulfil_models.taken import NOTHING, Taken

_Row = TypeVar("_Row", Stock, Purchase, Source)


@dataclass(frozen=True, slots=True)
class Request:
    """What is asked for: builds with their options, lines of parts orders."""

    builds: tuple[Build, ...] = ()
    options: tuple[BuildOption, ...] = ()
    lines: tuple[PartsOrder, ...] = ()


def beside(dataset: Dataset, taken: Taken, request: Request) -> Dataset:
    """The data set with what is asked for alone, and with the orders that others count on."""
    return dataclasses.replace(
        dataset,
        builds=request.builds,
        build_options=request.options,
        parts_orders=request.lines,
        progress=(),
        purchases=dataset.purchases + taken.orders,
    )


class Room:
    """What others leave.

    Attributes
    ----------
    dataset: as it was given, with everybody's orders.
    problem: its rows by key, without orders; orders that others count on are open purchases.
    book: routes and work centres.
    """

    def __init__(self, dataset: Dataset, settings: Settings, taken: Taken = NOTHING) -> None:
        self.dataset = dataset
        bare = beside(dataset, taken, Request())
        self.problem = Problem(bare, settings, taken=taken)
        self.book = Book(self.problem)
        self._stock = _by_part(bare.stock)
        self._purchases = _by_part(bare.purchases)
        self._sources = _by_part(bare.sources)

    def book_for(self, request: Request, stand_ins: tuple[Alternate, ...] = ()) -> Book:
        """The book of what is asked for alone, with the supplies of the parts that it may take.

        `stand_ins` are alternates to be tried besides those of the data.
        """
        parts = sorted(self._parts_of(request, stand_ins))
        alternates = self.problem.dataset.alternates
        data = dataclasses.replace(
            self.problem.dataset,
            builds=request.builds,
            build_options=request.options,
            parts_orders=request.lines,
            alternates=alternates + stand_ins if stand_ins else alternates,
            stock=tuple(row for part in parts for row in self._stock.get(part, ())),
            purchases=tuple(row for part in parts for row in self._purchases.get(part, ())),
            sources=tuple(row for part in parts for row in self._sources.get(part, ())),
        )
        return Book(self.problem.asking(data), like=self.book)

    def _parts_of(self, request: Request, stand_ins: Iterable[Alternate]) -> set[str]:
        """Every part that may go into what is asked for, alternates and all levels of bills."""
        problem = self.problem
        waiting = [row.product for row in request.builds]
        waiting += [row.component for row in request.options]
        waiting += [row.part for row in request.lines]
        waiting += [row.component for row in problem.dataset.region_rules]
        waiting += [row.alternate for row in stand_ins]
        found: set[str] = set()
        while waiting:
            part = waiting.pop()
            if part not in found:
                found.add(part)
                waiting += [line.component for line in problem.bills.get(part, ())]
                waiting += [row.alternate for row in problem.alternates.get(part, ())]
        return found


def _by_part(rows: Iterable[_Row]) -> dict[str, list[_Row]]:
    by: defaultdict[str, list[_Row]] = defaultdict(list)
    for row in rows:
        by[row.part].append(row)
    return dict(by)

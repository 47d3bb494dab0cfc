"""What does an order of a source cost, by the prices that are given, else by the cost of the part?

The one account of it for sizes, lines and the cash of a month.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property

from fulfil_models.cells import MILLI
from fulfil_models.new_orders import price_at
from fulfil_models.problem import Problem
from fulfil_models.tables import PriceBreak, Source


@dataclass(frozen=True)
class Prices:
    """Prices of all sources, in micro-currency for one unit."""

    problem: Problem

    @cached_property
    def _breaks(self) -> dict[tuple[str, str], list[PriceBreak]]:
        """By part and supplier, in ascending order."""
        found: defaultdict[tuple[str, str], list[PriceBreak]] = defaultdict(list)
        for row in sorted(self.problem.dataset.price_breaks, key=lambda r: r.from_quantity_milli):
            found[row.part, row.supplier].append(row)
        return dict(found)

    def _of(self, source: Source) -> list[PriceBreak]:
        return self._breaks.get((source.part, source.supplier), [])

    def given(self, source: Source, milli: int) -> int | None:
        """The price in an order of that size; None where none is given for so little."""
        return price_at(milli, source, self._of(source))

    def estimate(self, source: Source) -> int | None:
        """What stands in where no price is given: that of a larger order, else the cost of the
        part; None where there is neither."""
        larger = self._of(source)
        return larger[0].price_micro if larger else self.problem.parts[source.part].cost_micro

    def counted(self, source: Source, milli: int = 0) -> int:
        """What sizes and cash go by: the price in an order of that size, else the estimate, else
        0."""
        given = self.given(source, milli)
        return given if given is not None else self.estimate(source) or 0

    def steps(self, source: Source) -> tuple[tuple[int, int], ...]:
        """Quantities above 0 from which another price holds, with that price; ascending."""
        return tuple(
            (row.from_quantity_milli, row.price_micro)
            for row in self._of(source)
            if row.from_quantity_milli > 0
        )

    def paid_micro(self, source: Source, milli: int, *, expedited: bool) -> int:
        """What an order takes of the cash of its month: to place it, for its units, and to expedite
        it; rounded up."""
        each = self.counted(source, milli)
        each += (source.expedite_cost_micro or 0) if expedited else 0
        return self.problem.settings.order_cost_micro - (-each * milli // MILLI)

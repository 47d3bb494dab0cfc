"""How much more of a part can come at all, under the monthly caps of those who supply it?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date

from fulfil_models.months import month_of, months_from
from fulfil_models.problem import Problem
from fulfil_models.source_terms import can_order, first_arrival, whole_orders
from fulfil_models.tables import Source
from fulfil_models.taken import with_orders


class MostToCome:
    """What new orders can bring of rationed parts up to a day.

    A cap is one for all points. What open purchases and orders for held quotes bring counts in it,
    in the month in which they are counted on.
    """

    def __init__(
        self, problem: Problem, until: date, sources: Mapping[str, Sequence[Source]]
    ) -> None:
        self._problem, self._until, self._sources = problem, until, sources
        self._in_month: Counter[tuple[str, str, str]] | None = None

    def milli(self, part: str) -> int | None:
        """Thousandths, expedited where that brings more; None where somebody has no cap."""
        by: dict[str, list[Source]] = {}
        for source in filter(can_order, self._sources.get(part, ())):
            if source.monthly_cap_milli is None:
                return None
            by.setdefault(source.supplier, []).append(source)
        return sum(self._of(rows) for rows in by.values()) if by else None

    def _of(self, rows: Sequence[Source]) -> int:
        """From one supplier: of points with unlike terms, those that let most come."""
        settings = self._problem.settings
        total = 0
        begins = {
            row.point: first_arrival(settings, row, expedited=bool(row.expedite_days))
            for row in rows
        }
        for day in months_from(min(begins.values()), self._until):
            month = month_of(day)
            total += max(
                (
                    whole_orders(row, (row.monthly_cap_milli or 0) - self._open(row, month))
                    for row in rows
                    if month_of(begins[row.point]) <= month
                ),
                default=0,
            )
        return total

    def _open(self, source: Source, month: str) -> int:
        if self._in_month is None:
            self._in_month = Counter()
            counted_on = self._problem.settings.counted_on
            for row in with_orders(self._problem.dataset, self._problem.taken).purchases:
                key = row.part, row.supplier, month_of(counted_on(row.due))
                self._in_month[key] += row.quantity_milli
        return self._in_month[source.part, source.supplier, month]

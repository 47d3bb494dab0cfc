"""A data set under examination: its rows by key, where they came from, and how a fault of one of
them is put into words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Any

from fulfil_models.calendar import STANDARD, make_axis
from fulfil_models.columns import TABLES, Column
from fulfil_models.findings import Finding, Severity
from fulfil_models.problem import FIRM, Problem
from fulfil_models.reading import Origins
from fulfil_models.settings import SettingProblem, Settings, read_settings
from fulfil_models.tables import (
    BillLine,
    Build,
    Dataset,
    Part,
    RoutingStep,
    WorkCentre,
)

STATUSES = (FIRM, "quoted", "done", "cancelled")


@dataclass(frozen=True)
class Case:
    """What the checks look at.

    Cells that could not be read hold a stand-in; `sound` leaves their rows out, so that nothing is
    blamed on them twice.
    """

    dataset: Dataset
    origins: Origins
    today: date

    # ---- rows by key

    @cached_property
    def _settings(self) -> tuple[Settings, tuple[SettingProblem, ...]]:
        return read_settings(self.dataset.settings, self.today)

    @property
    def settings(self) -> Settings:
        """The settings, defaults in place of those that are wrong."""
        return self._settings[0]

    @property
    def setting_problems(self) -> tuple[SettingProblem, ...]:
        return self._settings[1]

    @property
    def as_of(self) -> date:
        return self.settings.as_of

    @property
    def last_day(self) -> date:
        """The last day of the horizon."""
        return self.as_of + timedelta(self.settings.horizon_days)

    @cached_property
    def problem(self) -> Problem:
        """The data set by key, as planning sees it."""
        return Problem(self.dataset, self.settings)

    @cached_property
    def parts(self) -> dict[str, Part]:
        return self.problem.parts

    @cached_property
    def bills(self) -> dict[str, list[BillLine]]:
        return self.problem.bills

    @cached_property
    def routings(self) -> dict[str, list[RoutingStep]]:
        return self.problem.routings

    @cached_property
    def work_centres(self) -> dict[str, WorkCentre]:
        return self.problem.work_centres

    @cached_property
    def builds(self) -> dict[str, Build]:
        return {row.build: row for row in self.dataset.builds}

    @cached_property
    def operations(self) -> dict[str, set[int]]:
        """Operations of each part's routing."""
        numbers: defaultdict[str, set[int]] = defaultdict(set)
        for row in self.dataset.routings:
            numbers[row.part].add(row.operation)
        return dict(numbers)

    @cached_property
    def working_minutes(self) -> dict[str, int]:
        """Working minutes within the horizon of every calendar that a point keeps.

        A named calendar without shifts has none. One that does not exist, or whose holidays are
        not known, is left out.
        """
        data = self.dataset
        shifts = [row for row in data.shifts if row.opens < row.closes]
        with_shifts = {row.calendar for row in shifts} | {STANDARD}
        known = {row.calendar for row in data.calendars} | with_shifts
        minutes: dict[str, int] = {}
        for name in {row.calendar for row in data.points} & known:
            try:
                axis = make_axis(
                    name,
                    self.as_of,
                    self.settings.horizon_days,
                    data.calendars,
                    shifts,
                    data.closures,
                )
            except NotImplementedError:
                continue  # holidays that are not known: found by a check of their own
            except ValueError:
                minutes[name] = 0
            else:
                minutes[name] = axis.length if name in with_shifts else 0
        return minutes

    # ---- what can be relied on

    def sound(self, table: str, *attributes: str) -> Iterator[tuple[int, Any]]:
        """Index and row of every row of a table of which these cells could be read.

        With no attributes named, of every row all of whose cells could be read.
        """
        broken = self.origins.broken.get(table, {})
        for index, row in enumerate(self.dataset.rows(table)):
            bad = broken.get(index, ())
            if not bad or (attributes and all(name not in bad for name in attributes)):
                yield index, row

    def doubtful(self, table: str, attribute: str) -> frozenset[Any]:
        """Values of a column in rows of a table that could not be read whole."""
        rows = self.dataset.rows(table)
        return frozenset(
            getattr(rows[index], attribute) for index in self.origins.broken.get(table, ())
        )

    def readable(self, *tables: str) -> bool:
        """Whether the rows of all these tables are known."""
        return self.origins.unreadable.isdisjoint(tables)

    # ---- findings

    def error(
        self, code: str, table: str, index: int, column: str, wrong: str, remedy: str
    ) -> Finding:
        """An error in one cell."""
        return self._in_cell(Severity.ERROR, code, table, index, column, wrong, remedy)

    def warning(
        self, code: str, table: str, index: int, column: str, wrong: str, remedy: str
    ) -> Finding:
        """A warning about one cell."""
        return self._in_cell(Severity.WARNING, code, table, index, column, wrong, remedy)

    def table_warning(self, code: str, table: str, wrong: str, remedy: str) -> Finding:
        """A warning about a whole table."""
        file = self.origins.file(table)
        return Finding(Severity.WARNING, code, file, None, None, None, wrong, remedy)

    def _in_cell(
        self,
        severity: Severity,
        code: str,
        table: str,
        index: int,
        column: str,
        wrong: str,
        remedy: str,
    ) -> Finding:
        described = _COLUMNS[table, column]
        value = getattr(self.dataset.rows(table)[index], described.attribute)
        return Finding(
            severity,
            code,
            self.origins.file(table),
            self.origins.row(table, index),
            column,
            None if value is None else described.kind.format(value),
            wrong,
            remedy,
        )


_COLUMNS: dict[tuple[str, str], Column] = {
    (table.name, column.name): column for table in TABLES.values() for column in table.columns
}

"""Does every row name things that exist? And is everything that exists named by something?"""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterator

from fulfil_models.calendar import STANDARD
from fulfil_models.checking_case import Case
from fulfil_models.columns import TABLES, Column
from fulfil_models.findings import Finding, counted, did_you_mean, listed

_GUESSES = 40
"""unknown names for which near ones are looked up; looking is slow where nearly all are unknown"""


def check_settings(case: Case) -> Iterator[Finding]:
    """Settings that do not exist are said so; those with a bad value are errors."""
    for problem in case.setting_problems:
        if problem.index in case.origins.broken.get("settings", {}):
            continue
        if problem.unknown:
            yield case.warning(
                "unknown-setting", "settings", problem.index, "key", problem.wrong, problem.remedy
            )
        else:
            yield case.error(
                "bad-setting",
                "settings",
                problem.index,
                "value",
                f"as {problem.key} {problem.wrong}",
                problem.remedy,
            )


def check_references(case: Case) -> Iterator[Finding]:
    """Every part, point, supplier, calendar, work centre and build that is named exists."""
    known = _KnownNames(case)
    for table in TABLES.values():
        for column in table.columns:
            if column.refers is not None:
                yield from known.unknown_in(table.name, column)


class _KnownNames:
    """The names that each reference may use, and a guess at what an unknown one meant."""

    def __init__(self, case: Case) -> None:
        self._case = case
        self._names: dict[str, frozenset[str] | None] = {}
        self._guesses: dict[tuple[str, str], str] = {}

    def unknown_in(self, table: str, column: Column) -> Iterator[Finding]:
        assert column.refers is not None
        names = self.of(column.refers)
        if names is None:
            return
        for index, row in self._case.sound(table, column.attribute):
            name = getattr(row, column.attribute)
            if name not in names:
                what = column.refers.partition(".")[2]
                yield self._case.error(
                    f"unknown-{what.replace('_', '-')}",
                    table,
                    index,
                    column.name,
                    f"is no {what.replace('_', ' ')} of this data set",
                    self._remedy(column.refers, name, names),
                )

    def of(self, refers: str) -> frozenset[str] | None:
        """Names of `table.column`; None where any name will do."""
        if refers not in self._names:
            self._names[refers] = self._find(*refers.split("."))
        return self._names[refers]

    def _find(self, table: str, column: str) -> frozenset[str] | None:
        case = self._case
        if not case.readable(table):
            return None
        names = frozenset(getattr(row, column) for row in case.dataset.rows(table))
        if table == "suppliers":
            # The table only adds full names: a data set without it may name any supplier.
            return names or None
        if table == "calendars":
            # Likewise a calendar without holidays is fully described by its shifts.
            by_shifts = () if names else (row.calendar for row in case.dataset.shifts)
            return names | {STANDARD} | frozenset(by_shifts)
        return names

    def _remedy(self, refers: str, name: str, names: frozenset[str]) -> str:
        table = refers.partition(".")[0]
        key = (refers, name)
        if key not in self._guesses and len(self._guesses) < _GUESSES:
            self._guesses[key] = did_you_mean(name, names)
        near = self._guesses.get(key, "")
        return f"{near} else add it to {table}" if near else f"add it to {table} or mend the name"


def check_zones_and_regions(case: Case) -> Iterator[Finding]:
    """Time zones exist, and regions look like codes of ISO 3166-2."""
    zones = frozenset[str]()
    if any(row.timezone for row in case.dataset.points):
        zones = frozenset(zoneinfo.available_timezones())
    for index, row in case.sound("points", "timezone", "region"):
        if row.timezone is not None and row.timezone not in zones:
            remedy = did_you_mean(row.timezone, zones) or "write an IANA name, e.g. America/Boise"
            yield case.error(
                "unknown-timezone", "points", index, "timezone", "is no time zone", remedy
            )
        country, dash, part = (row.region or "US-ID").partition("-")
        if not (country.isalpha() and country.isupper() and len(country) == 2) or (
            dash and not (part.isalnum() and len(part) <= 3)
        ):
            yield case.warning(
                "odd-region",
                "points",
                index,
                "region",
                "is no ISO 3166 code",
                "write country and subdivision, e.g. US-ID",
            )


def check_families(case: Case) -> Iterator[Finding]:
    """A rule for a family that no part belongs to never does anything."""
    if not case.readable("parts"):
        return
    families = {row.family for row in case.dataset.parts if row.family is not None}
    for index, row in case.sound("region_rules", "family"):
        if row.family not in families:
            yield case.warning(
                "unknown-family",
                "region_rules",
                index,
                "family",
                "is the family of no part, so the rule adds nothing",
                did_you_mean(row.family, families) or "name a family that parts have",
            )


def check_unused_parts(case: Case) -> Iterator[Finding]:
    """Parts that nothing calls for, in one line: they are either old or a slip of the pen."""
    if not case.readable("parts", "bills", "builds"):
        return
    data = case.dataset
    used: set[str] = set()
    for line in data.bills:
        used.update((line.parent, line.component))
    for alternate in data.alternates:
        used.update((alternate.part, alternate.alternate))
    for rate in data.take_rates:
        used.update((rate.product, rate.component))
    used.update(row.product for row in data.builds)
    used.update(row.component for row in data.build_options)
    used.update(row.component for row in data.region_rules)
    used.update(row.part for row in data.parts_orders)
    used.update(row.part for row in data.demand)
    unused = sorted(row.part for row in data.parts if row.part not in used)
    if unused:
        yield case.table_warning(
            "unused-part",
            "parts",
            f"{counted(len(unused), 'part', 'parts')} that no bill, build, option, order or "
            f"forecast calls for: {listed(unused)}",
            "nothing to mend if they are kept on purpose",
        )

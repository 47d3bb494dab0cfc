"""What does a job need? The checker's own reading of bills, options and region rules."""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from fractions import Fraction
from functools import cached_property

from fulfil_models.cells import MILLI, PPM
from fulfil_models.tables import (
    Alternate,
    BillLine,
    Build,
    BuildOption,
    Dataset,
    RoutingStep,
)

Need = tuple[int | None, str]
"""operation (None in a phantom) and part called for"""
_Line = tuple[int | None, str, int]
"""operation, component, scrap in millionths"""


class Bills:
    """The rows that say what parts are made of and by which operations, by key."""

    def __init__(self, dataset: Dataset) -> None:
        self.dataset = dataset
        self.parts = {row.part: row for row in dataset.parts}
        self.alternates: dict[tuple[str, str], Alternate] = {
            (row.part, row.alternate): row for row in dataset.alternates if row.approved
        }
        self._needs: dict[tuple[str, int, date], dict[Need, int]] = {}

    @cached_property
    def routings(self) -> dict[str, list[RoutingStep]]:
        by: defaultdict[str, list[RoutingStep]] = defaultdict(list)
        for row in self.dataset.routings:
            by[row.part].append(row)
        return {part: sorted(rows, key=lambda r: r.operation) for part, rows in by.items()}

    @cached_property
    def bills(self) -> dict[str, list[BillLine]]:
        """Bill lines of each parent, a component's first line first."""
        by: defaultdict[str, list[BillLine]] = defaultdict(list)
        for row in self.dataset.bills:
            by[row.parent].append(row)
        return {parent: sorted(rows, key=_line_order) for parent, rows in by.items()}

    @cached_property
    def options(self) -> dict[str, list[BuildOption]]:
        by: defaultdict[str, list[BuildOption]] = defaultdict(list)
        for row in self.dataset.build_options:
            by[row.build].append(row)
        return dict(by)

    def part_needs(self, part: str, units_milli: int, ordered: date) -> dict[Need, int]:
        """Needs of a job that makes so much of a part for a build ordered on a day."""
        key = (part, units_milli, ordered)
        if key not in self._needs:
            self._needs[key] = self._totals(units_milli, self._lines_of(part, ordered))
        return self._needs[key]

    def build_needs(self, build: Build) -> dict[Need, int]:
        """Needs of a build's own job, with its options and what rules of its region add."""
        per = self._lines_of(build.product, build.ordered)
        for need, milli in self._extra(build, per).items():
            keys = [key for key in per if key[:2] == need]
            if milli > 0:
                per[keys[0] if keys else (*need, 0)] += milli
            for key in keys:  # what one line cannot give, the next one gives
                taken = max(0, min(per[key], -milli))
                per[key] -= taken
                milli += taken
        return self._totals(MILLI, per)

    def _extra(self, build: Build, per: dict[_Line, int]) -> dict[Need, int]:
        """What a build has over and above the lines of its bill, or less than they say."""
        extra: defaultdict[Need, int] = defaultdict(int)
        first = self._first_operation(build.product)
        for option in self.options.get(build.build, ()):
            operation = option.operation
            if operation is None:  # by the bill alone, however many options there are
                on_bill = [where for where, what, _ in per if what == option.component]
                operation = on_bill[0] if on_bill else first
            extra[operation, option.component] += option.quantity_milli
        there = [(where, what) for where, what, _ in per]
        there += sorted(extra, key=lambda need: -1 if need[0] is None else need[0])
        family = self.parts[build.product].family
        for rule in self.dataset.region_rules:
            if rule.family == family and (build.destination or "").startswith(rule.region):
                called_for = [need for need in there if need[1] == rule.component]
                need = called_for[0] if called_for else (first, rule.component)
                extra[need] += rule.quantity_milli
        return dict(extra)

    def _first_operation(self, part: str) -> int | None:
        steps = self.routings.get(part)
        return steps[0].operation if steps else None

    def _lines_of(self, part: str, ordered: date) -> defaultdict[_Line, int]:
        """Bill quantities in effect, by operation, component and scrap."""
        per: defaultdict[_Line, int] = defaultdict(int)
        first = self._first_operation(part)
        for line in self.bills.get(part, ()):
            if (line.starts is None or line.starts <= ordered) and (
                line.ends is None or ordered <= line.ends
            ):
                # A phantom has no operations: whatever its bill says is needed at one moment.
                operation = first if line.operation is None or first is None else line.operation
                per[operation, line.component, line.scrap_ppm] += line.quantity_milli
        return per

    def _totals(self, units_milli: int, per: dict[_Line, int]) -> dict[Need, int]:
        """Units x quantity / (1 - scrap), added up by operation, in whole steps."""
        raw: defaultdict[Need, Fraction] = defaultdict(Fraction)
        for (operation, component, scrap_ppm), quantity_milli in per.items():
            if quantity_milli > 0:
                raw[operation, component] += Fraction(
                    units_milli * quantity_milli * PPM, (PPM - scrap_ppm) * MILLI
                )
        return {need: self.whole_steps(need[1], amount) for need, amount in raw.items()}

    def whole_steps(self, part: str, milli: Fraction) -> int:
        """The least number of whole steps of a part that is enough."""
        step = self.parts[part].step_milli
        return -(-milli // step) * step

    def wanted(self, part: str, used: str, milli: int) -> int:
        """How much of `used` fills a need for so much of `part`.

        The need of the part called for is rounded up to its own step first, then times the ratio
        to the alternate's step.
        """
        if used == part:
            return milli
        ratio_ppm = self.alternates[part, used].ratio_ppm
        return self.whole_steps(used, Fraction(milli * ratio_ppm, PPM))

    def may_fill(self, part: str, used: str) -> bool:
        """Whether a need for a part may be filled with another (or with itself)."""
        return used == part or (part, used) in self.alternates


def _line_order(line: BillLine) -> tuple[str, int, int, date]:
    operation = -1 if line.operation is None else line.operation
    return (line.component, operation, line.scrap_ppm, line.starts or date.min)

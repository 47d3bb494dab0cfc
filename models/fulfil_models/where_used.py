"""Where does a part go: which parents, up to the top, which open builds and parts orders?"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction

from fulfil_models.bill_tree import explode_build
from fulfil_models.cells import MILLI, PPM
from fulfil_models.explosion import in_effect
from fulfil_models.problem import FIRM, Problem
from fulfil_models.tables import BillLine, Build


@dataclass(frozen=True, slots=True)
class Parent:
    """One parent at its place above the part.

    Attributes
    ----------
    level: 1 for what the part goes into directly.
    of: the component of this parent on the way down to the part.
    each_milli: of that component in one unit of this parent, scrap not included.
    in_one_milli: of the part in one unit of this parent by this way, scrap included, not rounded
        to steps (the nearest thousandth).
    top: no bill calls for this parent.
    in_effect: the bill line is good for an order of the planning date.
    """

    level: int
    part: str
    description: str | None
    of: str
    operation: int | None
    each_milli: int
    in_one_milli: int
    top: bool
    in_effect: bool
    starts: date | None
    ends: date | None


@dataclass(frozen=True, slots=True)
class InBuild:
    """An open build that takes the part, and how much with all its levels."""

    build: str
    product: str
    point: str
    promised: date | datetime | None
    quantity_milli: int


@dataclass(frozen=True, slots=True)
class InOrder:
    """A line of a parts order for the part itself."""

    order: str
    line: str
    destination: str
    promised: date | None
    quantity_milli: int


@dataclass(frozen=True, slots=True)
class StandsInFor:
    """A part that this one may replace, or one that may replace it."""

    part: str
    approved: bool
    ratio_ppm: int


@dataclass(frozen=True, slots=True)
class WhereUsed:
    part: str
    description: str | None
    unit: str
    parents: tuple[Parent, ...]
    builds: tuple[InBuild, ...]
    orders: tuple[InOrder, ...]
    stands_in_for: tuple[StandsInFor, ...]
    replaced_by: tuple[StandsInFor, ...]
    """alternates of this part; `part` is the alternate"""

    @property
    def total_milli(self) -> int:
        """What all open builds take together."""
        return sum(row.quantity_milli for row in self.builds)

    @property
    def ordered_milli(self) -> int:
        """What all parts orders take together."""
        return sum(row.quantity_milli for row in self.orders)


def where_used(problem: Problem, part: str) -> WhereUsed:
    """Every way up from a part, and the open builds at the end of them."""
    row = problem.parts[part]
    above: defaultdict[str, list[BillLine]] = defaultdict(list)
    for lines in problem.bills.values():
        for line in lines:
            above[line.component].append(line)
    return WhereUsed(
        part=part,
        description=row.description,
        unit=row.unit,
        parents=tuple(_parents(problem, above, part)),
        builds=tuple(_builds(problem, above, part)),
        orders=tuple(
            InOrder(line.order, line.line, line.destination, line.promised, line.quantity_milli)
            for line in sorted(problem.dataset.parts_orders, key=lambda r: (r.order, r.line))
            if line.part == part
        ),
        stands_in_for=tuple(
            StandsInFor(alternate.part, alternate.approved, alternate.ratio_ppm)
            for alternate in sorted(problem.dataset.alternates, key=lambda r: (r.part, r.rank))
            if alternate.alternate == part
        ),
        replaced_by=tuple(
            StandsInFor(alternate.alternate, alternate.approved, alternate.ratio_ppm)
            for alternate in sorted(problem.dataset.alternates, key=lambda r: (r.rank, r.alternate))
            if alternate.part == part
        ),
    )


def _parents(problem: Problem, above: dict[str, list[BillLine]], part: str) -> list[Parent]:
    found: list[Parent] = []
    todo = [(1, line, Fraction(1)) for line in reversed(above.get(part, []))]
    while todo:
        level, line, below = todo.pop()
        scrap = Fraction(PPM, PPM - line.scrap_ppm)
        in_one = below * Fraction(line.quantity_milli, MILLI) * scrap
        row = problem.parts.get(line.parent)
        lines_up = above.get(line.parent, [])
        found.append(
            Parent(
                level=level,
                part=line.parent,
                description=None if row is None else row.description,
                of=line.component,
                operation=line.operation,
                each_milli=line.quantity_milli,
                in_one_milli=round(in_one * MILLI),
                top=not lines_up,
                in_effect=in_effect(line, problem.as_of),
                starts=line.starts,
                ends=line.ends,
            )
        )
        todo += [(level + 1, up, in_one) for up in reversed(lines_up)]
    return found


def _builds(problem: Problem, above: dict[str, list[BillLine]], part: str) -> list[InBuild]:
    """Firm builds whose own bill, options and region rules included, calls for the part."""
    ancestors = {part}
    todo = [part]
    while todo:
        for line in above.get(todo.pop(), []):
            if line.parent not in ancestors:
                ancestors.add(line.parent)
                todo.append(line.parent)
    ruled: set[str | None] = {
        rule.family for rule in problem.dataset.region_rules if rule.component in ancestors
    }
    found: list[InBuild] = []
    for build in sorted(problem.dataset.builds, key=lambda row: row.build):
        if build.status != FIRM or not _may_take(problem, build, ancestors, ruled):
            continue
        total_milli = sum(
            line.quantity_milli for line in explode_build(problem, build).lines if line.part == part
        )
        if total_milli:
            found.append(
                InBuild(build.build, build.product, build.point, build.promised, total_milli)
            )
    return found


def _may_take(problem: Problem, build: Build, ancestors: set[str], ruled: set[str | None]) -> bool:
    """Whether exploding the build is worth the while."""
    product = problem.parts.get(build.product)
    return (
        build.product in ancestors
        or any(row.component in ancestors for row in problem.options.get(build.build, ()))
        or (product is not None and product.family in ruled)
    )

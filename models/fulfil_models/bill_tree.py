"""What is a part, or a build, made of, level by level?"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from fulfil_models.cells import MILLI
from fulfil_models.explosion import JobNeed, job_needs
from fulfil_models.problem import Problem
from fulfil_models.tables import Build


@dataclass(frozen=True, slots=True)
class AtPoint:
    """Units free to use on the shelf of a point."""

    point: str
    free_milli: int


@dataclass(frozen=True, slots=True)
class TreeLine:
    """One component at its place in the bill.

    Attributes
    ----------
    level: 1 for what goes into the top itself.
    operation: of the parent's routing at whose start it is needed; None in a phantom.
    quantity_milli: for all that is exploded, scrap included and rounded up to steps.
    how: `make` (a job of its own), `phantom` (made from its components in no time) or `buy`.
    why: `bill`, or `option` or `rule` where the build has it beyond its product's bill.
    """

    level: int
    part: str
    description: str | None
    parent: str
    operation: int | None
    quantity_milli: int
    unit: str
    how: str
    why: str
    stock: tuple[AtPoint, ...]

    @property
    def free_milli(self) -> int:
        return sum(row.free_milli for row in self.stock)


@dataclass(frozen=True, slots=True)
class AppliedRule:
    """A part that the rules commonly seen in the ship-to region add to a build."""

    region: str
    component: str
    quantity_milli: int
    note: str


@dataclass(frozen=True, slots=True)
class AppliedOption:
    """What a build has more (above 0) or less (below 0) than its product's bill."""

    component: str
    quantity_milli: int


@dataclass(frozen=True, slots=True)
class BillTree:
    """The indented bill of a part or of a build.

    Attributes
    ----------
    top: the part at the top; of a build its product.
    point: where the build is put together; None for a part.
    ordered: the date by which effective dates are judged.
    """

    top: str
    description: str | None
    build: str | None
    point: str | None
    quantity_milli: int
    unit: str
    ordered: date
    how: str
    stock: tuple[AtPoint, ...]
    lines: tuple[TreeLine, ...]
    options: tuple[AppliedOption, ...] = ()
    rules: tuple[AppliedRule, ...] = ()


def explode_part(problem: Problem, part: str, units_milli: int = MILLI) -> BillTree:
    """The bill of so many units of a part ordered on the planning date."""
    return _tree(problem, part, units_milli, problem.as_of, None)


def explode_build(problem: Problem, build: Build) -> BillTree:
    """The bill of a build, with its options and the rules of its ship-to region."""
    return _tree(problem, build.product, MILLI, build.ordered, build)


def applied_rules(problem: Problem, build: Build) -> tuple[AppliedRule, ...]:
    """Region rules that add parts to a build."""
    product = problem.parts.get(build.product)
    return tuple(
        AppliedRule(rule.region, rule.component, rule.quantity_milli, rule.note)
        for rule in sorted(
            problem.dataset.region_rules, key=lambda r: (r.region, r.component, r.family)
        )
        if product is not None
        and rule.family == product.family
        and (build.destination or "").startswith(rule.region)
    )


def applied_options(problem: Problem, build: Build) -> tuple[AppliedOption, ...]:
    return tuple(
        AppliedOption(row.component, row.quantity_milli)
        for row in problem.options.get(build.build, ())
    )


def how_it_comes(problem: Problem, part: str) -> str:
    """`make`, `phantom` or `buy`."""
    row = problem.parts.get(part)
    if row is None or not row.make:
        return "buy"
    return "make" if problem.routings.get(part) else "phantom"


def _tree(
    problem: Problem, top: str, units_milli: int, ordered: date, build: Build | None
) -> BillTree:
    stock = _free_stock(problem)
    rules = applied_rules(problem, build) if build is not None else ()
    options = applied_options(problem, build) if build is not None else ()
    added = {rule.component: "rule" for rule in rules}
    added |= {row.component: "option" for row in options if row.quantity_milli > 0}
    lines: list[TreeLine] = []
    first = job_needs(problem, top, units_milli, ordered=ordered, build=build)
    todo = [(1, top, need) for need in reversed(first)]
    while todo:
        level, parent, need = todo.pop()
        how = how_it_comes(problem, need.component)
        lines.append(_line(problem, level, parent, need, how, added, stock))
        if how != "buy":
            below = job_needs(problem, need.component, need.quantity_milli, ordered=ordered)
            todo += [(level + 1, need.component, row) for row in reversed(below)]
    part = problem.parts[top]
    return BillTree(
        top=top,
        description=part.description,
        build=None if build is None else build.build,
        point=None if build is None else build.point,
        quantity_milli=units_milli,
        unit=part.unit,
        ordered=ordered,
        how=how_it_comes(problem, top),
        stock=stock.get(top, ()),
        lines=tuple(lines),
        options=options,
        rules=rules,
    )


def _line(
    problem: Problem,
    level: int,
    parent: str,
    need: JobNeed,
    how: str,
    added: dict[str, str],
    stock: dict[str, tuple[AtPoint, ...]],
) -> TreeLine:
    part = problem.parts[need.component]
    return TreeLine(
        level=level,
        part=need.component,
        description=part.description,
        parent=parent,
        operation=need.operation,
        quantity_milli=need.quantity_milli,
        unit=part.unit,
        how=how,
        why=added.get(need.component, "bill") if level == 1 else "bill",
        stock=stock.get(need.component, ()),
    )


def _free_stock(problem: Problem) -> dict[str, tuple[AtPoint, ...]]:
    by: defaultdict[str, list[AtPoint]] = defaultdict(list)
    for row in sorted(problem.dataset.stock, key=lambda r: (r.part, r.point)):
        if row.quantity_milli > row.held_milli:
            by[row.part].append(AtPoint(row.point, row.quantity_milli - row.held_milli))
    return {part: tuple(rows) for part, rows in by.items()}

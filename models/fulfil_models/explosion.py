"""What does a job need? Bills of materials turned into quantities (contract rule 3)."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from fulfil_models.cells import MILLI, PPM
from fulfil_models.problem import Problem
from fulfil_models.tables import BillLine, Build, RegionRule


@dataclass(frozen=True, slots=True)
class JobNeed:
    """So much of a component at the start of an operation of a job.

    `operation` is None in a phantom, which has no operations of its own.
    """

    operation: int | None
    component: str
    quantity_milli: int


def in_effect(line: BillLine, ordered: date | None) -> bool:
    """Whether a bill line is good for an order of that date (both ends inclusive)."""
    return ordered is None or not (
        (line.starts is not None and ordered < line.starts)
        or (line.ends is not None and ordered > line.ends)
    )


def round_up(quantity_milli: Fraction, step_milli: int) -> int:
    """A quantity rounded up to whole steps."""
    return -(-quantity_milli.numerator // (quantity_milli.denominator * step_milli)) * step_milli


_Line = tuple[int | None, str, int]  # operation, component, scrap


def job_needs(
    problem: Problem,
    part: str,
    units_milli: int,
    *,
    ordered: date | None = None,
    build: Build | None = None,
) -> list[JobNeed]:
    """Needs of a job that makes so many units of a part.

    Need = units x quantity / (1 - scrap), lines of one component at one operation added up, then
    rounded up to the component's step.

    Parameters
    ----------
    ordered: order date that effective dates are judged by; None takes every line.
    build: given for a build's own job, whose options and region rules then count.

    Returns
    -------
    Needs in order of operation and component.
    """
    per = _per_unit(problem, part, build.ordered if build is not None else ordered, build)
    # fractions as numerator and denominator: to reduce every one would take most of the time
    totals: dict[tuple[int | None, str], tuple[int, int]] = {}
    for (operation, component, scrap_ppm), quantity_milli in per.items():
        if quantity_milli > 0:
            more, parts = units_milli * quantity_milli * PPM, MILLI * (PPM - scrap_ppm)
            before = totals.get((operation, component))
            if before is not None:  # with another scrap
                more, parts = before[0] * parts + more * before[1], before[1] * parts
            totals[operation, component] = more, parts
    needs = []
    for (operation, component), (total, parts) in totals.items():
        step_milli = problem.parts[component].step_milli
        needs.append(JobNeed(operation, component, -(-total // (parts * step_milli)) * step_milli))
    return sorted(needs, key=lambda n: (-1 if n.operation is None else n.operation, n.component))


def _per_unit(
    problem: Problem, part: str, ordered: date | None, build: Build | None
) -> dict[_Line, int]:
    """What goes into one unit, before scrap."""
    routing = problem.routings.get(part, ())
    first = routing[0].operation if routing else None
    per: defaultdict[_Line, int] = defaultdict(int)
    for line in problem.bills.get(part, ()):
        if in_effect(line, ordered):
            operation = first if line.operation is None else line.operation
            per[operation, line.component, line.scrap_ppm] += line.quantity_milli
    if build is not None:
        _apply(_changes(problem, build, first, per), per)
    return per


def configured(problem: Problem, build: Build) -> dict[tuple[int | None, str], int]:
    """Of each component, by operation, the thousandths that a build as configured takes, before
    scrap: its product's bill, its options and region rules."""
    found: defaultdict[tuple[int | None, str], int] = defaultdict(int)
    per = _per_unit(problem, build.product, build.ordered, build)
    for (operation, component, _), quantity_milli in per.items():
        found[operation, component] += max(0, quantity_milli)
    return dict(found)


def _changes(
    problem: Problem, build: Build, first: int | None, per: dict[_Line, int]
) -> dict[tuple[int | None, str], int]:
    """What options and region rules add to the bill's lines, or take away, by operation.

    Where an option names no operation it is that of the bill's first line for the component, else
    the first of the routing: a matter of the bill alone, whatever other options there are. A rule
    comes after all of them: what only options call for, it adds to the first of those.
    """
    usual: dict[str, int | None] = {}
    for operation, component, _ in per:
        usual.setdefault(component, operation)
    changes: defaultdict[tuple[int | None, str], int] = defaultdict(int)
    for option in problem.options.get(build.build, ()):
        operation = option.operation
        if operation is None:
            operation = usual.get(option.component, first)
        changes[operation, option.component] += option.quantity_milli
    for operation, component in sorted(changes, key=lambda c: -1 if c[0] is None else c[0]):
        usual.setdefault(component, operation)
    for rule in rules_for(problem, build):
        changes[usual.get(rule.component, first), rule.component] += rule.quantity_milli
    return dict(changes)


def rules_for(problem: Problem, build: Build) -> list[RegionRule]:
    """Region rules for machines like a build that go where it goes."""
    family = problem.parts[build.product].family
    return [
        rule
        for rule in problem.dataset.region_rules
        if rule.family == family and (build.destination or "").startswith(rule.region)
    ]


def _apply(changes: dict[tuple[int | None, str], int], per: defaultdict[_Line, int]) -> None:
    """Change the bill's lines: what is added goes to the first of a component at an operation,
    what is taken away comes from one after the other."""
    for (operation, component), change_milli in changes.items():
        lines = [line for line in per if line[:2] == (operation, component)]
        if change_milli > 0:
            per[lines[0] if lines else (operation, component, 0)] += change_milli
            continue
        for line in lines:
            taken = min(per[line], -change_milli)
            per[line] -= taken
            change_milli += taken


def total_needs(problem: Problem, demand_milli: dict[str, int]) -> dict[str, int]:
    """Total of every part that a demand calls for, all levels down, nothing netted.

    Parts are worked off in order of their low-level code, each once, so the time is linear in the
    rows of the bills. Quantities are rounded up to steps at every level.
    """
    order = low_level_codes(problem)
    totals: defaultdict[str, int] = defaultdict(int, demand_milli)
    for part in sorted(order, key=lambda p: (order[p], p)):
        if totals[part] > 0:
            for need in job_needs(problem, part, totals[part]):
                totals[need.component] += need.quantity_milli
    return {part: total for part, total in totals.items() if total}


def low_level_codes(problem: Problem) -> dict[str, int]:
    """Low-level code of each part: the deepest level at which any bill calls for it, 0 at the top.

    Raises ValueError where bills contain themselves.
    """
    waiting: defaultdict[str, int] = defaultdict(int)
    for parent, lines in problem.bills.items():
        waiting[parent] += 0
        for line in lines:
            waiting[line.component] += 1
    codes = dict.fromkeys({**dict.fromkeys(problem.parts), **waiting}, 0)
    ready = [part for part in codes if waiting[part] == 0]
    done = 0
    while ready:
        part = ready.pop()
        done += 1
        for line in problem.bills.get(part, ()):
            codes[line.component] = max(codes[line.component], codes[part] + 1)
            waiting[line.component] -= 1
            if waiting[line.component] == 0:
                ready.append(line.component)
    if done < len(codes):
        raise ValueError("bills contain themselves")
    return codes

"""Are bills, options and routings whole? Nothing contains itself, and every operation exists."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from fulfil_models.cells import MILLI, PPM, format_decimal
from fulfil_models.checking_case import Case
from fulfil_models.checking_time import doubtful_calendars
from fulfil_models.cycles import from_the_top, knots, way_round
from fulfil_models.explosion import in_effect, round_up
from fulfil_models.findings import Finding, listed

MOST_UNITS = 10**9
"""of one part for one job: solvers compute in floating point, and tell no more apart"""
Graph = dict[str, dict[str, tuple[str, int]]]
"""for each parent, its components and the table and index of a row that says so"""


def containment(case: Case) -> Graph:
    """What contains what: by bills, then by options of builds and region rules."""
    graph: defaultdict[str, dict[str, tuple[str, int]]] = defaultdict(dict)
    data = case.dataset
    for index, line in enumerate(data.bills):
        graph[line.parent].setdefault(line.component, ("bills", index))
    for index, option in enumerate(data.build_options):
        build = case.builds.get(option.build)
        if build is not None and option.quantity_milli > 0:
            graph[build.product].setdefault(option.component, ("build_options", index))
    rules: defaultdict[str, list[tuple[int, Any]]] = defaultdict(list)
    for index, rule in enumerate(data.region_rules):
        rules[rule.family].append((index, rule))
    for build in data.builds:
        part = case.parts.get(build.product)
        for index, rule in rules.get((part.family if part else None) or "", ()):
            if (build.destination or "").startswith(rule.region):
                graph[build.product].setdefault(rule.component, ("region_rules", index))
    return dict(graph)


def check_cycles(case: Case) -> Iterator[Finding]:
    """No part contains itself; the members of every circle are named in order."""
    graph = containment(case)
    for group in knots(graph):
        way = way_round(graph, group)
        table, index = graph[way[0]][way[1]]
        others = sorted(set(group) - set(way))
        more = f" (tied into it: {listed(others)})" if others else ""
        yield case.error(
            "bill-cycle",
            table,
            index,
            "component",
            f"makes {way[0]} contain itself: {' > '.join(way)}{more}",
            "remove one line of the circle",
        )


def check_bill_operations(case: Case) -> Iterator[Finding]:
    """The operation a bill line names is one of its parent's routing."""
    doubtful = case.doubtful("routings", "part")
    if not case.readable("routings"):
        return
    for index, row in case.sound("bills", "parent", "operation"):
        if row.operation is not None and row.parent not in doubtful:
            yield from _unknown_operation(case, "bills", index, row.parent, row.operation)


def check_option_operations(case: Case) -> Iterator[Finding]:
    """The operation an option or a report of progress names is one of the product's routing."""
    doubtful = case.doubtful("routings", "part")
    if not case.readable("routings"):
        return
    for table in ("build_options", "progress"):
        for index, row in case.sound(table, "build", "operation"):
            build = case.builds.get(row.build)
            if row.operation is not None and build is not None and build.product not in doubtful:
                yield from _unknown_operation(case, table, index, build.product, row.operation)


def _unknown_operation(
    case: Case, table: str, index: int, part: str, operation: int
) -> Iterator[Finding]:
    numbers = case.operations.get(part, set())
    if operation in numbers or part not in case.parts:
        return
    if numbers:
        remedy = f"write one of {listed(str(number) for number in sorted(numbers))}"
    else:
        remedy = f"{part} has no routing: leave the cell empty or add the routing"
    wrong = f"is no operation of {part}"
    yield case.error("unknown-operation", table, index, "operation", wrong, remedy)


def check_options(case: Case) -> Iterator[Finding]:
    """No build's options take more away than its product's bill holds on the order date."""
    if not case.readable("bills", "builds", "routings"):
        return
    doubtful = case.doubtful("bills", "parent") | case.doubtful("routings", "part")
    by_build: defaultdict[str, list[tuple[int, Any]]] = defaultdict(list)
    for index, row in enumerate(case.dataset.build_options):
        by_build[row.build].append((index, row))
    broken = case.doubtful("build_options", "build") | case.doubtful("builds", "build")
    for name, rows in by_build.items():
        build = case.builds.get(name)
        if build is None or name in broken or build.product in doubtful:
            continue
        if any(row.quantity_milli < 0 for _, row in rows):
            yield from _overdrawn(case, build, rows)


def _overdrawn(case: Case, build: Any, rows: list[tuple[int, Any]]) -> Iterator[Finding]:
    routing = case.routings.get(build.product, ())
    first = routing[0].operation if routing else None
    at: defaultdict[tuple[str, int | None], int] = defaultdict(int)
    usual: dict[str, int | None] = {}
    for line in case.bills.get(build.product, ()):
        if in_effect(line, build.ordered):
            operation = first if line.operation is None else line.operation
            at[line.component, operation] += line.quantity_milli
            usual.setdefault(line.component, operation)
    before = dict(at)
    taken: defaultdict[tuple[str, int | None], list[int]] = defaultdict(list)
    for index, row in rows:
        default = usual.get(row.component, first)
        key = (row.component, default if row.operation is None else row.operation)
        at[key] += row.quantity_milli
        if row.quantity_milli < 0:
            taken[key].append(index)
    for key, indices in taken.items():
        if at[key] >= 0:
            continue
        held = format_decimal(before.get(key, 0), 3)
        where = "" if key[1] is None else f" at operation {key[1]}"
        for index in indices:
            yield case.error(
                "removes-too-much",
                "build_options",
                index,
                "quantity",
                f"takes away more {key[0]} than there is: the bill of {build.product} has "
                f"{held}{where} for an order of {build.ordered}",
                f"take away at most {held}, or mend the component or the operation",
            )


def check_routings(case: Case) -> Iterator[Finding]:
    """No operation uses more stations than its work centre has, or takes longer than the
    horizon."""
    doubtful = case.doubtful("work_centres", "work_centre")
    unsure = doubtful_calendars(case)
    largest = _largest_needs(case)
    for index, row in case.sound("routings"):
        centre = case.work_centres.get(row.work_centre)
        if centre is None:
            continue
        if row.stations > centre.stations and row.work_centre not in doubtful:
            yield case.error(
                "too-many-stations",
                "routings",
                index,
                "stations",
                f"is more than the {centre.stations} that {row.work_centre} has",
                "write at most that, or mend the work centre",
            )
        point = case.problem.points.get(centre.point)
        if point is None or point.calendar in unsure:
            continue
        open_minutes = case.working_minutes.get(point.calendar)
        part = case.parts.get(row.part)
        units_milli = largest.get(row.part, MILLI) if part is not None and part.make else MILLI
        minutes = (row.setup_milli + row.minutes_milli * units_milli // MILLI) // MILLI
        if open_minutes and minutes > open_minutes:
            units = format_decimal(units_milli, 3)
            yield case.error(
                "longer-than-horizon",
                "routings",
                index,
                "minutes",
                f"makes a job of {units} take {minutes} minutes, and {centre.point} works only "
                f"{open_minutes} within the horizon of {case.settings.horizon_days} days",
                "mend the minutes, or set a longer horizon_days",
            )


def check_totals(case: Case) -> Iterator[Finding]:
    """No job calls for more of a part than solvers can count; reported where it first happens."""
    largest = _largest_needs(case)
    for index, line in case.sound("bills"):
        units_milli = largest.get(line.component, 0)
        if units_milli > MOST_UNITS * MILLI >= largest.get(line.parent, 0):
            yield case.error(
                "too-many-units",
                "bills",
                index,
                "quantity",
                f"makes one job call for {format_decimal(units_milli, 3)} of {line.component}",
                f"check the quantities from {line.component} upwards, or count it in a larger "
                f"unit: the most is {MOST_UNITS}",
            )


def _largest_needs(case: Case) -> dict[str, int]:
    """The most of a part, in thousandths, that one job calls for; empty if bills are in knots.

    From builds of one unit downwards, each part once after all that contain it.
    """
    graph = containment(case)
    try:
        order = from_the_top(graph)
    except ValueError:
        return {}
    most: defaultdict[str, int] = defaultdict(int)
    for build in case.dataset.builds:
        most[build.product] = MILLI
    for parent in order:
        if not most[parent]:
            continue
        per: defaultdict[str, Fraction] = defaultdict(Fraction)
        for line in case.bills.get(parent, ()):
            per[line.component] += Fraction(
                most[parent] * line.quantity_milli * PPM, MILLI * (PPM - line.scrap_ppm)
            )
        for component, total in per.items():
            part = case.parts.get(component)
            if part is not None:
                units_milli = round_up(total, part.step_milli)
                most[component] = max(most[component], units_milli)
    return {part: units_milli for part, units_milli in most.items() if units_milli}

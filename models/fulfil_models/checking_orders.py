"""Can what customers ordered, and will, be planned? Builds, progress, parts orders, forecasts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

from fulfil_models.cells import day_of
from fulfil_models.checking_case import STATUSES, Case
from fulfil_models.cycles import knots, way_round
from fulfil_models.findings import Finding, did_you_mean, listed
from fulfil_models.problem import FIRM


def check_builds(case: Case) -> Iterator[Finding]:
    """Dates and status of every build."""
    for index, row in case.sound("builds"):
        if row.status not in STATUSES:
            near = did_you_mean(row.status, STATUSES)
            yield case.error(
                "unknown-status",
                "builds",
                index,
                "status",
                "is no status",
                near or f"write one of {', '.join(STATUSES)}",
            )
        if row.promised is not None and day_of(row.promised) < row.ordered:
            yield case.warning(
                "promised-before-ordered",
                "builds",
                index,
                "promised",
                f"is before the order of {row.ordered}",
                "check both dates",
            )
        if row.status != FIRM:
            continue
        if row.promised is not None and day_of(row.promised) > case.last_day:
            yield case.warning(
                "beyond-horizon",
                "builds",
                index,
                "promised",
                f"is after the end of the horizon, {case.last_day}",
                "check the date, or set a longer horizon_days",
            )
        if row.earliest is not None and row.earliest > case.last_day:
            yield case.error(
                "beyond-horizon",
                "builds",
                index,
                "earliest",
                f"is after the end of the horizon, {case.last_day}",
                "mend the date, or set a longer horizon_days",
            )


def check_assembly(case: Case) -> Iterator[Finding]:
    """Every firm build has operations, and its point has the work centres for them."""
    if not case.readable("routings", "work_centres", "parts", "points"):
        return
    centres_at: defaultdict[str, list[str]] = defaultdict(list)
    for centre in case.work_centres.values():
        centres_at[centre.point].append(centre.work_centre)
    points = set(case.problem.points)
    # A work centre whose own row is at fault is not held against the builds that use it.
    unsure = case.doubtful("work_centres", "work_centre")
    for index, row in case.sound("builds", "product", "point", "status"):
        if row.status != FIRM or row.product not in case.parts or row.point not in points:
            continue
        routing = case.routings.get(row.product, ())
        if not routing:
            yield case.error(
                "no-routing",
                "builds",
                index,
                "product",
                "has no routing, so there is nothing to schedule",
                "add its operations to routings, or mend the product",
            )
            continue
        if row.product not in case.bills and case.readable("bills"):
            yield case.warning(
                "no-bill",
                "builds",
                index,
                "product",
                "has no bill, so it is planned without any parts",
                "add its lines to bills if it takes any",
            )
        if unsure.intersection(step.work_centre for step in routing):
            continue
        if row.point not in centres_at:
            assembling = sorted(centres_at)
            yield case.error(
                "assembles-nothing",
                "builds",
                index,
                "point",
                "has no work centre, so it assembles nothing",
                f"name a point that does ({listed(assembling)}), or add its work centres",
            )
            continue
        away = sorted(
            {
                step.work_centre
                for step in routing
                if step.work_centre in case.work_centres
                and case.work_centres[step.work_centre].point != row.point
            }
        )
        if away:
            elsewhere = sorted({case.work_centres[name].point for name in away})
            yield case.error(
                "assembled-elsewhere",
                "builds",
                index,
                "point",
                f"does not have all work centres of {row.product}: {listed(away)} stand at "
                f"{listed(elsewhere)}",
                "name the point whose work centres the routing uses",
            )


def check_progress(case: Case) -> Iterator[Finding]:
    """What is finished was started, before it was finished and not in the future."""
    for index, row in case.sound("progress"):
        if row.started is None and row.finished is None:
            yield case.warning(
                "no-progress",
                "progress",
                index,
                "started",
                "is empty and so is finished; the row says nothing",
                "write when it was started, or remove the row",
            )
        elif row.started is None:
            yield case.error(
                "finished-without-start",
                "progress",
                index,
                "started",
                "is empty, and the operation is finished",
                "write when it was started",
            )
        elif row.finished is not None and row.finished < row.started:
            yield case.error(
                "finished-before-start",
                "progress",
                index,
                "finished",
                f"is before the start at {row.started:%Y-%m-%dT%H:%M}",
                "mend one of the two moments",
            )
        for column, moment in (("started", row.started), ("finished", row.finished)):
            if moment is not None and moment.date() > case.last_day:
                yield case.error(
                    "beyond-horizon",
                    "progress",
                    index,
                    column,
                    f"is after the end of the horizon, {case.last_day}",
                    "mend the moment or as_of, or set a longer horizon_days",
                )
            elif moment is not None and moment.date() > case.as_of:
                yield case.warning(
                    "in-the-future",
                    "progress",
                    index,
                    column,
                    f"is after the planning date, {case.as_of}",
                    "mend the moment or as_of",
                )


def check_progress_order(case: Case) -> Iterator[Finding]:
    """Operations are done in order: none is under way before the one before is finished."""
    by_build: defaultdict[str, list[tuple[int, Any]]] = defaultdict(list)
    for index, row in case.sound("progress"):
        by_build[row.build].append((index, row))
    for name, rows in by_build.items():
        build = case.builds.get(name)
        numbers = sorted(case.operations.get(build.product, ())) if build else []
        done = {row.operation: row for _, row in rows}
        for index, row in sorted(rows, key=lambda entry: entry[1].operation):
            before = [number for number in numbers if number < row.operation]
            if not before or (row.started is None and row.finished is None):
                continue
            last = done.get(before[-1])
            if last is None or last.finished is None:
                yield case.warning(
                    "out-of-order",
                    "progress",
                    index,
                    "operation",
                    f"is under way, and operation {before[-1]} before it is not finished; it is "
                    "planned as if it were",
                    f"report operation {before[-1]} too",
                )


def check_parts_orders(case: Case) -> Iterator[Finding]:
    """Dates of every line of a parts order."""
    for index, row in case.sound("parts_orders"):
        if row.promised is not None and row.promised < row.ordered:
            yield case.warning(
                "promised-before-ordered",
                "parts_orders",
                index,
                "promised",
                f"is before the order of {row.ordered}",
                "check both dates",
            )


def check_take_rates(case: Case) -> Iterator[Finding]:
    """No product takes, in a share of its builds, a component that is made of the product."""
    rates = {(row.product, row.component): index for index, row in case.sound("take_rates")}
    graph: defaultdict[str, dict[str, None]] = defaultdict(dict)
    for line in case.dataset.bills:
        graph[line.parent][line.component] = None
    for product, component in rates:
        graph[product][component] = None
    for group in knots(graph):
        way = way_round(graph, group)
        index = next((rates[step] for step in pairwise(way) if step in rates), None)
        if index is not None:
            yield case.error(
                "rate-cycle",
                "take_rates",
                index,
                "component",
                f"makes {way[0]} contain itself: {' > '.join(way)}",
                "remove the row, or mend its product or component",
            )


def check_forecast_bills(case: Case) -> Iterator[Finding]:
    """Every made part that is forecast has a bill."""
    if not case.readable("parts", "bills"):
        return
    doubtful = case.doubtful("parts", "part") | case.doubtful("bills", "parent")
    seen: set[str] = set()
    for index, row in case.sound("demand", "part"):
        part = case.parts.get(row.part)
        if part is None or row.part in seen | doubtful:
            continue
        seen.add(row.part)
        if part.make and row.part not in case.bills:
            yield case.warning(
                "no-bill",
                "demand",
                index,
                "part",
                "is made and has no bill, so its forecast calls for nothing else",
                "add its lines to bills, or write no in make of parts",
            )

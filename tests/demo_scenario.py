"""The demo scenario as tests see it: its tables read strictly, its stories, and what they count."""

from __future__ import annotations

import csv
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from fulfil_models import tables as t
from fulfil_models.calendar import Axis, make_axis
from fulfil_models.columns import TABLES, Table

DEMO = Path(__file__).resolve().parents[1] / "data" / "demo"
PLANT = "TWIN-FALLS"
AS_OF = date(2026, 9, 14)


@dataclass(frozen=True)
class Story:
    """One thing a plan of the demo must show; told in words in data/demo/README.md."""

    kind: str
    builds: tuple[str, ...]
    part: str
    least: int
    """how many of the builds and the order it holds for in any plan; points, of a split order"""
    order: str | None = None
    """a parts order that it is about, or that wants the same part"""


STORIES = (
    Story(
        "late for an engine",
        ("B-2105", "B-2107", "B-2113", "B-2104", "B-2110", "B-2119", "B-2114", "B-2120", "B-2121"),
        "ENG-014D",
        3,
        order="S-7302",
    ),
    Story("saved by an alternate", ("B-2128",), "ENG-008G", 1),
    Story("saved by a transfer", ("B-2108",), "VOL-6", 1),
    Story("waits for the test bay", ("B-2103", "B-2106", "B-2109"), "ENG-070D", 1),
    Story("past-due purchase", ("B-2105", "B-2107"), "CYL-MAST", 2),
    Story("ordered in time", ("B-2148", "B-2138"), "ATS-200", 2),
    Story("parts order split", (), "SVC-LT", 2, order="S-7301"),
)
STORY = {story.kind: story for story in STORIES}


def read(table: Table[Any]) -> tuple[Any, ...]:
    """Rows of one table of the demo; a bad cell raises with its place."""
    columns = {column.name: column for column in table.columns}
    with (DEMO / f"{table.name}.csv").open(encoding="utf-8", newline="") as handle:
        reader = csv.DictReader(handle, strict=True)
        unknown = set(reader.fieldnames or ()) - set(columns)
        assert not unknown, f"{table.name}: unknown columns {unknown}"
        rows = []
        for cells in reader:
            values = {}
            for name, text in cells.items():
                column, place = columns[name], f"{table.name}.csv:{reader.line_num} {name}"
                assert text == text.strip(), place
                if not text:
                    assert not column.required, f"{place} is empty"
                    values[column.attribute] = column.default_value
                    continue
                value = column.kind.parse(text)
                if column.least is not None:
                    assert value >= column.kind.parse(column.least), place
                if column.above is not None:
                    assert value > column.kind.parse(column.above), place
                if column.below is not None:
                    assert value < column.kind.parse(column.below), place
                values[column.attribute] = value
            rows.append(table.row(**values))
        return tuple(rows)


@cache
def demo() -> t.Dataset:
    return t.Dataset(**{table.name: read(table) for table in TABLES.values()})


def axis(name: str = "plant", as_of: date = AS_OF) -> Axis:
    data = demo()
    return make_axis(name, as_of, 400, data.calendars, data.shifts, data.closures)


def promised_day(build: t.Build) -> date:
    assert build.promised is not None
    return build.promised.date() if isinstance(build.promised, datetime) else build.promised


def find(build: str) -> t.Build:
    return next(row for row in demo().builds if row.build == build)


def firm() -> list[t.Build]:
    return [row for row in demo().builds if row.status == "firm"]


def calls_for(build: t.Build) -> dict[str, Fraction]:
    """Units of every part that a build calls for through all levels of its bill, by part.

    Steps are left out: the parts of the stories are whole units without scrap.
    """
    need: dict[str, Fraction] = defaultdict(Fraction)

    def go(part: str, units: Fraction) -> None:
        for line in demo().bills:
            good = (line.starts is None or line.starts <= build.ordered) and (
                line.ends is None or build.ordered <= line.ends
            )
            if line.parent == part and good:
                kept = 1 - Fraction(line.scrap_ppm, 1_000_000)
                quantity = units * Fraction(line.quantity_milli, 1000) / kept
                need[line.component] += quantity
                go(line.component, quantity)

    go(build.product, Fraction(1))
    for option in demo().build_options:
        if option.build == build.build:
            need[option.component] += Fraction(option.quantity_milli, 1000)
    return {part: units for part, units in need.items() if units}


def on_shelf(part: str, point: str) -> int:
    """Usable units of a part in stock at a point."""
    return sum(
        (row.quantity_milli - row.held_milli) // 1000
        for row in demo().stock
        if row.part == part and row.point == point
    )


def elsewhere(part: str) -> dict[str, int]:
    points = [row.point for row in demo().points if row.point != PLANT]
    return {point: on_shelf(part, point) for point in points if on_shelf(part, point)}


def arrivals(part: str, point: str = PLANT) -> list[tuple[date, int]]:
    """When open purchases can be used: the due date, or as_of + overdue_days if it is past."""
    overdue = int(next(row.value for row in demo().settings if row.key == "overdue_days"))
    return sorted(
        (
            row.due if row.due >= AS_OF else AS_OF + timedelta(overdue),
            row.quantity_milli // 1000,
        )
        for row in demo().purchases
        if row.part == part and row.point == point
    )


def soonest_new(part: str) -> date:
    """First day a purchase placed on the planning date can come, expedited, from any source."""
    return min(
        AS_OF + timedelta(row.lead_days - (row.expedite_days or 0))
        for row in demo().sources
        if row.part == part and row.point == PLANT
    )


def work_from(part: str, operation: int = 0) -> int:
    """Minutes of a part's routing from an operation to its end, one unit."""
    return sum(
        (row.minutes_milli + row.setup_milli) // 1000
        for row in demo().routings
        if row.part == part and row.operation >= operation
    )


def line_operation(parent: str, component: str) -> int:
    line = next(r for r in demo().bills if (r.parent, r.component) == (parent, component))
    first = min(row.operation for row in demo().routings if row.part == parent)
    return line.operation if line.operation is not None else first


def in_time(build: str, day: date, minutes: int) -> bool:
    """Whether work of so many minutes begun at the opening of a day meets the promise."""
    row, cutoff = find(build), next(p.cutoff for p in demo().points if p.point == PLANT)
    return axis().opening(day) + minutes <= axis().due(row.promised, cutoff)


def way(point: str, destination: str) -> t.Delivery | None:
    """Delivery from a point to a destination: the longest match wins."""
    rows = [
        row
        for row in demo().deliveries
        if row.point == point and destination.startswith(row.destination)
    ]
    return max(rows, key=lambda row: len(row.destination), default=None)


def carrier_day(day: date, days: int) -> date:
    while days:
        day += timedelta(1)
        days -= day.weekday() < 5
    return day

"""A plan as pandas frames, for use in a notebook.

A frame for each list of the plan document, under its name and with its columns. What the document
nests in a build - its blockers and its reasons - has a frame of its own, and so has the cost.
Nothing becomes a binary fraction: quantities and money are exact `Decimal` objects.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from fulfil_models.cells import MICRO
from fulfil_models.plan import COSTS, Plan, SupplyKind

if TYPE_CHECKING:
    import pandas as pd

Cells = tuple[object, ...]


@dataclass(frozen=True, slots=True)
class FrameSpec:
    """What a frame holds: its columns in order, and the cells of each of its rows."""

    columns: tuple[str, ...]
    rows: Callable[[Plan], Iterable[Cells]]


def frames_from_plan(plan: Plan) -> dict[str, pd.DataFrame]:
    """A frame for each list of a plan; a list without rows is a frame without rows.

    Days, minutes, operations and places in an order are `Int64`, yes and no `boolean`; quantities
    (in units of the part) and money (in the currency of the settings) are `Decimal` objects, dates
    and times objects of the standard library, the rest is text. What is not given is missing.

    Returns
    -------
    `builds`, `blockers` and `reasons` (with the build they belong to, counted from 1 in their
    order), `jobs`, `operations`, `pegs`, `shipments`, `supplies`, `purchases` and `transfers` (the
    supplies of those two kinds that somebody has to act on, with their own columns), `stranded`
    (a row for every part that can never come) and `costs` (to the millionth, by kind, with the
    total and the bound).
    """
    import pandas as pd

    frames = {}
    for name, spec in FRAMES.items():
        rows = [[_cell(value) for value in cells] for cells in spec.rows(plan)]
        frames[name] = pd.DataFrame(
            {
                column: pd.Series([row[place] for row in rows], dtype=_DTYPES.get(column, "object"))
                for place, column in enumerate(spec.columns)
            }
        )
    return frames


_DTYPES: Mapping[str, Any] = {
    "operation": "Int64",
    "for_operation": "Int64",
    "place": "Int64",
    "days": "Int64",
    "late_days": "Int64",
    "late_minutes": "Int64",
    "lead_days": "Int64",
    "expedited": "boolean",
}


def _cell(value: object) -> object:
    """A value as a frame holds it. A tuple of identifiers is one text, a space between two."""
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, tuple):
        return " ".join(value)
    return value


def _units(milli: int) -> Decimal:
    return Decimal(milli).scaleb(-3)


def _money(amount: Fraction) -> Decimal:
    """An amount to the nearest millionth: lateness may be a fraction without an end."""
    return Decimal(round(amount * MICRO)).scaleb(-6)


def _attributes(row: Any, columns: tuple[str, ...]) -> Cells:
    """The attributes of a row that are named like the columns."""
    return tuple(
        _units(row.quantity_milli) if column == "quantity" else getattr(row, column)
        for column in columns
    )


def _plain(of: str, names: str) -> FrameSpec:
    """All rows of one list of the plan."""
    columns = tuple(names.split())

    def rows(plan: Plan) -> Iterable[Cells]:
        for row in getattr(plan, of):
            yield _attributes(row, columns)

    return FrameSpec(columns, rows)


def _of_builds(of: str, names: str) -> FrameSpec:
    """Rows that a build holds, after the build and their place in its list."""
    columns = tuple(names.split())

    def rows(plan: Plan) -> Iterable[Cells]:
        for build in plan.builds:
            for place, row in enumerate(getattr(build, of), 1):
                yield (build.build, place, *_attributes(row, columns))

    return FrameSpec(("build", "place", *columns), rows)


def _supplies(kind: SupplyKind, names: str) -> FrameSpec:
    """Supplies of one kind."""
    columns = tuple(names.split())

    def rows(plan: Plan) -> Iterable[Cells]:
        for supply in plan.supplies:
            if supply.kind is kind:
                yield _attributes(supply, columns)

    return FrameSpec(columns, rows)


def _stranded(plan: Plan) -> Iterable[Cells]:
    for row in plan.stranded:
        for part in row.parts:
            yield row.kind, row.key, part


def _costs(plan: Plan) -> Iterable[Cells]:
    for kind in COSTS:
        yield kind, _money(getattr(plan.objective, kind))
    yield "total", _money(plan.objective.total)
    yield "bound", _money(plan.bound)


FRAMES: Mapping[str, FrameSpec] = {
    "builds": _plain(
        "builds",
        "build product point ordered promised finish ships late_minutes late_days lead_days",
    ),
    "blockers": _of_builds("blockers", "kind what until days why supply ahead"),
    "reasons": _of_builds("reasons", "job operation kind what at why"),
    "jobs": _plain("jobs", "job build part quantity for_job for_operation"),
    "operations": _plain("operations", "job operation work_centre start end"),
    "pegs": _plain("pegs", "job operation part used quantity supply point usable"),
    "shipments": _plain(
        "shipments", "order line part used quantity supply point ships arrives late_days"
    ),
    "supplies": _plain("supplies", "supply kind part point quantity usable"),
    "purchases": _supplies(
        SupplyKind.NEW_PURCHASE,
        "supply supplier part point quantity place_on arrives_on expedited usable",
    ),
    "transfers": _supplies(
        SupplyKind.TRANSFER,
        "supply part quantity origin point from_supply leaves_on arrives_on usable",
    ),
    "stranded": FrameSpec(("kind", "key", "part"), _stranded),
    "costs": FrameSpec(("kind", "amount"), _costs),
}
"""every frame by its name"""

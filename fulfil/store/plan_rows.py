"""How the parts of a plan become rows and rows become parts again, exactly."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from functools import lru_cache
from operator import attrgetter
from typing import Any

import sqlalchemy as sa
from fulfil_models import plan as models

from fulfil.store import plan_tables as tables
from fulfil.store.moments import moment_of, moment_text

Convert = Callable[[Any], Any]


def _list_text(names: Iterable[str]) -> str:
    return json.dumps(list(names), ensure_ascii=False)


@lru_cache(maxsize=4096)  # those who wait for one station wait behind the same ones
def _list_of(text: str) -> tuple[str, ...]:
    return tuple(json.loads(text))


class Part:
    """One part of plans: its table, the class of its rows, and the cells that are converted.

    Attributes
    ----------
    table, row: where the rows are stored, and the class they are made of.
    names: the fields of the class that are columns, in order.
    """

    def __init__(
        self,
        table: sa.Table,
        row: type[Any],
        encode: Mapping[str, Convert] | None = None,
        decode: Mapping[str, Convert] | None = None,
        elsewhere: tuple[str, ...] = (),
    ) -> None:
        """`encode` and `decode` are by column, and a column that is not in them is stored as it
        is; fields `elsewhere` have a table of their own."""
        self.table = table
        self.row = row
        self.names = [entry.name for entry in fields(row) if entry.name not in elsewhere]
        self._take = attrgetter(*self.names)
        self._encode = [(self.names.index(name), turn) for name, turn in (encode or {}).items()]
        self._decode = [(self.names.index(name), turn) for name, turn in (decode or {}).items()]

    def cells(self, row: Any) -> list[Any]:
        """What is stored of a row, in the order of `names`."""
        cells = list(self._take(row))
        for place, turn in self._encode:
            cells[place] = turn(cells[place])
        return cells

    def made(self, cells: Sequence[Any], **elsewhere: Any) -> Any:
        """The row whose cells these are, with what is stored elsewhere."""
        if self._decode:
            cells = list(cells)
            for place, turn in self._decode:
                cells[place] = turn(cells[place])
        return self.row(*cells, **elsewhere)


BUILDS = Part(
    tables.PLAN_BUILDS,
    models.PlannedBuild,
    {"promised": moment_text},
    {"promised": moment_of},
    elsewhere=("reasons", "blockers"),
)
REASONS = Part(tables.PLAN_REASONS, models.Reason, {"kind": str}, {"kind": models.BlockerKind})
BLOCKERS = Part(
    tables.PLAN_BLOCKERS,
    models.Blocker,
    {"kind": str, "ahead": _list_text},
    {"kind": models.BlockerKind, "ahead": _list_of},
)
JOBS = Part(tables.PLAN_JOBS, models.PlannedJob)
OPERATIONS = Part(tables.PLAN_OPERATIONS, models.PlannedOperation)
PEGS = Part(tables.PLAN_PEGS, models.Peg)
SHIPMENTS = Part(tables.PLAN_SHIPMENTS, models.Shipment)
SUPPLIES = Part(tables.PLAN_SUPPLIES, models.Supply, {"kind": str}, {"kind": models.SupplyKind})
STRANDED = Part(tables.PLAN_STRANDED, models.Stranded, {"parts": _list_text}, {"parts": _list_of})

PARTS: dict[str, Part] = {
    "builds": BUILDS,
    "jobs": JOBS,
    "operations": OPERATIONS,
    "pegs": PEGS,
    "shipments": SHIPMENTS,
    "supplies": SUPPLIES,
    "stranded": STRANDED,
}
"""by field of a plan; reasons and blockers belong to the builds, notes are plain text"""

"""Keeps what each load changed, and finds the way from earlier data to those stored now.

Every function works within the connection's transaction.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import sqlalchemy as sa

from fulfil.store import read
from fulfil.store.results import CellChange, DataChange, RowChange, TableChange
from fulfil.store.tables import DATA_CHANGES


def save(
    connection: sa.Connection, hash_before: str, hash_after: str, tables: Iterable[TableChange]
) -> None:
    """Adds a change to the log."""
    what = [_document(table) for table in tables]
    change = {
        "created": datetime.now(UTC),
        "hash_before": hash_before,
        "hash_after": hash_after,
        "what": json.dumps(what, ensure_ascii=False, separators=(",", ":")),
    }
    connection.execute(sa.insert(DATA_CHANGES), change)


def changes_since(connection: sa.Connection, data_hash: str) -> list[DataChange] | None:
    """The changes that led from data known by this hash to the stored ones, oldest first.

    None where the way is not known: the data were never stored here, or before there was a log.
    """
    present = read.data_hash(connection)
    if present == data_hash:
        return []
    last_time = sa.select(sa.func.max(DATA_CHANGES.c.change)).where(
        DATA_CHANGES.c.hash_before == data_hash
    )
    found = connection.execute(
        sa.select(DATA_CHANGES)
        .where(DATA_CHANGES.c.change >= last_time.scalar_subquery())
        .order_by(DATA_CHANGES.c.change)
    )
    changes = [
        DataChange(
            number=row.change,
            created=row.created,
            hash_before=row.hash_before,
            hash_after=row.hash_after,
            tables=tuple(map(_table_change, json.loads(row.what))),
        )
        for row in found
    ]
    return changes if _lead_to(changes, present) else None


def _lead_to(changes: list[DataChange], present: str | None) -> bool:
    """Each begins where the one before ended, and the last ends where the data are now."""
    steps = all(one.hash_after == next_one.hash_before for one, next_one in pairwise(changes))
    return bool(changes) and steps and changes[-1].hash_after == present


def _document(table: TableChange) -> dict[str, Any]:
    return {
        "table": table.table,
        "added": table.added,
        "removed": table.removed,
        "changed": table.changed,
        "rows": [
            {
                "how": row.how,
                "key": row.key,
                "cells": [
                    {"column": cell.column, "before": cell.before, "after": cell.after}
                    for cell in row.cells
                ],
            }
            for row in table.rows
        ],
    }


def _table_change(document: dict[str, Any]) -> TableChange:
    rows = (
        RowChange(
            how=row["how"],
            key=tuple(row["key"]),
            cells=tuple(CellChange(**cell) for cell in row["cells"]),
        )
        for row in document["rows"]
    )
    return TableChange(**{**document, "rows": tuple(rows)})

"""The Data Package descriptor of a data set, made from the column descriptions.

It follows Data Package and Table Schema version 2.0 (datapackage.org): one resource for each
table, its fields with types and constraints, its primary key and its foreign keys.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from fulfil_models import cells as k
from fulfil_models.columns import TABLES, Column, Table

PACKAGE_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
RESOURCE_PROFILE = "https://datapackage.org/profiles/2.0/dataresource.json"
SCHEMA_PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"

Json = dict[str, Any]

_TIME = r"(([01]?[0-9]|2[0-3]):[0-5][0-9]|24:00)"
_MOMENT = r"[0-9]{4}-[0-9]{2}-[0-9]{2}(T[0-9]{2}:[0-9]{2})?"

_OF_KIND: dict[k.Kind, Json] = {
    k.YES_NO: {"trueValues": ["yes", "true", "1"], "falseValues": ["no", "false", "0"]},
    k.DATE: {"format": "default"},
    k.DATETIME: {"format": "%Y-%m-%dT%H:%M"},
}
"""what a field says of itself beyond its type"""

_LIMITS: dict[k.Kind, Json] = {
    k.IDENTIFIER: {"maxLength": 65},  # 64, and the apostrophe that may stand in front
    k.TIME: {"pattern": _TIME},
    k.MOMENT: {"pattern": _MOMENT},
    k.WEEKDAY: {"enum": list(k.WEEKDAYS)},
    k.WEEKDAY_LIST: {"pattern": rf"({'|'.join(k.WEEKDAYS)})( ({'|'.join(k.WEEKDAYS)}))*"},
}
"""constraints that come with a kind"""

_BOUNDS = {
    "least": "minimum",
    "most": "maximum",
    "above": "exclusiveMinimum",
    "below": "exclusiveMaximum",
}


def descriptor(names: Iterable[str]) -> Json:
    """The descriptor of a folder that holds these tables."""
    present = [TABLES[name] for name in TABLES if name in set(names)]
    here = {table.name for table in present}
    return {
        "$schema": PACKAGE_PROFILE,
        "name": "fulfil-data-set",
        "title": "Orders, parts, supply and work of a maker of configured equipment",
        "description": "What a plan is made from. Text that begins with =, +, - or @ is written "
        "with an apostrophe in front, so that no spreadsheet runs it as a formula.",
        "resources": [_resource(table, here) for table in present],
    }


def descriptor_text(names: Iterable[str]) -> str:
    """The descriptor as JSON, always in the same form."""
    return json.dumps(descriptor(names), indent=2, ensure_ascii=False) + "\n"


def _resource(table: Table[Any], here: set[str]) -> Json:
    return {
        "$schema": RESOURCE_PROFILE,
        "name": table.name,
        "type": "table",
        "path": f"{table.name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "description": table.meaning,
        "schema": _schema(table, here),
    }


def _schema(table: Table[Any], here: set[str]) -> Json:
    schema: Json = {
        "$schema": SCHEMA_PROFILE,
        "fields": [_field(column) for column in table.columns],
        "missingValues": [""],
    }
    if table.unique:
        schema["primaryKey"] = [column.name for column in table.key]
    foreign = [_foreign_key(column) for column in table.columns if _refers_into(column, here)]
    if foreign:
        schema["foreignKeys"] = foreign
    return schema


def _refers_into(column: Column, here: set[str]) -> bool:
    """Whether a column names rows of a table that is in the package and lists all of them.

    Calendars are not all listed: `standard` needs no row.
    """
    table = (column.refers or "").partition(".")[0]
    return table in here and table != "calendars"


def _foreign_key(column: Column) -> Json:
    resource, _, field = (column.refers or "").partition(".")
    return {"fields": [column.name], "reference": {"resource": resource, "fields": [field]}}


def _field(column: Column) -> Json:
    field: Json = {"name": column.name, "type": column.kind.json_type}
    field.update(_OF_KIND.get(column.kind, {}))
    field["description"] = description(column)
    constraints: Json = dict(_LIMITS.get(column.kind, {}))
    if column.required:
        constraints["required"] = True
    for attribute, constraint in _BOUNDS.items():
        bound = getattr(column, attribute)
        if bound is not None:
            constraints[constraint] = float(bound) if "." in bound else int(bound)
    if constraints:
        field["constraints"] = constraints
    return field


def description(column: Column) -> str:
    """Meaning, unit and default of a column in one line."""
    text = column.meaning
    if column.unit:
        text += f" [{column.unit}]"
    if column.default:
        text += f"; {column.default} if empty"
    return text

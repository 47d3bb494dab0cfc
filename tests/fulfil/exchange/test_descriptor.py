"""The descriptor keeps to Data Package and Table Schema 2.0, and to the files beside it.

`RULES` states, from the specification text (datapackage.org, version 2.0, 26 June 2024), what a
package of tables must have; the standard's own schemas are on the network and are not fetched.
"""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from any_dataset import datasets
from fulfil_models.columns import TABLES
from fulfil_models.tables import Dataset
from hypothesis import given, settings
from small_data import TODAY, good, write_csv

from fulfil.exchange import load_rows, write_folder, write_template
from fulfil.exchange.descriptor import descriptor

_TYPES = [
    *("string", "number", "integer", "boolean", "object", "array", "list", "any"),
    *("date", "time", "datetime", "year", "yearmonth", "duration", "geopoint", "geojson"),
]
_NAMES = {"type": "array", "items": {"type": "string"}, "minItems": 1, "uniqueItems": True}
_ORDERED = ["number", "integer", "date", "time", "datetime", "year", "yearmonth", "duration"]

RULES: dict[str, Any] = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "type": "object",
    "required": ["resources"],
    "properties": {
        "$schema": {"const": "https://datapackage.org/profiles/2.0/datapackage.json"},
        "name": {"type": "string"},
        "resources": {"type": "array", "minItems": 1, "items": {"$ref": "#/$defs/resource"}},
        "profile": False,  # of version 1
    },
    "$defs": {
        "resource": {
            "type": "object",
            "required": ["name", "path", "type", "schema"],
            "properties": {
                "$schema": {"const": "https://datapackage.org/profiles/2.0/dataresource.json"},
                "name": {"type": "string", "minLength": 1},
                "path": {"type": "string", "pattern": r"^(?!/)(?!.*\.\.).+$"},
                "type": {"const": "table"},
                "encoding": {"type": "string"},
                "profile": False,
                "data": False,  # either a path or data
                "schema": {"$ref": "#/$defs/schema"},
            },
        },
        "schema": {
            "type": "object",
            "required": ["fields"],
            "properties": {
                "$schema": {"const": "https://datapackage.org/profiles/2.0/tableschema.json"},
                "fields": {"type": "array", "minItems": 1, "items": {"$ref": "#/$defs/field"}},
                "missingValues": {"type": "array", "items": {"type": "string"}},
                "primaryKey": _NAMES,
                "uniqueKeys": {"type": "array", "items": _NAMES},
                "foreignKeys": {"type": "array", "items": {"$ref": "#/$defs/foreignKey"}},
            },
        },
        "foreignKey": {
            "type": "object",
            "required": ["fields", "reference"],
            "properties": {
                "fields": _NAMES,
                "reference": {
                    "type": "object",
                    "required": ["fields"],
                    "properties": {"resource": {"type": "string"}, "fields": _NAMES},
                },
            },
        },
        "field": {
            "type": "object",
            "required": ["name", "type"],
            "properties": {
                "name": {"type": "string", "minLength": 1},
                "type": {"enum": _TYPES},
                "description": {"type": "string", "minLength": 1},
                "constraints": {"$ref": "#/$defs/constraints"},
            },
            "allOf": [
                {
                    "if": {"properties": {"type": {"enum": _ORDERED}}},
                    "else": {
                        "properties": {
                            "constraints": {
                                "properties": {
                                    "minimum": False,
                                    "maximum": False,
                                    "exclusiveMinimum": False,
                                    "exclusiveMaximum": False,
                                }
                            }
                        }
                    },
                },
                {
                    "if": {"properties": {"type": {"const": "string"}}},
                    "else": {
                        "properties": {
                            "constraints": {
                                "properties": {
                                    "pattern": False,
                                    "minLength": False,
                                    "maxLength": False,
                                }
                            }
                        }
                    },
                },
                {
                    "if": {"properties": {"type": {"const": "boolean"}}},
                    "else": {"properties": {"trueValues": False, "falseValues": False}},
                },
            ],
        },
        "constraints": {
            "type": "object",
            "additionalProperties": False,
            "minProperties": 1,
            "properties": {
                "required": {"type": "boolean"},
                "unique": {"type": "boolean"},
                "pattern": {"type": "string", "format": "regex"},
                "enum": {"type": "array", "minItems": 1, "uniqueItems": True},
                "minLength": {"type": "integer", "minimum": 0},
                "maxLength": {"type": "integer", "minimum": 0},
                "minimum": {"type": "number"},
                "maximum": {"type": "number"},
                "exclusiveMinimum": {"type": "number"},
                "exclusiveMaximum": {"type": "number"},
            },
        },
    },
}


def validate(package: dict[str, Any]) -> None:
    """Against the rules, then that every key names fields and resources that are there."""
    jsonschema.Draft202012Validator.check_schema(RULES)
    jsonschema.Draft202012Validator(RULES).validate(package)
    fields = {r["name"]: [f["name"] for f in r["schema"]["fields"]] for r in package["resources"]}
    assert len(fields) == len(package["resources"])
    for resource in package["resources"]:
        own = fields[resource["name"]]
        assert len(set(own)) == len(own)
        assert set(resource["schema"].get("primaryKey", own)) <= set(own)
        for key in resource["schema"].get("foreignKeys", ()):
            assert set(key["fields"]) <= set(own)
            assert set(key["reference"]["fields"]) <= set(fields[key["reference"]["resource"]])


def test_the_descriptor_of_all_tables_keeps_the_rules() -> None:
    package = descriptor(TABLES)
    validate(package)
    assert [resource["name"] for resource in package["resources"]] == list(TABLES)


@pytest.mark.parametrize(
    "break_it",
    [
        lambda package: package["resources"][1].update(profile="tabular-data-resource"),
        lambda package: package["resources"][1].pop("name"),
        lambda package: package["resources"][1]["schema"]["fields"][0].update(type="text"),
        lambda package: package["resources"][1]["schema"]["fields"][0]["constraints"].update(
            minimum=1
        ),
    ],
)
def test_the_rules_find_what_is_against_them(break_it: Any) -> None:
    package = descriptor(TABLES)
    break_it(package)
    with pytest.raises(jsonschema.ValidationError):
        validate(package)


def test_an_export_describes_the_files_beside_it(tmp_path: Path) -> None:
    dataset, _ = load_rows(write_csv(tmp_path / "in", good()), TODAY)
    assert dataset is not None
    write_folder(dataset, tmp_path / "out")
    package = json.loads((tmp_path / "out" / "datapackage.json").read_text(encoding="utf-8"))
    validate(package)
    assert check_files(tmp_path / "out", package) > 100


def test_a_template_describes_its_files(tmp_path: Path) -> None:
    write_template(tmp_path)
    package = json.loads((tmp_path / "datapackage.json").read_text(encoding="utf-8"))
    validate(package)
    assert check_files(tmp_path, package) == 0


@settings(max_examples=25, deadline=None)
@given(dataset=datasets())
def test_whatever_is_exported_satisfies_its_description(
    tmp_path_factory: pytest.TempPathFactory, dataset: Dataset
) -> None:
    folder = tmp_path_factory.mktemp("export")
    write_folder(dataset, folder)
    package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    validate(package)
    check_files(folder, package)


def check_files(folder: Path, package: dict[str, Any]) -> int:
    """Read every file by its description alone; how many cells were checked."""
    assert {r["path"] for r in package["resources"]} == {p.name for p in folder.glob("*.csv")}
    cells = 0
    for resource in package["resources"]:
        fields = resource["schema"]["fields"]
        with (folder / resource["path"]).open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file))
        assert rows[0] == [field["name"] for field in fields]
        for row in rows[1:]:
            for field, cell in zip(fields, row, strict=True):
                check_cell(field, cell)
                cells += 1
        key = resource["schema"].get("primaryKey")
        if key:
            places = [rows[0].index(name) for name in key]
            keys = [tuple(row[place] for place in places) for row in rows[1:]]
            assert len(set(keys)) == len(keys)
    return cells


_SHAPES = {
    "integer": r"-?[0-9]+",
    "number": r"-?[0-9]+(\.[0-9]+)?",
    "date": r"[0-9]{4}-[0-9]{2}-[0-9]{2}",
    "datetime": r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}",
    "yearmonth": r"[0-9]{4}-[0-9]{2}",
}


def check_cell(field: dict[str, Any], cell: str) -> None:
    limits = field.get("constraints", {})
    if cell == "":
        assert not limits.get("required")
        return
    kind = field["type"]
    if kind == "boolean":
        assert cell in field["trueValues"] + field["falseValues"]
    elif kind != "string":
        assert re.fullmatch(_SHAPES[kind], cell), (field, cell)
    if "pattern" in limits:
        assert re.fullmatch(limits["pattern"], cell), (field, cell)
    assert len(cell) <= limits.get("maxLength", len(cell))
    if "enum" in limits:
        assert cell in limits["enum"]
    if kind in ("integer", "number"):
        value = float(cell)
        assert value >= limits.get("minimum", value)
        assert value <= limits.get("maximum", value)
        assert value > limits.get("exclusiveMinimum", value - 1)
        assert value < limits.get("exclusiveMaximum", value + 1)

"""The pages that explain the columns say what the columns are."""

from __future__ import annotations

from pathlib import Path

from fulfil_models.columns import TABLES
from fulfil_models.settings import SETTINGS

from fulfil.exchange.guide import column_guide, data_guide

ROOT = Path(__file__).parents[3]


def test_the_page_beside_the_data_sets_is_up_to_date() -> None:
    page = (ROOT / "data" / "README.md").read_text(encoding="utf-8")
    assert page == data_guide(), "write data/README.md again from fulfil.exchange.guide.data_guide"


def test_every_column_has_a_row_with_its_meaning() -> None:
    sections = column_guide().split("\n## ")[1:]
    assert len(sections) == len(TABLES)
    for section, table in zip(sections, TABLES.values(), strict=True):
        assert section.splitlines()[0].strip("*") == table.name
        rows = [line for line in section.splitlines() if line.startswith("| ")][1:]
        for row, column in zip(rows, table.columns, strict=True):
            assert f"**{column.name}**" in row if column.required else f"| {column.name} " in row
            assert column.meaning in row


def test_every_setting_and_its_default_is_explained() -> None:
    assert len(SETTINGS) >= 6
    for key in SETTINGS:
        assert f"| `{key}` |" in data_guide()

"""DEVELOPERS.md and README.md speak of what is there: files, modules, targets, limits."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

import pytest
from console_blocks import blocks
from fulfil_models import planning

ROOT = Path(__file__).resolve().parents[1]
PAGES = {name: (ROOT / name).read_text(encoding="utf-8") for name in ("DEVELOPERS.md", "README.md")}
DEVELOPERS = PAGES["DEVELOPERS.md"]
MODELS = ROOT / "models" / "fulfil_models"
BASES = (ROOT, MODELS, ROOT / "fulfil")
"""where a file may stand that a page names"""
FILE = re.compile(r"[\w*./-]+\.(?:py|md|toml|lock|csv)|[\w*.-]+(?:/[\w*.-]+)*/")
MADE = {"my-data.xlsx", ".venv/bin/fulfil"}
"""what the reader makes"""


def _spans(page: str) -> list[str]:
    """What stands in back quotes outside of blocks."""
    return re.findall(r"`([^`\n]+)`", re.sub(r"^```.*?^```$", "", page, flags=re.S | re.M))


def _files(page: str) -> list[str]:
    return [span for span in _spans(page) if FILE.fullmatch(span) and span not in MADE]


def _is_there(name: str) -> bool:
    return any(any(base.glob(name.rstrip("/"))) for base in BASES)


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page: str) -> None:
    links = re.findall(r"\]\(([^)]+)\)", PAGES[page])
    assert len(links) > 2
    assert [link for link in links if not (ROOT / link).exists()] == []


@pytest.mark.parametrize("page", PAGES)
def test_files_that_are_named_are_there(page: str) -> None:
    assert [name for name in _files(PAGES[page]) if not _is_there(name)] == []


def test_enough_files_are_named_for_that_to_mean_something() -> None:
    assert len(set(_files(DEVELOPERS))) > 80
    assert not _is_there("no_such_file.py")
    assert not _is_there("tests/no_such_*.py")


def _resolve(dotted: str) -> bool:
    """Whether a dotted name is a module, or something in one."""
    try:
        importlib.import_module(dotted)
    except ModuleNotFoundError:
        module, _, name = dotted.rpartition(".")
        return bool(module) and hasattr(importlib.import_module(module), name)
    return True


def test_dotted_names_are_there() -> None:
    dotted = {
        span
        for page in PAGES.values()
        for span in _spans(page)
        if re.fullmatch(r"(?:fulfil|fulfil_models)(?:\.\w+)+", span) and span != "fulfil.db"
    }
    assert len(dotted) >= 3
    assert [name for name in sorted(dotted) if not _resolve(name)] == []
    assert not _resolve("fulfil_models.planning.no_such_function")


def test_the_way_of_the_data_goes_through_modules() -> None:
    (diagram,) = blocks(DEVELOPERS, "text")
    labels = re.findall(r"──([a-z_., ]+)──►", diagram)
    names = {name for label in labels for name in label.split(", ")}
    assert {"reading", "allocation", "audit", "store.write"} <= names
    missing = [
        name
        for name in sorted(names)
        if not (MODELS / f"{name}.py").is_file()
        and not (ROOT / "fulfil" / name.replace(".", "/")).is_dir()
        and not (ROOT / "fulfil" / f"{name.replace('.', '/')}.py").is_file()
    ]
    assert missing == []


def test_every_model_file_has_its_question_once() -> None:
    section = DEVELOPERS.split("## Where each question is answered")[1].split("\n## ")[0]
    rows = [row for row in section.splitlines() if row.startswith("| ")]
    named = [name for row in rows for name in re.findall(r"`(\w+\.py)`", row)]
    there = [path.name for path in MODELS.glob("*.py") if path.name != "__init__.py"]
    assert sorted(named) == sorted(there)


def test_targets_are_in_the_makefile() -> None:
    made = (ROOT / "Makefile").read_text(encoding="utf-8")
    targets = re.findall(r"\bmake ([a-z]+)(?=`|\s+#|\n)", DEVELOPERS)
    assert len(targets) >= 7
    assert [name for name in targets if not re.search(rf"^{name}:", made, re.MULTILINE)] == []


def test_limits_are_those_of_the_code() -> None:
    assert f"up to {planning.SMALL_BOOK} operations and lines" in DEVELOPERS
    assert f"up to {planning.MOST_PRICED} builds" in DEVELOPERS


def test_a_term_is_explained_once_and_in_order() -> None:
    section = DEVELOPERS.split("## Terms")[1].split("\n## ")[0]
    rows = [row.split(" | ") for row in section.splitlines() if row.startswith("| ")][1:]
    terms = [row[0].removeprefix("| ") for row in rows]
    assert all(len(row) == 2 for row in rows)
    assert terms == sorted(set(terms), key=str.casefold)
    wanted = {"build", "parts order", "phantom", "lane", "gap", "netting", "low-level code"}
    assert wanted <= set(terms)

"""Runs commands as a person would, on the small shop, at a fixed day and width."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest
import small_shop
from program import Ran, Run
from typer.testing import CliRunner

from fulfil.app import app
from fulfil.store import data_hash, open_store


@pytest.fixture(autouse=True)
def _fixed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name in ("FULFIL_DB", "FULFIL_TRACEBACK", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    for module in ("data", "structure", "demo"):
        monkeypatch.setattr(f"fulfil.commands.{module}.today", lambda: date(2026, 3, 2))
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def run() -> Run:
    """Runs the program with some words; no terminal, so 100 columns and no progress."""

    def run_words(*words: str) -> Ran:
        result = CliRunner().invoke(app, list(words))
        return Ran(result.exit_code, result.stdout, result.stderr)

    return run_words


@pytest.fixture(scope="session")
def stored_shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database file that holds the small shop and its plan."""
    path = tmp_path_factory.mktemp("stored") / "fulfil.db"
    with open_store(str(path)) as store:
        dataset = small_shop.dataset()
        store.replace_dataset(dataset)
        store.save_plan(
            small_shop.plan(),
            input_hash=data_hash(dataset),
            options={"seconds": 1},
            seconds=1.5,
            versions={},
        )
    return path


@pytest.fixture
def shop(tmp_path: Path, stored_shop: Path, run: Run) -> Run:
    """The same in a folder whose fulfil.db holds the small shop and its plan."""
    for file in stored_shop.parent.iterdir():
        shutil.copy(file, tmp_path)
    return run

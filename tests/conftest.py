"""What every test may use: the demo, planned once for all, a database server, and a fixed day."""

from __future__ import annotations

import gc
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from postgresql import Server, server_or_skip

PATIENCE_SECONDS = 600


def pytest_collection_finish() -> None:
    """What was loaded so far stays: who looks for garbage need not look at it each time."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session")
def demo_db(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database that `fulfil demo` has filled and planned; copy it before you change it.

    Processes that run tests side by side share it: one makes it, the others wait.
    """
    root = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        root = root.parent
    folder = root / "planned_demo"
    done = folder / "done"
    try:
        folder.mkdir()
    except FileExistsError:
        patience = time.monotonic() + PATIENCE_SECONDS
        while not done.exists():
            assert time.monotonic() < patience, "the demo was not planned in time"
            time.sleep(0.2)
    else:
        words = [sys.executable, "-m", "fulfil", "--db", "demo.db", "demo"]
        environment = {k: v for k, v in os.environ.items() if not k.startswith("FULFIL_")}
        ran = subprocess.run(
            words,
            cwd=folder,
            env=environment,
            capture_output=True,
            text=True,
            timeout=PATIENCE_SECONDS,
            check=False,
        )
        (folder / "out.txt").write_text(ran.stdout, encoding="utf-8")
        (folder / "err.txt").write_text(ran.stderr, encoding="utf-8")
        done.write_text(str(ran.returncode), encoding="utf-8")
    assert done.read_text(encoding="utf-8") == "0", (folder / "err.txt").read_text(encoding="utf-8")
    return folder / "demo.db"


@pytest.fixture(scope="session")
def postgresql(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A PostgreSQL server, shared like the demo; tests skip where there is none."""
    root = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        root = root.parent
    yield from server_or_skip(root / "postgresql")


@pytest.fixture
def monday(monkeypatch: pytest.MonkeyPatch) -> None:
    """Today is the planning date of `sales_shop`, which is read only where it is wanted."""
    import sales_shop

    sales_shop.set_day(monkeypatch, sales_shop.AS_OF)

"""The wheel built from the tree: what is in it, and that it runs from somewhere else.

Nothing is fetched: the build backend is called in a process of its own, and the wheel is unpacked
and not installed.
"""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
BUILD = "import sys, hatchling.build as b; print(b.build_wheel(sys.argv[1]))"


def _run(words: list[str], folder: Path, python_path: str = "") -> str:
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("FULFIL_", "PYTHON"))}
    environment["PYTHONPATH"] = python_path
    ran = subprocess.run(
        [sys.executable, *words],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    return ran.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    name = _run(["-c", BUILD, str(folder)], ROOT).splitlines()[-1]
    return folder / name


@pytest.fixture(scope="module")
def names(wheel: Path) -> set[str]:
    with zipfile.ZipFile(wheel) as archive:
        return set(archive.namelist())


def _files(folder: Path, pattern: str) -> set[str]:
    """Files below a folder of the tree, as paths from that folder."""
    return {
        path.relative_to(folder).as_posix()
        for path in folder.rglob(pattern)
        if path.is_file() and "__pycache__" not in path.parts
    }


def test_both_packages_are_whole(names: set[str]) -> None:
    for folder in (ROOT / "fulfil", ROOT / "models" / "fulfil_models"):
        modules = _files(folder, "*.py")
        assert len(modules) > 40
        assert {f"{folder.name}/{module}" for module in modules} <= names


def test_the_demo_is_whole(names: set[str]) -> None:
    tables = _files(ROOT / "data" / "demo", "*.csv")
    assert {"builds.csv", "parts.csv", "stock.csv"} <= tables
    assert {f"fulfil/_demo/{table}" for table in tables} <= names


def test_migrations_and_texts_are_there(names: set[str]) -> None:
    migrations = _files(ROOT / "fulfil" / "store" / "migrations", "*.*")
    assert {"env.py", "script.py.mako", "versions/0001_data_tables.py"} <= migrations
    assert {f"fulfil/store/migrations/{name}" for name in migrations} <= names
    assert "fulfil/exchange/guide_head.md" in names


def test_nothing_else_is_there(names: set[str]) -> None:
    tops = {name.split("/")[0] for name in names}
    (info,) = (top for top in tops if top.endswith(".dist-info"))
    assert tops == {"fulfil", "fulfil_models", info}
    strays = [name for name in names if "test" in name or "__pycache__" in name]
    assert strays == []
    assert f"{info}/licenses/LICENSE" in names


def test_it_names_its_program_and_what_it_needs(wheel: Path, names: set[str]) -> None:
    (metadata,) = (name for name in names if name.endswith(".dist-info/METADATA"))
    (entries,) = (name for name in names if name.endswith(".dist-info/entry_points.txt"))
    with zipfile.ZipFile(wheel) as archive:
        told = archive.read(metadata).decode().splitlines()
        assert "fulfil = fulfil.app:main" in archive.read(entries).decode().splitlines()
    needed = [line for line in told if line.startswith("Requires-Dist:") and "extra ==" not in line]
    assert any("ortools" in line for line in needed)
    assert not any("pytest" in line or "hatchling" in line for line in needed)


def test_it_runs_from_another_folder(wheel: Path, tmp_path: Path) -> None:
    unpacked, elsewhere = tmp_path / "unpacked", tmp_path / "elsewhere"
    elsewhere.mkdir()
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(unpacked)
    where = "import fulfil.demo, fulfil_models; print(fulfil_models.__file__)"
    where += "; print(fulfil.demo.demo_folder())"
    lines = _run(["-c", where], elsewhere, str(unpacked)).splitlines()
    assert lines == [
        str(unpacked / "fulfil_models" / "__init__.py"),
        str(unpacked / "fulfil" / "_demo"),
    ]
    # loading makes the tables: the packaged migrations run
    loaded = _run(["-m", "fulfil", "load", lines[1]], elsewhere, str(unpacked))
    assert f"loaded into {elsewhere / 'fulfil.db'}" in loaded
    out = _run(["-m", "fulfil", "where-used", "ENG-014D"], elsewhere, str(unpacked))
    assert out.startswith("ENG-014D ")

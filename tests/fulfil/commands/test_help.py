"""Every command explains itself, appears in README.md, and starts quickly."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
import typer
from program import Run

from fulfil.app import app

# typer types what it gives as a command, and it is a group of them
COMMANDS = sorted(typer.main.get_command(app).commands)  # type: ignore[attr-defined]
HEAVY = (
    "alembic",
    "holidays",
    "numpy",
    "ortools",
    "pandas",
    "python_calamine",
    "rich",
    "sqlalchemy",
    "xlsxwriter",
)
README = Path(__file__).parents[3] / "README.md"


def test_the_commands() -> None:
    everyone = "demo template check load export plan plans compare accept audit"
    sales = "builds build available promise hold holds release"
    purchasing = "shortages purchases chase leadtimes cover ration buy"
    others = "queue transfers orders explode where-used"
    people = f"{sales} {purchasing} {others}"
    assert sorted([*everyone.split(), *people.split()]) == COMMANDS


@pytest.mark.parametrize("flag", ["-h", "--help"])
@pytest.mark.parametrize("command", COMMANDS)
def test_help(run: Run, command: str, flag: str) -> None:
    ran = run(command, flag)
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith(f"Usage: fulfil {command} ")
    assert "  --json " in ran.out
    help_text = ran.out.split("\n\n")[1].strip()
    assert help_text.endswith(".")


def test_the_list_of_commands_is_not_cut_short(run: Run) -> None:
    out = run("-h").out
    listed = re.findall(r"^  ([a-z-]+)  +\S.*$", out.split("Commands:")[1], re.MULTILINE)
    assert sorted(listed) == COMMANDS
    assert "..." not in out.split("Commands:")[1]


def test_every_command_is_in_the_readme() -> None:
    text = README.read_text(encoding="utf-8")
    missing = [
        command
        for command in COMMANDS
        if not re.search(rf"\bfulfil (--db \S+ )?{command}(?![\w-])", text)
    ]
    assert missing == []


def test_the_version(run: Run) -> None:
    ran = run("--version")
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("fulfil")


@pytest.mark.parametrize("words", [["--version"], ["-h"], ["plan", "-h"]])
def test_nothing_heavy_is_imported_for_help(words: list[str]) -> None:
    code = (
        "import sys\n"
        f"sys.argv = ['fulfil', *{words!r}]\n"
        "from fulfil.app import main\n"
        "try:\n    main()\n"
        "except SystemExit:\n    pass\n"
        f"sys.stderr.write(' '.join(set({HEAVY!r}) & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr == ""


def test_a_question_about_builds_imports_no_solver_and_no_frames(shop: Run, tmp_path: Path) -> None:
    code = (
        "import sys\n"
        "sys.argv = ['fulfil', 'builds']\n"
        "from fulfil.app import main\n"
        "try:\n    main()\n"
        "except SystemExit:\n    pass\n"
        f"print('HEAVY', *((set({HEAVY!r}) - {{'sqlalchemy'}}) & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=tmp_path
    )
    assert done.stdout.splitlines()[0] == "5 builds, 2 late, 1 not promised"
    assert done.stdout.splitlines()[-1] == "HEAVY"

"""README.md is true: what it shows is run, and it names every command and no option too many.

The marks in its console blocks (`...` and `~`) are explained in `console_blocks`.
"""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import shutil
from pathlib import Path
from typing import Any

import pytest
import typer
from console_blocks import Shown, blocks, commands, misfit
from typer.testing import CliRunner

from fulfil.app import app

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
CONSOLE = [commands(block) for block in blocks(README, "console")]
PROGRAM = typer.main.get_command(app)
COMMANDS: dict[str, Any] = PROGRAM.commands  # type: ignore[attr-defined]
GLOBAL = {name for parameter in PROGRAM.params for name in parameter.opts}
HELP = {"-h", "--help"}
SECONDS = "2"
FILLED = ROOT / "data" / "cases" / "four-levels"
"""what is filled into the empty tables of the template"""


def _run(line: str) -> tuple[int, str]:
    """Runs a command line of the program: its exit code, and what a terminal would show."""
    words = shlex.split(line, comments=True)
    assert words[0] == "fulfil", line
    result = CliRunner().invoke(app, words[1:])
    return result.exit_code, result.output


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("FULFIL_DB", "FULFIL_TRACEBACK", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(tmp_path)


# ---- the tour


@pytest.mark.parametrize("block", CONSOLE, ids=lambda block: block[0].command)
def test_the_program_prints_what_is_shown(
    block: list[Shown], demo_db: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The commands of a block come one after the other, from the demo as it was planned."""
    for file in demo_db.parent.glob(f"{demo_db.name}*"):
        shutil.copy(file, tmp_path)
    monkeypatch.setenv("FULFIL_DB", demo_db.name)
    for shown in block:
        if shown.command == "fulfil demo":
            # that is how the database came about: what it printed has been kept
            texts = [(demo_db.parent / name).read_text(encoding="utf-8") for name in TOLD]
            code, printed = 0, "".join(texts)
        else:
            code, printed = _run(re.sub(r"--seconds \d+", f"--seconds {SECONDS}", shown.command))
        assert code == 0, printed
        line = misfit(shown.lines, printed)
        assert line is None, f"README.md shows\n{line}\nbut the program printed\n{printed}"


TOLD = ("out.txt", "err.txt")


def test_the_tour_visits_everybody() -> None:
    every = [shown for block in CONSOLE for shown in block]
    visited = {shown.command.split()[1] for shown in every}
    asked = {"builds", "build", "queue", "shortages", "transfers", "orders", "explode"}
    assert asked | {"promise", "hold", "accept", "plan"} <= visited
    assert all(shown.lines for shown in every)


# ---- plain lines to type in


def test_lines_to_type_in_work_one_after_the_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = (ROOT / "Makefile").read_text(encoding="utf-8")
    ran = []
    for line in "".join(blocks(README, "sh")).splitlines():
        words = shlex.split(line, comments=True)
        if words[0] == "make":
            assert re.search(rf"^{words[1]}:", made, re.MULTILINE), line
        elif words[0] == "export":
            assert words[1] == "FULFIL_DB=demo.db"  # the tests of the tour set it
        else:
            code, printed = _run(re.sub(r"--seconds \d+", f"--seconds {SECONDS}", line))
            assert code == 0, f"{line}\n{printed}"
            ran.append(words[1])
            if words[1] == "template":
                _fill(tmp_path / words[2])
    assert ran.count("plan") == 2
    assert (tmp_path / "my-data.xlsx").stat().st_size > 1000


def _fill(folder: Path) -> None:
    for table in FILLED.glob("*.csv"):
        empty = folder / table.name
        assert empty.is_file(), f"the template has no {table.name}"
        empty.write_text(table.read_text(encoding="utf-8"), encoding="utf-8")


# ---- the notebook


def test_the_notebook_prints_what_is_shown() -> None:
    (code,) = blocks(README, "python")
    (shown,) = blocks(README, "text")
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(compile(code, "README.md", "exec"), {"__name__": "notebook"})
    assert printed.getvalue() == shown


# ---- commands and options


def _code(page: str) -> list[str]:
    """Everything of a page that is set as code: spans, and the lines of blocks."""
    fenced = re.findall(r"^```\w+\n(.*?)^```$", page, re.DOTALL | re.MULTILINE)
    spans = re.findall(r"`([^`\n]+)`", re.sub(r"^```.*?^```$", "", page, flags=re.S | re.M))
    return [*spans, *(line for block in fenced for line in block.splitlines())]


def _uses(page: str) -> list[tuple[str, set[str]]]:
    """Every use of the program in a page: its command, and the options that stand by it.

    `fulfil COMMAND` stands for any command: its options are those before the command.
    """
    found = []
    for piece in _code(page):
        for use in re.findall(r"(?:^|\$ )fulfil (\S.*)", piece):
            words = re.sub(r"#.*", "", use).replace("\\|", " ").split()
            options = set(re.findall(r"(?<![\w-])(--?[a-z][\w-]*)", " ".join(words)))
            named = [word for word in words if word in COMMANDS or word == "COMMAND"]
            first = next((word for word in words if re.fullmatch(r"[a-z][a-z-]*", word)), "")
            found.append((named[0] if named else first, options))
    return found


def test_every_use_is_of_a_command_and_its_options() -> None:
    uses = _uses(README)
    assert len(uses) > 30
    for command, options in uses:
        if command in ("COMMAND", ""):
            assert options <= GLOBAL | HELP, options
        else:
            assert command in COMMANDS, f"fulfil {command}"
            known = {
                name for p in COMMANDS[command].params for name in (*p.opts, *p.secondary_opts)
            }
            assert options <= known | HELP | GLOBAL, f"fulfil {command}: {options - known}"


def test_options_that_stand_alone_are_some_commands() -> None:
    some = {
        name for c in COMMANDS.values() for p in c.params for name in (*p.opts, *p.secondary_opts)
    }
    named = set(re.findall(r"`\[?(--[a-z-]+)[^`]*`", README))
    assert {"--json", "--csv", "--all", "--plan"} <= named
    assert named <= some | GLOBAL | HELP


def test_the_list_names_every_command_and_no_other() -> None:
    assert set(_listed()) == set(COMMANDS)


def test_the_list_names_every_option_of_a_command_of_its_own() -> None:
    """The options of a single command; those of many are named below the list."""
    shared = {"--json", "--csv", "--all", "--plan"} | HELP
    listed = _listed()
    assert listed
    for command, text in listed.items():
        own = {
            name
            for p in COMMANDS[command].params
            if p.param_type_name == "option"
            for name in (*p.opts, *p.secondary_opts)
        }
        missing = own - shared - set(re.findall(r"--[a-z-]+", text))
        assert not missing, f"fulfil {command}: {missing}"


def _listed() -> dict[str, str]:
    """The rows of the list of commands, by command; it may have several."""
    table = README.split("## Commands")[1].split("\n\n")[1]
    rows: dict[str, str] = {}
    for row in table.splitlines()[2:]:
        (command,) = re.findall(r"\| `fulfil ([a-z-]+)", row)
        rows[command] = rows.get(command, "") + row
    return rows


def test_a_command_or_option_that_is_not_there_would_be_found() -> None:
    assert _uses("`fulfil fly --now`") == [("fly", {"--now"})]
    assert _uses("```sh\nfulfil plan --seconds 5  # not --this\n```") == [("plan", {"--seconds"})]
    assert _uses("`fulfil --db URL COMMAND`") == [("COMMAND", {"--db"})]
    assert _uses("| `fulfil plan [--repeatable\\|--best]` |") == [
        ("plan", {"--repeatable", "--best"})
    ]

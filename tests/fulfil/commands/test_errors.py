"""Every error is a message with a remedy and an exit code, never a traceback."""

from __future__ import annotations

import dataclasses
from datetime import date
from pathlib import Path

import pytest
import small_shop
from fulfil_models.tables import Setting
from program import Run

from fulfil.commands.options import width
from fulfil.store import data_hash, open_store

NO_DATABASE = (
    "error: there is no database fulfil.db\n\nhint: load a data set with `fulfil load PATH`, "
    "see `fulfil demo`, or name the database with --db or FULFIL_DB\n"
)
EXCLUDE = "--json and --csv exclude each other"
QUESTIONS = (
    ("builds",),
    ("build", "B1"),
    ("queue",),
    ("shortages",),
    ("shortages", "ENG-A"),
    ("purchases",),
    ("transfers",),
    ("orders",),
    ("explode", "TOWER"),
    ("where-used", "BOLT"),
    ("plan",),
    ("plans",),
    ("compare", "1", "2"),
    ("accept",),
    ("audit",),
    ("export", "out"),
)


@pytest.mark.parametrize("words", QUESTIONS, ids=" ".join)
def test_a_question_in_the_wrong_folder_leaves_no_database(
    run: Run, words: tuple[str, ...], tmp_path: Path
) -> None:
    ran = run(*words)
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.replace(str(tmp_path) + "/", "") == NO_DATABASE
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "words", [words for words in QUESTIONS if words[0] not in ("explode", "where-used", "plans")]
)
def test_an_empty_database_says_what_to_do(run: Run, words: tuple[str, ...]) -> None:
    with open_store("fulfil.db"):
        pass
    ran = run(*words)
    assert ran.code == 1
    assert ran.out == ""
    assert ran.err.startswith("error: there ")
    assert "\n\nhint: " in ran.err


@pytest.mark.parametrize(
    ("words", "err"),
    [
        (
            ("build", "B-1"),
            "error: no build is called B-1\n\nhint: did you mean B1?\n",
        ),
        (
            ("build", "Q1"),
            "error: build Q1 is a quotation, not planned: it has no ship date yet\n\n"
            "hint: once ordered, set its status to firm, then `fulfil load` and `fulfil plan`\n",
        ),
        (
            ("build", "B6"),
            "error: build B6 cannot be planned: it can never get GHOST\n\n"
            "hint: give the part a stock, a purchase, a source or an approved alternate, "
            "then `fulfil load` and `fulfil plan`\n",
        ),
        (
            ("shortages", "ENG-C"),
            "error: no part is called ENG-C\n\nhint: did you mean ENG-A or ENG-B?\n",
        ),
        (
            ("queue", "--work-centre", "PAINT"),
            "error: no work centre is called PAINT\n\nhint: known are ASSY, TEST, WELD\n",
        ),
        (
            ("builds", "--point", "RNO"),
            "error: no point with builds is called RNO\n\nhint: known are BOI\n",
        ),
        (
            ("builds", "--product", "TOWERS"),
            "error: no product is called TOWERS\n\nhint: did you mean TOWER?\n",
        ),
        (
            ("purchases", "--supplier", "S2"),
            "error: no supplier is called S2\n\nhint: known are S1\n",
        ),
        (
            ("transfers", "--to", "MARS"),
            "error: no point is called MARS\n\nhint: known are BOI, RNO\n",
        ),
        (
            ("explode", "TOWR"),
            "error: no part or build is called TOWR\n\nhint: did you mean TOWER or TOWER-X?\n",
        ),
        (
            ("explode", "B1", "--quantity", "2"),
            "error: B1 is a build, which is one machine\n\nhint: leave --quantity out\n",
        ),
        (
            ("where-used", "BOLTS"),
            "error: no part is called BOLTS\n\nhint: did you mean BOLT?\n",
        ),
        (
            ("builds", "--plan", "7"),
            "error: there is no plan 7\n\nhint: run: fulfil plans, which lists them\n",
        ),
    ],
)
def test_wrong_names(shop: Run, words: tuple[str, ...], err: str) -> None:
    ran = shop(*words)
    assert (ran.code, ran.out, ran.err) == (1, "", err)


@pytest.mark.parametrize(
    ("words", "err"),
    [
        (("bulds",), "error: no such command 'bulds'. Did you mean 'builds', 'build'"),
        (("build",), "error: missing argument 'ID'"),
        (("builds", "--soon"), "error: no such option: --soon"),
        (("builds", "--json", "--csv"), f"error: invalid value for '--csv': {EXCLUDE}"),
        (("builds", "--csv", "--json"), f"error: invalid value for '--json': {EXCLUDE}"),
        (("queue", "--days", "0"), "error: invalid value for '--days'"),
        (("plan", "--seconds", "soon"), "error: invalid value for '--seconds'"),
        (
            ("explode", "TOWER", "--quantity", "1,5"),
            "error: invalid value: --quantity 1,5 has a comma in it",
        ),
        (("explode", "TOWER", "--quantity", "0"), "error: invalid value: --quantity 0 is not"),
        (
            ("buy", "--part", "ENG-A", "--part=PUMP"),
            "error: invalid value: --part is given twice, and takes one value\n\n"
            "hint: `fulfil buy -h` shows how it is used",
        ),
    ],
)
def test_wrong_usage(shop: Run, words: tuple[str, ...], err: str) -> None:
    ran = shop(*words)
    assert (ran.code, ran.out) == (2, "")
    assert ran.err.startswith(err)
    assert "\n\nhint: `fulfil" in ran.err


@pytest.mark.parametrize(
    "words",
    [
        ("promise", "TOWER", "--option", "PUMP=1", "--option", "LAMP=1"),  # takes many
        ("builds", "--late", "--late"),  # says the same again
        ("builds", "--customer", "--customer", "--json"),  # the second is the name
    ],
)
def test_what_may_be_given_more_than_once(shop: Run, words: tuple[str, ...]) -> None:
    assert "is given twice" not in shop(*words).err


def test_without_a_command_the_help_is_shown(run: Run) -> None:
    ran = run()
    assert (ran.code, ran.out) == (2, "")
    assert ran.err.startswith("Usage: fulfil [OPTIONS] COMMAND")


def _break(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def broken(*words: object, **more: object) -> None:
        raise error

    monkeypatch.setattr("fulfil.usecases.builds.builds", broken)


def test_what_should_not_happen_is_one_line(shop: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    _break(monkeypatch, ZeroDivisionError("division by zero"))
    ran = shop("builds")
    assert (ran.code, ran.out) == (1, "")
    first = ran.err.splitlines()[0]
    assert first.startswith("error: this should not have happened: ZeroDivisionError in ")
    assert "run the same command with --traceback" in ran.err
    assert "Traceback" not in ran.err


@pytest.mark.parametrize("asked", ["flag first", "flag last", "environment"])
def test_a_traceback_only_when_asked_for(
    shop: Run, monkeypatch: pytest.MonkeyPatch, asked: str
) -> None:
    _break(monkeypatch, ZeroDivisionError("division by zero"))
    words = {
        "flag first": ("--traceback", "builds"),
        "flag last": ("builds", "--traceback"),
        "environment": ("builds",),
    }[asked]
    if asked == "environment":
        monkeypatch.setenv("FULFIL_TRACEBACK", "1")
    ran = shop(*words)
    assert ran.code == 1
    assert "Traceback (most recent call last)" in ran.err
    assert "ZeroDivisionError: division by zero" in ran.err


@pytest.mark.parametrize(
    ("error", "first"),
    [
        (PermissionError(13, "Permission denied", "out/a.csv"), "out/a.csv: permission denied"),
        (OSError(28, "No space left on device"), "no space left on device"),
        (MemoryError(), "the memory is used up"),
    ],
)
def test_troubles_of_the_computer_are_told_plainly(
    shop: Run, monkeypatch: pytest.MonkeyPatch, error: BaseException, first: str
) -> None:
    _break(monkeypatch, error)
    ran = shop("builds")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith(f"error: {first}\n\nhint: ")


def test_interruption(shop: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    _break(monkeypatch, KeyboardInterrupt())
    ran = shop("builds")
    assert (ran.code, ran.out, ran.err) == (130, "", "\ninterrupted\n")


def test_a_file_that_cannot_be_written(shop: Run, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file", encoding="utf-8")
    ran = shop("export", "taken")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("error: taken is a file\n\nhint: ")
    ran = shop("export", "taken/below")
    assert ran.code == 1
    assert ran.err.startswith("error: ")
    assert "Traceback" not in ran.err


def test_a_file_that_is_no_database(run: Run, tmp_path: Path) -> None:
    (tmp_path / "fulfil.db").write_text("no database at all, but long enough" * 50)
    ran = run("builds")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("error: ")
    assert "hint: " in ran.err


def test_a_plan_of_data_that_changed_says_so(shop: Run) -> None:
    data = small_shop.dataset()
    with open_store("fulfil.db") as store:
        store.replace_dataset(dataclasses.replace(data, stock=data.stock[1:]))
        assert store.data_hash() != data_hash(data)
    ran = shop("builds")
    assert ran.code == 0
    assert ran.err == (
        "note: plan 1, planning date 2026-03-02\n"
        "note: the data were changed after plan 1; `fulfil plan` makes a new one\n"
        "note: past-due purchase lines are counted on 2026-03-09: P2/1\n"
        "note: 1 open purchase line has no confirmed date\n"
    )


def test_an_old_plan_says_so(shop: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fulfil.usecases.basis.today", lambda: date(2026, 3, 5))
    # the settings of the shop name 2 March: the plan is of the day that was asked for
    assert "old" not in shop("builds").err
    data = dataclasses.replace(small_shop.dataset(), settings=())
    with open_store("fulfil.db") as store:
        store.replace_dataset(data)
        store.save_plan(
            small_shop.plan(), input_hash=data_hash(data), options={}, seconds=1, versions={}
        )
    old = (
        "plan 2 is 3 days old, and answers as on its own planning date; `fulfil plan` makes one of"
    )
    assert f"{old} 2026-03-05" in " ".join(shop("builds").err.split())
    monkeypatch.setattr("fulfil.usecases.basis.today", lambda: date(2026, 3, 2))
    assert "old" not in shop("builds").err
    # data of another day make it old, too
    with open_store("fulfil.db") as store:
        settings = (Setting(key="as_of", value="2026-03-03"),)
        store.replace_dataset(dataclasses.replace(data, settings=settings))
    assert "plan 2 is 1 day old" in shop("builds").err


def test_a_file_that_may_not_be_written_is_called_by_its_name(
    shop: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(path: Path, data: bytes) -> int:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "write_bytes", refused)
    ran = shop("export", "out.xlsx")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("error: out.xlsx: permission denied\n")


@pytest.mark.parametrize(
    ("terminal", "columns", "expected"),
    [(True, 80, 80), (True, 60, 80), (True, 120, 120), (True, 300, 160), (False, 80, 100)],
)
def test_tables_fit_the_terminal(
    monkeypatch: pytest.MonkeyPatch, terminal: bool, columns: int, expected: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.setattr("sys.stdout.isatty", lambda: terminal, raising=False)
    assert width() == expected


def test_the_database_of_the_environment(
    shop: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "fulfil.db").rename(tmp_path / "other.db")
    assert shop("builds").code == 1
    monkeypatch.setenv("FULFIL_DB", "other.db")
    assert shop("builds").code == 0
    assert shop("--db", "sqlite:///other.db", "builds").code == 0
    assert shop("--db", "nowhere.db", "builds").code == 1

"""template, check, load, export: data in and out through the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import small_shop
from program import Run

from fulfil.exchange import write_folder
from fulfil.store import data_hash, open_store


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The small shop as files."""
    path = tmp_path / "shop"
    write_folder(small_shop.dataset(), path)
    return path


def stored() -> str | None:
    with open_store("fulfil.db") as store:
        return store.data_hash()


def spoil(folder: Path) -> None:
    """Makes a quantity unreadable and names an unknown part."""
    text = (folder / "stock.csv").read_text(encoding="utf-8")
    assert "BOI,BOLT,500," in text
    (folder / "stock.csv").write_text(
        text.replace("BOI,BOLT,500,", 'BOI,BOLT,"5,5",').replace("BOI,PUMP,", "BOI,PUMPE,"),
        encoding="utf-8",
    )


def test_check_says_what_it_found_and_changes_nothing(
    run: Run, folder: Path, tmp_path: Path
) -> None:
    ran = run("check", "shop")
    assert ran.code == 0
    assert "can be loaded: 0 errors" in ran.out
    assert sorted(path.name for path in tmp_path.iterdir()) == ["shop"]


def test_check_shows_every_problem(run: Run, folder: Path) -> None:
    spoil(folder)
    ran = run("check", "shop")
    assert ran.code == 1
    assert "shop cannot be loaded: " in ran.out
    errors = [line for line in ran.out.splitlines() if line.startswith("error: ")]
    assert any("stock.csv" in line and '"5,5"' in line and "quantity" in line for line in errors)
    found = json.loads(run("check", "shop", "--json").out)
    assert (found["good"], found["errors"], found["tables"]) == (False, len(errors), [])
    assert {"severity", "code", "file", "row", "column", "value", "wrong", "remedy"} == set(
        found["findings"][0]
    )
    rows = run("check", "shop", "--csv").out.splitlines()
    assert rows[0] == "severity,code,file,row,column,value,wrong,remedy"
    assert len(rows) == 1 + len(found["findings"])


def test_load(run: Run, folder: Path) -> None:
    ran = run("load", "shop")
    assert ran.code == 0
    assert ran.out.endswith("next: fulfil plan\n")
    assert stored() == data_hash(small_shop.dataset())


def test_loading_the_same_twice_changes_nothing(run: Run, folder: Path) -> None:
    assert json.loads(run("load", "shop", "--json").out)["changed"] is True
    again = run("load", "shop")
    assert again.code == 0
    assert "holds the same data already; nothing was changed" in again.out
    assert json.loads(run("load", "shop", "--json").out)["changed"] is False


def test_a_load_with_errors_leaves_what_was_there(run: Run, folder: Path) -> None:
    run("load", "shop")
    spoil(folder)
    ran = run("load", "shop")
    assert ran.code == 1
    assert ran.out.endswith("nothing was loaded; what was stored before is unchanged\n")
    assert stored() == data_hash(small_shop.dataset())


@pytest.mark.parametrize("target", ["again", "again.xlsx"])
def test_export_and_load_are_inverse(run: Run, folder: Path, target: str, tmp_path: Path) -> None:
    run("load", "shop")
    ran = run("export", target)
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("wrote ")
    (tmp_path / "fulfil.db").unlink()
    assert run("load", target).code == 0
    assert stored() == data_hash(small_shop.dataset())


def test_a_path_that_is_not_there(run: Run) -> None:
    for command in ("check", "load"):
        ran = run(command, "nowhere")
        assert (ran.code, ran.out) == (1, "")
        assert ran.err == (
            "error: nowhere is not there\n\n"
            "hint: give the folder of CSV files or the .xlsx workbook to read\n"
        )


def test_template(run: Run, tmp_path: Path) -> None:
    ran = run("template", "new")
    assert (ran.code, ran.err) == (0, "")
    assert ran.out == "wrote 28 empty tables to new\nfill them in, then: fulfil check new\n"
    assert (tmp_path / "new" / "builds.csv").is_file()
    again = run("template", "new")
    assert again.code == 1
    assert again.err.startswith("error: new is there already\n")


def test_template_as_a_workbook(run: Run, tmp_path: Path) -> None:
    assert run("template", "new.xlsx", "--xlsx").code == 0
    assert (tmp_path / "new.xlsx").is_file()
    assert run("template", "new.xlsx", "--xlsx").code == 1

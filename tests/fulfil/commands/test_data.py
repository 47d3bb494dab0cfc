"""template, check, load, export: data in and out through the command line."""

from __future__ import annotations

import dataclasses
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


def test_a_load_says_what_is_not_as_it_was_stored(run: Run, folder: Path) -> None:
    assert "changed against" not in run("load", "shop").out
    data = small_shop.dataset()
    first, *others = data.stock
    *kept, last = data.builds
    builds = (*kept, dataclasses.replace(last, build="B9"))
    changed = dataclasses.replace(
        data,
        stock=(dataclasses.replace(first, quantity_milli=first.quantity_milli + 1000), *others),
        builds=builds,
    )
    write_folder(changed, folder)
    ran = run("--db", "fulfil.db", "load", "shop")
    assert ran.out.endswith(
        "changed against what was stored before:\n"
        f"  stock: 1 changed ({first.point}/{first.part})\n"
        f"  builds: 1 new (B9), 1 gone ({last.build})\n"
        "next: fulfil --db fulfil.db plan\n"
    )
    write_folder(data, folder)
    found = json.loads(run("load", "shop", "--json").out)["changes"]
    assert [(row["table"], row["added"], row["removed"], row["changed"]) for row in found] == [
        ("stock", 0, 0, 1),
        ("builds", 1, 1, 0),
    ]


def test_the_same_fault_in_many_rows_is_shown_a_few_times(run: Run, folder: Path) -> None:
    text = (folder / "builds.csv").read_text(encoding="utf-8")
    row = next(line for line in text.splitlines() if line.startswith("B1,"))
    more = [row.replace("B1,", f"X{number},").replace("2026-", "26-") for number in range(9)]
    (folder / "builds.csv").write_text("\n".join([*text.splitlines(), *more]) + "\n")
    out = run("check", "shop").out
    ordered = [line for line in out.splitlines() if "column ordered" in line]
    assert len(ordered) == 5
    first = text.count("\n") + 1
    assert f"  and 4 more of this kind, rows {first + 5} to {first + 8}: --all shows them\n" in out
    assert run("check", "shop", "--all").out.count("column ordered") == 9


def test_findings_are_wrapped_by_words(run: Run, folder: Path) -> None:
    spoil(folder)
    lines = run("check", "shop").out.splitlines()
    assert max(map(len, lines)) <= 100
    assert any(line.startswith("  ") for line in lines)


def test_check_says_how_to_go_on(run: Run, folder: Path) -> None:
    assert run("check", "shop").out.endswith("\nnext: fulfil load shop\n")
    spoil(folder)
    assert "next:" not in run("check", "shop").out


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
    assert ran.out == (
        "wrote 28 empty tables to new\n"
        "a first plan needs points, parts, bills, stock, work_centres, routings, builds; all "
        "others may stay\n  empty\n"
        "fill them in, then: fulfil check new\n"
    )
    assert (tmp_path / "new" / "builds.csv").is_file()
    again = run("template", "new")
    assert again.code == 1
    assert again.err.startswith("error: new is there already\n")


@pytest.mark.parametrize("words", [("new.xlsx", "--xlsx"), ("new", "--xlsx"), ("new.xlsx",)])
def test_template_as_a_workbook(run: Run, tmp_path: Path, words: tuple[str, ...]) -> None:
    ran = run("template", *words)
    assert ran.code == 0
    assert ran.out.endswith("fill them in, then: fulfil check new.xlsx\n")
    assert (tmp_path / "new.xlsx").is_file()
    assert run("template", *words).code == 1
    # an empty template lacks nothing but rows
    assert "missing-table" not in run("check", "new.xlsx").out


@pytest.mark.parametrize(
    "words", [("export", "out.xls"), ("export", "out.csv"), ("template", "out.ods")]
)
def test_no_folder_is_named_like_a_file(
    run: Run, folder: Path, tmp_path: Path, words: tuple[str, str]
) -> None:
    run("load", "shop")
    ran = run(*words)
    assert ran.code == 1
    assert ran.err == (
        f"error: {words[1]} is named like a kind of file that is not written\n\n"
        "hint: name a folder, or a file that ends in .xlsx\n"
    )
    assert not (tmp_path / words[1]).exists()


def test_a_workbook_that_may_not_be_read_is_no_wrong_usage(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "mine.xlsx").write_bytes(b"")
    monkeypatch.setattr("os.access", lambda *words, **more: False)

    def refused(path: Path) -> bytes:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "read_bytes", refused)
    ran = run("check", "mine.xlsx")
    assert ran.code == 1
    assert "mine.xlsx: cannot be read: permission denied" in ran.out

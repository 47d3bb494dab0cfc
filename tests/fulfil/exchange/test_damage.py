"""Files that were damaged anywhere are refused or read, and never bring the program down."""

from __future__ import annotations

import random
import zipfile
from pathlib import Path

import pytest
from small_data import TODAY, good, write_csv

from fulfil.exchange import load_rows, write_workbook

_BITS = (b'"', b",", b"\n", b"'", b"\xff", b"\x00", b"<v>", b"<f>", b't="e"', b"99999999")


def damaged(data: bytes, rng: random.Random) -> bytes:
    """A few bytes changed, lost, put in or doubled."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 2, 5, 20))):
        at = rng.randrange(len(out) + 1)
        kind = rng.randrange(4)
        if kind == 0:
            out[at : at + 1] = bytes([rng.randrange(256)])
        elif kind == 1:
            del out[at : at + rng.choice((1, 3, 50))]
        elif kind == 2:
            out[at:at] = rng.choice(_BITS)
        else:
            out[at:at] = out[at : at + rng.choice((10, 100))]
    return bytes(out)


@pytest.fixture
def workbook(tmp_path: Path) -> Path:
    dataset, _ = load_rows(write_csv(tmp_path / "good", good()), TODAY)
    assert dataset is not None
    path = tmp_path / "book.xlsx"
    write_workbook(dataset, path)
    return path


@pytest.mark.parametrize("seed", range(6))
def test_damaged_csv_files(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    folder = write_csv(tmp_path / "data", good())
    refused = 0
    for path in sorted(folder.iterdir()):
        whole = path.read_bytes()
        path.write_bytes(damaged(whole, rng))
        dataset, findings = load_rows(folder, TODAY)
        assert (dataset is None) == any(finding.is_error for finding in findings)
        refused += dataset is None
        path.write_bytes(whole)
    assert refused > 0  # some damage must have been noticed, or nothing was damaged


@pytest.mark.parametrize("seed", range(3))
def test_damaged_parts_of_a_workbook(
    seed: int, workbook: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    rng = random.Random(seed)
    with zipfile.ZipFile(workbook) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    path = tmp_path / "damaged.xlsx"
    refused = 0
    for name in rng.sample(sorted(parts), 20):
        with zipfile.ZipFile(path, "w") as archive:
            for other, data in parts.items():
                archive.writestr(other, damaged(data, rng) if other == name else data)
        dataset, findings = load_rows(path, TODAY)
        assert (dataset is None) == any(finding.is_error for finding in findings)
        refused += dataset is None
    assert refused
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("seed", range(3))
def test_damaged_workbooks(seed: int, workbook: Path) -> None:
    rng = random.Random(seed)
    whole = workbook.read_bytes()
    refused = 0
    for _ in range(20):
        workbook.write_bytes(damaged(whole, rng))
        refused += load_rows(workbook, TODAY)[0] is None
    assert refused


def test_a_cell_that_has_no_place_on_a_sheet_is_refused(workbook: Path, tmp_path: Path) -> None:
    """Such a place once made the reader of values ask for room of 96 GB."""
    with zipfile.ZipFile(workbook) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    sheet = parts["xl/worksheets/sheet1.xml"]
    assert b'r="A1"' in sheet
    for place in (b"A99999999999", b"AAAA1", b"A0", b"XFE1", b"a1", b""):
        with zipfile.ZipFile(tmp_path / "x.xlsx", "w") as archive:
            for name, data in parts.items():
                if data is sheet:
                    data = data.replace(b'r="A1"', b'r="' + place + b'"', 1)
                archive.writestr(name, data)
        findings = load_rows(tmp_path / "x.xlsx", TODAY)[1]
        assert [finding.code for finding in findings] == ["not-a-workbook"]

"""What cannot be asked, held, released or accepted: a clear message, and nothing is changed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import small_shop
from program import Run
from sales_shop import dump, set_day
from tiny_shop import march

from fulfil.store import open_store

pytestmark = pytest.mark.usefixtures("monday")


@contextmanager
def nothing_changes(*, but: tuple[str, ...] = ()) -> Iterator[None]:
    def rows() -> dict[str, Any]:
        with open_store("fulfil.db") as store:
            return dump(store, but=but)

    before = rows()
    yield
    assert rows() == before


@pytest.mark.parametrize(
    ("words", "wrong", "remedy"),
    [
        ("TOWRE", "no product is called TOWRE", "did you mean TOWER"),
        ("eng-a", "ENG-A is no product", "`fulfil promise --part ENG-A=1 --to DESTINATION`"),
        ("--part TOWER=1 --to US-NV", "is made for an order of its own", "`fulfil promise TOWER`"),
        ("TOWER --point BOJ", "no point is called BOJ", "did you mean BOI?"),
        ("TOWER --point RNO", "TOWER is not assembled at RNO", "stand at BOI"),
        ("TOWER --option LAMPP=1", "no part is called LAMPP", "did you mean LAMP?"),
        ("TOWER --option LAMP", "--option LAMP is not PART=QTY", "LAMP=2"),
        ("TOWER --option LAMP=1,5", "--option LAMP=1,5 has a comma in it", "stop"),
        ("TOWER --option ENG-A=-2", "has 1 of ENG-A at operation 10, 2 cannot be taken", "no more"),
        ("TOWER --wanted soon", "soon is no date", "2026-03-31"),
        ("TOWER --wanted 2026-02-27", "is before the planning date", "a later one"),
        ("TOWER --weight heavy", "weight heavy is not a number", "digits"),
        ("TOWER --weight -1", "weight -1 is below 0", "1 is usual"),
        ("TOWER --to US-CA", "no destination is called US-CA", "known are US-ID, US-NV"),
        ("TOWER --plan 9", "there is no plan 9", ""),
        ("TOWER-X", "TOWER-X: a part of it never comes", "fulfil explode TOWER-X"),
        ("--part LAMPP=1 --to US-NV", "no part is called LAMPP", "did you mean LAMP?"),
        ("--part LAMP=0 --to US-NV", "0 of LAMP cannot be sent", "more than 0"),
        ("--part LAMP=0.5 --to US-NV", "LAMP is issued in steps of 1", "whole steps"),
        ("--part LAMP=1 --to US-CA", "no destination is called US-CA", "US-NV"),
        ("--file nowhere", "nowhere is not there", "a folder with builds.csv"),
    ],
)
def test_what_cannot_be_asked(shop: Run, words: str, wrong: str, remedy: str) -> None:
    with nothing_changes():
        ran = shop("promise", *words.split())
    assert (ran.code, ran.out) == (1, "")
    told, hint = (" ".join(text.split()) for text in ran.err.split("hint:"))
    assert wrong in told
    assert remedy in hint


@pytest.mark.parametrize(
    ("words", "wrong"),
    [
        ("promise", "name a PRODUCT, or spare parts with --part, or a --file"),
        ("promise TOWER --part LAMP=1", "PRODUCT and --part exclude each other"),
        ("promise TOWER --file order", "PRODUCT and --file exclude each other"),
        ("promise --part LAMP=1", "spare parts need a destination: --to"),
        ("promise --part LAMP=1 --to US-NV --point BOI", "--point is for a single machine"),
        ("promise --part LAMP=1 --to US-NV --option PUMP=1", "--option is for a single machine"),
        ("promise --file order --to US-NV", "--to is for a single machine"),
        ("promise --file order --weight 2", "--weight is for a single machine"),
        ("promise TOWER --within 2", "--within is for parts: --part"),
        ("promise TOWER --within -1", "--within"),
        ("promise TOWER --plan 0", "--plan"),
        ("hold Q1", "--days"),
        ("hold Q1 --days -1", "--days"),
        ("hold Q1 --days 366", "--days"),
        ("accept P7", "P7 is neither the number of a plan nor a quote such as Q7"),
        (
            "accept 1 --promised 2026-04-01",
            "--promised, --as, --for and --offer are for quotes: Q7",
        ),
        ("accept --as N1", "--promised, --as, --for and --offer are for quotes: Q7"),
        ("holds --json --csv", "exclude each other"),
        ("release", "QUOTE"),
    ],
)
def test_wrong_usage(shop: Run, words: str, wrong: str) -> None:
    with nothing_changes():
        ran = shop(*words.split())
    assert (ran.code, ran.out) == (2, "")
    assert wrong in " ".join(ran.err.split())


@pytest.mark.parametrize(
    ("words", "wrong"),
    [
        ("hold Q9 --days 1", "there is no quote Q9"),
        ("hold seven --days 1", "seven is no quote"),
        ("hold Q0 --days 1", "Q0 is no quote"),
        ("hold Q1 --days 1 --offer 1", "Q1 has no offer 1"),
        ("release Q9", "there is no quote Q9"),
        ("release Q1.5", "Q1.5 is no quote"),
        ("release Q1", "Q1 is not held"),
        ("accept Q9", "there is no quote Q9"),
        ("accept Qx", "Qx is no quote"),
        ("accept Q1 --as B1", "a build or an order B1 is in the data already"),
        ("accept Q1", "a build or an order Q1 is in the data already"),
        ("accept Q1 --as N1 --offer 7", "Q1 has no offer 7"),
        ("accept Q1 --as N1 --promised soon", "soon is no date"),
        ("accept Q1 --as N1 --promised 2026-02-27", "is before the planning date"),
    ],
)
def test_what_cannot_be_decided(shop: Run, words: str, wrong: str) -> None:
    shop("promise", "TOWER")
    with nothing_changes():
        ran = shop(*words.split())
    assert (ran.code, ran.out) == (1, "")
    assert wrong in " ".join(ran.err.split())
    assert "\n\nhint: " in ran.err


def test_what_was_decided_already(shop: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    shop("promise", "TOWER")
    shop("promise", "TOWER", "--option", "PUMP=1")
    shop("accept", "Q1", "--as", "N1")
    with nothing_changes(but=("quotes", "sqlite_sequence")):
        ran = shop("accept", "Q1")
        assert "Q1 was accepted already: it is N1, promised for 2026-04-01" in ran.err
        # the data are others since Q1 is among them: asked again, it ships on the same day
        ran = shop("hold", "Q2", "--days", "0")
        assert ran.out == "Q3 is held until the end of 2026-03-02: TOWER ships 2026-04-01\n"
        assert "note: Q2 was asked again as Q3, since the data, or the day, are" in ran.err
        set_day(monkeypatch, march(3))
        for words in ("hold Q3 --days 2", "accept Q3", "release Q3"):
            ran = shop(*words.split())
            assert (ran.code, ran.out) == (1, "")
            assert "the hold of Q3 ran out on 2026-03-02" in ran.err


def test_without_a_plan_or_data(run: Run) -> None:
    ran = run("--db", "other.db", "promise", "TOWER")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("error: there is no database ")
    with open_store("other.db") as store:
        for words in ("promise TOWER", "hold Q1 --days 1", "accept Q1"):
            ran = run("--db", "other.db", *words.split())
            assert (ran.code, ran.out) == (1, "")
            assert "there are no data in" in ran.err
        store.replace_dataset(small_shop.dataset())
        ran = run("--db", "other.db", "promise", "TOWER")
        assert (ran.code, ran.out) == (1, "")
        assert "there is no plan yet to promise beside\n\nhint: run: fulfil plan\n" in ran.err
        assert run("--db", "other.db", "holds").out == "nothing is held\n"
        assert store.plan_headers() == []

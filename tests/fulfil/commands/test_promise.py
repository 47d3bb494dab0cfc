"""What sales asks with the customer on the phone, on the small shop and its plan."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
import small_shop
from program import Run

from fulfil.store import open_store


def test_the_earliest_date_that_takes_nothing_from_anyone(shop: Run) -> None:
    ran = shop("promise", "tower", "--point", "boi", "--json")
    assert ran.code == 0
    found = json.loads(ran.out)
    assert (found["plan"], found["as_of"]) == (1, "2026-03-02")
    # every engine on the shelf and on order is taken, and what the supplier lets go in March, too:
    # the next comes on Wednesday 04-01; 240 minutes of assembly and 120 of test follow
    assert found["ships"] == "2026-04-01"
    assert found["finish"] == "2026-04-01T14:30"
    assert found["lead_days"] == 30
    first = found["blockers"][0]
    assert (first["kind"], first["what"]) == ("part", "ENG-A")


def test_nothing_is_stored_by_asking(shop: Run) -> None:
    with open_store("fulfil.db") as store:
        before = (store.data_hash(), store.plan(), store.plan_headers())
    assert shop("promise", "TOWER", "--point", "BOI").code == 0
    with open_store("fulfil.db") as store:
        assert (store.data_hash(), store.plan(), store.plan_headers()) == before


@pytest.mark.parametrize(
    ("words", "wrong"),
    [
        (("TOWRE", "--point", "BOI"), "no product is called TOWRE"),
        (("TOWER", "--point", "BOJ"), "no point is called BOJ"),
        (("TOWER", "--point", "RNO"), "TOWER is not assembled at RNO"),
        (("TOWER", "--point", "BOI", "--option", "LAMPP=1"), "no part is called LAMPP"),
        (("TOWER", "--point", "BOI", "--option", "LAMP"), "option LAMP is not PART=QTY"),
        (("TOWER", "--point", "BOI", "--option", "LAMP=1,5"), "option LAMP=1,5 has a comma in it"),
        (("TOWER", "--point", "BOI", "--option", "ENG-A=-2"), "has 1 of ENG-A, 2 cannot be taken"),
        (("TOWER", "--point", "BOI", "--wanted", "soon"), "soon is no date"),
        (("TOWER", "--point", "BOI", "--wanted", "2026-02-27"), "is before the planning date"),
    ],
)
def test_what_cannot_be_asked(shop: Run, words: tuple[str, ...], wrong: str) -> None:
    ran = shop("promise", *words)
    assert (ran.code, ran.out) == (1, "")
    assert wrong in " ".join(ran.err.split())


def test_without_a_plan_or_with_other_data_nothing_is_promised(shop: Run, run: Run) -> None:
    with open_store("fulfil.db") as store:
        data = small_shop.dataset()
        store.replace_dataset(replace(data, stock=data.stock[1:]))
    ran = shop("promise", "TOWER", "--point", "BOI")
    assert (ran.code, ran.out) == (1, "")
    assert "the data were changed after plan 1" in ran.err
    with open_store("other.db") as store:
        store.replace_dataset(small_shop.dataset())
    ran = run("--db", "other.db", "promise", "TOWER", "--point", "BOI")
    assert (ran.code, ran.out) == (1, "")
    assert "there is no plan yet" in ran.err


def test_against_a_wanted_date(shop: Run) -> None:
    ran = shop("promise", "TOWER", "--point", "BOI", "--wanted", "2026-03-30")
    assert ran.code == 0
    assert "wanted  2026-03-30: no, 2 days later" in ran.out
    ran = shop("promise", "TOWER", "--point", "BOI", "--wanted", "2026-04-01")
    assert "wanted  2026-04-01: yes" in ran.out

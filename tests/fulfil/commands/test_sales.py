"""Finding the right build: by customer, in small letters, and those that are not planned."""

from __future__ import annotations

import csv
import io
import json

import pytest
from program import Run


def test_builds_of_a_customer(shop: Run) -> None:
    rows = list(csv.DictReader(io.StringIO(shop("builds", "--customer", "of b3", "--csv").out)))
    assert [(row["build"], row["customer"], row["destination"]) for row in rows] == [
        ("B3", "Customer of B3", "US-ID")
    ]
    document = json.loads(shop("builds", "--customer", "B3", "--json").out)
    assert [(r["build"], r["customer"]) for r in document["builds"]] == [("B3", "Customer of B3")]
    assert document["total"] == 5
    nobody = shop("builds", "--customer", "Nobody")
    assert nobody.code == 1
    assert nobody.err.startswith("error: no customer is called Nobody\n\nhint: known are ")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        (("build", "b3"), ("build", "B3")),
        (("builds", "--product", "tower"), ("builds", "--product", "TOWER")),
        (("builds", "--point", "boi"), ("builds", "--point", "BOI")),
        (("queue", "--work-centre", "test"), ("queue", "--work-centre", "TEST")),
    ],
)
def test_capitals_do_not_matter(shop: Run, typed: tuple[str, ...], meant: tuple[str, ...]) -> None:
    assert shop(*typed).code == 0
    assert shop(*typed) == shop(*meant)


def test_a_build_that_holds_nothing_in_the_list_is_no_error(shop: Run) -> None:
    ran = shop("builds", "--late", "--customer", "of b1")
    assert (ran.code, ran.out) == (0, "5 builds, 2 late, 1 not promised; none shown\n")


@pytest.mark.parametrize("words", [("builds",), ("queue",)])
def test_what_the_plan_took_for_granted_is_said(shop: Run, words: tuple[str, ...]) -> None:
    # P2/1 was due before the planning date, 2 March; seven days later it is counted on
    err = shop(*words).err
    assert "note: past-due purchase lines are counted on 2026-03-09: P2/1\n" in err
    assert "note: 1 open purchase line has no confirmed date\n" in err

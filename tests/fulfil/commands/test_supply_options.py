"""Options of the commands for purchasing, shipping and engineering."""

from __future__ import annotations

import csv
import io
import json

import pytest
from program import Run


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("shortages eng-a", "shortages ENG-A"),
        ("purchases --supplier s1", "purchases --supplier S1"),
        ("purchases --open --part lamp", "purchases --open --part LAMP"),
        ("transfers --from rno --to boi", "transfers --from RNO --to BOI"),
        ("orders o1/1", "orders O1/1"),
        ("explode b2", "explode B2"),
        ("where-used bolt", "where-used BOLT"),
    ],
)
def test_capitals_do_not_matter(shop: Run, typed: str, meant: str) -> None:
    ran = shop(*typed.split())
    assert ran.code == 0
    assert ran.out == shop(*meant.split()).out


@pytest.mark.parametrize(
    ("words", "error"),
    [
        ("orders O3", "no parts order is called O3"),
        ("orders --from MARS", "no point is called MARS"),
        ("purchases --part ENG-C", "no part is called ENG-C"),
    ],
)
def test_unknown_names(shop: Run, words: str, error: str) -> None:
    ran = shop(*words.split())
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith(f"error: {error}\n\nhint: ")


@pytest.mark.parametrize(
    "words",
    [
        "shortages ENG-A --late",
        "orders O1 --late",
        "orders O1 --days 3",
        "purchases --open --days 3",
        "purchases --days 0",
    ],
)
def test_options_that_do_not_go_together(shop: Run, words: str) -> None:
    ran = shop(*words.split())
    assert (ran.code, ran.out) == (2, "")


def test_within_so_many_days(shop: Run) -> None:
    # the only transfer leaves on 2026-03-03, the second day from 03-02 on
    assert json.loads(shop("transfers", "--days", "1", "--json").out)["transfers"] == []
    found = json.loads(shop("transfers", "--days", "2", "--json").out)
    assert [row["leaves_on"] for row in found["transfers"]] == ["2026-03-03"]
    assert found["until"] == "2026-03-03"
    # O2 ships on 03-09, the eighth day
    for days, lines in (("7", ["O1"]), ("8", ["O1", "O2"])):
        found = json.loads(shop("orders", "--days", days, "--json").out)
        assert [row["order"] for row in found["lines"]] == lines
        assert found["total"] == 2
    # the only new order is to be placed on the planning date
    assert len(json.loads(shop("purchases", "--days", "1", "--json").out)["orders"]) == 1


def test_what_ships_from_one_point_is_what_is_to_be_picked_there(shop: Run) -> None:
    (line,) = json.loads(shop("orders", "--from", "RNO", "--json").out)["lines"]
    assert line["order"] == "O1"
    assert [(row["point"], row["quantity"]) for row in line["parcels"]] == [("RNO", 3)]


def test_one_order(shop: Run) -> None:
    found = json.loads(shop("orders", "O1", "--json").out)
    (line,) = found["lines"]
    assert [(row["point"], row["free"], row["others"]) for row in line["points"]] == [
        ("RNO", 3, 0),
        ("BOI", 2, 0),
    ]
    parcels = list(csv.DictReader(io.StringIO(shop("orders", "O2", "--csv").out)))
    assert [(row["late_days"], row["parcel_late_days"]) for row in parcels] == [("10", "10")]


def test_open_purchases(shop: Run) -> None:
    found = json.loads(shop("purchases", "--open", "--json").out)
    assert (found["total"], found["past_due"], found["unconfirmed"]) == (2, 1, 1)
    rows = list(csv.DictReader(io.StringIO(shop("purchases", "--doubtful", "--csv").out)))
    assert [(row["order"], row["past_due_days"], row["late"]) for row in rows] == [
        ("P2", "10", "O2/1"),
        ("P1", "0", "B4"),
    ]


def test_terms_of_one_part(shop: Run) -> None:
    out = shop("purchases", "--part", "ENG-A").out
    assert "how much can be ordered" in out
    assert "how much can be ordered" not in shop("purchases").out

"""JSON and CSV of every command: one document on standard output, numbers that are numbers."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from typing import Any

import pytest
from program import Run

LISTS = (
    "builds",
    "queue",
    "shortages",
    "shortages ENG-A",
    "purchases",
    "transfers",
    "orders",
    "explode B1",
    "where-used BOLT",
    "plans",
    "compare 1 1",
)


def document(shop: Run, words: str) -> Any:
    ran = shop(*words.split(), "--json")
    assert ran.code == 0
    return json.loads(ran.out)


def rows(shop: Run, words: str) -> list[dict[str, str]]:
    ran = shop(*words.split(), "--csv")
    assert ran.code == 0
    return list(csv.DictReader(io.StringIO(ran.out)))


@pytest.mark.parametrize("words", [*LISTS, "build B2", "accept 1"])
def test_one_document_and_nothing_else(shop: Run, words: str) -> None:
    assert isinstance(document(shop, words), dict)


@pytest.mark.parametrize("words", LISTS)
def test_csv_has_a_heading_row_and_full_rows(shop: Run, words: str) -> None:
    ran = shop(*words.split(), "--csv")
    table = list(csv.reader(io.StringIO(ran.out)))
    assert len(table) >= (1 if words.startswith("compare") else 2)
    assert all(table[0])
    assert {len(row) for row in table} == {len(table[0])}


def test_builds(shop: Run) -> None:
    found = document(shop, "builds --late")
    assert {key: found[key] for key in ("plan", "as_of", "data_changed", "total", "late")} == {
        "plan": 1,
        "as_of": "2026-03-02",
        "data_changed": False,
        "total": 5,
        "late": 2,
    }
    late = found["builds"][0]
    assert (late["build"], late["ships"], late["late_days"], late["late_minutes"]) == (
        "B4",
        "2026-03-16",
        6,
        1800,
    )
    assert late["finish"] == "2026-03-16T14:30"
    assert late["blockers"][0] == {
        "kind": "part",
        "what": "ENG-A",
        "until": "2026-03-16T08:00",
        "days": 14,
        "why": "its ENG-A comes by purchase/P1/1",
        "supply": "purchase/P1/1",
        "ahead": [],
    }
    assert [
        (row["build"], row["blocker_what"], row["blocker_days"]) for row in rows(shop, "builds")
    ] == [
        ("B1", "", ""),
        ("B2", "TEST", "0"),
        ("B3", "ENG-A", "3"),
        ("B4", "ENG-A", "14"),
        ("B5", "ENG-A", "21"),
    ]


def test_one_build(shop: Run) -> None:
    found = document(shop, "build B2")["build"]
    assert found["customer"] == "Customer of B2"
    assert found["rules"] == [
        {"region": "US-CA", "component": "VALVE", "quantity": 1, "note": "backflow protection"}
    ]
    (check,) = found["fit_checks"]
    assert check["verdict"] == "fits"
    # 15 gpm x 580 psi / 1714 / 0.85
    assert check["lines"][0]["wanted"] == pytest.approx(15 * 580 / 1714 / 0.85)
    engine = found["operations"][0]["parts"][0]
    assert (engine["part"], engine["used"], engine["quantity"]) == ("ENG-A", "ENG-B", 1)


def test_queue(shop: Run) -> None:
    found = document(shop, "queue --days 4")["operations"]
    third = found[2]
    assert (third["build"], third["stations"], third["ready"]) == ("B3", [1], "waiting")
    assert third["waits"][0]["until"] == "2026-03-05T08:00"
    row = rows(shop, "queue --days 4")[2]
    assert (row["waits_until"], row["ready"], row["stations"]) == (
        "2026-03-05T08:00",
        "waiting",
        "1",
    )


def test_shortages(shop: Run) -> None:
    found = document(shop, "shortages")
    engine = found["shortages"][1]
    assert (engine["part"], engine["needed"], engine["order_by"], engine["missed_by_days"]) == (
        "ENG-A",
        4,
        "2026-02-11",
        19,
    )
    assert engine["monthly_caps"] == [{"supplier": "S1", "cap": 2}]
    assert found["stranded"] == [{"kind": "build", "key": "B6", "parts": ["GHOST"]}]
    # quantities, not the places they are at
    (lamp, scarce) = rows(shop, "shortages")
    assert [lamp[name] for name in ("needed", "on_hand", "on_order", "to_order")] == [
        *("9", "5", "10", "0"),
    ]
    assert (scarce["on_hand"], scarce["held"], scarce["order_for"]) == ("2", "1", "B3")
    assert engine["on_hand_total"] == 2
    assert [row["point"] for row in engine["on_hand"]] == ["BOI", "RNO"]
    assert [(row["part"], row["late_days"]) for row in found["shortages"]] == [
        ("LAMP", 10),
        ("ENG-A", 7),
    ]
    assert [row["waiting"] for row in rows(shop, "shortages")] == ["O2/1", "B3 B4 B5"]
    rows_of_one = document(shop, "shortages ENG-A")["movements"]
    # two on the shelf, one taken, one moved from RNO to BOI and taken there; then one in, one out
    assert [row["balance"] for row in rows_of_one] == [1, 2, 1, 1, 1, 0, 1, 0, 1, 0]
    assert [row["at_point"] for row in rows_of_one] == [1, 1, 0, 0, 1, 0, 1, 0, 1, 0]


def test_lists_of_purchasing_and_shipping(shop: Run) -> None:
    (order,) = rows(shop, "purchases")
    assert (order["place_on"], order["quantity"], order["cost"], order["for_whom"]) == (
        "2026-03-02",
        "1",
        "1500",
        "B5",
    )
    assert document(shop, "purchases")["currency"] == "USD"
    (move,) = rows(shop, "transfers")
    assert (move["leaves_on"], move["weight_kg"], move["for_whom"]) == ("2026-03-03", "40", "B3")
    parcels = rows(shop, "orders")
    assert [
        (row["order"], row["point"], row["quantity"], row["ordered_quantity"]) for row in parcels
    ] == [
        ("O1", "BOI", "2", "5"),
        ("O1", "RNO", "3", "5"),
        ("O2", "BOI", "4", "4"),
    ]


def test_bills(shop: Run) -> None:
    lines = document(shop, "explode TOWER --quantity 2.5")["lines"]
    # 2.5 towers: 2.5 engines rounded up to whole ones
    assert (lines[0]["part"], lines[0]["quantity"]) == ("ENG-A", 3)
    assert [row["free"] for row in rows(shop, "explode TOWER")][:2] == ["2", "10"]
    assert document(shop, "where-used BOLT")["parents"][0]["in_one"] == 8.889
    assert [row["quantity"] for row in rows(shop, "where-used BOLT")] == ["13"] * 5


def test_plans(shop: Run) -> None:
    (plan,) = document(shop, "plans")["plans"]
    assert (plan["plan"], plan["total"], plan["bound"], plan["options"]) == (
        1,
        14719.75,
        12000,
        {"seconds": 1},
    )
    assert plan["gap"] == pytest.approx(2719.75 / 14719.75)
    assert document(shop, "compare 1 1")["comparison"]["unchanged"] == 5


def test_what_solvers_print_is_not_in_the_answer() -> None:
    """Some lines of HiGHS are printed whatever it is told, from C, to the place itself."""
    said = "import os; from fulfil import app; app._own_output(); os.write(1, b'solving'); print(1)"
    ran = subprocess.run(
        [sys.executable, "-c", said], capture_output=True, text=True, check=True, timeout=300
    )
    assert (ran.stdout, ran.stderr) == ("1\n", "")

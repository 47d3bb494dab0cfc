"""Every question has an answer while a quote is held, which reads tables that it needs itself."""

from __future__ import annotations

import json
from typing import Any

import pytest
import typer
from program import Run
from sales_shop import AS_OF, set_day

from fulfil.app import app

QUESTIONS = (
    "audit",
    "available ENG-A",
    "builds",
    "build B1",
    "buy",
    "chase",
    "cover",
    "cover ENG-A",
    "explode TOWER",
    "holds",
    "leadtimes",
    "leadtimes ENG-A",
    "orders",
    "plans",
    "promise TOWER",
    "promise --part ENG-A=1 --to US-ID",
    "purchases",
    "purchases --open",
    "queue",
    "ration",
    "ration ENG-A",
    "shortages",
    "shortages ENG-A",
    "transfers",
    "where-used ENG-A",
)
DOING = {
    "accept",
    "check",
    "compare",
    "demo",
    "export",
    "hold",
    "load",
    "plan",
    "release",
    "template",
}


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    set_day(monkeypatch, AS_OF)


@pytest.fixture
def holding(shop: Run) -> Run:
    """The small shop, one tower of which is held."""
    assert shop("promise", "TOWER").code == 0
    assert shop("hold", "Q1", "--days", "3").code == 0
    return shop


@pytest.mark.parametrize("question", QUESTIONS)
def test_it_is_answered(holding: Run, question: str) -> None:
    ran = holding(*question.split())
    assert "this should not have happened" not in ran.err
    assert ran.code == 0, ran.err


def covered(run: Run, part: str) -> dict[str, Any]:
    rows = json.loads(run("cover", "--months", "24", "--json").out)["parts"]
    return next(row for row in rows if row["part"] == part)


def test_cover_counts_what_is_kept_for_a_quote_apart(holding: Run) -> None:
    """The tower has a pump from the shelf, and an engine is to be ordered for it."""
    pump, engine = covered(holding, "PUMP"), covered(holding, "ENG-A")
    assert (pump["kept"], pump["kept_order"], pump["kept_for"]) == (1, 0, ["Q1"])
    assert (engine["kept"], engine["kept_order"], engine["kept_for"]) == (0, 1, ["Q1"])
    told = holding("cover", "PUMP")
    assert "held quotes  " in told.out
    assert "1 ea kept for Q1, counted neither as there nor as on order" in told.out
    assert "note: what is kept for held quotes (Q1) is counted neither" in told.err
    told = holding("cover", "ENG-A")
    assert "1 ea for Q1 to be ordered once accepted, not counted" in told.out
    holding("release", "Q1")
    free = covered(holding, "PUMP")
    assert (free["kept"], free["on_hand"]) == (0, pump["on_hand"] + 1)
    assert free["firm"] == pump["firm"]
    assert "held quotes" not in holding("cover", "PUMP").out


def test_a_line_to_chase_says_that_a_quote_draws_on_it(shop: Run) -> None:
    """15 lamps are there or on order, 9 are taken: of the last six some are of P2/1."""
    assert shop("promise", "--part", "LAMP=6", "--to", "US-ID").code == 0
    assert shop("hold", "Q1", "--days", "3").code == 0
    ran = shop("chase", "--part", "LAMP")
    assert "held quotes, too: Q1" in " ".join(ran.out.split())
    assert "note: how much later held quotes would be is not counted: they draw on P2/1" in ran.err
    assert shop("chase", "--part", "ENG-A").err.count("held quotes") == 0
    shop("release", "Q1")
    assert "held quotes" not in shop("chase").out


def test_those_are_all_there_are_but_those_that_do_something() -> None:
    asked = {question.split()[0] for question in QUESTIONS}
    assert {*asked, *DOING} == set(typer.main.get_command(app).commands)  # type: ignore[attr-defined]

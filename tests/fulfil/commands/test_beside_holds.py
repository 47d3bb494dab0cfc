"""Every question has an answer while a quote is held, which reads tables that it needs itself."""

from __future__ import annotations

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


@pytest.fixture
def holding(shop: Run, monkeypatch: pytest.MonkeyPatch) -> Run:
    """The small shop, one tower of which is held."""
    set_day(monkeypatch, AS_OF)
    assert shop("promise", "TOWER").code == 0
    assert shop("hold", "Q1", "--days", "3").code == 0
    return shop


@pytest.mark.parametrize("question", QUESTIONS)
def test_it_is_answered(holding: Run, question: str) -> None:
    ran = holding(*question.split())
    assert "this should not have happened" not in ran.err
    assert ran.code == 0, ran.err


def test_those_are_all_there_are_but_those_that_do_something() -> None:
    asked = {question.split()[0] for question in QUESTIONS}
    assert {*asked, *DOING} == set(typer.main.get_command(app).commands)  # type: ignore[attr-defined]

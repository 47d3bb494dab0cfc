"""`plan --orders-from` and what commands say of a plan made so, on the shop of `sales_shop`.

One machine, promised for 2026-03-31, whose engine has to be ordered: it takes 29 days, so that one
of today, 2 March, comes on that day and one of the 16th on 14 April, 14 days later.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from program import Run
from sales_shop import book
from tiny_shop import build, march
from two_plans import TwoPlans

BASIS = "note: plan 2 places no new purchase before 2026-03-16\n"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> TwoPlans:
    """A plan that orders today, and one that waits."""
    data = book(builds=(build("B1", march(31)),), stock=(), purchases=())
    return TwoPlans(tmp_path_factory.mktemp("waiting"), data, ("--orders-from", "2026-03-16"))


@pytest.fixture
def waiting(tmp_path: Path, made: TwoPlans, run: Run) -> Run:
    made.copy_to(tmp_path, run)
    return run


def test_the_document_names_the_day(waiting: Run, made: TwoPlans) -> None:
    prompt, waits = made.document(1), made.document(2)
    assert prompt["builds"][0]["ships"] == "2026-03-31"
    assert waits["builds"][0]["ships"] == "2026-04-14"
    assert waits["builds"][0]["late_days"] == 14
    assert waits["orders_from"] == "2026-03-16"
    assert set(waits) - set(prompt) == {"orders_from"}
    (order,) = (row for row in waits["supplies"] if row["kind"] == "new_purchase")
    assert (order["place_on"], order["arrives_on"]) == ("2026-03-16", "2026-04-14")
    errors = made.notes(2)
    assert "note: no new purchase is placed before 2026-03-16\n" in errors
    assert (
        "note: new purchases are placed as set in the data in plan 1, from 2026-03-16 in plan 2\n"
    ) in errors


def test_pages_say_that_a_plan_waits(waiting: Run) -> None:
    listed = waiting("plans")
    assert "orders from 2026-03-16" in listed.out.splitlines()[3]
    assert "orders from" not in listed.out.splitlines()[4]
    good = waiting("audit")
    assert (good.code, BASIS in good.err) == (0, True)
    assert BASIS not in waiting("audit", "--plan", "1").err
    page = waiting("shortages", "ENGINE").out
    assert "if ordered on 2026-03-16:\n" in page
    assert "if ordered today:\n" in waiting("shortages", "ENGINE", "--plan", "1").out
    help_now = "ENGINE: ordered from S on 2026-03-16 it is here 2026-04-14\n"
    assert help_now in waiting("build", "B1").out


@pytest.mark.parametrize("words", ["builds", "shortages", "purchases", "queue", "buy", "audit"])
def test_documents_of_answers_name_it(waiting: Run, words: str) -> None:
    waits = waiting(words, "--json")
    assert json.loads(waits.out)["orders_from"] == "2026-03-16"
    assert BASIS in waits.err
    prompt = waiting(words, "--plan", "1", "--json")
    assert "orders_from" not in json.loads(prompt.out)


def test_compare_says_that_one_waits(waiting: Run) -> None:
    note = "note: new purchases are placed as set in the data in plan 1, from 2026-03-16 in plan 2"
    assert waiting("compare", "1", "2").err == f"{note}\n"


def test_the_buy_list_in_between(waiting: Run) -> None:
    """Ordered beside the plan that does not wait, the engine is here when the one that does is
    made again: nothing is late."""
    bought = waiting("buy", "--plan", "1", "--service", "0.5", "--accept")
    assert bought.code == 0, bought.err
    again = waiting("plan", "--seconds", "1", "--orders-from", "2026-03-16", "--json")
    (row,) = json.loads(again.out)["builds"]
    assert (row["ships"], row["late_days"]) == ("2026-03-31", 0)


@pytest.mark.parametrize(
    ("day", "wrong", "remedy"),
    [
        ("2026-03-01", "the planning date is 2026-03-02", "name that day or a later one"),
        ("2028-03-02", "beyond the horizon: nothing after 2028-03-01", "a day up to 2028-03-01"),
        ("9999-12-31", "beyond the horizon", "a day up to 2028-03-01"),
        ("soon", "soon is no date", "write it as 2026-03-31"),
        ("2026-02-30", "2026-02-30 is no date", "write it as 2026-03-31"),
    ],
)
def test_a_day_that_is_none_is_refused(waiting: Run, day: str, wrong: str, remedy: str) -> None:
    ran = waiting("plan", "--orders-from", day)
    assert (ran.code, ran.out) == (1, "")
    assert wrong in ran.err
    assert remedy in ran.err
    assert [row["plan"] for row in json.loads(waiting("plans", "--json").out)["plans"]] == [2, 1]

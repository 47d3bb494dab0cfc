"""`plan --lead-times` and what commands say of a plan made so, on the shop of `sales_shop`.

One machine, whose engine comes with P1/1, due on 2026-03-16. Of the supplier's five deliveries of
engines each took 100 days; P1/1 was ordered on 2026-01-05, so that by the record it comes on
2026-04-15, 30 days later.
"""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from typing import get_args

import pytest
from fulfil_models.believing import Choice
from program import Run
from sales_shop import AS_OF, book, receipt
from tiny_shop import build, march
from two_plans import TwoPlans

from fulfil.commands.planning import LeadTimes

ORDERED = AS_OF - timedelta(200)
NOTE = (
    "note: lead times by the record, of 90 of 100 deliveries (learnt-90): 0 of 0 sources longer "
    "than\n  stated; 1 of 1 open purchase line later than due, P1/1 by 30 days; nothing sooner "
    "than stated\n"
)
BASIS = (
    "note: plan 2 believes the record of suppliers (learnt-90): purchases come when it says, where "
    "that\n  is later than stated\n"
)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> TwoPlans:
    """A plan of what is stated, and one that believes the record."""
    receipts = tuple(receipt(100, ORDERED, line) for line in "12345")
    data = book(builds=(build("B1", march(16)),), stock=(), sources=(), receipts=receipts)
    return TwoPlans(tmp_path_factory.mktemp("believing"), data, ("--lead-times", "learnt-90"))


@pytest.fixture
def believing(tmp_path: Path, made: TwoPlans, run: Run) -> Run:
    made.copy_to(tmp_path, run)
    return run


def test_the_choices_are_those_of_the_models() -> None:
    assert get_args(LeadTimes) == get_args(Choice)


def test_the_document_names_the_choice(believing: Run, made: TwoPlans) -> None:
    stated, learnt = made.document(1), made.document(2)
    assert stated["builds"][0]["ships"] == "2026-03-16"
    assert learnt["builds"][0]["ships"] == "2026-04-15"
    assert learnt["lead_times"] == "learnt-90"
    assert set(learnt) - set(stated) == {"lead_times"}
    errors = made.notes(2)
    assert NOTE in errors
    assert "note: lead times are stated in plan 1, learnt-90 in plan 2\n" in errors


def test_what_is_stated_is_the_default_to_the_byte(believing: Run, made: TwoPlans) -> None:
    again = believing("plan", "--seconds", "1", "--lead-times", "stated", "--json")
    assert again.code == 0, again.err
    first = made.text(1)
    numbers = made.document(1), json.loads(again.out)
    for row in numbers:
        first = first.replace(f'"seconds": {row["seconds"]}', '"seconds": 0')
    came = again.out.replace(f'"seconds": {numbers[1]["seconds"]}', '"seconds": 0')
    assert came.replace('"plan": 3', '"plan": 1') == first


def test_pages_say_whom_a_plan_believes(believing: Run) -> None:
    listed = believing("plans")
    marks = {line.split()[0]: line.split()[-1] for line in listed.out.splitlines()[3:]}
    assert marks == {"2": "learnt-90", "1": "optimal"}
    good = believing("audit")
    assert good.code == 0
    assert good.out == (
        "plan 2 keeps every rule with the data as they are now and lead times as the record has "
        "them\n  (learnt-90)\n"
    )
    assert BASIS in good.err
    before = believing("audit", "--plan", "1")
    assert before.out == "plan 1 keeps every rule with the data as they are now\n"
    assert before.err == "note: plan 1, planning date 2026-03-02\n"


@pytest.mark.parametrize("words", ["builds", "shortages", "purchases --open", "queue", "audit"])
def test_documents_of_answers_name_it_where_it_is_not_what_is_stated(
    believing: Run, words: str
) -> None:
    learnt = believing(*words.split(), "--json")
    assert json.loads(learnt.out)["lead_times"] == "learnt-90"
    assert BASIS.split("\n")[0] in learnt.err
    stated = believing(*words.split(), "--plan", "1", "--json")
    assert "lead_times" not in json.loads(stated.out)


def test_compare_says_that_the_plans_believe_others(believing: Run) -> None:
    note = "note: lead times are stated in plan 1, learnt-90 in plan 2\n"
    assert believing("compare", "1", "2").err == note
    assert believing("compare", "1", "1").err == ""


def test_another_word_is_refused(believing: Run) -> None:
    ran = believing("plan", "--lead-times", "learnt-99")
    assert ran.code == 2
    assert "--lead-times" in ran.err
    assert "learnt-90" in ran.err

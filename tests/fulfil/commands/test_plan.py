"""plan, compare, audit and demo through the command line.

The planner itself is tested where it stands; here it is replaced by the plan worked out by hand,
so that what the commands make of its answers can be checked to the word.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable
from datetime import date
from fractions import Fraction
from typing import Any

import pytest
import small_shop
from fulfil_models.audit import Violation
from fulfil_models.plan import Plan
from fulfil_models.tables import Setting
from program import Run

from fulfil.errors import NoPlan
from fulfil.store import data_hash, open_store
from fulfil.store.session import Store
from fulfil.usecases.planning import FirstPlan, PlanOutcome, Progress

PLANNED = """\
plan 2 of 2026-03-02, made in 1.5 s

builds                     5
  in time                  2
  late                     2
  not promised yet         1
lines of parts orders      2
  late                     1
weighted lateness      2,168 working minutes

cost              USD
----------  ---------
lateness    14,515.75
transfers       70.00
alternates     100.00
deliveries      34.00
together    14,719.75

proven: no plan of these data costs less than USD 12,000.00, so this one is at most 18.48 % of its
  cost from the best

against plan 1: every build ships on the same day

                                          late    lead  held up first by
build  product  promised    ships       (days)  (days)  (days sooner without)
-----  -------  ----------  ----------  ------  ------  -------------------------------------
B4     TOWER    2026-03-10  2026-03-16       6      42  part ENG-A until 2026-03-16 (14 days)
B3     TOWER    2026-03-04  2026-03-05       1      31  part ENG-A until 2026-03-05 (3 days)

build B6 is not planned: GHOST can never come

next:
  9 operations to start on 2026-03-02              fulfil queue --days 1
  1 order to place until 2026-03-08                fulfil purchases --days 7
  1 transfer to send until 2026-03-08              fulfil transfers --days 7
  1 line of parts orders to ship until 2026-03-08  fulfil orders --days 7
  if this is the plan to work by                   fulfil accept 2
"""
# Of 2 March are both operations of B1 and of B2 and all five masts: 2 + 2 + 5 = 9. The engine of
# B5 is ordered on the 2nd, that of B3 leaves on the 3rd; O1 ships on the 2nd, O2 only on the 9th.


class Planner:
    """Stands for the planner: keeps a plan and says how the search went."""

    def __init__(self) -> None:
        self.plan = small_shop.plan()
        self.more: dict[str, Any] = {}
        self.asked: dict[str, Any] = {}
        self.error: BaseException | None = None

    def __call__(
        self,
        store: Store,
        *,
        on_progress: Callable[[Progress], None] | None = None,
        on_first: Callable[[FirstPlan], None] | None = None,
        **asked: Any,
    ) -> PlanOutcome:
        self.asked = {**asked, "progress": on_progress is not None}
        if self.error is not None:
            raise self.error
        if on_progress is not None:
            assert on_first is not None
            on_progress(Progress(1.0, Fraction(20_000), None, "searching"))
            on_first(FirstPlan(1.25, 2, 1, Fraction(20_000)))
            on_progress(Progress(2.0, Fraction(14_720), Fraction(12_000), "searching"))
        input_hash = store.data_hash()
        assert input_hash is not None
        outcome = PlanOutcome(0, self.plan, 1.5, (), False, False)
        outcome = dataclasses.replace(outcome, **self.more)
        if outcome.violations:
            return outcome
        number = store.save_plan(
            self.plan, input_hash=input_hash, options={}, seconds=1.5, versions={}
        )
        return dataclasses.replace(outcome, number=number)


@pytest.fixture
def planner(monkeypatch: pytest.MonkeyPatch) -> Planner:
    stand_in = Planner()
    monkeypatch.setattr("fulfil.usecases.planning.make_plan", stand_in)
    return stand_in


def moved(plan: Plan) -> Plan:
    """The plan with B1 a week later."""
    builds = tuple(
        dataclasses.replace(row, ships=date(2026, 3, 9), late_days=3, late_minutes=480)
        if row.build == "B1"
        else row
        for row in plan.builds
    )
    return dataclasses.replace(plan, builds=builds)


def test_plan(shop: Run, planner: Planner) -> None:
    ran = shop("plan", "--seconds", "3", "--seed", "5")
    assert ran.code == 0
    assert ran.out == PLANNED
    assert ran.err == "note: 1 purchase past due is counted on 2026-03-09\n"
    assert planner.asked == {
        "seconds": 3.0,
        "seed": 5,
        "mode": "repeatable",
        "lead_times": "stated",
        "orders_from": None,
        "keep": None,
        "progress": False,
    }


def test_the_other_mode(shop: Run, planner: Planner) -> None:
    shop("plan", "--best")
    assert planner.asked["mode"] == "best"


@pytest.mark.parametrize(("option", "keep"), [("--keep", True), ("--weigh", False)])
def test_whether_promises_are_kept(shop: Run, planner: Planner, option: str, *, keep: bool) -> None:
    shop("plan", option)
    assert planner.asked["keep"] is keep


def test_the_plan_document(shop: Run, planner: Planner) -> None:
    ran = shop("plan", "--json")
    assert ran.code == 0
    document = json.loads(ran.out)
    assert (document["format"], document["plan"], document["as_of"]) == (1, 2, "2026-03-02")
    assert document["objective"]["total"] == 14719.75
    assert len(document["operations"]) == 15  # three of each of five builds


def test_what_changed_against_the_plan_before(shop: Run, planner: Planner) -> None:
    planner.plan = moved(planner.plan)
    ran = shop("plan")
    assert "against plan 1: 1 ship later, 0 sooner, 4 unchanged (fulfil compare 1 2)\n" in ran.out
    ran = shop("compare", "1", "2")
    assert ran.out.splitlines()[0].startswith(
        "from plan 1 (2026-03-02) to plan 2 (2026-03-02): late builds 2 to 3, cost 14,719.75 to"
    )
    row = ran.out.splitlines()[-1].split()
    assert row[:6] == ["B1", "2026-03-06", "2026-03-02", "2026-03-09", "+7", "3"]


def test_a_plan_that_is_worse_than_one_of_the_same_data_says_so(
    shop: Run, planner: Planner
) -> None:
    assert "of the same data" not in shop("plan").out  # it costs as much as plan 1
    dearer = dataclasses.replace(
        planner.plan.objective, lateness=planner.plan.objective.lateness + Fraction(25, 2)
    )
    planner.plan = dataclasses.replace(planner.plan, objective=dearer)
    out = shop("plan").out
    assert (
        "plan 1, of the same data, costs USD 12.50 less and has 2 late builds: it is the better one"
    ) in out
    assert "accept 1" in out
    assert "accept 3" not in out
    shop("accept", "1")
    out = shop("plan").out
    assert ("costs USD 12.50 less" in out, "fulfil accept" in out) == (True, False)
    freeze(0)  # other data: what was known of the old ones says nothing
    assert "of the same data" not in shop("plan").out


def test_two_plans_compared_are_told_apart_by_their_numbers(shop: Run, planner: Planner) -> None:
    planner.plan = moved(planner.plan)
    shop("plan")
    heads = shop("compare", "1", "2").out.splitlines()[3:5]
    assert (
        heads[0].split() == ["ships", "in"] * 2 + ["later", "by", "late"] + ["held", "up", "in"] * 2
    )
    assert heads[1].split()[:6] == ["build", "promised", "plan", "1", "plan", "2"]


def test_the_next_commands_name_the_database_that_was_named(shop: Run, planner: Planner) -> None:
    out = shop("--db", "fulfil.db", "plan").out
    assert out.count("  fulfil --db fulfil.db ") == 5
    # an address may hold a password and is not repeated
    assert "sqlite" not in shop("--db", "sqlite:///fulfil.db", "plan").out


def freeze(days: int) -> None:
    data = small_shop.dataset()
    settings = (*data.settings, Setting(key="freeze_days", value=str(days)))
    with open_store("fulfil.db") as store:
        store.replace_dataset(dataclasses.replace(data, settings=settings))


def test_the_freeze_says_what_it_did(shop: Run, planner: Planner) -> None:
    freeze(3)
    assert (
        "note: freeze_days is 3, but no plan is accepted yet: nothing was kept in its slot\n"
    ) in shop("plan").err
    accepted = shop("accept", "1")
    assert accepted.out == (
        "plan 1 is accepted: the next plans keep what it starts within 3 days (freeze_days) of "
        "their planning\n  date\n"
    )
    assert accepted.err == "note: plan 1 was made from data that have changed since\n"
    # 2 March and three days: until the end of the 4th
    assert (
        "note: what accepted plan 1 starts before 2026-03-05 keeps its slot, where it can\n"
    ) in shop("plan").err
    assert shop("accept").err == "note: plan 1 was accepted before\n"
    found = json.loads(shop("accept", "2", "--json").out)
    assert (found["plan"], found["freeze_days"], found["replaced"]) == (2, 3, 3)


def test_an_interrupted_search_keeps_its_best(shop: Run, planner: Planner) -> None:
    planner.more = {"interrupted": True}
    ran = shop("plan")
    assert ran.code == 130
    assert ran.out == PLANNED
    assert "the search was interrupted; this is the best plan it had found" in ran.err
    with open_store("fulfil.db") as store:
        assert store.plan_header().number == 2


def test_a_search_cut_by_the_clock_says_so(shop: Run, planner: Planner) -> None:
    planner.more = {"cut_by_clock": True}
    assert "the clock cut the search: another run may end with another plan" in shop("plan").err


def test_no_plan_within_the_limits(shop: Run, planner: Planner) -> None:
    planner.error = NoPlan("no plan was found", "allow more --seconds")
    ran = shop("plan")
    assert (ran.code, ran.out) == (3, "")
    assert ran.err == "error: no plan was found\n\nhint: allow more --seconds\n"


def test_a_plan_that_breaks_a_rule_is_never_shown(shop: Run, planner: Planner) -> None:
    planner.more = {"violations": (Violation("supply", "stock/BOI/ENG-A", "drawn twice"),)}
    ran = shop("plan")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith(
        "error: the plan broke 1 of its own rules and was not kept (the first: supply: "
        "stock/BOI/ENG-A: drawn twice)\n\nhint: "
    )
    with open_store("fulfil.db") as store:
        assert store.plan_header().number == 1


def test_progress_is_one_line_written_over(
    shop: Run, planner: Planner, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fulfil.commands.planning._on_a_terminal", lambda: True)
    ran = shop("plan")
    assert ran.out == PLANNED
    before, first, second, rest = ran.err.split("\r")[1:5]
    assert before == "  1.0 s  searching  best 20,000"
    assert first == (
        "  1.2 s  first checked plan: 2 builds in time, 1 late, cost 20,000; improving it\n"
    )
    assert second == "  2.0 s  searching  best 14,720  proven 12,000"
    assert rest.strip() == ""


def test_audit_of_a_good_plan_and_of_changed_data(shop: Run) -> None:
    ran = shop("audit")
    assert (ran.code, ran.out) == (
        0,
        "plan 1 keeps every rule with the data as they are now\n",
    )
    data = small_shop.dataset()
    fewer = tuple(row for row in data.stock if (row.point, row.part) != ("RNO", "ENG-A"))
    with open_store("fulfil.db") as store:
        store.replace_dataset(dataclasses.replace(data, stock=fewer))
    ran = shop("audit")
    assert ran.code == 1
    assert ran.out.startswith("plan 1 breaks ")
    assert "stock/RNO/ENG-A" in ran.out
    found = json.loads(shop("audit", "--json").out)
    assert found["good"] is False
    assert {"rule", "subject", "wrong"} == set(found["violations"][0])


def test_the_demo_has_a_database_of_its_own(
    run: Run, planner: Planner, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FULFIL_DB", "real.db")
    ran = run("demo")
    assert ran.code == 0
    assert "\ntry next:\n  fulfil --db demo.db builds --late " in ran.out
    assert ran.out.count("next:") == 1
    assert "  fulfil --db demo.db build B4 " in ran.out
    assert "loaded the demo into" in ran.err
    with open_store("demo.db") as store:
        assert store.data_hash() is not None
    assert planner.asked["seconds"] == 20.0
    # a second time it finds its own data and goes on
    assert run("demo").code == 0


def test_the_demo_never_replaces_other_data(shop: Run, planner: Planner) -> None:
    ran = shop("--db", "fulfil.db", "demo")
    assert (ran.code, ran.out) == (1, "")
    assert "holds other data, which the demo would replace" in ran.err
    with open_store("fulfil.db") as store:
        assert store.data_hash() == data_hash(small_shop.dataset())

"""What may be promised of a part: the answer as text, JSON and CSV, and from which plan."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
import small_shop
from fulfil_models.available_weeks import availability
from fulfil_models.plan_index import PlanIndex
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from program import Ran, Run

from fulfil.render.available import available_page
from fulfil.store import data_hash, open_store
from fulfil.usecases.available import available

LEGEND = """\
note: ATP is available to promise. Discrete: of each week's supply what is not needed before more
  comes, below 0 where it needs earlier supply. Cumulative: all supply up to the end of the week
  less all commitments up to then. With look-ahead: what may be promised by the end of the week
  without harm to later commitments
"""


def unwrapped(ran: Ran) -> str:
    """What stands on the error output, without its line breaks."""
    return " ".join(ran.err.split()) + " "


def test_a_part_with_something_to_promise(shop: Run) -> None:
    ran = shop("available", "lamp", "--weeks", "2")
    assert ran.code == 0
    # O1/1 takes the five on the shelves; P2/1 brings 10 on 03-09, of which O2/1 takes 4
    assert (
        ran.out
        == """\
LAMP lamp
  looked at   all points together
  on hand     5 ea: 2 at BOI, 3 at RNO
  to promise  6 ea by the end of 2026-W11

                        pur-     for   parts       ATP         ATP    ATP with
week      from        chases  builds  orders  discrete  cumulative  look-ahead
--------  ----------  ------  ------  ------  --------  ----------  ----------
2026-W10  2026-03-02       -       -       5         0           0           0
2026-W11  2026-03-09      10       -       4         6           6           6
"""
    )
    assert ran.err == (
        """\
note: plan 1, planning date 2026-03-02
note: no plan is accepted: plan 1 is the newest
note: only firm supply counts: stock that is not held, purchases on order, and what builds' own jobs
  make
note: units at other points have to be moved or sent from there; --point asks one
note: purchase P2/1, 10 ea, is past due since 2026-02-20 and counted on 2026-03-09
"""
        + LEGEND
    )


def test_a_part_that_is_short(shop: Run) -> None:
    ran = shop("available", "ENG-A", "--weeks", "3")
    assert ran.code == 0
    assert (
        ran.out
        == """\
ENG-A engine 8 hp
  looked at   all points together
  on hand     2 ea: 1 at BOI (and 1 held), 1 at RNO
  to promise  nothing
  short       from 2026-W13 on commitments exceed supply, by up to 1 ea

                                  new
                              orders,
                        pur-      not     for   parts       ATP         ATP    ATP with
week      from        chases  counted  builds  orders  discrete  cumulative  look-ahead
--------  ----------  ------  -------  ------  ------  --------  ----------  ----------
2026-W10  2026-03-02       -        -       2       -         0           0          -1
2026-W11  2026-03-09       -        -       -       -         -           0          -1
2026-W12  2026-03-16       1        -       1       -        -1           0          -1
later                      -        1       1       -         -          -1          -1
"""
    )
    assert (
        "note: supply is stock that is not held, purchases on order, and what builds' own jobs "
        "make; new orders of the plan, 1 ea, are not placed and not counted: --new-orders counts "
        "them "
    ) in unwrapped(ran)
    assert "note: purchase P1/1, 1 ea, is not confirmed for 2026-03-16\n" in ran.err
    assert "note: caution, ENG-A: ship dry: ask the carrier\n" in ran.err


def test_new_orders_only_if_asked_for(shop: Run) -> None:
    ran = shop("available", "ENG-A", "--weeks", "4", "--new-orders", "--point", "boi")
    assert ran.code == 0
    # at BOI: 1 free and 1 moved in for B1 and B3, then one comes for each build that takes one
    assert (
        ran.out
        == """\
ENG-A engine 8 hp
  looked at   BOI alone
  on hand     1 at BOI (and 1 held)
  to promise  nothing

                                         new
                        pur-  moved  orders,     for   parts       ATP         ATP    ATP with
week      from        chases     in  counted  builds  orders  discrete  cumulative  look-ahead
--------  ----------  ------  -----  -------  ------  ------  --------  ----------  ----------
2026-W10  2026-03-02       -      1        -       2       -         0           0           0
2026-W11  2026-03-09       -      -        -       -       -         -           0           0
2026-W12  2026-03-16       1      -        -       1       -         0           0           0
2026-W13  2026-03-23       -      -        1       1       -         0           0           0
"""
    )
    assert "counted, too, as asked: 1 ea of new orders that nobody has placed" in unwrapped(ran)


def test_json(shop: Run) -> None:
    found = json.loads(shop("available", "ENG-A", "--json", "--weeks", "3").out)
    assert {key: found[key] for key in ("plan", "as_of", "data_changed", "part", "unit")} == {
        "plan": 1,
        "as_of": "2026-03-02",
        "data_changed": False,
        "part": "ENG-A",
        "unit": "ea",
    }
    assert (found["point"], found["on_hand"], found["held"]) == (None, 2, 1)
    assert (found["new_orders_counted"], found["new_orders"], found["left"]) == (False, 1, -1)
    assert found["weeks"][2] == {
        "week": "2026-W12",
        "starts": "2026-03-16",
        "purchases": 1,
        "made": 0,
        "moved_in": 0,
        "new_orders": 0,
        "builds": 1,
        "parts_orders": 0,
        "moved_out": 0,
        "discrete": -1,
        "cumulative": 0,
        "look_ahead": -1,
    }
    assert (found["later"]["new_orders"], found["later"]["builds"]) == (1, 1)
    assert found["shortfall"] == {"week": "2026-W13", "starts": "2026-03-23", "quantity": 1}
    lamp = json.loads(shop("available", "LAMP", "--json").out)
    assert lamp["steps"] == [{"week": "2026-W11", "starts": "2026-03-09", "quantity": 6}]
    assert lamp["later"] is None
    assert len(lamp["weeks"]) == 12


def test_csv(shop: Run) -> None:
    ran = shop("available", "LAMP", "--csv", "--weeks", "2", "--point", "BOI")
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    # 2 on the shelf for O1/1, 10 for O2/1, which takes 4
    assert [(row["point"], row["week"], row["discrete"], row["look_ahead"]) for row in rows] == [
        ("BOI", "2026-W10", "0", "0"),
        ("BOI", "2026-W11", "6", "6"),
    ]


def test_what_is_in_no_plan_is_named(shop: Run) -> None:
    ran = shop("available", "GHOST")
    assert (
        "note: B6 is not in the plan (it lacks GHOST for ever): its 1 ea stand at 2026-04-01, when "
        "it is due "
    ) in unwrapped(ran)
    assert "  on hand     none\n" in ran.out


def test_a_made_part_says_that_more_could_be_made(shop: Run) -> None:
    ran = shop("available", "MAST")
    assert "note: MAST is made: each unit is made for the need that takes it" in ran.err
    assert "  to promise  nothing\n" in ran.out


def test_the_accepted_plan_goes_before_the_newest(shop: Run, tmp_path: Path) -> None:
    assert shop("accept", "1").code == 0
    dataset = small_shop.dataset()
    with open_store(str(tmp_path / "fulfil.db")) as store:
        store.save_plan(
            small_shop.plan(),
            input_hash=data_hash(dataset),
            options={},
            seconds=1,
            versions={},
        )
    ran = shop("available", "LAMP")
    assert "note: plan 1 is the accepted one; plan 2 is newer\n" in ran.err
    assert json.loads(shop("available", "LAMP", "--json").out)["plan"] == 1
    assert json.loads(shop("available", "LAMP", "--json", "--plan", "2").out)["plan"] == 2


def test_a_plan_that_goes_on_with_the_accepted_one_is_not_called_that(shop: Run) -> None:
    shop("accept", "1")
    shop("promise", "TOWER")
    shop("accept", "Q1", "--as", "N1")
    ran = shop("available", "ENG-A")
    assert "note: plan 2 goes on with plan 1, the accepted one\n" in ran.err


def test_without_a_plan_needs_stand_at_their_due_days(run: Run, tmp_path: Path) -> None:
    with open_store(str(tmp_path / "fulfil.db")) as store:
        store.replace_dataset(small_shop.dataset())
    ran = run("available", "ENG-A")
    assert ran.code == 0
    assert ran.err.startswith("note: there is no plan yet, planning date 2026-03-02: needs stand")
    assert "not in the plan" not in ran.err
    found = json.loads(run("available", "ENG-A", "--json").out)
    assert (found["plan"], found["as_of"]) == (None, "2026-03-02")
    # five towers want one each, four of them by this week; two are free, one is on order
    assert [week["builds"] for week in found["weeks"][:3]] == [4, 1, 0]
    assert found["left"] == -2


@pytest.mark.parametrize(
    ("words", "err"),
    [
        (
            ("available", "ENG"),
            "error: no part is called ENG\n\nhint: did you mean ENG-A or ENG-B?\n",
        ),
        (
            ("available", "LAMP", "--point", "MARS"),
            "error: no point is called MARS\n\nhint: known are BOI, RNO\n",
        ),
        (
            ("available", "LAMP", "--plan", "7"),
            "error: there is no plan 7\n\nhint: run: fulfil plans, which lists them\n",
        ),
    ],
)
def test_wrong_names(shop: Run, words: tuple[str, ...], err: str) -> None:
    ran = shop(*words)
    assert (ran.code, ran.out, ran.err) == (1, "", err)


@pytest.mark.parametrize("weeks", ["0", "521", "soon"])
def test_wrong_weeks(shop: Run, weeks: str) -> None:
    ran = shop("available", "LAMP", "--weeks", weeks)
    assert (ran.code, ran.out) == (2, "")
    assert ran.err.startswith("error: invalid value for '--weeks'")


def test_nothing_was_ever_loaded(run: Run, tmp_path: Path) -> None:
    open_store(str(tmp_path / "fulfil.db")).close()
    ran = run("available", "LAMP")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith(f"error: there are no data in {tmp_path / 'fulfil.db'} yet\n\nhint: ")


def test_the_demo(demo_db: Path) -> None:
    with open_store(str(demo_db)) as store:
        engine = available(store, "ENG-014D").found
        # one in Memphis, three at the plant and one more held
        assert (engine.on_hand_milli, engine.held_milli) == (4000, 1000)
        kit = available(store, "SVC-LT").found
        # 6 and 7 on the shelves, 20 on order, 12 ordered
        assert (kit.on_hand_milli, kit.left_milli) == (13_000, 13_000 + 20_000 - 12_000)
        parts = [row.part for row in store.dataset(["parts"]).parts]
        for part in parts[::24]:
            for point in (None, "TWIN-FALLS"):
                page = available_page(available(store, part, point=point))
                assert max(map(len, page.lines(100))) <= 100, (part, point)


def test_a_plan_never_takes_more_than_there_is(demo_db: Path) -> None:
    """With its own new orders counted, at no point and in no week is anything short."""
    with open_store(str(demo_db)) as store:
        plan = store.plan().plan
        problem = Problem(store.dataset(), Settings(as_of=plan.as_of))
    index = PlanIndex(plan)
    moved = 0
    for part in sorted({row.part for row in plan.supplies}):
        total = availability(problem, plan, part, count_new_orders=True, index=index)
        points = [
            availability(problem, plan, part, point, count_new_orders=True, index=index)
            for point in problem.points
        ]
        for found in (total, *points):
            assert found.unplanned == ()
            assert found.shortfall is None, (part, found.point)
            assert found.weeks[0].look_ahead_milli >= 0
        assert sum(found.left_milli for found in points) == total.left_milli
        moved += sum(week.flows.moved_in_milli for found in points for week in found.weeks)
    assert moved > 0

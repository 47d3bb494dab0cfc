"""What `chase` and `ration` print of the small shop, word for word, and what they refuse."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import pytest
from program import Run

ANSWERS = {
    "chase": (
        """\
2 open purchase lines: 1 past due, 1 not confirmed; 2 would add weighted late days if they came a
  week later

a week later, with nobody else moved, these add weighted late days:

order                                                         slack  by record   by record
and line  supplier  part   quantity  due         needed      (days)  50 %        90 %
    late days: a     free    on the
      week later  station  90 % day  hurts (late by days more)
--------  --------  -----  --------  ----------  ----------  ------  ----------  ----------
P2/1      S1        LAMP      10 ea  2026-02-20  2026-03-09       0  2026-03-09  2026-03-09
             7.0      7.0       0.0  O2/1 (+7)                  past due for 10 days, counted on
                                                                2026-03-09
P1/1      S1        ENG-A      1 ea  2026-03-16  2026-03-16       0  2026-03-16  2026-03-16
             5.2      5.0       0.0  B4 (+7)                    not confirmed
""",
        """\
note: plan 1, planning date 2026-03-02
note: late days are weighted, and more than in the plan; each line is taken to slip alone, from the
  day the plan counts on, and whoever loses a slot takes the first free one
note: `free station` leaves the queue for another slot out: a new plan may shorten that, and make
  others late instead
note: `by record` is when a line like this is there, going by receipts and what is open; never
  sooner than stated
""",
    ),
    "ration": (
        """\
1 part with a monthly cap; of 1 somebody waits for units, of 0 nobody waits but somebody gets
  another part

                              most in  most wanted            get  waiting costs
part   what it is   supplier  a month   in a month  wait  another          (USD)  waiting for it
-----  -----------  --------  -------  -----------  ----  -------  -------------  --------------
ENG-A  engine 8 hp  S1              2            5     2        1       4,500.00  B4 (6) B3 (1)

`fulfil ration PART` shows who gets which month, and what would help
""",
        """\
note: plan 1, planning date 2026-03-02
note: waiting costs weight × late days × the cost of a late day, as the plan counts late days: of a
  build working time in standard days; other things may hold who waits as long
""",
    ),
    "ration ENG-A": (
        """\
ENG-A engine 8 hp: S1 lets only so many go a month; 2 ea on the shelf, which go to B1 B3 (1)

                          on     new
month    wanted  most  order  orders  goes to (late by days)  let wait
-------  ------  ----  -----  ------  ----------------------  --------
2026-03      5*     2      1       1  B4 (6) B5               -

get another part: B2 (ENG-B)

who waits, and what waiting costs:

                                                        late           weighted  waiting costs
who  quantity  wanted      gets it     from           (days)  weight  late days          (USD)
---  --------  ----------  ----------  -------------  ------  ------  ---------  -------------
B4          1  2026-03-10  2026-03-16  purchase/P1/1       6       1        3.8       3,750.00
B3          1  2026-03-04  2026-03-05  the shelf           1       1        0.8         750.00

no approved alternate, expedited order, move or other supplier lets these ship sooner: B4, B3

one more unit, usable from the first open day of the month (best found):

                     saves weighted     saves
month    usable           late days     (USD)  who ships sooner (days)
-------  ----------  --------------  --------  -----------------------
2026-03  2026-03-02             3.8  3,755.00  B5 (7), B4 (6)
""",
        """\
note: plan 1, planning date 2026-03-02
note: waiting costs weight × late days × the cost of a late day, as the plan counts late days: of a
  build working time in standard days; other things may hold who waits as long
note: each way is re-timed for one build alone, all others where they are; its cost is the most it
  can be, nobody sharing a move or an order
note: what one more unit saves is the best that a short search found, not a proven figure; it is
  held against the same search without the unit
""",
    ),
}


@pytest.mark.parametrize("words", ANSWERS)
def test_answers(shop: Run, words: str) -> None:
    """By hand: with P1 on the 23rd B4 is assembled by 12:00, finds the test taken by B5 until 14:30
    and ends at 16:30, two hours and five days after the 16th at 14:30: 5.25 days. One more engine
    on the 2nd saves B4 its 3.75 days, and lets B5 have P1 on the 16th: 0.001 x 5 days."""
    ran = shop(*words.split())
    assert ran.code == 0
    assert (ran.out, ran.err) == ANSWERS[words]


def test_chase_as_json(shop: Run) -> None:
    found = json.loads(shop("chase", "--json").out)
    assert (found["plan"], found["total"], found["hurting"]) == (1, 2, 2)
    lamps, engine = found["lines"]
    assert (lamps["order"], lamps["past_due_days"], lamps["quantity"]) == ("P2", 10, 10)
    assert (engine["late_days"], engine["cost"], engine["doubtful"]) == (5.25, 5250, True)
    (hit,) = engine["hits"]
    assert (hit["who"], hit["ships"], hit["ships_then"]) == ("B4", "2026-03-16", "2026-03-23")
    assert hit["weighted_late_days"] == 5.25


def _rows(text: str) -> list[dict[str, Any]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_chase_as_csv(shop: Run) -> None:
    rows = _rows(shop("chase", "--csv").out)
    assert [(row["order"], row["late_days"], row["hits"]) for row in rows] == [
        ("P2", "7", "O2/1"),
        ("P1", "5.25", "B4"),
    ]


@pytest.mark.parametrize(
    ("words", "orders"),
    [
        ("--supplier s1", ["P2", "P1"]),
        ("--part eng-a", ["P1"]),
        ("--part LAMP --supplier S1", ["P2"]),
        ("--part PUMP", []),
    ],
)
def test_chase_narrowed(shop: Run, words: str, orders: list[str]) -> None:
    found = json.loads(shop("chase", "--json", *words.split()).out)
    assert [row["order"] for row in found["lines"]] == orders
    assert found["total"] == 2


def test_ration_as_json(shop: Run) -> None:
    (row,) = json.loads(shop("ration", "--json").out)["rations"]
    assert (row["part"], row["cost"], row["waiting"]) == ("ENG-A", 4500, ["B4", "B3"])
    found = json.loads(shop("ration", "eng-a", "--json").out)
    (month,) = found["ration"]["months"]
    # five call for one, B2 among them, which gets another; two may come
    assert (month["wanted"], month["cap"], month["over_cap"]) == (5, 2, True)
    (worth,) = found["one_more"]
    assert (worth["usable_on"], worth["late_days"], worth["cost"]) == ("2026-03-02", 3.755, 3755)
    assert found["ways"] == []


def test_ration_as_csv(shop: Run) -> None:
    rows = _rows(shop("ration", "--csv").out)
    assert [(row["part"], row["waiting"], row["stand_ins"]) for row in rows] == [
        ("ENG-A", "B4 B3", "B2")
    ]
    rows = _rows(shop("ration", "ENG-A", "--csv").out)
    assert [(row["who"], row["waits"], row["cost"]) for row in rows] == [
        ("B1", "no", "0"),
        ("B3", "yes", "750"),
        ("B4", "yes", "3750"),
        ("B5", "no", "15.75"),
        ("B2", "no", "0"),
    ]


@pytest.mark.parametrize(
    ("words", "error"),
    [
        ("chase --part ENG-C", "no part is called ENG-C"),
        ("chase --supplier S2", "no supplier is called S2"),
        ("ration ENG-C", "no part is called ENG-C"),
        ("ration PUMP", "no supplier has a monthly cap for PUMP"),
        ("chase --plan 7", "there is no plan 7"),
        ("ration --plan 7", "there is no plan 7"),
    ],
)
def test_refused(shop: Run, words: str, error: str) -> None:
    ran = shop(*words.split())
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith(f"error: {error}")
    assert "\n\nhint: " in ran.err

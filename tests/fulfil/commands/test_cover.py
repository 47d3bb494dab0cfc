"""How long parts last, word for word on the small shop, whose arithmetic is in its own tests.

ENG-A: 2 there; B1 takes one on 2 March, B3 wants one on the 4th (it is a day late on the 5th), B4
on the 10th (six days late): -1, until P1 of the 16th; B5 takes one on the 23rd: -1. The source
takes 21 days: Tuesday 10 March less 21 is Tuesday 17 February.
"""

from __future__ import annotations

import csv
import io
import json
from datetime import date
from pathlib import Path

import pytest
from program import Run

from fulfil.render.cover import cover_page
from fulfil.store import open_store
from fulfil.usecases.cover import Asked, cover

LIST = """\
3 of 7 parts run out by 2026-03-31; of 1 the last day to order has passed

         on     on   firm  fore-  runs out                            last day               late
part   hand  order  needs   cast  stated      50 %        90 %        to order         hits  days
-----  ----  -----  -----  -----  ----------  ----------  ----------  ---------------  ----  ----
ENG-A     2      1      4      0  2026-03-10  2026-03-10  2026-03-10  2026-02-17 past     2     7
GHOST     0      0      0   0.08  2026-03-02  2026-03-02  2026-03-02  no source           0     -
LAMP      5     10      9      0  2026-03-02  2026-03-02  2026-03-02  no source           2    10

one part month by month: fulfil cover PART
"""
PART = """\
ENG-A engine 8 hp
  there              2 ea on hand, which lasts 8 days; 1 ea on order
  needs              firm 4, forecast 0.396 (intermittent) by 2026-04-30
"""
MONTHS = """\
           on   firm  fore-   comes                left                   lasts
month    hand  needs   cast  stated  50 %  90 %  stated    50 %    90 %  (days)
-------  ----  -----  -----  ------  ----  ----  ------  ------  ------  ------
2026-03     2      4      0       1     1     1      -1      -1      -1       0
2026-04    -1      0  0.396       0     0     0  -1.396  -1.396  -1.396       0
"""


def test_the_list(shop: Run) -> None:
    ran = shop("cover", "--months", "1")
    assert (ran.code, ran.out) == (0, LIST)
    assert "note: new orders of the plan are not counted: nobody has placed them" in ran.err


def test_a_part(shop: Run) -> None:
    ran = shop("cover", "eng-a", "--months", "2")
    assert ran.code == 0
    assert ran.out.startswith(PART)
    assert MONTHS in ran.out
    assert "passed since 2026-02-17, from S1 to BOI" in ran.out


def test_json_holds_everything(shop: Run) -> None:
    (part,) = json.loads(shop("cover", "ENG-A", "--months", "2", "--json").out)["parts"]
    assert part["order_by"] == "2026-02-17"
    assert part["learnt_90"]["runs_out_on"] == "2026-03-10"
    assert [hit["who"] for hit in part["hits"]] == ["B4", "B3"]
    assert [(p["firm"], p["forecast"]) for p in part["periods"]] == [(4, 0), (0, 0.396)]


def test_csv_is_a_list_of_parts_or_of_months(shop: Run) -> None:
    parts = list(csv.DictReader(io.StringIO(shop("cover", "--months", "1", "--csv").out)))
    assert [(row["part"], row["order_by"], row["passed"]) for row in parts] == [
        ("ENG-A", "2026-02-17", "yes"),
        ("GHOST", "", "no"),
        ("LAMP", "", "no"),
    ]
    months = list(csv.DictReader(io.StringIO(shop("cover", "ENG-A", "--csv").out)))
    assert len(months) == 12
    assert months[0]["balance_90"] == "-1"


def test_weeks(shop: Run) -> None:
    out = shop("cover", "ENG-A", "--months", "1", "--weeks", "--csv").out
    assert [row["period"] for row in csv.DictReader(io.StringIO(out))] == [
        f"2026-03-{day:02}" for day in (2, 9, 16, 23, 30)
    ]


def test_a_point_alone(shop: Run) -> None:
    ran = shop("cover", "ENG-A", "--point", "boi", "--json")
    (part,) = json.loads(ran.out)["parts"]
    # one engine is free at BOI, all four are taken there
    assert (part["on_hand"], part["firm"], part["forecast"]) == (1, 4, 0)
    assert "BOI alone" in ran.err


def test_the_picture_is_written_beside_the_answer(shop: Run, tmp_path: Path) -> None:
    for _ in range(2):  # the second time over the first
        assert shop("cover", "ENG-A", "--svg", "a.svg").code == 0
    assert (tmp_path / "a.svg").read_text(encoding="utf-8").startswith("<svg")
    ran = shop("cover", "ENG-A", "--svg", "fulfil.db")
    assert ran.code != 0
    assert "fulfil.db is there already and is no SVG" in ran.err
    assert ran.out == ""


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ("cover TOWER", 1, "TOWER is made here and nobody supplies it"),
        ("cover ENG-Z", 1, "no part is called ENG-Z"),
        ("cover --point X", 1, "no point is called X"),
        ("cover --family engine", 1, "no family is called engine"),
        ("cover --svg a.svg", 2, "--svg draws one PART or a --family"),
        ("cover ENG-A --family engine", 2, "name a part or a --family, not both"),
        ("cover --months 0", 2, "--months"),
    ],
)
def test_what_cannot_be_asked(shop: Run, words: str, code: int, said: str) -> None:
    ran = shop(*words.split())
    assert (ran.code, ran.out) == (code, "")
    assert said in ran.err


def test_the_demo(demo_db: Path) -> None:
    """Both short engines run out, and each has a last day to order."""
    with open_store(str(demo_db)) as store:
        family = cover(store, Asked(family="engine"))
        rows = {row.part: row for row in family.rows}
        assert len(rows) == 5
        for name in ("ENG-014D", "ENG-008G"):
            assert rows[name].learnt_90.runs_out_on is not None
            assert rows[name].order_by is not None
            part = cover(store, Asked(part=name, weeks=True))
            assert max(map(len, cover_page(part, every=False).lines(100))) <= 100
        assert max(map(len, cover_page(family, every=True).lines(100))) <= 100
        every = cover(store, Asked())
        assert max(map(len, cover_page(every, every=True).lines(100))) <= 100
    # LARKBENCH needs longer than it says, so the last day for its engine has long passed
    last = rows["ENG-014D"].last_order
    assert last is not None
    assert last.days_90 > last.stated_days
    assert (rows["ENG-014D"].order_by or date.max) < family.basis.as_of

"""promise, hold, holds, release and accept as they are typed, on the small shop and its plan.

In its plan every engine on the shelf and on order is taken, and what the supplier lets go in March,
too: the next comes on Wednesday 04-01. Then 240 minutes of assembly and 120 of test follow.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
import small_shop
from program import Ran, Run, document

from fulfil.exchange import write_folder
from fulfil.store import open_store

pytestmark = pytest.mark.usefixtures("monday")

LOADED_LATER = (
    "note: it is in the data from now on: a data set that is loaded later need not have it, and "
    "takes its\n  place where it does\n"
)


# ---- the pages, word for word


def test_a_quote(shop: Run) -> None:
    ran = shop("promise", "tower", "--to", "US-ID", "--option", "PUMP=1")
    assert ran.code == 0
    assert (
        ran.out
        == """\
TOWER light tower
  quote    Q1
  ships    2026-04-01 from BOI, taking nothing from anyone; 30 days from 2026-03-02
  arrives  2026-04-02 in US-ID (1 carrier day)

                                      days
what holds it up  until             sooner  why
----------------  ----------------  ------  --------------------------------------------------------
part ENG-A        2026-04-01 08:00      29  ENG-A is to be ordered from S1 on 2026-03-11, here
                                            2026-04-01; what comes sooner goes to B1, B3, B4, B5
queue at ASSY     2026-03-02 12:30       1  ASSY: busy with B1, B2; the days count with the queue at
                                            TEST out of the way, too

no alternate, expediting, transfer or other way brings it forward
"""
    )
    assert (
        ran.err
        == """\
note: plan 1, planning date 2026-03-02
note: nothing is held for Q1: the next question may take it; `fulfil hold Q1 --days 3` keeps it
note: caution, ENG-A: ship dry: ask the carrier
"""
    )


def test_spare_parts(shop: Run) -> None:
    ran = shop("promise", "--part", "LAMP=4", "--to", "US-NV", "--within", "2")
    assert ran.code == 0
    found = " ".join(ran.out.split())
    # both shelves together have five, and O1 has them; P2/1 was due in February
    assert "ships 2026-03-09 from BOI, taking nothing from anyone" in found
    assert "arrives 2026-03-11 in US-NV (2 carrier days)" in found
    assert "wanted arriving by 2026-03-04: no, 7 days later" in found
    assert "1 LAMP 4 BOI 2026-03-09 2026-03-11 LAMP comes with purchase P2/1, past due" in found


def test_hold_holds_and_release(shop: Run) -> None:
    shop("promise", "TOWER")
    ran = shop("hold", "Q1", "--days", "3", "--for", "Customer")
    assert ran == Ran(
        0,
        "Q1 is held for Customer until the end of 2026-03-05: TOWER ships 2026-04-01\n",
        "note: `fulfil accept Q1` makes it a firm order, `fulfil release Q1` ends it\n",
    )
    assert shop("holds") == Ran(
        0,
        """\
quote  state  until       for       what   how       ships       order
-----  -----  ----------  --------  -----  --------  ----------  -----
Q1     held   2026-03-05  Customer  TOWER  as asked  2026-04-01
""",
        "",
    )
    assert shop("release", "1") == Ran(0, "Q1 is let go\n", "")
    assert shop("holds") == Ran(0, "nothing is held\n", "")
    assert "released" in shop("holds", "--all").out


def test_accept(shop: Run) -> None:
    shop("promise", "TOWER", "--weight", "3")
    shop("hold", "Q1", "--days", "1", "--for", "Customer")
    assert shop("accept", "Q1", "--as", "N1") == Ran(
        0,
        "Q1 is accepted: N1 is promised for 2026-04-01, and ships 2026-04-01 in plan 2, which goes "
        "on with it\n",
        "note: plan 2 keeps every promise that was kept before; builds late: 2 before, 2 now\n"
        + LOADED_LATER,
    )
    with open_store("fulfil.db") as store:
        (row,) = (row for row in store.dataset().builds if row.build == "N1")
    assert (row.weight_ppm, row.customer) == (3_000_000, "Customer")
    assert "N1 " in shop("builds").out
    ran = shop("release", "Q1")
    assert ran.out == "Q1 is let go; N1 is in the data no more, and plan 3 goes on without it\n"
    assert ran.err == (
        "note: who was moved for it stays where he is: `fulfil plan` makes room anew\n"
    )
    assert "N1 " not in shop("builds").out


def test_a_plan_is_accepted_as_before(shop: Run) -> None:
    for words in (("accept",), ("accept", "1")):
        ran = shop(*words)
        assert ran.code == 0
        assert "plan 1" in ran.out


# ---- for other programs


def test_documents(shop: Run) -> None:
    found = document(shop("promise", "TOWER", "--wanted", "2026-03-30", "--json"))
    assert (found["plan"], found["as_of"], found["quote"]) == (1, "2026-03-02", "Q1")
    assert (found["ships"], found["lead_days"]) == ("2026-04-01", 30)
    assert (found["due"], found["days_past_wanted"]) == ("2026-03-30", 2)
    assert (found["retimed_from"], found["changes"], found["reordered"]) == (None, [], None)
    (build,) = found["builds"]
    assert build["finish"] == "2026-04-01T14:30"
    assert build["blockers"][0]["what"] == "ENG-A"
    held = document(shop("hold", "Q1", "--days", "2", "--json"))
    assert (held["quote"], held["state"], held["held_until"]) == ("Q1", "held", "2026-03-04")
    listed = document(shop("holds", "--json"))
    course = {"named": "Q1", "retimed_from": None, "changes": [], "asked_again_since": None}
    assert listed["on"] == "2026-03-02"
    (row,) = listed["quotes"]
    assert row["ships_now"] == "2026-04-01"
    assert {**row, **course, "ships_now": None} == held
    made = document(shop("accept", "Q1", "--as", "N1", "--json"))
    assert made == {
        "quote": "Q1",
        "names": ["N1"],
        "promised": "2026-04-01",
        "promises": [{"name": "N1", "day": "2026-04-01", "arrives": False}],
        "ships": "2026-04-01",
        "plan": 2,
        "late_before": 2,
        "late_after": 2,
        "reordered": None,
        "to_approve": False,
        **course,
    }
    let_go = document(shop("release", "Q1", "--json"))
    assert let_go == {"quote": "Q1", "state": "released", "name": "N1", "plan": 3}


def test_a_list_for_a_spreadsheet(shop: Run) -> None:
    assert list(csv.DictReader(io.StringIO(shop("holds", "--csv").out))) == []
    shop("promise", "TOWER")
    shop("hold", "Q1", "--days", "2")
    ran = shop("holds", "--csv")
    (row,) = csv.DictReader(io.StringIO(ran.out))
    assert (row["quote"], row["state"], row["held_until"]) == ("Q1", "held", "2026-03-04")
    assert (row["ships"], row["promised"], row["name"]) == ("2026-04-01", "", "")


def test_load_keeps_what_was_accepted_and_says_so(shop: Run) -> None:
    write_folder(small_shop.dataset(), Path("files"))
    shop("promise", "TOWER")
    shop("accept", "Q1", "--as", "N1")
    kept = "kept, though these files lack it: Q1 (N1), accepted from quotes\n"
    for _ in range(2):
        ran = shop("load", "files")
        assert ran.code == 0
        assert kept in ran.out
        assert ran.out.endswith("fulfil.db holds the same data already; nothing was changed\n")
    shop("release", "Q1")
    assert "kept" not in shop("load", "files").out

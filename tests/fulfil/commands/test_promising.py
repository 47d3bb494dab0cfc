"""promise, hold, holds, release and accept as they are typed, on the small shop and its plan.

In its plan every engine on the shelf and on order is taken, and what the supplier lets go in March,
too: the next comes on Wednesday 04-01. Then 240 minutes of assembly and 120 of test follow.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import small_shop
from program import Ran, Run
from sales_shop import AS_OF, book, dump, planned, rich, set_day
from tiny_shop import build, hurried, lane, march, stand_in, stock

from fulfil.exchange import write_folder
from fulfil.store import open_store

LOADED_LATER = (
    "note: it is in the data from now on: a data set that is loaded later need not have it, and "
    "takes its\n  place where it does\n"
)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    set_day(monkeypatch, AS_OF)


@contextmanager
def nothing_changes(*, but: tuple[str, ...] = ()) -> Iterator[None]:
    def rows() -> dict[str, Any]:
        with open_store("fulfil.db") as store:
            return dump(store, but=but)

    before = rows()
    yield
    assert rows() == before


def document(ran: Ran) -> Any:
    assert ran.code == 0
    return json.loads(ran.out)


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


# ---- on the telephone


def test_against_a_wanted_date(shop: Run) -> None:
    ran = shop("promise", "TOWER", "--wanted", "2026-03-30")
    assert "wanted  2026-03-30: no, 2 days later" in ran.out
    ran = shop("promise", "TOWER", "--wanted", "2026-04-01")
    assert "wanted  2026-04-01: yes" in ran.out


def test_two_that_want_the_last_engine(shop: Run) -> None:
    for _ in range(2):
        assert shop("promise", "TOWER", "--json").code == 0
    assert shop("hold", "Q2", "--days", "1").code == 0
    ran = shop("hold", "Q1", "--days", "1")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("error: Q1 is not good any more: others have taken it: ")
    again = " ".join(ran.err.split("hint:")[1].split())
    assert again == "asked again, it ships 2026-04-01: `fulfil hold Q3` keeps that"


def test_what_changed_in_the_data_is_told(shop: Run) -> None:
    data = small_shop.dataset()
    with open_store("fulfil.db") as store:
        store.replace_dataset(
            replace(data, stock=(replace(data.stock[0], quantity_milli=5000), *data.stock[1:]))
        )
    ran = shop("promise", "TOWER")
    assert ran.code == 0
    assert (
        "note: plan 1 was re-timed as plan 2, since the data changed: "
        "stock: BOI/ENG-A quantity 2 to 5\n"
    ) in ran.err
    # three more engines are free: on Monday only the work has to be waited for
    assert "ships  2026-03-03 from BOI" in ran.out
    assert "re-timed" not in shop("promise", "TOWER").err
    assert json.loads(shop("plans", "--json").out)["plans"][0]["plan"] == 2


def test_what_changed_before_a_decision_is_told(run: Run) -> None:
    planned(Path("fulfil.db").absolute(), book()).close()
    run("promise", "MACHINE")
    run("hold", "Q1", "--days", "1")
    with open_store("fulfil.db") as store:
        store.replace_dataset(book(stock=(stock(2),), purchases=()))
    retimed = "plan 1 was re-timed as plan 2, since the data changed: stock: A/ENGINE quantity 3 to"
    more_late = "builds late: 0 in plan 1, 1 in plan 2; `fulfil plan` searches for a better one"
    before = Path("fulfil.db").read_bytes()
    # beside the hold one build has no engine on the shelf; it can be accepted, and not held longer
    for words in ("hold Q1 --days 3", "accept Q1 --for Customer"):
        Path("fulfil.db").write_bytes(before)
        ran = run(*words.split())
        told = " ".join(ran.err.split())
        assert (ran.code, retimed in told, more_late in told) == (0, True, True)
    assert "plan 3 keeps every promise that plan 2 kept; builds late: 0 before, 1 now" in told
    assert document(run("holds", "--all", "--json"))["quotes"][0]["held_for"] == "Customer"


def test_a_quote_that_was_asked_again_is_told(run: Run) -> None:
    planned(Path("fulfil.db").absolute(), book()).close()
    run("promise", "MACHINE")
    with open_store("fulfil.db") as store:
        store.replace_dataset(book(stock=(stock(3), stock(5, "B"))))
    ran = run("hold", "Q1", "--days", "1")
    assert ran.out == "Q2 is held until the end of 2026-03-03: MACHINE ships 2026-03-04\n"
    told = " ".join(ran.err.split())
    assert "Q1 was asked again as Q2, since the data, or the day, are not those it was made" in told
    assert "from: the same date" in told
    assert "note: Q1 was asked again as Q2 before\n" in run("hold", "Q1", "--days", "2").err
    ran = run("accept", "Q1", "--json")
    assert (document(ran)["quote"], document(ran)["named"]) == ("Q2", "Q1")


def test_another_day_is_told(shop: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_store("fulfil.db") as store:
        store.replace_dataset(replace(small_shop.dataset(), settings=()))
    assert shop("promise", "TOWER").code == 0
    set_day(monkeypatch, march(3))
    ran = shop("promise", "TOWER")
    assert "note: plan 3, planning date 2026-03-03\n" in ran.err
    assert "note: plan 2 was re-timed as plan 3, since the day is another\n" in ran.err


def test_the_queue_re_ordered(shop: Run) -> None:
    ran = shop("promise", "TOWER", "--resequence", "--seconds", "1")
    assert ran.code == 0
    # B5 has no promise, so its engine of 03-23 may go to what is new
    assert "with the queue re-ordered, every promise kept: ships 2026-03-23, 9 days sooner" in (
        " ".join(ran.out.split())
    )
    assert "who moves" in ran.out
    assert "`fulfil accept Q1 --promised 2026-03-23` re-orders" in " ".join(ran.err.split())
    ran = shop("accept", "Q1", "--promised", "2026-03-23", "--as", "N1", "--seconds", "1")
    assert ran.code == 0
    assert "the queue was re-ordered for it; costs no more" in ran.out
    assert "who moves" in ran.out
    rows = {row["build"]: row for row in document(shop("builds", "--json"))["builds"]}
    assert rows["N1"]["ships"] <= "2026-03-23"
    assert (rows["B3"]["late_days"] <= 1, rows["B4"]["late_days"] <= 6) == (True, True)


def test_several_machines_from_files(shop: Run, tmp_path: Path) -> None:
    data = small_shop.dataset()
    row = replace(data.builds[0], promised=None)
    rows = (replace(row, build="N1"), replace(row, build="N2"))
    write_folder(replace(data, builds=rows, build_options=()), tmp_path / "order")
    found = document(shop("promise", "--file", "order", "--json"))
    # the supplier lets go two engines a month: both come on 04-01, and are tested one by one
    assert [(row["build"], row["finish"]) for row in found["builds"]] == [
        ("N1", "2026-04-01T14:30"),
        ("N2", "2026-04-01T16:30"),
    ]
    assert [row["arrives"] for row in found["builds"]] == ["2026-04-02", "2026-04-02"]
    ran = shop("promise", "--file", "order")
    assert ran.out.startswith("TOWER, TOWER\n")
    assert "arrives  2026-04-02 in US-ID (1 carrier day)" in ran.out
    ran = shop("accept", "Q1")
    assert ran.out.startswith("Q1 is accepted: N1, N2 are promised for 2026-04-01, and ship ")


def test_machines_of_files_against_their_own_days(shop: Run, tmp_path: Path) -> None:
    data = small_shop.dataset()
    row = data.builds[0]
    days = {"N1": date(2026, 4, 1), "N2": date(2026, 3, 30)}
    rows = tuple(replace(row, build=name, promised=day) for name, day in days.items())
    write_folder(replace(data, builds=rows, build_options=()), tmp_path / "order")
    found = document(shop("promise", "--file", "order", "--json"))
    # both ship on 04-01, as above
    assert (found["due"], found["days_past_wanted"]) == ("2026-03-30", 2)
    assert [(row["what"], row["day"], row["days_past"]) for row in found["wanted"]] == [
        ("N1", "2026-04-01", 0),
        ("N2", "2026-03-30", 2),
    ]
    told = " ".join(shop("promise", "--file", "order").out.split())
    assert "wanted 2026-03-30 to 2026-04-01, each on its own day: no, N2 2 days later" in told
    assert "build product point wanted ships arrives" in told


def test_what_engineering_and_authorities_have_to_look_at(run: Run) -> None:
    planned(Path("fulfil.db").absolute(), rich()).close()
    ran = run("promise", "MACHINE", "--to", "US-NV")
    assert ran.code == 0
    assert "fit check: ENGINE2 in place of ENGINE\n  shaft power: fits (" in ran.out
    assert "fit check: ENGINE3 in place of ENGINE\n  shaft power: DOES NOT FIT (" in ran.out
    assert "option ENGINE3 instead of ENGINE" in ran.out
    told = " ".join(ran.err.split())
    assert "1 VALVE is built in: backflow protection (verify with the local authority)" in told
    assert "an alternate or another option needs approval by engineering" in told
    assert "caution, ENGINE: ship dry" in told


APPROVED_FIRST = "needs approval by engineering for this machine"


def test_options_that_were_asked_for_are_looked_at_too(run: Run) -> None:
    planned(Path("fulfil.db").absolute(), rich()).close()
    plain = run("promise", "MACHINE", "--option", "VALVE=1", "--option", "ENGINE=-1")
    assert (plain.code, "fit check" in plain.out) == (0, False)
    assert APPROVED_FIRST not in " ".join(plain.err.split())
    ran = run("promise", "MACHINE", "--option", "ENGINE=-1", "--option", "ENGINE3=1")
    assert "fit check: ENGINE3 in place of ENGINE\n  shaft power: DOES NOT FIT (" in ran.out
    assert APPROVED_FIRST in " ".join(ran.err.split())


def test_what_a_sooner_date_takes_is_told_before_it_is_promised(run: Run) -> None:
    planned(Path("fulfil.db").absolute(), rich()).close()
    ran = run("promise", "MACHINE", "--resequence", "--seconds", "1")
    told = " ".join(ran.out.split())
    assert "every promise kept: ships 2026-03-04, 12 days sooner; costs 100.00 USD more" in told
    taking = ran.out.partition("what it takes")[2]
    assert "ENGINE2 in place of ENGINE         1" in taking
    # the offer above has told how it fits, so it is not told again
    assert (ran.out.count("fit check: ENGINE2"), "fit check" in taking) == (1, False)
    assert APPROVED_FIRST in " ".join(ran.err.split())
    ran = run("accept", "Q1", "--promised", "2026-03-04", "--seconds", "1")
    assert ran.code == 0
    assert "re-ordered for it; costs 100.00 USD more" in " ".join(ran.out.split())
    assert "fit check: ENGINE2 in place of ENGINE" in ran.out
    assert APPROVED_FIRST in " ".join(ran.err.split())


def test_who_goes_later_without_a_promise_is_told_so(run: Run) -> None:
    data = book(builds=(*book().builds, build("U", None)), stock=(stock(9),))
    planned(Path("fulfil.db").absolute(), data).close()
    ran = run("promise", "MACHINE", "--resequence", "--seconds", "1")
    # the station is U's on Wednesday 03-04; the promised B1 and B2 stay
    row = next(line for line in ran.out.splitlines() if line.startswith("U "))
    assert row.split() == ["U", "-", "2026-03-04", "2026-03-05", "1", "0", "0"]
    assert "U goes later with no promise to be broken" in ran.out


def test_a_postal_code_is_no_region(run: Run) -> None:
    planned(Path("fulfil.db").absolute(), rich()).close()
    told = " ".join(run("promise", "MACHINE", "--to", "89501").err.split())
    assert "89501 is no region: parts that local rules require somewhere are not built in" in told
    told = " ".join(run("promise", "MACHINE", "--to", "US-NV", "--option", "VALVE=2").err.split())
    assert "1 VALVE is built in, besides 2 asked for: backflow protection" in told


def test_what_is_done_where_there_is_no_plain_way_is_told(run: Run) -> None:
    """No engine is left and none comes: the alternate for 100, or that of B, moved for 250."""
    nothing = {"purchases": (), "sources": ()}
    swap = book(stock=(stock(2), stock(1, part="ENGINE2")), alternates=(stand_in(100),), **nothing)
    planned(Path("fulfil.db").absolute(), swap).close()
    ran = run("promise", "MACHINE")
    assert "takes ENGINE2 in place of ENGINE (1) costs 100.00 USD" in " ".join(ran.out.split())
    assert APPROVED_FIRST in " ".join(ran.err.split())
    Path("fulfil.db").unlink()
    moved = book(stock=(stock(2), stock(1, "B")), lanes=(lane("B", "A", 3, move=250),), **nothing)
    planned(Path("fulfil.db").absolute(), moved).close()
    ran = run("promise", "MACHINE")
    assert "takes ENGINE moved from B (1) costs 250.00 USD" in " ".join(ran.out.split())
    assert APPROVED_FIRST not in " ".join(ran.err.split())


def test_options_in_the_place_of_others_are_approved_without_ratings_too(run: Run) -> None:
    planned(Path("fulfil.db").absolute(), replace(rich(), ratings=(), alternates=())).close()
    ran = run("promise", "MACHINE", "--option", "ENGINE=-1", "--option", "ENGINE3=1")
    assert ("fit check" in ran.out, APPROVED_FIRST in " ".join(ran.err.split())) == (False, True)
    assert APPROVED_FIRST in " ".join(run("accept", "Q1").err.split())


def test_an_offer_with_an_alternate_is_approved_first(run: Run) -> None:
    planned(Path("fulfil.db").absolute(), rich()).close()
    found = document(run("promise", "MACHINE", "--json"))
    offers = {row["by"]: str(row["offer"]) for row in found["forward"]}
    ran = run("accept", "Q1", "--offer", offers["ENGINE2"])
    assert (ran.code, APPROVED_FIRST in " ".join(ran.err.split())) == (0, True)
    run("promise", "MACHINE")
    assert APPROVED_FIRST not in run("accept", "Q2").err


def test_an_offer_stays_the_one_that_is_held(run: Run) -> None:
    data = book(stock=(stock(2),), sources=(hurried(29, 20, 10),))
    planned(Path("fulfil.db").absolute(), data).close()
    ran = run("promise", "machine")
    # the next engine is there on the 16th; expedited it is on Wednesday the 11th
    assert "ENGINE expedited from S" in ran.out
    ran = run("hold", "Q1", "--days", "1", "--offer", "1")
    text = "until the end of 2026-03-03: MACHINE (ENGINE expedited from S) ships 2026-03-11"
    assert text in " ".join(ran.out.split())
    assert "ships 2026-03-11" in " ".join(run("hold", "Q1", "--days", "5").out.split())
    assert "promised for 2026-03-16" in run("accept", "Q1", "--offer", "0").out


# ---- bad input: a clear message, and nothing is changed


@pytest.mark.parametrize(
    ("words", "wrong", "remedy"),
    [
        ("TOWRE", "no product is called TOWRE", "did you mean TOWER"),
        ("eng-a", "ENG-A is no product", "`fulfil promise --part ENG-A=1 --to DESTINATION`"),
        ("--part TOWER=1 --to US-NV", "is made for an order of its own", "`fulfil promise TOWER`"),
        ("TOWER --point BOJ", "no point is called BOJ", "did you mean BOI?"),
        ("TOWER --point RNO", "TOWER is not assembled at RNO", "stand at BOI"),
        ("TOWER --option LAMPP=1", "no part is called LAMPP", "did you mean LAMP?"),
        ("TOWER --option LAMP", "--option LAMP is not PART=QTY", "LAMP=2"),
        ("TOWER --option LAMP=1,5", "--option LAMP=1,5 has a comma in it", "stop"),
        ("TOWER --option ENG-A=-2", "has 1 of ENG-A at operation 10, 2 cannot be taken", "no more"),
        ("TOWER --wanted soon", "soon is no date", "2026-03-31"),
        ("TOWER --wanted 2026-02-27", "is before the planning date", "a later one"),
        ("TOWER --weight heavy", "weight heavy is not a number", "digits"),
        ("TOWER --weight -1", "weight -1 is below 0", "1 is usual"),
        ("TOWER --to US-CA", "no destination is called US-CA", "known are US-ID, US-NV"),
        ("TOWER --plan 9", "there is no plan 9", ""),
        ("TOWER-X", "TOWER-X: a part of it never comes", "fulfil explode TOWER-X"),
        ("--part LAMPP=1 --to US-NV", "no part is called LAMPP", "did you mean LAMP?"),
        ("--part LAMP=0 --to US-NV", "0 of LAMP cannot be sent", "more than 0"),
        ("--part LAMP=0.5 --to US-NV", "LAMP is issued in steps of 1", "whole steps"),
        ("--part LAMP=1 --to US-CA", "no destination is called US-CA", "US-NV"),
        ("--file nowhere", "nowhere is not there", "a folder with builds.csv"),
    ],
)
def test_what_cannot_be_asked(shop: Run, words: str, wrong: str, remedy: str) -> None:
    with nothing_changes():
        ran = shop("promise", *words.split())
    assert (ran.code, ran.out) == (1, "")
    told, hint = (" ".join(text.split()) for text in ran.err.split("hint:"))
    assert wrong in told
    assert remedy in hint


@pytest.mark.parametrize(
    ("words", "wrong"),
    [
        ("promise", "name a PRODUCT, or spare parts with --part, or a --file"),
        ("promise TOWER --part LAMP=1", "PRODUCT and --part exclude each other"),
        ("promise TOWER --file order", "PRODUCT and --file exclude each other"),
        ("promise --part LAMP=1", "spare parts need a destination: --to"),
        ("promise --part LAMP=1 --to US-NV --point BOI", "--point is for a single machine"),
        ("promise --part LAMP=1 --to US-NV --option PUMP=1", "--option is for a single machine"),
        ("promise --file order --to US-NV", "--to is for a single machine"),
        ("promise --file order --weight 2", "--weight is for a single machine"),
        ("promise TOWER --within 2", "--within is for parts: --part"),
        ("promise TOWER --within -1", "--within"),
        ("promise TOWER --plan 0", "--plan"),
        ("hold Q1", "--days"),
        ("hold Q1 --days -1", "--days"),
        ("hold Q1 --days 366", "--days"),
        ("accept P7", "P7 is neither the number of a plan nor a quote such as Q7"),
        (
            "accept 1 --promised 2026-04-01",
            "--promised, --as, --for and --offer are for quotes: Q7",
        ),
        ("accept --as N1", "--promised, --as, --for and --offer are for quotes: Q7"),
        ("holds --json --csv", "exclude each other"),
        ("release", "QUOTE"),
    ],
)
def test_wrong_usage(shop: Run, words: str, wrong: str) -> None:
    with nothing_changes():
        ran = shop(*words.split())
    assert (ran.code, ran.out) == (2, "")
    assert wrong in " ".join(ran.err.split())


@pytest.mark.parametrize(
    ("words", "wrong"),
    [
        ("hold Q9 --days 1", "there is no quote Q9"),
        ("hold seven --days 1", "seven is no quote"),
        ("hold Q0 --days 1", "Q0 is no quote"),
        ("hold Q1 --days 1 --offer 1", "Q1 has no offer 1"),
        ("release Q9", "there is no quote Q9"),
        ("release Q1.5", "Q1.5 is no quote"),
        ("release Q1", "Q1 is not held"),
        ("accept Q9", "there is no quote Q9"),
        ("accept Qx", "Qx is no quote"),
        ("accept Q1 --as B1", "a build or an order B1 is in the data already"),
        ("accept Q1", "a build or an order Q1 is in the data already"),
        ("accept Q1 --as N1 --offer 7", "Q1 has no offer 7"),
        ("accept Q1 --as N1 --promised soon", "soon is no date"),
        ("accept Q1 --as N1 --promised 2026-02-27", "is before the planning date"),
    ],
)
def test_what_cannot_be_decided(shop: Run, words: str, wrong: str) -> None:
    shop("promise", "TOWER")
    with nothing_changes():
        ran = shop(*words.split())
    assert (ran.code, ran.out) == (1, "")
    assert wrong in " ".join(ran.err.split())
    assert "\n\nhint: " in ran.err


def test_what_was_decided_already(shop: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    shop("promise", "TOWER")
    shop("promise", "TOWER", "--option", "PUMP=1")
    shop("accept", "Q1", "--as", "N1")
    with nothing_changes(but=("quotes", "sqlite_sequence")):
        ran = shop("accept", "Q1")
        assert "Q1 was accepted already: it is N1, promised for 2026-04-01" in ran.err
        # the data are others since Q1 is among them: asked again, it ships on the same day
        ran = shop("hold", "Q2", "--days", "0")
        assert ran.out == "Q3 is held until the end of 2026-03-02: TOWER ships 2026-04-01\n"
        assert "note: Q2 was asked again as Q3, since the data, or the day, are" in ran.err
        set_day(monkeypatch, march(3))
        for words in ("hold Q3 --days 2", "accept Q3", "release Q3"):
            ran = shop(*words.split())
            assert (ran.code, ran.out) == (1, "")
            assert "the hold of Q3 ran out on 2026-03-02" in ran.err


def test_without_a_plan_or_data(run: Run) -> None:
    ran = run("--db", "other.db", "promise", "TOWER")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("error: there is no database ")
    with open_store("other.db") as store:
        for words in ("promise TOWER", "hold Q1 --days 1", "accept Q1"):
            ran = run("--db", "other.db", *words.split())
            assert (ran.code, ran.out) == (1, "")
            assert "there are no data in" in ran.err
        store.replace_dataset(small_shop.dataset())
        ran = run("--db", "other.db", "promise", "TOWER")
        assert (ran.code, ran.out) == (1, "")
        assert "there is no plan yet to promise beside\n\nhint: run: fulfil plan\n" in ran.err
        assert run("--db", "other.db", "holds").out == "nothing is held\n"
        assert store.plan_headers() == []


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

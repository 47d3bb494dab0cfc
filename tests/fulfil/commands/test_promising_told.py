"""What is told with a date that is asked for or taken: changes, other days, and what to look at.

In the plan of the small shop every engine on the shelf and on order is taken, and what the supplier
lets go in March, too: the next comes on Wednesday 04-01. Then 240 minutes of assembly and 120 of
test follow.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
import small_shop
from program import Run, document
from sales_shop import book, planned, rich, set_day
from tiny_shop import build, hurried, lane, march, stand_in, stock

from fulfil.exchange import write_folder
from fulfil.store import open_store

pytestmark = pytest.mark.usefixtures("monday")


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

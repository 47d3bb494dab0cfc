"""How long parts take by the record: the answer as text, JSON and CSV.

The small shop with a year of ENG-A: five deliveries of 21, 24, 24, 28 and 35 days, due after 21.
One line of ENG-A has been open for 10 days, which is less than any. After 21, 24, 28, 35 days 4, 2,
1, 0 of 5 are to come: half within 24 days, 80 % within 28, 90 % within 35. On time 1 of 5; late
0 + 3 + 3 + 7 + 14 = 27 days / 5 = 5.4.

LAMP has no source; its one line, due after 31 days, has been open for 41. It goes by all of S1, in
ratios to what is stated: 21/21, 24/21 twice, 28/21, 35/21 came, 10/21 and 41/31 = 1.32 are open.
S is 5/6 after 21/21, 5/6 x 3/5 = 1/2 after 24/21, 1/4 after 28/21 = 1.33 and 0 after 35/21. Half
come within 24/21 x 31 = 35.4, so 36 days; 80 and 90 % within 35/21 x 31 = 51.7, so 52. Of what took
longer than 41 days half have come when S is 1/4: 28/21 x 31 = 41.3, so on day 42, 2026-03-03; 90 %
on day 52, 2026-03-13.
"""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
import small_shop
from demo_scenario import demo
from fulfil_models.tables import Dataset, Receipt
from program import Run

from fulfil.store import open_store

ORDERED = date(2025, 11, 3)


def with_record() -> Dataset:
    receipts = (
        Receipt(
            order="P0",
            line=str(number),
            part="ENG-A",
            supplier="S1",
            point="BOI",
            quantity_milli=1000,
            ordered=ORDERED,
            due=ORDERED + timedelta(21),
            received=ORDERED + timedelta(days),
        )
        for number, days in enumerate((21, 24, 24, 28, 35), 1)
    )
    return replace(small_shop.dataset(), receipts=tuple(receipts))


@pytest.fixture
def recorded(tmp_path: Path, run: Run) -> Run:
    """The program in a folder whose fulfil.db holds the shop with a record, and no plan."""
    with open_store(str(tmp_path / "fulfil.db")) as store:
        store.replace_dataset(with_record())
    return run


PLANNING_DATE = "note: planning date 2026-03-02; days are calendar days from order to arrival\n"
OPEN_COUNT = """\
note: open lines count as taking longer than they have so far; without them suppliers would look
  faster than they are
"""
FEW = """\
note: a part with fewer than 5 deliveries goes by its supplier's parts together, as ratios to their
  stated lead times; with fewer than 5 of those, what is stated stands
"""
KEPT = """\
note: on time and days late are of what came and had a due date, and of open lines past due, which
  are late by the days so far
"""
EXPECTED = """\
note: an open line is expected by the deliveries that took longer than it has so far; one older than
  all of them is taken to come the overdue_days of the settings from now, or when a fitted law says
  so, if that is later; none is put off beyond the horizon_days; that is the record alone: `cover`
  and `chase` expect no line sooner than stated, and on a working day
"""


def test_the_list(recorded: Run) -> None:
    ran = recorded("leadtimes")
    assert ran.code == 0
    assert (
        ran.out
        == """\
2 lead times: 1 by the part's own record, 1 by its supplier's, 0 as stated

                 stated                                    on  days  drift   learnt
part   supplier  (days)  median  80 %  90 %  came  open  time  late  (days)  from
-----  --------  ------  ------  ----  ----  ----  ----  ----  ----  ------  --------
LAMP   S1            31      36    52    52     0     1   0 %  10.0  -       supplier
ENG-A  S1            21      24    28    35     5     1  20 %   5.4  -       own
"""
    )
    assert ran.err == PLANNING_DATE + OPEN_COUNT + FEW + KEPT


def test_one_part(recorded: Run) -> None:
    ran = recorded("leadtimes", "eng-a")
    assert ran.code == 0
    assert (
        ran.out
        == """\
ENG-A engine 8 hp

from S1 First Works
  stated   21 days
  learnt   median 24 days, 80 of 100 within 28 days, 90 within 35 days
  from     its own record: 5 deliveries came and 1 line is open; the curve of Kaplan and Meier
  on time  20 %, on average 5.4 days late
  drift    too little has come, in the last 6 months or before, to tell

                                                    open for  past due  expected    expected
open line  point  quantity  ordered     due           (days)    (days)  50 %        90 %
---------  -----  --------  ----------  ----------  --------  --------  ----------  ----------
P1/1       BOI           1  2026-02-20  2026-03-16        10         -  2026-03-16  2026-03-27

                                                             took    late
came  point  quantity  ordered     due         received    (days)  (days)
----  -----  --------  ----------  ----------  ----------  ------  ------
P0/5  BOI           1  2025-11-03  2025-11-24  2025-12-08      35      14
P0/4  BOI           1  2025-11-03  2025-11-24  2025-12-01      28       7
P0/3  BOI           1  2025-11-03  2025-11-24  2025-11-27      24       3
P0/2  BOI           1  2025-11-03  2025-11-24  2025-11-27      24       3
P0/1  BOI           1  2025-11-03  2025-11-24  2025-11-24      21       0
"""
    )
    assert ran.err == PLANNING_DATE + OPEN_COUNT + EXPECTED + KEPT


def test_a_part_that_goes_by_its_supplier(recorded: Run) -> None:
    ran = recorded("leadtimes", "LAMP")
    assert (
        ran.out
        == """\
LAMP lamp

from S1 First Works
  stated   31 days
  learnt   median 36 days, 80 of 100 within 52 days, 90 within 52 days
  from     its supplier's parts together, scaled to its stated lead time, since of its own only 0
           deliveries came and 1 line is open; the curve of Kaplan and Meier
  on time  0 %, on average 10.0 days late

                                                    open for  past due  expected    expected
open line  point  quantity  ordered     due           (days)    (days)  50 %        90 %
---------  -----  --------  ----------  ----------  --------  --------  ----------  ----------
P2/1       BOI          10  2026-01-20  2026-02-20        41        10  2026-03-03  2026-03-13
"""
    )
    assert ran.err == PLANNING_DATE + OPEN_COUNT + EXPECTED + FEW + KEPT


def test_a_supplier(recorded: Run) -> None:
    ran = recorded("leadtimes", "--supplier", "s1")
    assert (
        ran.out
        == """\
S1 First Works
  record   5 deliveries of 2 parts, 2 lines open
  learnt   half come within 115 %, 80 of 100 within 167 %, 90 within 167 % of the stated lead time
  on time  17 %, on average 6.2 days late
  drift    too little has come, in the last 6 months or before, to tell

       stated                                    on  days  drift   learnt
part   (days)  median  80 %  90 %  came  open  time  late  (days)  from
-----  ------  ------  ----  ----  ----  ----  ----  ----  ------  --------
LAMP       31      36    52    52     0     1   0 %  10.0  -       supplier
ENG-A      21      24    28    35     5     1  20 %   5.4  -       own
"""
    )


def test_machines_get_the_same_figures(recorded: Run) -> None:
    document = json.loads(recorded("leadtimes", "--json").out)
    assert document["as_of"] == "2026-03-02"
    lamp, engine = document["lead_times"]
    assert engine == {
        "part": "ENG-A",
        "supplier": "S1",
        "stated_days": 21,
        "median_days": 24,
        "p80_days": 28,
        "p90_days": 35,
        "at_least": [],
        "records": 5,
        "still_open": 1,
        "learnt_from": "own record",
        "fit": "Kaplan-Meier",
        "judged": 5,
        "on_time": 0.2,
        "mean_days_late": 5.4,
        "drift": None,
    }
    assert (lamp["learnt_from"], lamp["p90_days"]) == ("supplier's other parts", 52)
    rows = list(csv.DictReader(io.StringIO(recorded("leadtimes", "--csv").out)))
    assert [(row["part"], row["p90_days"], row["drift_since"]) for row in rows] == [
        *[("LAMP", "52", ""), ("ENG-A", "35", "")],
    ]
    assert (
        json.loads(recorded("leadtimes", "--supplier", "S1", "--json").out)["supplier"][
            "median_percent"
        ]
        == 115
    )  # 24 of 21 days is 114.3 %


def test_machines_get_the_lines_of_a_part(recorded: Run) -> None:
    document = json.loads(recorded("leadtimes", "ENG-A", "--json").out)
    (engine,) = document["suppliers"]
    assert [row["days"] for row in engine["came"]] == [35, 28, 24, 24, 21]
    (line,) = engine["open_lines"]
    assert (line["order"], line["expected_50"], line["expected_90"]) == (
        *("P1", "2026-03-16", "2026-03-27"),
    )
    rows = list(csv.DictReader(io.StringIO(recorded("leadtimes", "ENG-A", "--csv").out)))
    assert len(rows) == 6
    assert [row["received"] for row in rows][:2] == ["", "2025-12-08"]


def test_without_a_record_what_is_stated_stands(shop: Run) -> None:
    """The small shop has two open lines and no receipts; with no plan needed, it has one."""
    ran = shop("leadtimes")
    assert ran.out.splitlines()[0] == (
        "2 lead times: 0 by the part's own record, 0 by its supplier's, 2 as stated"
    )
    assert "nothing has come yet" in ran.err
    assert "learnt   nothing: only 0 deliveries came" in shop("leadtimes", "ENG-A").out


def test_a_part_that_nobody_supplies(recorded: Run) -> None:
    ran = recorded("leadtimes", "mast")
    assert ran.code == 0
    assert "so it has no lead time" in ran.out


def test_names_that_are_not_known(recorded: Run) -> None:
    for words, wrong in (
        (("NOTHING",), "no part is called NOTHING"),
        (("--supplier", "S9"), "no supplier is called S9"),
        (("MAST", "--supplier", "S1"), "no source, receipt or purchase of MAST names S1"),
    ):
        ran = recorded("leadtimes", *words)
        assert (ran.code, ran.out) == (1, "")
        assert ran.err.startswith(f"error: {wrong}\n\nhint: ")


def test_without_data_or_database(run: Run, tmp_path: Path) -> None:
    assert run("leadtimes").code == 1
    with open_store(str(tmp_path / "fulfil.db")):
        pass
    ran = run("leadtimes")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("error: there are no data in ")


def test_where_the_data_name_no_day_it_is_that_of_the_computer(
    tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_store(str(tmp_path / "fulfil.db")) as store:
        store.replace_dataset(replace(with_record(), settings=()))
    monkeypatch.setattr("fulfil.usecases.leadtimes.today", lambda: date(2025, 12, 1))
    document = json.loads(run("leadtimes", "ENG-A", "--json").out)
    assert document["as_of"] == "2025-12-01"
    # ordered on 2025-11-03, on day 28 four have come; the fifth is still open
    assert document["suppliers"][0]["records"] == 4
    assert document["suppliers"][0]["still_open"] == 1


def _with_old_lines(tmp_path: Path, deliveries: int) -> None:
    """Deliveries of 20, 21, 22, ... days and as many lines that have been open for 60."""
    first = with_record().receipts[0]
    receipts = tuple(
        replace(first, line=str(days), received=ORDERED + timedelta(days))
        for days in range(20, 20 + deliveries)
    )
    line = small_shop.dataset().purchases[0]
    old = small_shop.AS_OF - timedelta(60)
    purchases = tuple(replace(line, order=f"Q{n}", ordered=old) for n in range(deliveries))
    with open_store(str(tmp_path / "fulfil.db")) as store:
        store.replace_dataset(replace(with_record(), receipts=receipts, purchases=purchases))


def test_where_too_much_is_open_it_says_at_least(tmp_path: Path, run: Run) -> None:
    """Six of twelve came, so half within 25 days; 80 and 90 % take longer than the 60 so far."""
    _with_old_lines(tmp_path, 6)
    ran = run("leadtimes")
    assert ran.out.splitlines()[-1].split() == [
        *("ENG-A", "S1", "21", "25", "60+", "60+", "6", "6", "33", "%", "1.7", "-", "own"),
    ]  # 20 and 21 of six in time, the others 1, 2, 3 and 4 days late: 10 / 6 = 1.7
    assert "note: + is at least: so much is still open that the record ends there" in ran.err
    part = " ".join(run("leadtimes", "ENG-A").out.split())
    assert "median 25 days, 80 of 100 within at least 60 days, 90 within at least 60 days" in part


def test_with_more_deliveries_it_names_the_law(tmp_path: Path, run: Run) -> None:
    """Eight of sixteen came: 90 % by the law within 158 days, which is more than twice the 60."""
    _with_old_lines(tmp_path, 8)
    document = json.loads(run("leadtimes", "--json").out)
    (row,) = document["lead_times"]
    assert row["fit"] in ("Weibull", "lognormal")
    assert 60 <= row["p80_days"] < row["p90_days"] == 120
    assert row["at_least"] == ["90"]
    assert run("leadtimes").out.splitlines()[-1].endswith(f"own, {row['fit']}")
    assert f"beyond it a {row['fit']} law" in " ".join(run("leadtimes", "ENG-A").out.split())


@pytest.fixture
def demo_run(tmp_path: Path, run: Run) -> Run:
    with open_store(str(tmp_path / "fulfil.db")) as store:
        store.replace_dataset(demo())
    return run


def test_the_demo_says_that_its_diesel_engines_slip(demo_run: Run) -> None:
    ran = demo_run("leadtimes", "--supplier", "larkbench")
    assert "more than chance" in ran.out
    document = json.loads(demo_run("leadtimes", "--json").out)
    rows = {row["part"]: row for row in document["lead_times"]}
    assert rows["ENG-014D"]["median_days"] > rows["ENG-014D"]["stated_days"]
    assert rows["ENG-014D"]["drift"]["more_than_chance"]
    assert len(demo_run("leadtimes").out.splitlines()) < 50
    every = demo_run("leadtimes", "--all").out.splitlines()
    assert len(every) == document["total"] + 5
    assert max(map(len, every)) <= 100


@pytest.mark.parametrize("part", ["ENG-014D", "CYL-MAST", "AVR-2"])
def test_every_page_of_the_demo_fits_a_hundred_columns(demo_run: Run, part: str) -> None:
    ran = demo_run("leadtimes", part)
    assert ran.code == 0
    assert max(map(len, ran.out.splitlines())) <= 100


def test_a_past_due_line_is_expected_in_the_days_to_come(demo_run: Run) -> None:
    document = json.loads(demo_run("leadtimes", "CYL-MAST", "--json").out)
    (line,) = [row for row in document["suppliers"][0]["open_lines"] if row["late_days"]]
    assert (line["order"], line["late_days"]) == ("PO-4426", 12)
    assert "2026-09-14" < line["expected_50"] < line["expected_90"]

"""What each command prints, word for word: (standard output, error output) on the small shop."""

from __future__ import annotations

import dataclasses
import json
from fractions import Fraction

import pytest
from program import Run

from fulfil.store import open_store

ANSWERS = {
    "builds": (
        """\
5 builds, 2 late, 1 not promised

                                          late    lead  held up first by
build  product  promised    ships       (days)  (days)  (days sooner without)
-----  -------  ----------  ----------  ------  ------  ---------------------------------------
B1     TOWER    2026-03-06  2026-03-02       0      28  -
B2     TOWER    2026-03-03  2026-03-02       0      28  queue at TEST until 2026-03-02 (0 days)
B3     TOWER    2026-03-04  2026-03-05       1      31  part ENG-A until 2026-03-05 (3 days)
B4     TOWER    2026-03-10  2026-03-16       6      42  part ENG-A until 2026-03-16 (14 days)
B5     TOWER    -           2026-03-23       -      49  part ENG-A until 2026-03-23 (21 days)
""",
        """\
note: plan 1, planning date 2026-03-02
note: past-due purchase lines are counted on 2026-03-09: P2/1
note: 1 open purchase line has no confirmed date
""",
    ),
    "builds --late": (
        """\
5 builds, 2 late, 1 not promised; 2 shown

                                                          late    lead  held up first by
build  product  customer        promised    ships       (days)  (days)  (days sooner without)
-----  -------  --------------  ----------  ----------  ------  ------  ----------------------------
B4     TOWER    Customer of B4  2026-03-10  2026-03-16       6      42  part ENG-A until 2026-03-16
                                                                        (14 days)
B3     TOWER    Customer of B3  2026-03-04  2026-03-05       1      31  part ENG-A until 2026-03-05
                                                                        (3 days)
""",
        """\
note: plan 1, planning date 2026-03-02
note: past-due purchase lines are counted on 2026-03-09: P2/1
note: 1 open purchase line has no confirmed date
""",
    ),
    "build B2": (
        """\
build B2: TOWER light tower
for Customer of B2, US-CA
ships 2026-03-02 from BOI (promised 2026-03-03, in time, 1 day early); ordered 2026-02-02, lead time
  28 days
held up first by: queue at TEST until 2026-03-02 (0 days)

what would bring it forward, each with the ones above it out of the way, too, and all other builds
where they are:

                                   days  ships
   what holds it up  until       sooner  then        why
-  ----------------  ----------  ------  ----------  ------------------
1  queue at TEST     2026-03-02       0  2026-03-02  B1 is tested first

makes  operation  work centre  starts            ends
-----  ---------  -----------  ----------------  ----------------
TOWER         10  ASSY         2026-03-02 08:00  2026-03-02 12:00
TOWER         20  TEST         2026-03-02 14:30  2026-03-02 16:30
MAST          10  WELD         2026-03-02 09:00  2026-03-02 10:00

goes into  at  part             what it is    quantity  comes from
---------  --  ---------------  ------------  --------  ----------------------------------
TOWER      10  ENG-B for ENG-A  engine 13 hp      1 ea  stock at BOI
TOWER      20  MAST             mast              1 ea  made for it, done 2026-03-02 10:00

TOWER at 10, from stock at BOI: 1 PUMP, 1 VALVE
TOWER at 20, from stock at BOI: 9 BOLT (in KIT)
MAST at 10, from stock at BOI: 4 BOLT

fit check: ENG-B in place of ENG-A
  shaft power: fits (needs PUMP: 15 gpm × 580 psi ÷ 1714 ÷ 0.85 = 5.97 hp; has ENG-B: 13 hp)
  shaft power: fits (ENG-A 8 hp; ENG-B 13 hp)
  speed: fits (ENG-A 3600 rpm; ENG-B 3600 rpm)

commonly required in US-CA: 1 VALVE: backflow protection (verify with the local authority)
""",
        """\
note: plan 1, planning date 2026-03-02
note: a check of rated figures approves nothing: engineering approves shaft power, speed, shaft and
  coupling, pressure rating and the emission rules of the ship-to region
""",
    ),
    "build B3": (
        """\
build B3: TOWER light tower
for Customer of B3, US-ID
ships 2026-03-05 from BOI (promised 2026-03-04, 1 day late); ordered 2026-02-02, lead time 31 days
late by 360 working minutes
held up first by: part ENG-A until 2026-03-05 (3 days)

what would bring it forward, each with the ones above it out of the way, too, and all other builds
where they are:

                                   days  ships
   what holds it up  until       sooner  then        why
-  ----------------  ----------  ------  ----------  ---------------------------------
1  part ENG-A        2026-03-05       3  2026-03-02  its ENG-A comes by move/RNO/ENG-A
2  its own work                                      6 hours of work

what might be tried for its parts:
  ENG-A: have P1/1 of S1 confirmed: 1 due 2026-03-16
  ENG-A: 1 held at BOI, not to be used unless released
  ENG-A: ENG-B may stand in, 100.00 more a unit; the plan weighed it
  ENG-A: ordered from S1 on the planning date it is here 2026-03-23

why then, from the last operation back to the first:

no sooner than    operation  why
----------------  ---------  ---------------------------------
2026-03-05 12:30  20         follows operation 10
2026-03-05 08:00  10         its ENG-A comes by move/RNO/ENG-A

makes  operation  work centre  starts            ends
-----  ---------  -----------  ----------------  ----------------
TOWER         10  ASSY         2026-03-05 08:00  2026-03-05 12:00
TOWER         20  TEST         2026-03-05 12:30  2026-03-05 14:30
MAST          10  WELD         2026-03-02 10:00  2026-03-02 11:00

goes into  at  part   what it is   quantity  comes from
---------  --  -----  -----------  --------  ------------------------------------------------------
TOWER      10  ENG-A  engine 8 hp      1 ea  stock at RNO, leaves 2026-03-03, here 2026-03-05 08:00
TOWER      20  MAST   mast             1 ea  made for it, done 2026-03-02 11:00

TOWER at 10, from stock at BOI: 1 PUMP
TOWER at 20, from stock at BOI: 9 BOLT (in KIT)
MAST at 10, from stock at BOI: 4 BOLT
""",
        """\
note: plan 1, planning date 2026-03-02
note: caution, ENG-A: ship dry: ask the carrier
""",
    ),
    "queue --days 4": (
        """\
11 operations start within 4 days from 2026-03-02: 7 clear to build, 0 started, 0 with parts in hand
  after an operation before, 4 waiting for parts

ASSY at BOI

                                                      late
starts            ends              station  build  (days)  makes  op.  can it start?
----------------  ----------------  -------  -----  ------  -----  ---  ----------------------------
2026-03-02 08:00  2026-03-02 12:00        1  B1          -  TOWER   10  clear to build
2026-03-02 08:00  2026-03-02 12:00        2  B2          -  TOWER   10  clear to build
2026-03-05 08:00  2026-03-05 12:00        1  B3          1  TOWER   10  waits for ENG-A (transfer
                                                                        from RNO) 2026-03-05 08:00

TEST at BOI

                                                      late
starts            ends              station  build  (days)  makes  op.  can it start?
----------------  ----------------  -------  -----  ------  -----  ---  ----------------------------
2026-03-02 12:30  2026-03-02 14:30        1  B1          -  TOWER   20  waits for MAST (made at
                                                                        WELD) 2026-03-02 09:00;
                                                                        follows op. 10 at ASSY, done
                                                                        2026-03-02 12:00
2026-03-02 14:30  2026-03-02 16:30        1  B2          -  TOWER   20  waits for MAST (made at
                                                                        WELD) 2026-03-02 10:00;
                                                                        follows op. 10 at ASSY, done
                                                                        2026-03-02 12:00
2026-03-05 12:30  2026-03-05 14:30        1  B3          1  TOWER   20  waits for MAST (made at
                                                                        WELD) 2026-03-02 11:00;
                                                                        follows op. 10 at ASSY, done
                                                                        2026-03-05 12:00

WELD at BOI

                                                      late
starts            ends              station  build  (days)  makes  op.  can it start?
----------------  ----------------  -------  -----  ------  -----  ---  --------------
2026-03-02 08:00  2026-03-02 09:00        1  B1          -  MAST    10  clear to build
2026-03-02 09:00  2026-03-02 10:00        1  B2          -  MAST    10  clear to build
2026-03-02 10:00  2026-03-02 11:00        1  B3          1  MAST    10  clear to build
2026-03-02 11:00  2026-03-02 12:00        1  B4          6  MAST    10  clear to build
2026-03-02 12:30  2026-03-02 13:30        1  B5          -  MAST    10  clear to build
""",
        """\
note: plan 1, planning date 2026-03-02
note: past-due purchase lines are counted on 2026-03-09: P2/1
note: 1 open purchase line has no confirmed date
""",
    ),
    "queue --work-centre TEST --days 1": (
        """\
2 operations start within 1 day from 2026-03-02: 0 clear to build, 0 started, 0 with parts in hand
  after an operation before, 2 waiting for parts

TEST at BOI

                                                      late
starts            ends              station  build  (days)  makes  op.  can it start?
----------------  ----------------  -------  -----  ------  -----  ---  ----------------------------
2026-03-02 12:30  2026-03-02 14:30        1  B1          -  TOWER   20  waits for MAST (made at
                                                                        WELD) 2026-03-02 09:00;
                                                                        follows op. 10 at ASSY, done
                                                                        2026-03-02 12:00
2026-03-02 14:30  2026-03-02 16:30        1  B2          -  TOWER   20  waits for MAST (made at
                                                                        WELD) 2026-03-02 10:00;
                                                                        follows op. 10 at ASSY, done
                                                                        2026-03-02 12:00
""",
        """\
note: plan 1, planning date 2026-03-02
note: past-due purchase lines are counted on 2026-03-09: P2/1
note: 1 open purchase line has no confirmed date
""",
    ),
    "compare 1 1": (
        """\
from plan 1 (2026-03-02) to plan 1 (2026-03-02): late builds 2 to 2, cost 14,719.75 to 14,719.75
0 ship later, 0 sooner, 0 new, 0 gone, 5 unchanged
""",
        """\
""",
    ),
    "accept": (
        """\
plan 1 is accepted: freeze_days is 0, so the next plans are free to move all that has not started;
  set it in the settings to keep the next days as they are
""",
        """\
""",
    ),
}


@pytest.mark.parametrize("words", ANSWERS)
def test_answer(shop: Run, words: str) -> None:
    ran = shop(*words.split())
    assert ran.code == 0
    assert (ran.out, ran.err) == ANSWERS[words]


@pytest.mark.parametrize("words", ANSWERS)
def test_every_table_fits_a_hundred_columns(shop: Run, words: str) -> None:
    assert max(map(len, shop(*words.split()).out.splitlines())) <= 100


def test_the_list_of_plans(shop: Run) -> None:
    lines = shop("plans").out.splitlines()
    assert lines[0].split() == ["planning", "proven"]
    assert lines[1].split() == [
        *("plan", "made", "(UTC)", "date", "builds", "late", "cost", "gap", "status"),
    ]
    # cost 14,719.75 against a bound of 12,000: (14,719.75 - 12,000) / 14,719.75 = 18.48 %
    assert lines[3].split()[3:] == [
        *("2026-03-02", "5", "2", "14,719.75", "18.48", "%", "feasible"),
    ]
    shop("accept")
    assert shop("plans").out.splitlines()[3].endswith("feasible  accepted")


def test_a_plan_of_which_nothing_is_proven_has_no_gap(shop: Run) -> None:
    with open_store("fulfil.db") as store:
        header, plan = store.plan_header(), store.plan().plan
        store.save_plan(
            dataclasses.replace(plan, bound=Fraction(0)),
            input_hash=header.input_hash,
            options={},
            seconds=1,
            versions={},
        )
    assert shop("plans").out.splitlines()[3].split()[6:] == ["14,719.75", "-", "feasible"]


def test_a_plan_that_goes_on_with_another_says_so(shop: Run) -> None:
    shop("accept")
    assert shop("promise", "TOWER").code == 0
    assert shop("accept", "Q1", "--as", "N1").code == 0
    newest, accepted = shop("plans").out.splitlines()[3:5]
    assert newest.endswith("feasible  goes on with 1")
    assert accepted.endswith("feasible  accepted, of other")
    (row, _) = json.loads(shop("plans", "--json").out)["plans"]
    assert (row["plan"], row["goes_on_with"], row["accepted"]) == (2, 1, False)

"""What each command prints, word for word: (standard output, error output) on the small shop."""

from __future__ import annotations

import pytest
from program import Run

ANSWERS = {
    "builds": (
        """\
5 builds, 2 late, 1 not promised

                                          late    lead
build  product  promised    ships       (days)  (days)  first thing that holds it up
-----  -------  ----------  ----------  ------  ------  ---------------------------------------
B1     TOWER    2026-03-06  2026-03-02       0      28  -
B2     TOWER    2026-03-03  2026-03-02       0      28  queue at TEST until 2026-03-02 (0 days)
B3     TOWER    2026-03-04  2026-03-05       1      31  part ENG-A until 2026-03-05 (3 days)
B4     TOWER    2026-03-10  2026-03-16       6      42  part ENG-A until 2026-03-16 (14 days)
B5     TOWER    -           2026-03-23       -      49  part ENG-A until 2026-03-23 (21 days)
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "builds --late": (
        """\
5 builds, 2 late, 1 not promised

                                          late    lead
build  product  promised    ships       (days)  (days)  first thing that holds it up
-----  -------  ----------  ----------  ------  ------  -------------------------------------
B4     TOWER    2026-03-10  2026-03-16       6      42  part ENG-A until 2026-03-16 (14 days)
B3     TOWER    2026-03-04  2026-03-05       1      31  part ENG-A until 2026-03-05 (3 days)
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "build B2": (
        """\
build B2: TOWER light tower
for Customer of B2, US-CA
ships 2026-03-02 from BOI (promised 2026-03-03, in time); ordered 2026-02-02, lead time 28 days

each taken away after the ones above it:

                                            ships sooner
   what holds it up                            by (days)  why
-  ---------------------------------------  ------------  ------------------
1  queue at TEST until 2026-03-02 (0 days)             0  B1 is tested first

makes  operation  work centre  starts            ends
-----  ---------  -----------  ----------------  ----------------
TOWER         10  ASSY         2026-03-02 08:00  2026-03-02 12:00
TOWER         20  TEST         2026-03-02 14:30  2026-03-02 16:30
MAST          10  WELD         2026-03-02 09:00  2026-03-02 10:00

goes into  at  part             what it is    quantity  comes from
---------  --  ---------------  ------------  --------  --------------------------------------------
TOWER      10  ENG-B for ENG-A  engine 13 hp      1 ea  stock at BOI
TOWER      20  MAST             mast              1 ea  made by job B2/20/MAST, done 2026-03-02
                                                        10:00

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

each taken away after the ones above it:

                                         ships sooner
   what holds it up                         by (days)  why
-  ------------------------------------  ------------  ---------------------------------
1  part ENG-A until 2026-03-05 (3 days)             3  its ENG-A comes by move/RNO/ENG-A
2  its own work                                     0  6 hours of work

from the last operation back to the first:

starts            operation  why then
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
TOWER      20  MAST   mast             1 ea  made by job B3/20/MAST, done 2026-03-02 11:00

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
11 operations start within 4 days from 2026-03-02, 7 of them clear to build or started

ASSY at BOI

starts            ends              station  build  makes  operation  parts
----------------  ----------------  -------  -----  -----  ---------  ------------------------------
2026-03-02 08:00  2026-03-02 12:00        1  B1     TOWER         10  clear to build
2026-03-02 08:00  2026-03-02 12:00        2  B2     TOWER         10  clear to build
2026-03-05 08:00  2026-03-05 12:00        1  B3     TOWER         10  waits for ENG-A (transfer from
                                                                      RNO) 2026-03-05 08:00

TEST at BOI

starts            ends              station  build  makes  operation  parts
----------------  ----------------  -------  -----  -----  ---------  ------------------------------
2026-03-02 12:30  2026-03-02 14:30        1  B1     TOWER         20  waits for MAST being made,
                                                                      done 2026-03-02 09:00
2026-03-02 14:30  2026-03-02 16:30        1  B2     TOWER         20  waits for MAST being made,
                                                                      done 2026-03-02 10:00
2026-03-05 12:30  2026-03-05 14:30        1  B3     TOWER         20  waits for MAST being made,
                                                                      done 2026-03-02 11:00

WELD at BOI

starts            ends              station  build  makes  operation  parts
----------------  ----------------  -------  -----  -----  ---------  --------------
2026-03-02 08:00  2026-03-02 09:00        1  B1     MAST          10  clear to build
2026-03-02 09:00  2026-03-02 10:00        1  B2     MAST          10  clear to build
2026-03-02 10:00  2026-03-02 11:00        1  B3     MAST          10  clear to build
2026-03-02 11:00  2026-03-02 12:00        1  B4     MAST          10  clear to build
2026-03-02 12:30  2026-03-02 13:30        1  B5     MAST          10  clear to build
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "queue --work-centre TEST --days 1": (
        """\
2 operations start within 1 day from 2026-03-02, 0 of them clear to build or started

TEST at BOI

starts            ends              station  build  makes  operation  parts
----------------  ----------------  -------  -----  -----  ---------  ------------------------------
2026-03-02 12:30  2026-03-02 14:30        1  B1     TOWER         20  waits for MAST being made,
                                                                      done 2026-03-02 09:00
2026-03-02 14:30  2026-03-02 16:30        1  B2     TOWER         20  waits for MAST being made,
                                                                      done 2026-03-02 10:00
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "shortages": (
        """\
2 parts hold builds or parts orders up

                           on     to                       late days  last day
part   needed  on hand  order  order  runs out    waiting      by it  to order
-----  ------  -------  -----  -----  ----------  -------  ---------  ----------
LAMP        9        5     10      0  2026-03-02        1         10  -
ENG-A       4        2      1      1  2026-03-05        3          7  2026-02-11

LAMP lamp: on hand 2 at BOI, 3 at RNO; on order 10 on 2026-03-09 (P2/1, past due); it cannot be
  ordered: no source delivers where it is wanted
                                      held up    late
  who waits  promised    takes it on   (days)  (days)  gets
  ---------  ----------  -----------  -------  ------  ------------------------------------
  O2/1       2026-02-27  2026-03-09        10      10  purchase P2/1, here 2026-03-09 00:00

ENG-A engine 8 hp: on hand 1 at BOI, 1 at RNO; on order 1 on 2026-03-16 (P1/1, not confirmed); S1
  lets go 2 a month; lead time 21 days: the last day to order in time was 2026-02-11, 19 days ago
                                      held up    late
  who waits  promised    takes it on   (days)  (days)  gets
  ---------  ----------  -----------  -------  ------  ---------------------------------------------
  B3         2026-03-04  2026-03-05         3       1  stock at RNO, leaves 2026-03-03, here
                                                       2026-03-05 08:00
  B4         2026-03-10  2026-03-16        14       6  purchase P1/1, here 2026-03-16 08:00
  B5         -           2026-03-23        21       0  new order from S1, to be placed 2026-03-02,
                                                       here 2026-03-23 08:00

build B6 is not planned: GHOST can never come (no stock, purchase, source or approved alternate)
""",
        """\
note: plan 1, planning date 2026-03-02
note: 1 purchase past due is counted on 2026-03-09
""",
    ),
    "shortages ENG-A": (
        """\
ENG-A engine 8 hp: on hand 1 at BOI, 1 at RNO; on order 1 on 2026-03-16 (P1/1, not confirmed); S1
  lets go 2 a month; lead time 21 days: the last day to order in time was 2026-02-11, 19 days ago

                                      held up    late
  who waits  promised    takes it on   (days)  (days)  gets
  ---------  ----------  -----------  -------  ------  ---------------------------------------------
  B3         2026-03-04  2026-03-05         3       1  stock at RNO, leaves 2026-03-03, here
                                                       2026-03-05 08:00
  B4         2026-03-10  2026-03-16        14       6  purchase P1/1, here 2026-03-16 08:00
  B5         -           2026-03-23        21       0  new order from S1, to be placed 2026-03-02,
                                                       here 2026-03-23 08:00

                                                                without
day         what       which       point  quantity  balance  new orders  note
----------  ---------  ----------  -----  --------  -------  ----------  ---------------------------
2026-03-02  on hand    stock       BOI          +1        1           1
2026-03-02  on hand    stock       RNO          +1        2           2
2026-03-02  build      B1          BOI          -1        1           1
2026-03-05  build      B3          BOI          -1        0           0  moved from RNO, leaves
                                                                         2026-03-03
2026-03-16  purchase   P1/1 of S1  BOI          +1        1           1  not confirmed
2026-03-16  build      B4          BOI          -1        0           0
2026-03-23  new order  S1          BOI          +1        1           0  to be placed on 2026-03-02
2026-03-23  build      B5          BOI          -1        0          -1
without new orders it runs out on 2026-03-05
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "shortages PUMP": (
        """\
PUMP diaphragm pump: on hand 10 at BOI; none on order; it cannot be ordered: no source delivers
  where it is wanted

nothing waits for it

                                                         without
day         what     which  point  quantity  balance  new orders  note
----------  -------  -----  -----  --------  -------  ----------  ----
2026-03-02  on hand  stock  BOI         +10       10          10
2026-03-02  build    B1     BOI          -2        8           8
2026-03-02  build    B2     BOI          -1        7           7
2026-03-05  build    B3     BOI          -1        6           6
2026-03-16  build    B4     BOI          -1        5           5
2026-03-23  build    B5     BOI          -1        4           4
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "purchases": (
        """\
the plan counts on 1 new order, USD 1,500.00

                                                            cost
place on    supplier  part   quantity  to   arrives        (USD)  for
----------  --------  -----  --------  ---  ----------  --------  ---
2026-03-02  S1        ENG-A         1  BOI  2026-03-23  1,500.00  B5
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "transfers": (
        """\
1 transfer on 1 departure

                                                    weight
leaves      from  to   arrives     part   quantity    (kg)  drawn from  for
----------  ----  ---  ----------  -----  --------  ------  ----------  ---
2026-03-03  RNO   BOI  2026-03-05  ENG-A         1      40  stock       B3
""",
        """\
note: plan 1, planning date 2026-03-02
note: caution, ENG-A: ship dry: ask the carrier
""",
    ),
    "orders": (
        """\
2 lines of parts orders, 1 late

order                                                            to ship by,    late
and line  part  quantity  from  ships       arrives     goes to  or within    (days)
--------  ----  --------  ----  ----------  ----------  -------  -----------  ------
O1/1      LAMP         2  BOI   2026-03-02  2026-03-04  US-NV    2026-03-04        0
          LAMP         3  RNO   2026-03-02  2026-03-03
O2/1      LAMP         4  BOI   2026-03-09  2026-03-10  US-ID    2026-02-27       10
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "orders --late": (
        """\
2 lines of parts orders, 1 late

order                                                            to ship by,    late
and line  part  quantity  from  ships       arrives     goes to  or within    (days)
--------  ----  --------  ----  ----------  ----------  -------  -----------  ------
O2/1      LAMP         4  BOI   2026-03-09  2026-03-10  US-ID    2026-02-27       10
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "explode B2": (
        """\
build B2: 1 ea of TOWER, light tower; bill of 2026-02-02
commonly required in US-CA: 1 VALVE: backflow protection (verify with the local authority)

                                         at
part    what it is      quantity  operation  how      stock free to use
------  --------------  --------  ---------  -------  ------------------  ----
ENG-A   engine 8 hp         1 ea         10  buy      1 at BOI, 1 at RNO
PUMP    diaphragm pump      1 ea         10  buy      10 at BOI
VALVE   check valve         1 ea         10  buy      5 at BOI            rule
KIT     hardware kit        1 ea         20  phantom
. BOLT  bolt                9 ea          -  buy      500 at BOI
MAST    mast                1 ea         20  make
. BOLT  bolt                4 ea         10  buy      500 at BOI
""",
        """\
note: quantities hold the scrap and are rounded up to whole steps; nothing is netted
""",
    ),
    "explode TOWER --quantity 2": (
        """\
2 ea of TOWER, light tower; bill of 2026-03-02

                                         at
part    what it is      quantity  operation  how      stock free to use
------  --------------  --------  ---------  -------  ------------------
ENG-A   engine 8 hp         2 ea         10  buy      1 at BOI, 1 at RNO
PUMP    diaphragm pump      2 ea         10  buy      10 at BOI
KIT     hardware kit        2 ea         20  phantom
. BOLT  bolt               18 ea          -  buy      500 at BOI
MAST    mast                2 ea         20  make
. BOLT  bolt                8 ea         10  buy      500 at BOI
""",
        """\
note: quantities hold the scrap and are rounded up to whole steps; nothing is netted
""",
    ),
    "where-used BOLT": (
        """\
BOLT bolt

                                                        at
goes into  what it is    each takes  so one has  operation
---------  ------------  ----------  ----------  ---------  ---
KIT        hardware kit           8    8.889 ea          -
. TOWER    light tower            1    8.889 ea         20  top
MAST       mast                   4        4 ea          -
. TOWER    light tower            1        4 ea         20  top

5 open builds take 65 ea together

build  product  point  promised    takes
-----  -------  -----  ----------  -----
B1     TOWER    BOI    2026-03-06  13 ea
B2     TOWER    BOI    2026-03-03  13 ea
B3     TOWER    BOI    2026-03-04  13 ea
B4     TOWER    BOI    2026-03-10  13 ea
B5     TOWER    BOI    -           13 ea
""",
        """\
note: builds are counted with their options, region rules and scrap; nothing is netted against stock
""",
    ),
    "where-used GHOST": (
        """\
GHOST nobody has it

                                                               at
goes into  what it is           each takes  so one has  operation
---------  -------------------  ----------  ----------  ---------  ---
TOWER-X    tower of the future           1        1 ea          -  top

1 open build takes 1 ea together

build  product  point  promised    takes
-----  -------  -----  ----------  -----
B6     TOWER-X  BOI    2026-04-01   1 ea
""",
        """\
note: builds are counted with their options, region rules and scrap; nothing is netted against stock
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
plan 1 is accepted: the next plans keep what it starts within the freeze_days of the settings
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

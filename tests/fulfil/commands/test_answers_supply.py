"""What purchasing and shipping are answered, word for word: (standard output, error output) on the
small shop."""

from __future__ import annotations

import pytest
from program import Run

ANSWERS = {
    "shortages": (
        """\
2 parts hold builds or parts orders up, 2 make some late

                           on     to        nothing      who  late days  last day
part   needed  on hand  order  order  unit  left on     wait      by it  to order
-----  ------  -------  -----  -----  ----  ----------  ----  ---------  ----------
LAMP        9        5     10      0  ea    2026-03-02     1         10  -
ENG-A       4        2      1      1  ea    2026-03-05     3          7  2026-02-11

LAMP lamp
  needed        9 ea
  on hand       2 at BOI, 3 at RNO
  on order      10 on 2026-03-09 to BOI (P2/1, past due since 2026-02-20)
  nothing left  from 2026-03-02 until 2026-03-09
  last day      it cannot be ordered: no source delivers where it is wanted

                                      held up    late  by
  who waits  promised    takes it on   (days)  (days)  it  gets
  ---------  ----------  -----------  -------  ------  --  ------------------------------
  O2/1       2026-02-27  2026-03-09        10      10  10  purchase P2/1, here 2026-03-09

ENG-A engine 8 hp
  needed        4 ea
  on hand       1 at BOI (and 1 held), 1 at RNO
  on order      1 on 2026-03-16 to BOI (P1/1, not confirmed)
  to order      1 from S1 to BOI, to be placed 2026-03-02, arrives 2026-03-23
  nothing left  from 2026-03-05 on
  at BOI        needs 4 ea; on its own stock and purchases nothing left from 2026-03-02 on
  in its place  1 ENG-B for B2
  rationed      S1 lets go 2 a calendar month
  last day      to order in time was 2026-02-11, 19 days ago (B3, lead time 21 days)

                                      held up    late  by
  who waits  promised    takes it on   (days)  (days)  it  gets
  ---------  ----------  -----------  -------  ------  --  -----------------------------------------
  B3         2026-03-04  2026-03-05         3       1   1  stock at RNO, leaves 2026-03-03, here
                                                           2026-03-05 08:00
  B4         2026-03-10  2026-03-16        14       6   6  purchase P1/1, here 2026-03-16 08:00
  B5         -           2026-03-23        21       0   0  new order from S1, to be placed
                                                           2026-03-02, here 2026-03-23 08:00

build B6 is not planned: GHOST can never come (no stock, purchase, source or approved alternate)
""",
        """\
note: plan 1, planning date 2026-03-02
note: 1 purchase past due is counted on 2026-03-09
note: held up: days sooner with the part at hand, what comes before it in the list of `fulfil build`
  out of the way; by it: days of the lateness that are then its own
note: last day to order: for who is late for want of it, by the lead times that the plan counts on;
  `fulfil cover` goes by the record of suppliers, and counts what is expected, too
""",
    ),
    "shortages eng-a": (
        """\
ENG-A engine 8 hp
  needed        4 ea
  on hand       1 at BOI (and 1 held), 1 at RNO
  on order      1 on 2026-03-16 to BOI (P1/1, not confirmed)
  to order      1 from S1 to BOI, to be placed 2026-03-02, arrives 2026-03-23
  nothing left  from 2026-03-05 on
  at BOI        needs 4 ea; on its own stock and purchases nothing left from 2026-03-02 on
  in its place  1 ENG-B for B2
  rationed      S1 lets go 2 a calendar month
  last day      to order in time was 2026-02-11, 19 days ago (B3, lead time 21 days)

                                      held up    late  by
  who waits  promised    takes it on   (days)  (days)  it  gets
  ---------  ----------  -----------  -------  ------  --  -----------------------------------------
  B3         2026-03-04  2026-03-05         3       1   1  stock at RNO, leaves 2026-03-03, here
                                                           2026-03-05 08:00
  B4         2026-03-10  2026-03-16        14       6   6  purchase P1/1, here 2026-03-16 08:00
  B5         -           2026-03-23        21       0   0  new order from S1, to be placed
                                                           2026-03-02, here 2026-03-23 08:00

if ordered today:

                 lead                         for, each     price     at     in  left that
supplier  to   (days)  here on     expedited      (USD)      each  least  steps      month
--------  ---  ------  ----------  ---------  ---------  --------  -----  -----  ---------
S1        BOI      21  2026-03-23  -                  -  1,500.00      -      -     0 of 2

                                       quantity    left at     left at     without
day         what comes or goes  point      (ea)  the point  all points  new orders
----------  ------------------  -----  --------  ---------  ----------  ----------  ----------------
2026-03-02  stock               BOI          +1          1           1           1
2026-03-02  stock               RNO          +1          1           2           2
2026-03-02  build B1            BOI          -1          0           1           1
2026-03-03  moved to BOI        RNO          -1          0           1           1
2026-03-05  moved from RNO      BOI          +1          1           1           1
2026-03-05  build B3            BOI          -1          0           0           0
2026-03-16  purchase P1/1 of    BOI          +1          1           1           1  not confirmed
            S1
2026-03-16  build B4            BOI          -1          0           0           0
2026-03-23  new order S1        BOI          +1          1           1           0  to be placed on
                                                                                    2026-03-02
2026-03-23  build B5            BOI          -1          0           0          -1
""",
        """\
note: plan 1, planning date 2026-03-02
note: held up: days sooner with the part at hand, what comes before it in the list of `fulfil build`
  out of the way; by it: days of the lateness that are then its own
note: last day to order: for who is late for want of it, by the lead times that the plan counts on;
  `fulfil cover` goes by the record of suppliers, and counts what is expected, too
""",
    ),
    "shortages PUMP": (
        """\
PUMP diaphragm pump
  needed    6 ea
  on hand   10 at BOI
  on order  none
  last day  it cannot be ordered: no source delivers where it is wanted

nothing waits for it

                                       quantity
day         what comes or goes  point      (ea)  left
----------  ------------------  -----  --------  ----
2026-03-02  stock               BOI         +10    10
2026-03-02  build B1            BOI          -2     8
2026-03-02  build B2            BOI          -1     7
2026-03-05  build B3            BOI          -1     6
2026-03-16  build B4            BOI          -1     5
2026-03-23  build B5            BOI          -1     4
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "purchases": (
        """\
the plan counts on 1 new order, USD 1,500.00: 1 to place today, 1 until 2026-03-08; the first on
  2026-03-02

                                                       cost
place on    supplier  part   quantity  arrives        (USD)  for
----------  --------  -----  --------  ----------  --------  ---
2026-03-02  S1        ENG-A      1 ea  2026-03-23  1,500.00  B5

all go to BOI
each stands on the last day that is in time for who takes it first
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "purchases --days 7 --part ENG-A": (
        """\
1 new order to place until 2026-03-08, USD 1,500.00

                                                       cost
place on    supplier  part   quantity  arrives        (USD)  for
----------  --------  -----  --------  ----------  --------  ---
2026-03-02  S1        ENG-A      1 ea  2026-03-23  1,500.00  B5

how much can be ordered:

                       used by                     in steps  most in
part   supplier  to   the plan  ordered  at least        of  a month
-----  --------  ---  --------  -------  --------  --------  -------
ENG-A  S1        BOI      1 ea     1 ea         -         -        2

all go to BOI
each stands on the last day that is in time for who takes it first
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "purchases --open": (
        """\
2 open purchase lines: 1 past due, 1 not confirmed

order                                counted                                may slip  for (late by
and line  supplier  part   quantity  on                                       (days)  days)
--------  --------  -----  --------  ----------  -------------------------  --------  ------------
P2/1      S1        LAMP      10 ea  2026-03-09  past due since 2026-02-20         0  O2/1 (10)
P1/1      S1        ENG-A      1 ea  2026-03-16  not confirmed                     0  B4 (6)
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "transfers": (
        """\
1 transfer on 1 departure

2026-03-03 RNO to BOI, arrives 2026-03-05
                                weight
  part   what it is   quantity    (kg)  drawn from  needed      for
  -----  -----------  --------  ------  ----------  ----------  ---
  ENG-A  engine 8 hp      1 ea      40  stock       2026-03-05  B3
""",
        """\
note: plan 1, planning date 2026-03-02
note: caution, ENG-A: ship dry: ask the carrier
""",
    ),
    "transfers --days 1": (
        """\
nothing is to be moved until 2026-03-02 (of 1 transfer in the plan)
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "orders": (
        """\
2 lines of parts orders, 1 late

order                                                            to ship or         late
and line  part  quantity  from  ships       arrives     goes to  be here by       (days)
--------  ----  --------  ----  ----------  ----------  -------  ---------------  ------
O1/1      LAMP      2 ea  BOI   2026-03-02  2026-03-04  US-NV    ship 2026-03-04       0
          LAMP      3 ea  RNO   2026-03-02  2026-03-03
O2/1      LAMP      4 ea  BOI   2026-03-09  2026-03-10  US-ID    ship 2026-02-27      10

late because:
  O2/1  4 ea LAMP from purchase P2/1
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "orders --late": (
        """\
2 lines of parts orders, 1 late; 1 shown

order                                                            to ship or         late
and line  part  quantity  from  ships       arrives     goes to  be here by       (days)
--------  ----  --------  ----  ----------  ----------  -------  ---------------  ------
O2/1      LAMP      4 ea  BOI   2026-03-09  2026-03-10  US-ID    ship 2026-02-27      10

late because:
  O2/1  4 ea LAMP from purchase P2/1
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "orders --from rno": (
        """\
2 lines of parts orders, 1 late; 1 shown

order                                                            to ship or         late
and line  part  quantity  from  ships       arrives     goes to  be here by       (days)
--------  ----  --------  ----  ----------  ----------  -------  ---------------  ------
O1/1      LAMP      3 ea  RNO   2026-03-02  2026-03-03  US-NV    ship 2026-03-04       0
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "orders O1": (
        """\
O1/1: 5 ea LAMP, lamp
  goes to   US-NV
  wanted    ordered 2026-03-01, to ship by 2026-03-04
  from BOI  2 ea, ships 2026-03-02, arrives 2026-03-04, 2 kg; taken from stock at BOI
  from RNO  3 ea, ships 2026-03-02, arrives 2026-03-03, 3 kg; taken from stock at RNO
  so it is  in time
  split     no point has 5 ea to spare now

if all of it left on 2026-03-02, or when the point next opens:

       on hand     for     to                    carrier               cost
point     (ea)  others  spare  next on order        days  arrives     (USD)
-----  -------  ------  -----  ----------------  -------  ----------  -----
RNO          3       0      3  -                       1  2026-03-03  13.00
BOI          2       0      2  10 on 2026-03-09        2  2026-03-04  17.00
""",
        """\
note: plan 1, planning date 2026-03-02
""",
    ),
    "orders o2/1": (
        """\
O2/1: 4 ea LAMP, lamp
  goes to   US-ID
  wanted    ordered 2026-02-20, to ship by 2026-02-27
  from BOI  4 ea, ships 2026-03-09, arrives 2026-03-10, 4 kg; taken from purchase P2/1
  so it is  10 days late

if all of it left on 2026-03-02, or when the point next opens:

       on hand     for     to                    carrier               cost
point     (ea)  others  spare  next on order        days  arrives     (USD)
-----  -------  ------  -----  ----------------  -------  ----------  -----
BOI          2       2      0  10 on 2026-03-09        1  2026-03-03   9.00
RNO          3       3      0  -                  no way  -               -
""",
        """\
note: plan 1, planning date 2026-03-02
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

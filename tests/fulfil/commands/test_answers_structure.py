"""What engineering is answered, word for word: (standard output, error output) on the small
shop."""

from __future__ import annotations

import pytest
from program import Run

ANSWERS = {
    "explode B2": (
        """\
build B2: 1 ea of TOWER, light tower; bill of 2026-02-02
commonly required in US-CA: 1 VALVE: backflow protection (verify with the local authority)

                                  oper-                 free at
part    what it is      quantity  ation  how                BOI  RNO
------  --------------  --------  -----  -------  ----  -------  ---
ENG-A   engine 8 hp         1 ea     10  buy                  1    1
PUMP    diaphragm pump      1 ea     10  buy                 10    -
VALVE   check valve         1 ea     10  buy      rule        5    -
KIT     hardware kit        1 ea     20  phantom              -    -
. BOLT  bolt                9 ea      -  buy                500    -
MAST    mast                1 ea     20  make                 -    -
. BOLT  bolt                4 ea     10  buy                500    -
""",
        """\
note: quantities hold the scrap and are rounded up to whole steps; nothing is netted
""",
    ),
    "explode TOWER --quantity 2": (
        """\
2 ea of TOWER, light tower; bill of 2026-03-02

                                  oper-           free at
part    what it is      quantity  ation  how          BOI  RNO
------  --------------  --------  -----  -------  -------  ---
ENG-A   engine 8 hp         2 ea     10  buy            1    1
PUMP    diaphragm pump      2 ea     10  buy           10    -
KIT     hardware kit        2 ea     20  phantom        -    -
. BOLT  bolt               18 ea      -  buy          500    -
MAST    mast                2 ea     20  make           -    -
. BOLT  bolt                8 ea     10  buy          500    -
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
    "where-used LAMP": (
        """\
LAMP lamp

no bill calls for it

no open build takes it

2 lines of parts orders ask for 9 ea of it

order
and line  goes to  to ship by  takes
--------  -------  ----------  -----
O1/1      US-NV    2026-03-04   5 ea
O2/1      US-ID    2026-02-27   4 ea
""",
        """\
note: builds are counted with their options, region rules and scrap; nothing is netted against stock
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

"""For each rule of the whole model about work and needs: a tiny book, its least cost worked out by
hand, and what the model would take for the least if that rule were left out.

The arithmetic stands in the name of each case, in minutes late unless it says more; `slots_shop`
says how time and money count there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from fulfil_models.cells import MICRO, MILLI
from fulfil_models.slots import RULES, Rule
from fulfil_models.slots_needs import (
    lots_not_overdrawn,
    lots_usable,
    made_parts_ready,
    moves_paid,
    needs_filled,
)
from fulfil_models.slots_variables import Variables
from fulfil_models.slots_work import (
    lateness,
    nothing_before_earliest,
    operations_in_order,
    stations_not_overloaded,
)
from fulfil_models.tables import Dataset, Source
from ortools.sat.python import cp_model
from slots_shop import (
    AS_OF,
    COMING,
    ENGINE,
    SHELVES,
    STAND_IN,
    THURSDAY,
    TUESDAYS,
    WEDNESDAY,
    bill,
    build,
    downtime,
    late_cost,
    line,
    shop,
    step,
    stock,
)

CHEAPER = "the plan costs more than the model counted"
OVERDRAWN = "a lot is drawn twice"


@dataclass(frozen=True)
class Case:
    """A book, its least cost, and the cost at which the model would see it without the rule.

    `breaks` is the rule of the checker that the answer then breaks, or what else is wrong with it.
    """

    name: str
    rule: Rule
    book: Dataset
    cost: Fraction | int
    without: Fraction | int
    breaks: str
    instead: tuple[Rule, ...] = ()

    def left(self) -> tuple[Rule, ...]:
        return (*(rule for rule in RULES if rule is not self.rule), *self.instead)


def needs_mixed(model: cp_model.CpModel, v: Variables) -> None:
    """Instead of `needs_filled`: a need may take some of a part and some of its alternate."""
    for filling in v.fillings:
        model.add(
            sum(offer.units.milli for use in filling.uses for offer in use.offers)
            == filling.need.need.quantity_milli
        )


TWO = (build("B1"), build("B2"))
LATER = date(2026, 3, 31)
ONE_A_MONTH = Source(part="E", supplier="S", point="A", lead_days=10, monthly_cap_milli=MILLI)

WORK = [
    Case(
        "a test of 60 minutes follows 120 of assembly: late 180; else both start at once",
        operations_in_order,
        shop(build(), routings=(step("M", 10, "W", 120), step("M", 20, "V", 60))),
        late_cost(180),
        late_cost(60),
        "sequence",
    ),
    Case(
        "a made frame of 120 + 60 minutes, then 60: late 240; else 60 + 60",
        operations_in_order,
        shop(
            build(),
            bills=(bill("M", "F"),),
            routings=(step("M", 10, "U", 60), step("F", 10, "W", 120), step("F", 20, "V", 60)),
        ),
        late_cost(240),
        late_cost(120),
        "sequence",
    ),
    Case(
        "not before Wednesday, minute 960: late 960 + 60; else 60",
        nothing_before_earliest,
        shop(build(earliest=WEDNESDAY)),
        late_cost(1020),
        late_cost(60),
        "earliest",
    ),
    Case(
        "480 and 120 minutes on one station, short first: late 120 + 600; else 120 + 480",
        stations_not_overloaded,
        shop(
            build(),
            build("B2", product="N"),
            routings=(step("M", 10, "W", 480), step("N", 10, "W", 120)),
        ),
        late_cost(120, 600),
        late_cost(120, 480),
        "stations",
    ),
    Case(
        "120 minutes do not fit before the station is out, 09:00-12:00: 240 + 120; else 120",
        stations_not_overloaded,
        shop(build(), routings=(step("M", 10, "W", 120),), downtime=(downtime(9, 12),)),
        late_cost(360),
        late_cost(120),
        "stations",
    ),
    Case(
        "one of two stations is out until noon, so one after the other: 60 + 120; else 60 + 60",
        stations_not_overloaded,
        shop(*TWO, stations=2, downtime=(downtime(8, 12),)),
        late_cost(60, 120),
        late_cost(60, 60),
        "stations",
    ),
    Case(
        "more stations are out than there are, for an hour: 60 + 60; else 60",
        stations_not_overloaded,
        shop(build(), stations=2, downtime=(downtime(8, 9, 5),)),
        late_cost(120),
        late_cost(60),
        "stations",
    ),
    Case(
        "each takes two of three stations: 60 + 120; else 60 + 60",
        stations_not_overloaded,
        shop(*TWO, stations=3, routings=(step("M", 10, "W", 60, stations=2),)),
        late_cost(60, 120),
        late_cost(60, 60),
        "stations",
    ),
    Case(
        "540 minutes, due at the end of Monday, minute 480: late 60",
        lateness,
        shop(build(promised=AS_OF), routings=(step("M", 10, "W", 540),)),
        late_cost(60),
        0,
        CHEAPER,
    ),
]

NEEDS = [
    Case(
        "the engine comes on Thursday: 1440 + 60; else none is used",
        needs_filled,
        shop(build(), bills=ENGINE, purchases=(COMING,)),
        late_cost(1500),
        late_cost(60),
        "needs",
    ),
    Case(
        "a frame is made in 480 minutes, then 60: 540; else none is used",
        needs_filled,
        shop(
            build(),
            bills=(bill("M", "F"),),
            routings=(step("M", 10, "W", 60), step("F", 10, "V", 480)),
        ),
        late_cost(540),
        late_cost(60),
        "needs",
    ),
    Case(
        "of two engines one is there, and one that could stand in: wait till Thursday; else mix",
        needs_filled,
        shop(
            build(),
            bills=(bill("M", "E", 2),),
            stock=(stock("A", "E"), stock("A", "E2")),
            purchases=(COMING,),
            alternates=(STAND_IN,),
        ),
        late_cost(1500),
        late_cost(60),
        "alternates",
        (needs_mixed,),
    ),
    Case(
        "a frame of 480 minutes ends before the machine starts: 480 + 60; else 60",
        made_parts_ready,
        shop(
            build(),
            bills=(bill("M", "F"),),
            routings=(step("M", 10, "W", 60), step("F", 10, "V", 480)),
        ),
        late_cost(540),
        late_cost(60),
        "in time",
    ),
    Case(
        "an engine comes on Thursday, 1440 + 60; else it is used on Monday",
        lots_usable,
        shop(build(), bills=ENGINE, purchases=(COMING,)),
        late_cost(1500),
        late_cost(60),
        "in time",
    ),
    Case(
        "only the test, after 480 minutes, needs it: still 1440 + 60; else 480 + 60",
        lots_usable,
        shop(
            build(),
            bills=(bill("M", "E", operation=20),),
            routings=(step("M", 10, "W", 480), step("M", 20, "V", 60)),
            purchases=(COMING,),
        ),
        late_cost(1500),
        late_cost(540),
        "in time",
    ),
    Case(
        "it goes into a kit that is made in no time when the machine starts: 1440 + 60; else 60",
        lots_usable,
        shop(build(), bills=(bill("M", "K"), bill("K", "E")), purchases=(COMING,)),
        late_cost(1500),
        late_cost(60),
        "in time",
    ),
    Case(
        "it is moved, leaving on Tuesday, usable on Thursday: 1440 + 60; else 60",
        lots_usable,
        shop(build(), bills=ENGINE, stock=(stock("B", "E"),), lanes=(TUESDAYS,)),
        late_cost(1500),
        late_cost(60),
        "in time",
    ),
    Case(
        "two engines of 50 kg leave together: 150 + 2 x 50 x 4; else only the weight is paid",
        moves_paid,
        shop(
            build("B1", THURSDAY),
            build("B2", THURSDAY),
            stations=2,
            bills=ENGINE,
            stock=(stock("B", "E", 2),),
            lanes=(
                replace(TUESDAYS, cost_per_move_micro=150 * MICRO, cost_per_kg_micro=4 * MICRO),
            ),
        ),
        550,
        400,
        CHEAPER,
    ),
    Case(
        "one engine on the shelf, one on Thursday: 60 and 1500; else both take the first",
        lots_not_overdrawn,
        shop(*TWO, stations=2, bills=ENGINE, stock=(stock("A", "E"),), purchases=(COMING,)),
        late_cost(60, 1500),
        late_cost(60, 60),
        OVERDRAWN,
    ),
    Case(
        # the second comes on Wednesday 04-01, 22 working days on: it ends 60 minutes after its due
        "one engine a month, from 03-12; promised for 03-12 and 03-31: late 60; else two in March",
        lots_not_overdrawn,
        shop(
            build("B1", date(2026, 3, 12)),
            build("B2", LATER),
            bills=ENGINE,
            sources=(
                Source(part="E", supplier="S", point="A", lead_days=10, monthly_cap_milli=MILLI),
            ),
        ),
        late_cost(60),
        0,
        OVERDRAWN,
    ),
    Case(
        "a build takes the engine on the shelf, a line waits three days; else both take it",
        lots_not_overdrawn,
        shop(
            build(),
            bills=ENGINE,
            stock=(stock("A", "E"),),
            purchases=(COMING,),
            parts_orders=(line(weight_ppm=300_000),),
            deliveries=SHELVES,
        ),
        late_cost(60) + 3 * 300,
        late_cost(60),
        OVERDRAWN,
    ),
]

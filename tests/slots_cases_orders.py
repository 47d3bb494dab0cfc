"""For each rule of the whole model about parts orders and expedited orders: a tiny book, as in
`slots_cases`."""

from __future__ import annotations

from dataclasses import replace

from fulfil_models.cells import MICRO, MILLI
from fulfil_models.slots_needs import moves_paid
from fulfil_models.slots_orders import (
    deliveries_paid,
    draws_ordered,
    lines_shipped,
    one_origin_unless_split,
    orders_whole,
    worst_shipment_counts,
)
from fulfil_models.slots_variables import Variables
from ortools.sat.python import cp_model
from slots_cases import CHEAPER, Case
from slots_shop import (
    AS_OF,
    BY_MONDAY,
    COMING,
    ENGINE,
    HURRIED,
    SHELVES,
    STAND_IN,
    TUESDAYS,
    build,
    delivery,
    line,
    shop,
    stock,
)


def lines_mixed(model: cp_model.CpModel, v: Variables) -> None:
    """Instead of `lines_shipped`: a line may take some of a part and some of its alternate."""
    for filling in v.lines:
        drawn = [parcel.units for parcel in filling.parcels]
        for units in drawn:
            model.add(units.milli <= units.most_milli * units.taken)
        model.add(sum(units.milli for units in drawn) == filling.line.line.row.quantity_milli)


ORDERS = [
    Case(
        "the engine ships on Thursday, three days late; else nothing ships",
        lines_shipped,
        shop(purchases=(COMING,), parts_orders=(line(),), deliveries=SHELVES),
        3000,
        0,
        "parts orders",
    ),
    Case(
        "one is there, and one that could stand in: the two ship on Thursday, 3 days; else mixed",
        lines_shipped,
        shop(
            stock=(stock("A", "E"), stock("A", "E2")),
            purchases=(COMING,),
            alternates=(STAND_IN,),
            parts_orders=(line(2),),
            deliveries=SHELVES,
        ),
        3000,
        0,
        "alternates",
        (lines_mixed,),
    ),
    Case(
        "one at each point, not to be split: both from A on Thursday, 3 days; else in time",
        one_origin_unless_split,
        shop(
            stock=(stock("A", "E"), stock("B", "E")),
            purchases=(COMING,),
            parts_orders=(line(2, split=False),),
            deliveries=SHELVES,
        ),
        3000,
        0,
        "parts orders",
    ),
    Case(
        "one ships on Monday, one on Thursday: 3 days late, counted once; else never late",
        worst_shipment_counts,
        shop(
            stock=(stock("A", "E"),),
            purchases=(COMING,),
            parts_orders=(line(2),),
            deliveries=SHELVES,
        ),
        3000,
        0,
        CHEAPER,
    ),
    Case(
        # carrier days: Tuesday 03-03 is the first after Monday, Monday 03-09 the second after 03-05
        "to be there within a day of Monday; Thursday's is there on 03-09, 6 days late; else 0",
        worst_shipment_counts,
        shop(
            purchases=(COMING,),
            parts_orders=(line(promised=None, within_days=1, ordered=AS_OF),),
            deliveries=SHELVES,
        ),
        6000,
        0,
        CHEAPER,
    ),
    Case(
        # Tuesday's departure is usable on Thursday 03-05, 3 days after the promise
        "the engine is moved to the point that delivers, for 50, 3 days late; else unpaid",
        moves_paid,
        shop(
            stock=(stock("B", "E"),),
            lanes=(replace(TUESDAYS, cost_per_move_micro=50 * MICRO),),
            parts_orders=(line(),),
            deliveries=(delivery("A"),),
        ),
        3050,
        3000,
        CHEAPER,
    ),
    Case(
        "two lines of an order share a delivery, another order has its own: 2 x 40; else 0",
        deliveries_paid,
        shop(
            stock=(stock("A", "E", 3),),
            parts_orders=(line(), line(number="2"), line(order="O2")),
            deliveries=(delivery("A", 40),),
        ),
        80,
        0,
        CHEAPER,
    ),
]

EXPEDITED = [
    Case(
        # unhurried: 03-12, minute 8 x 480 + 60, due at 6 x 480: late 1020, cost 2125
        "one engine expedited for a promise on 03-09: 900; else it is not ordered",
        draws_ordered,
        shop(build(promised=BY_MONDAY), bills=ENGINE, sources=(HURRIED,)),
        900,
        0,
        CHEAPER,
    ),
    Case(
        # unhurried the line would ship on 03-12, 3 days late: 3000
        "one engine expedited for a line: 900; else it is not ordered",
        draws_ordered,
        shop(sources=(HURRIED,), parts_orders=(line(promised=BY_MONDAY),), deliveries=SHELVES),
        900,
        0,
        CHEAPER,
    ),
    Case(
        "a monthly lot of two is advanced for one engine: 900; else it is not ordered",
        draws_ordered,
        shop(
            build(promised=BY_MONDAY),
            bills=ENGINE,
            sources=(replace(HURRIED, monthly_cap_milli=2 * MILLI),),
        ),
        900,
        0,
        CHEAPER,
    ),
    Case(
        "the least order is two: 2 x 900; else one is ordered",
        orders_whole,
        shop(
            build(promised=BY_MONDAY),
            bills=ENGINE,
            sources=(replace(HURRIED, minimum_milli=2 * MILLI),),
        ),
        1800,
        900,
        CHEAPER,
    ),
    Case(
        # three at 500 are cheaper than being 1020 minutes late, 2125
        "orders come in threes, at 500 each: 1500; else one is ordered",
        orders_whole,
        shop(
            build(promised=BY_MONDAY),
            bills=ENGINE,
            sources=(replace(HURRIED, multiple_milli=3 * MILLI, expedite_cost_micro=500 * MICRO),),
        ),
        1500,
        500,
        CHEAPER,
    ),
    Case(
        # one or two late by 1020 and 1080 minutes cost 2125 and more; four would cost 1600
        "two builds share an order of at least two, in twos: 2 x 400; else nothing is ordered",
        draws_ordered,
        shop(
            build("B1", BY_MONDAY),
            build("B2", BY_MONDAY),
            bills=ENGINE,
            sources=(
                replace(
                    HURRIED,
                    minimum_milli=2 * MILLI,
                    multiple_milli=2 * MILLI,
                    expedite_cost_micro=400 * MICRO,
                ),
            ),
        ),
        800,
        0,
        CHEAPER,
    ),
]

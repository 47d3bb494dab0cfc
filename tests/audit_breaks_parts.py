"""Plans of the audited shop that break one rule each: parts, supplies, dates and costs."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from fractions import Fraction

from audited_shop import ORDERED, PLAN, PROMISED, SETTINGS, march
from fulfil_models.plan import (
    Peg,
    Status,
    Supply,
    SupplyKind,
)
from fulfil_models.tables import (
    PartsOrder,
    Stock,
)
from shop_changes import (
    GOOD,
    Shop,
    engine_peg,
    supply,
)

BREAKS: list[tuple[str, str, Shop]] = [
    ("needs", "too little", GOOD.planned("pegs", {"job": "B1/FRAME"}, quantity_milli=1_500)),
    (
        "needs",
        "too much",
        GOOD.planned("pegs", {"job": "B1/FRAME"}, quantity_milli=2_500).planned(
            "supplies", {"supply": "shelf steel"}, quantity_milli=10_500
        ),
    ),
    ("needs", "nothing", GOOD.less("pegs", lambda peg: peg.job != "B1/KIT")),
    (
        "needs",
        "a quarter step",
        GOOD.planned("pegs", {"job": "B1/FRAME"}, quantity_milli=1_750).plus(
            pegs=Peg("B1/FRAME", 10, "STEEL", "STEEL", 250, "shelf steel", "A", march(2))
        ),
    ),
    (
        "needs",
        "what is no need",
        GOOD.plus(pegs=Peg("B1", 10, "STEEL", "STEEL", 500, "shelf steel", "A", march(2))).planned(
            "supplies", {"supply": "shelf steel"}, quantity_milli=10_500
        ),
    ),
    (
        "needs",
        "at the wrong operation",
        GOOD.planned("pegs", {"job": "B5", "part": "ENGINE"}, operation=10),
    ),
    (
        "alternates",
        "not approved",
        GOOD.rows("alternates", {"alternate": "ENGINE2"}, approved=False),
    ),
    (
        "alternates",
        "no alternate at all",
        GOOD.planned(
            "pegs", {"job": "B1/KIT"}, used="STEEL", supply="shelf steel", quantity_milli=2_000
        ).planned("supplies", {"supply": "shelf steel"}, quantity_milli=12_000),
    ),
    (
        "alternates",
        "half and half",
        engine_peg("B5", quantity_milli=1_000)
        .plus(pegs=Peg("B5", 20, "ENGINE", "ENGINE", 1_000, "spare", "A", march(2)))
        .plus(supplies=Supply("spare", SupplyKind.STOCK, "ENGINE", "A", 1_000, march(2)))
        .rows("stock", {"part": "ENGINE", "point": "A"}, held_milli=0)
        .costs(alternates=Fraction(10)),
    ),
    (
        "alternates",
        "order, not approved",
        GOOD.planned("shipments", {"point": "Z"}, used="STEEL", supply="scrap steel")
        .plus(supplies=Supply("scrap steel", SupplyKind.STOCK, "STEEL", "Z", 3_000, march(2)))
        .more(stock=Stock(point="Z", part="STEEL", quantity_milli=3_000)),
    ),
    ("pegs", "another time than its supply", engine_peg("B3", usable=march(8))),
    (
        "pegs",
        "another part than its supply",
        engine_peg("B1", used="ENGINE", supply="shelf bolt").planned(
            "supplies", {"supply": "shelf bolt"}, quantity_milli=23_000
        ),
    ),
    (
        "pegs",
        "another point",
        engine_peg("B2", supply="far engine", usable=march(2), point="Z")
        .less("supplies", lambda row: row.supply != "moved engine")
        .costs(transfers=Fraction(0)),
    ),
    ("in time", "used a day too early", supply("late engine", usable=march(10))),
    (
        "in time",
        "a phantom's parts come too late",
        supply("B1/KIT", usable=march(3))
        .planned("pegs", {"job": "B1/KIT"}, supply="more bolts", usable=march(3))
        .plus(supplies=Supply("more bolts", SupplyKind.STOCK, "BOLT", "A", 4_000, march(3))),
    ),
    (
        "drawn",
        "ten of nine",
        GOOD.planned("supplies", {"supply": "shelf steel"}, quantity_milli=9_000),
    ),
    (
        "drawn",
        "less than nothing",
        GOOD.plus(supplies=Supply("owed", SupplyKind.STOCK, "STEEL", "A", -500, march(2))),
    ),
    (
        "stock",
        "what is held",
        GOOD.planned("supplies", {"supply": "shelf engine"}, quantity_milli=2_000),
    ),
    (
        "stock",
        "the same shelf twice",
        GOOD.plus(supplies=Supply("again", SupplyKind.STOCK, "ENGINE2", "A", 1_000, march(2))),
    ),
    ("stock", "yesterday", supply("shelf engine2", usable=march(1))),
    ("purchases", "before it is due", supply("late engine", usable=march(6))),
    ("purchases", "more than ordered", supply("late engine", quantity_milli=2_000)),
    ("purchases", "of no such line", supply("late engine", line="2")),
    (
        "new purchases",
        "placed yesterday",
        supply("new engines", place_on=date(2026, 3, 1), arrives_on=date(2026, 3, 6)),
    ),
    (
        "new purchases",
        "placed before orders may be",
        replace(GOOD, settings=replace(SETTINGS, orders_from=date(2026, 3, 3))),
    ),
    ("new purchases", "too fast", supply("new engines", arrives_on=date(2026, 3, 6))),
    ("new purchases", "usable on a closed day", supply("new engines", usable=march(7))),
    (
        "new purchases",
        "unhurried, yet as fast",
        supply("new engines", expedited=False).costs(expediting=Fraction(0)),
    ),
    (
        "new purchases",
        "nobody expedites",
        GOOD.rows("sources", {"part": "ENGINE"}, lead_days=5, expedite_days=None),
    ),
    (
        "new purchases",
        "below the minimum",
        GOOD.rows("sources", {"part": "ENGINE"}, minimum_milli=3_000),
    ),
    (
        "new purchases",
        "no multiple",
        GOOD.rows("sources", {"part": "ENGINE"}, multiple_milli=1_500),
    ),
    (
        "new purchases",
        "no source",
        supply("new engines", supplier="T").costs(expediting=Fraction(0)),
    ),
    # 1 of P1, counted on 03-09, and 2 new ones arrive in March
    (
        "monthly cap",
        "three of two",
        GOOD.rows("sources", {"part": "ENGINE"}, monthly_cap_milli=2_000),
    ),
    ("transfers", "no departure day", GOOD.rows("lanes", {"origin": "Z"}, weekdays=("Mon",))),
    (
        "transfers",
        "origin closed",
        GOOD.rows("lanes", {"origin": "Z"}, weekdays=()).planned(
            "supplies",
            {"supply": "moved engine"},
            leaves_on=date(2026, 3, 8),
            arrives_on=date(2026, 3, 10),
        ),
    ),
    ("transfers", "too fast", supply("moved engine", arrives_on=date(2026, 3, 4))),
    ("transfers", "usable before it arrives", supply("moved engine", usable=march(4))),
    ("transfers", "before it is there", supply("far engine", usable=march(4))),
    (
        "transfers",
        "against the lane",
        GOOD.rows("lanes", {"origin": "Z"}, origin="A", destination="Z").costs(
            transfers=Fraction(0)
        ),
    ),
    (
        "transfers",
        "of something else",
        supply("moved engine", from_supply="far bolt")
        .planned("supplies", {"supply": "far bolt"}, quantity_milli=4_000)
        .rows("stock", {"part": "BOLT", "point": "Z"}, quantity_milli=4_000),
    ),
    ("made", "usable before its job ends", supply("B1/FRAME", usable=march(2, "08:30"))),
    ("made", "usable before its components", supply("B1/KIT", usable=march(1))),
    (
        "made",
        "for another need",
        GOOD.planned(
            "pegs", {"supply": "B3/FRAME"}, supply="B4/FRAME", usable=march(2, "12:00")
        ).planned(
            "pegs", {"job": "B4", "operation": 10}, supply="B3/FRAME", usable=march(2, "11:00")
        ),
    ),
    (
        "ship dates",
        "another finish",
        GOOD.planned("builds", {"build": "B1"}, finish=march(2, "11:00")),
    ),
    ("ship dates", "another day", GOOD.planned("builds", {"build": "B1"}, ships=date(2026, 3, 3))),
    ("lateness", "late minutes", GOOD.planned("builds", {"build": "B5"}, late_minutes=479)),
    ("lateness", "late days", GOOD.planned("builds", {"build": "B1"}, late_days=1)),
    ("lateness", "lead days", GOOD.planned("builds", {"build": "B1"}, lead_days=27)),
    (
        "shipments",
        "arrives sooner",
        GOOD.planned("shipments", {"point": "A"}, arrives=date(2026, 3, 4)),
    ),
    ("shipments", "late days", GOOD.planned("shipments", {"point": "A"}, late_days=1)),
    (
        "shipments",
        "a day later than it can",
        GOOD.rows("parts_orders", {"order": "O1"}, promised=PROMISED).planned(
            "shipments", {"point": "Z"}, ships=date(2026, 3, 3), arrives=date(2026, 3, 4)
        ),
    ),
    (
        "shipments",
        "no way",
        GOOD.rows("deliveries", {"point": "Z"}, destination="US-NV").costs(deliveries=Fraction(5)),
    ),
    ("parts orders", "too little", GOOD.planned("shipments", {"point": "A"}, quantity_milli=1_000)),
    (
        "parts orders",
        "two halves",
        GOOD.planned("shipments", {"point": "A"}, quantity_milli=1_500).plus(
            shipments=replace(PLAN.shipments[0], quantity_milli=500)
        ),
    ),
    ("parts orders", "may not be split", GOOD.rows("parts_orders", {"order": "O1"}, split=False)),
    (
        "parts orders",
        "not shipped",
        GOOD.more(
            parts_orders=PartsOrder(
                order="O2",
                line="1",
                part="BOLT",
                quantity_milli=1_000,
                ordered=ORDERED,
                destination="US",
            )
        ),
    ),
    ("objective", "lateness", GOOD.costs(lateness=Fraction(999, 1000))),
    ("objective", "transfers", GOOD.costs(transfers=Fraction(100))),
    ("objective", "alternates", GOOD.costs(alternates=Fraction(10))),
    ("objective", "expediting", GOOD.costs(expediting=Fraction(30))),
    ("objective", "deliveries", GOOD.costs(deliveries=Fraction(14))),
    (
        "objective",
        "weighted late minutes",
        replace(GOOD, plan=replace(PLAN, weighted_late_minutes=Fraction(480))),
    ),
    ("bound", "above the objective", replace(GOOD, plan=replace(PLAN, bound=Fraction(241)))),
    ("bound", "optimal at a gap", replace(GOOD, plan=replace(PLAN, status=Status.OPTIMAL))),
    ("bound", "no plan at all", replace(GOOD, plan=replace(PLAN, status=Status.INFEASIBLE))),
]

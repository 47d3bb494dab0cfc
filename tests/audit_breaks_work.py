"""Plans of the audited shop that break one rule each: names, builds, jobs, operations, time."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from audited_shop import AS_OF, ORDERED, PLAN, SETTINGS, march
from fulfil_models.plan import (
    Peg,
    PlannedOperation,
    Stranded,
)
from fulfil_models.tables import (
    Alternate,
    Delivery,
    Downtime,
    Point,
    Progress,
    Source,
    Stock,
)
from shop_changes import (
    FINISHED,
    FROZEN,
    GHOST,
    GHOST_ORDER,
    GOOD,
    STARTED,
    Shop,
    engine_peg,
    new_build,
    operation,
    supply,
)

BREAKS: list[tuple[str, str, Shop]] = [
    ("names", "another planning date", replace(GOOD, settings=replace(SETTINGS, as_of=ORDERED))),
    ("names", "peg from no supply", engine_peg("B1", supply="nothing")),
    ("names", "peg of no job", engine_peg("B1", job="B0")),
    ("names", "peg of an unknown part", engine_peg("B1", used="MOTOR")),
    ("names", "build not in the data", GOOD.planned("builds", {"build": "B1"}, build="B0")),
    ("names", "job of no build", GOOD.planned("jobs", {"job": "B1/KIT"}, build="B0")),
    ("names", "job for no job", GOOD.planned("jobs", {"job": "B1/KIT"}, for_job="B0")),
    ("names", "job for itself", GOOD.planned("jobs", {"job": "B1/KIT"}, for_job="B1/KIT")),
    ("names", "job of an unknown part", GOOD.planned("jobs", {"job": "B1/KIT"}, part="BAG")),
    ("names", "operation of no job", operation("B1", 10, job="B0")),
    ("names", "unknown work centre", operation("B1", 10, work_centre="YARD")),
    ("names", "operation twice", GOOD.plus(operations=PLAN.operations[0])),
    ("names", "supply twice", GOOD.plus(supplies=PLAN.supplies[0])),
    ("names", "supply at an unknown point", supply("far bolt", point="Y")),
    ("names", "supply that lacks its order", supply("late engine", order=None)),
    ("names", "supply that tells too much", supply("far bolt", order="P1")),
    ("names", "move of no supply", supply("moved engine", from_supply="nothing")),
    ("names", "made by no job", supply("B1/KIT", job="B0")),
    ("names", "shipment of no line", GOOD.planned("shipments", {"point": "Z"}, line="9")),
    ("names", "shipment from no supply", GOOD.planned("shipments", {"point": "Z"}, supply="0")),
    ("builds", "firm and not planned", GOOD.more(builds=new_build())),
    ("builds", "planned and not firm", GOOD.rows("builds", {"build": "B1"}, status="quoted")),
    ("builds", "another promise", GOOD.planned("builds", {"build": "B1"}, promised=AS_OF)),
    ("builds", "another order date", GOOD.planned("builds", {"build": "B1"}, ordered=AS_OF)),
    ("builds", "another product", GOOD.planned("builds", {"build": "B1"}, product="FRAME")),
    ("builds", "another point", GOOD.planned("builds", {"build": "B1"}, point="Z")),
    ("builds", "GHOST build without a word", GHOST),
    (
        "stranded",
        "engines can still be ordered",
        GOOD.more(builds=new_build()).plus(stranded=Stranded("build", "B9", ("ENGINE",))),
    ),
    (
        "stranded",
        "a frame can still be made",
        GOOD.more(builds=new_build()).plus(stranded=Stranded("build", "B9", ("FRAME",))),
    ),
    (
        "stranded",
        "one GHOST is at Z",
        GHOST.more(stock=Stock(point="Z", part="GHOST", quantity_milli=1_000)).plus(
            stranded=Stranded("build", "B9", ("GHOST",))
        ),
    ),
    (
        "stranded",
        "a GHOST comes on the last day of the horizon",
        GHOST.more(
            sources=Source(part="GHOST", supplier="S", point="A", lead_days=800, expedite_days=70)
        ).plus(stranded=Stranded("build", "B9", ("GHOST",))),
    ),
    (
        "stranded",
        "the GHOST was issued already",
        GHOST.more(
            progress=Progress(
                build="B9", operation=10, started=march(2) - timedelta(3), finished=march(2)
            )
        ).plus(stranded=Stranded("build", "B9", ("GHOST",))),
    ),
    (
        "stranded",
        "half a GHOST at either of two points without a lane, for a line that may be split",
        GHOST_ORDER.more(
            points=Point(point="Y"), deliveries=Delivery(point="Y", destination="US", days=1)
        )
        .more(stock=Stock(point="Y", part="GHOST", quantity_milli=500))
        .more(stock=Stock(point="Z", part="GHOST", quantity_milli=500))
        .rows("builds", {"build": "B9"}, status="quoted")
        .less("stranded", lambda row: row.kind != "build"),
    ),
    (
        "stranded",
        "an alternate for an order's GHOST",
        GHOST_ORDER.more(alternates=Alternate(part="GHOST", alternate="STEEL", approved=True))
        .rows("builds", {"build": "B9"}, status="quoted")
        .less("stranded", lambda row: row.kind != "build"),
    ),
    ("stranded", "no such build", GOOD.plus(stranded=Stranded("build", "B0", ("GHOST",)))),
    ("stranded", "no kind", GOOD.plus(stranded=Stranded("machine", "B1", ("GHOST",)))),
    (
        "stranded",
        "shipped all the same",
        GOOD.rows("stock", {"part": "BOLT", "point": "A"}, quantity_milli=22_000).plus(
            stranded=Stranded("parts_order", "O1/1", ("BOLT",))
        ),
    ),
    ("jobs", "made of a bought part", GOOD.rows("parts", {"part": "FRAME"}, make=False)),
    (
        "jobs",
        "more made than is needed",
        GOOD.planned("jobs", {"job": "B1/KIT"}, quantity_milli=2_000)
        .planned("pegs", {"job": "B1/KIT"}, quantity_milli=8_000)
        .planned("supplies", {"supply": "shelf bolt"}, quantity_milli=26_000),
    ),
    (
        "jobs",
        "a build without its own job",
        GOOD.planned("jobs", {"job": "B1"}, for_job="B2", for_operation=20).planned(
            "supplies", {"supply": "B1/KIT"}, job="B1/KIT"
        ),
    ),
    ("operations", "one is missing", operation("B1", 10, operation=11)),
    (
        "operations",
        "one is not in the routing",
        GOOD.plus(operations=PlannedOperation("B3", 15, "CELL", march(4), march(4, "09:00"))),
    ),
    ("operations", "elsewhere", operation("B3", 10, work_centre="WELD")),
    (
        "operations",
        "at another point",
        GOOD.rows("work_centres", {"work_centre": "CELL"}, point="Z"),
    ),
    ("working time", "starts when closed", operation("B3", 10, start=march(2, "16:30"))),
    (
        "working time",
        "ends when closed",
        operation("B4", 10, start=march(2, "14:30"), end=march(3)),
    ),
    (
        "working time",
        "starts before the planning date",
        # A frame of nothing, so that only the Friday is wrong.
        operation(
            "B1/FRAME",
            10,
            start=march(2, "15:30") - timedelta(3),
            end=march(2, "16:30") - timedelta(3),
        )
        .rows("bills", {"component": "STEEL"}, ends=ORDERED - timedelta(1))
        .less("pegs", lambda peg: peg.part != "STEEL"),
    ),
    ("duration", "too long", operation("B3", 10, end=march(3, "10:30"))),
    ("duration", "too short", operation("B3", 10, start=march(3, "08:01"))),
    (
        "duration",
        "started and too short",
        STARTED.planned("operations", {"job": "B3", "operation": 10}, end=march(2, "08:30")),
    ),
    ("earliest", "two days early", GOOD.rows("builds", {"build": "B3"}, earliest=date(2026, 3, 4))),
    (
        "sequence",
        "before the one before",
        operation("B3", 10, start=march(9, "08:00"), end=march(9, "10:00")),
    ),
    (
        "sequence",
        "before it was finished",
        FINISHED.less("pegs", lambda p: p.job != "B3/FRAME" and (p.job, p.operation) != ("B3", 10))
        .less("jobs", lambda j: j.job != "B3/FRAME")
        .less("operations", lambda o: o.job != "B3/FRAME" and (o.job, o.operation) != ("B3", 10))
        .less("supplies", lambda s: s.supply != "B3/FRAME")
        .rows("progress", {"build": "B3"}, finished=march(9, "08:30")),
    ),
    (
        "stations",
        "two at once",
        operation("B4/FRAME", 10, start=march(2, "10:00"), end=march(2, "11:00")),
    ),
    (
        "stations",
        "one is out of use",
        GOOD.more(
            downtime=Downtime(
                work_centre="CELL", starts=march(3, "09:59"), ends=march(3, "12:00"), stations=1
            )
        ),
    ),
    (
        "stations",
        "both are used at once",
        GOOD.rows("routings", {"part": "MACHINE", "operation": 10}, stations=2),
    ),
    ("progress", "finished and still there", FINISHED),
    (
        "progress",
        "started at another time",
        STARTED.rows("progress", {"build": "B3"}, started=march(2, "14:30") - timedelta(3)).planned(
            "operations", {"job": "B3", "operation": 10}, start=march(2), end=march(2, "10:00")
        ),
    ),
    (
        "progress",
        "started, and issued again",
        STARTED.plus(
            pegs=Peg("B3", 10, "STEEL", "STEEL", 500, "shelf steel", "A", march(2))
        ).planned("supplies", {"supply": "shelf steel"}, quantity_milli=10_500),
    ),
    ("freeze", "moved though it could stay", FROZEN),
]

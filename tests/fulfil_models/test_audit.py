"""Each rule of the checker: a good plan passes, a plan that breaks one rule fails by that one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

import pytest
from audited_shop import AS_OF, DATA, ORDERED, PLAN, PROMISED, SETTINGS, changed, march
from fulfil_models.audit import RULES, audit
from fulfil_models.document import from_document, to_document
from fulfil_models.plan import (
    Peg,
    Plan,
    PlannedJob,
    PlannedOperation,
    Shipment,
    Status,
    Stranded,
    Supply,
    SupplyKind,
)
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    BillLine,
    Build,
    Dataset,
    Downtime,
    Part,
    PartsOrder,
    Progress,
    RoutingStep,
    Stock,
)


@dataclass(frozen=True)
class Shop:
    data: Dataset = DATA
    settings: Settings = SETTINGS
    plan: Plan = PLAN
    previous: Plan | None = None

    def broken(self) -> list[str]:
        found = audit(self.data, self.settings, self.plan, self.previous)
        return sorted({violation.rule for violation in found})

    def rows(self, table: str, wanted: dict[str, Any], **changes: Any) -> Shop:
        """With changes to rows of a table of the data."""
        rows = changed(self.data.rows(table), wanted, **changes)
        return replace(self, data=replace(self.data, **{table: rows}))

    def more(self, **rows: Any) -> Shop:
        """With one more row in tables of the data."""
        tables = {name: (*self.data.rows(name), row) for name, row in rows.items()}
        return replace(self, data=replace(self.data, **tables))

    def planned(self, part: str, wanted: dict[str, Any], **changes: Any) -> Shop:
        """With changes to a part of the plan."""
        rows = changed(getattr(self.plan, part), wanted, **changes)
        return replace(self, plan=replace(self.plan, **{part: rows}))

    def less(self, part: str, keep: Callable[[Any], bool]) -> Shop:
        """With only some rows of a part of the plan."""
        rows = getattr(self.plan, part)
        kept = tuple(row for row in rows if keep(row))
        assert len(kept) < len(rows), "nothing was taken out"
        return replace(self, plan=replace(self.plan, **{part: kept}))

    def plus(self, **rows: Any) -> Shop:
        """With one more row in parts of the plan."""
        parts = {name: (*getattr(self.plan, name), row) for name, row in rows.items()}
        return replace(self, plan=replace(self.plan, **parts))

    def costs(self, **kinds: Fraction) -> Shop:
        objective = replace(self.plan.objective, **kinds)
        return replace(self, plan=replace(self.plan, objective=objective))


GOOD = Shop()


def engine_peg(build: str, **changes: Any) -> Shop:
    return GOOD.planned("pegs", {"job": build, "part": "ENGINE"}, **changes)


def supply(name: str, **changes: Any) -> Shop:
    """With changes to a supply, which its pegs repeat."""
    shop = GOOD.planned("supplies", {"supply": name}, **changes)
    if "usable" in changes:
        shop = shop.planned("pegs", {"supply": name}, usable=changes["usable"])
    return shop


def operation(job: str, number: int, **changes: Any) -> Shop:
    return GOOD.planned("operations", {"job": job, "operation": number}, **changes)


def new_build(**changes: Any) -> Build:
    row = Build(
        build="B9", product="MACHINE", point="A", ordered=ORDERED, promised=PROMISED, weight_ppm=1
    )
    return replace(row, **changes)


GHOST = Shop().more(
    parts=Part(part="GHOST"),
    bills=BillLine(
        parent="MACHINE", component="GHOST", quantity_milli=1_000, starts=ORDERED + timedelta(1)
    ),
    builds=new_build(ordered=ORDERED + timedelta(1)),
)
"""build B9, ordered a day after the others, needs a GHOST, which nobody has"""

STARTED = (
    # Friday 15:30-16:30 and Monday 08:00-09:00 are the 120 minutes
    Shop()
    .more(
        progress=Progress(
            build="B3", operation=10, started=march(2, "15:30") - timedelta(3), finished=None
        )
    )
    .planned(
        "operations",
        {"job": "B3", "operation": 10},
        start=march(2, "15:30") - timedelta(3),
        end=march(2, "09:00"),
    )
    .less("pegs", lambda peg: peg.job != "B3/FRAME" and (peg.job, peg.operation) != ("B3", 10))
    .less("jobs", lambda job: job.job != "B3/FRAME")
    .less("operations", lambda row: row.job != "B3/FRAME")
    .less("supplies", lambda row: row.supply != "B3/FRAME")
)
"""operation 10 of B3 is going on; its frame was issued when it was started"""

FINISHED = Shop().more(
    progress=Progress(
        build="B3",
        operation=10,
        started=march(2, "12:30") - timedelta(3),
        finished=march(2, "14:30") - timedelta(3),
    )
)
"""operation 10 of B3 was finished on Friday; the plan still has it"""

FROZEN = replace(
    GOOD,
    settings=replace(SETTINGS, freeze_days=1),
    previous=operation("B3", 10, start=march(2, "14:00"), end=march(2, "16:00")).plan,
)
"""the plan before had B3 at CELL on Monday 14:00-16:00, beside B5; now it is there on Tuesday"""

SPLIT_MOVE = PlannedOperation("B3", 15, "CELL", march(4), march(4, "09:00"))

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
    ("operations", "one is not in the routing", GOOD.plus(operations=SPLIT_MOVE)),
    ("operations", "elsewhere", operation("B1", 10, work_centre="WELD")),
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
        operation("B1/FRAME", 10, start=march(2, "16:30") - timedelta(3)).planned(
            "supplies", {"supply": "shelf steel"}, usable=march(2)
        ),
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
    ("in time", "a phantom's parts come too late", supply("shelf bolt", usable=march(3))),
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


@pytest.mark.parametrize(
    ("rule", "shop"),
    [pytest.param(rule, shop, id=f"{rule}: {name}") for rule, name, shop in BREAKS],
)
def test_breaking_a_rule_is_found_under_its_name_and_no_other(rule: str, shop: Shop) -> None:
    assert shop.broken() == [rule]


def test_every_rule_has_a_plan_that_breaks_it() -> None:
    assert {rule for rule, _, _ in BREAKS} == {name for name, _ in RULES}


ALLOWED = {
    "all rules": GOOD,
    "costs as a document carries them": replace(GOOD, plan=from_document(to_document(PLAN))),
    # 2 x 10.001 is no binary fraction: 20.002 is carried as the nearest one
    "a cost that is no binary fraction": replace(
        GOOD.rows("alternates", {"alternate": "ENGINE2"}, extra_cost_micro=10_001_000),
        plan=from_document(to_document(GOOD.costs(alternates=Fraction(20_002, 1000)).plan)),
    ),
    "a build left out for its GHOST": GHOST.plus(stranded=Stranded("build", "B9", ("GHOST",))),
    "a second build after the last GHOST": GHOST.more(
        stock=Stock(point="A", part="GHOST", quantity_milli=500)
    ).plus(stranded=Stranded("build", "B9", ("GHOST",))),
    "an order line for a GHOST": GHOST.more(
        parts_orders=PartsOrder(
            order="O2",
            line="1",
            part="GHOST",
            quantity_milli=1_000,
            ordered=ORDERED,
            destination="US",
        )
    )
    .plus(stranded=Stranded("parts_order", "O2/1", ("GHOST",)))
    .plus(stranded=Stranded("build", "B9", ("GHOST",))),
    "a quoted build": GOOD.more(builds=new_build(status="quoted")),
    "a started operation": STARTED,
    # 45 minutes of Friday and none of Monday, where 45 were needed: over, but not recorded so
    "a started operation whose time is up": STARTED.rows(
        "routings",
        {"part": "MACHINE", "operation": 10},
        minutes_milli=24_100,
    )
    .planned("operations", {"job": "B3", "operation": 10}, end=march(2))
    .planned("operations", {"job": "B1", "operation": 10}, end=march(2, "09:45"))
    .planned("operations", {"job": "B2", "operation": 10}, end=march(2, "10:45"))
    .planned("operations", {"job": "B4", "operation": 10}, end=march(3, "08:45"))
    .planned("operations", {"job": "B5", "operation": 10}, end=march(2, "14:15")),
    "a started operation beside downtime": STARTED.more(
        downtime=Downtime(
            work_centre="CELL", starts=march(2, "08:00"), ends=march(2, "08:30"), stations=2
        )
    ),
    # With one station out at 14:00 and B5 at the other, the old slot is gone.
    "a frozen operation whose slot is gone": FROZEN.more(
        downtime=Downtime(
            work_centre="CELL", starts=march(2, "15:00"), ends=march(2, "15:30"), stations=1
        )
    ),
    "a frozen operation whose frame comes later": replace(
        FROZEN,
        previous=operation("B3", 10, start=march(2, "10:30"), end=march(2, "13:00")).plan,
    ),
    "a frozen operation that has been started": replace(
        STARTED, settings=FROZEN.settings, previous=FROZEN.previous
    ),
    "an operation moved beyond the freeze": replace(
        FROZEN, previous=operation("B3", 10, start=march(4), end=march(4, "10:00")).plan
    ),
    "an alternate that is rounded up": GOOD.rows(
        # 1 x 1.5 in whole units is 2
        "alternates",
        {"alternate": "ENGINE2"},
        ratio_ppm=1_500_000,
    ),
    "a supply said to be usable later than it is": supply("far engine", usable=march(3)),
    "a need from two supplies": GOOD.planned(
        "pegs", {"job": "B1/FRAME"}, quantity_milli=1_500
    ).plus(pegs=Peg("B1/FRAME", 10, "STEEL", "STEEL", 500, "shelf steel", "A", march(2))),
    "a phantom usable as soon as its bolts": supply("B1/KIT", usable=march(2)),
}


@pytest.mark.parametrize("name", ALLOWED)
def test_what_the_rules_allow_is_not_found_fault_with(name: str) -> None:
    shop = ALLOWED[name]
    assert audit(shop.data, shop.settings, shop.plan, shop.previous) == ()


def test_a_violation_names_rule_subject_and_what_is_wrong() -> None:
    shop = supply("late engine", usable=march(6))
    (violation,) = audit(shop.data, shop.settings, shop.plan)
    # P1 was due on 02-20; 03-02 + 7 days is Monday 03-09, opening at 08:00
    assert violation.text() == (
        "purchases: supply late engine is usable 2026-03-06 08:00:00, "
        "it comes by 2026-03-09 08:00:00"
    )


def test_an_order_ships_an_alternate_wholly() -> None:
    """Two engines as four of the alternate, whose extra cost is 4 x 10 = 40."""
    shop = (
        Shop()
        .more(
            parts_orders=PartsOrder(
                order="O2",
                line="1",
                part="ENGINE",
                quantity_milli=2_000,
                ordered=ORDERED,
                destination="US-NV",
                within_days=30,
            )
        )
        .rows("stock", {"part": "ENGINE2"}, quantity_milli=6_000)
        .planned("supplies", {"supply": "shelf engine2"}, quantity_milli=6_000)
        .plus(
            shipments=Shipment(
                "O2",
                "1",
                "ENGINE",
                "ENGINE2",
                4_000,
                "shelf engine2",
                "A",
                AS_OF,
                date(2026, 3, 4),
                0,
            )
        )
        .costs(alternates=Fraction(20 + 40), deliveries=Fraction(9 + 5))
    )
    assert audit(shop.data, shop.settings, shop.plan) == ()
    assert shop.planned("shipments", {"order": "O2"}, quantity_milli=3_000).costs(
        alternates=Fraction(20 + 30)
    ).broken() == ["parts orders"]


def test_late_lines_cost_by_calendar_day() -> None:
    """Bolts to ship by Friday 02-27 leave on Monday 03-02: 3 days at weight 0.5 x 1000 = 1500.

    The two shipments of the line are one lateness, the worse of the two.
    """
    shop = (
        Shop()
        .rows("parts_orders", {"order": "O1"}, promised=AS_OF - timedelta(3), weight_ppm=500_000)
        .planned("shipments", {"order": "O1"}, late_days=3)
    )
    assert shop.costs(lateness=Fraction(1 + 1500)).broken() == []
    assert shop.broken() == ["objective"]


def test_deliver_by_is_counted_in_carrier_days() -> None:
    """Ordered Monday 02-02, within 20 carrier days: by Monday 03-02. From A it arrives on
    Thursday 03-05, 3 days late; from Z on Tuesday, 1. The line is 3 days late."""
    shop = (
        Shop()
        .rows("parts_orders", {"order": "O1"}, promised=None, within_days=20)
        .planned("shipments", {"point": "A"}, late_days=3)
        .planned("shipments", {"point": "Z"}, late_days=1)
    )
    assert shop.costs(lateness=Fraction(1 + 3000)).broken() == []


def test_a_line_without_a_date_is_late_from_the_planning_date_at_a_thousandth() -> None:
    """With the far bolts usable only on Tuesday they ship a day after 03-02: 0.001 x 1000 = 1."""
    shop = (
        Shop()
        .rows("parts_orders", {"order": "O1"}, promised=None)
        .planned("supplies", {"supply": "far bolt"}, usable=march(2, "08:01"))
        .planned(
            "shipments",
            {"point": "Z"},
            ships=date(2026, 3, 3),
            arrives=date(2026, 3, 4),
            late_days=1,
        )
    )
    assert shop.costs(lateness=Fraction(1 + 1)).broken() == []


def test_a_build_that_is_all_done_ships_from_the_planning_date_on() -> None:
    """Finished on Friday 02-27 and still here: it leaves on Monday 03-02, 28 days after its order."""
    friday = march(2, "14:30") - timedelta(3)
    shop = (
        FINISHED.more(progress=Progress(build="B3", operation=20, started=friday, finished=friday))
        .less("pegs", lambda peg: not peg.job.startswith("B3"))
        .less("jobs", lambda job: not job.job.startswith("B3/"))
        .less("operations", lambda row: not row.job.startswith("B3"))
        .less("supplies", lambda row: row.job is None or not row.job.startswith("B3"))
        .planned(
            "builds",
            {"build": "B3"},
            finish=friday,
            ships=AS_OF,
            lead_days=(AS_OF - ORDERED).days,
        )
    )
    assert audit(shop.data, shop.settings, shop.plan) == ()
    assert shop.planned("builds", {"build": "B3"}, ships=date(2026, 2, 27)).broken() == [
        "ship dates"
    ]


def test_two_jobs_may_not_share_a_need() -> None:
    shop = (
        Shop()
        .rows("bills", {"component": "KIT"}, quantity_milli=2_000)
        .more(stock=Stock(point="A", part="KIT", quantity_milli=4_000))
        .planned("pegs", {"part": "KIT"}, quantity_milli=1_000)
    )
    kits = tuple(
        Peg(build, 20, "KIT", "KIT", 1_000, "kits", "A", march(2))
        for build in ("B2", "B3", "B4", "B5")
    )
    again = PlannedJob("B1/KIT2", "B1", "KIT", 1_000, "B1", 20)
    plan = shop.plan
    plan = replace(
        plan,
        jobs=(*plan.jobs, again),
        pegs=(
            *plan.pegs,
            *kits,
            Peg("B1", 20, "KIT", "KIT", 1_000, "more kits", "A", march(2)),
            Peg("B1/KIT2", None, "BOLT", "BOLT", 4_000, "shelf bolt", "A", march(2)),
        ),
        supplies=(
            *changed(plan.supplies, {"supply": "shelf bolt"}, quantity_milli=26_000),
            Supply("kits", SupplyKind.STOCK, "KIT", "A", 4_000, march(2)),
            Supply("more kits", SupplyKind.JOB, "KIT", "A", 1_000, march(2), job="B1/KIT2"),
        ),
    )
    found = audit(shop.data, shop.settings, plan)
    assert [(v.rule, v.subject) for v in found] == [("jobs", "job B1/KIT2")]


def test_a_step_of_no_minutes_takes_no_station() -> None:
    """A look-over of no minutes between CELL and TEST, on B1's station, changes nothing else."""
    shop = Shop().more(
        routings=RoutingStep(part="MACHINE", operation=15, work_centre="TEST", minutes_milli=0)
    )
    looks = tuple(
        PlannedOperation(row.job, 15, "TEST", row.end, row.end)
        for row in PLAN.operations
        if row.operation == 10 and "/" not in row.job
    )
    plan = replace(PLAN, operations=(*PLAN.operations, *looks))
    assert audit(shop.data, shop.settings, plan) == ()

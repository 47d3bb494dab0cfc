"""Each rule of the checker: a good plan passes, a plan that breaks one rule fails by that one."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction

import audit_breaks_parts
import audit_breaks_work
import pytest
from audited_shop import AS_OF, ORDERED, PLAN, SETTINGS, changed, march
from fulfil_models.audit import RULES, audit
from fulfil_models.document import from_document, to_document
from fulfil_models.plan import (
    Peg,
    PlannedJob,
    PlannedOperation,
    Shipment,
    Stranded,
    Supply,
    SupplyKind,
)
from fulfil_models.tables import (
    Alternate,
    Delivery,
    Downtime,
    PartsOrder,
    Point,
    Progress,
    RoutingStep,
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
    new_build,
    operation,
    supply,
)

BREAKS = [*audit_breaks_work.BREAKS, *audit_breaks_parts.BREAKS]


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
    "an order line for a GHOST": GHOST_ORDER,
    "an order line for a GHOST that may not be split": GHOST_ORDER.rows(
        "parts_orders", {"order": "O2"}, split=False
    )
    .more(points=Point(point="Y"), deliveries=Delivery(point="Y", destination="US", days=1))
    .more(stock=Stock(point="Y", part="GHOST", quantity_milli=500))
    .more(stock=Stock(point="Z", part="GHOST", quantity_milli=500)),
    "an order line for a GHOST of which there is half": GHOST_ORDER.more(
        alternates=Alternate(part="GHOST", alternate="STEEL", approved=False),
        stock=Stock(point="Z", part="GHOST", quantity_milli=500),
    ),
    # 800 days from now less 69 are 731, one more than the horizon
    # 730 days after 3 March are 731 from the planning date; engines come on Sunday the 8th
    "a GHOST beyond the horizon, as orders wait a day": replace(
        GHOST.more(
            sources=Source(part="GHOST", supplier="S", point="A", lead_days=800, expedite_days=70)
        )
        .plus(stranded=Stranded("build", "B9", ("GHOST",)))
        .planned(
            "supplies",
            {"supply": "new engines"},
            place_on=date(2026, 3, 3),
            arrives_on=date(2026, 3, 8),
        ),
        settings=replace(SETTINGS, orders_from=date(2026, 3, 3)),
    ),
    "a GHOST that comes beyond the horizon": GHOST.more(
        sources=Source(part="GHOST", supplier="S", point="A", lead_days=800, expedite_days=69)
    ).plus(stranded=Stranded("build", "B9", ("GHOST",))),
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
        "purchases: supply late engine is usable 2026-03-06 08:00, it comes by 2026-03-09 08:00"
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
    """Finished on Friday 02-27 and still here: it leaves on Monday 03-02, 28 days after 02-02."""
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

"""A shop of five builds and one parts order, with a plan by hand that keeps every rule.

Work runs Mon-Fri 08:00-12:00 and 12:30-16:30; the planning date is Monday 2026-03-02. A machine
takes 120 minutes at CELL (two stations), then 60 at TEST (one). Its frame takes 60 at WELD and is
needed at CELL; a kit of four bolts (a phantom) and an engine are needed at TEST. Engines are short:

B1  takes the one free engine on the shelf at A (a second is held).
B2  has one moved from Z: leaves Tuesday 03-03, there Thursday 03-05.
B3  waits for purchase P1/1, due 02-20 and past due, so counted on 03-09.
B4  waits for a new order, expedited: placed 03-02, 10 - 5 = 5 days, there on Saturday 03-07, so
    usable on Monday 03-09. The least order is two; 2 x 30 for expediting.
B5  takes two of the alternate engine, at 10 each. It is not promised: due at once, weight 0.001.
O1/1  five bolts, shipped at once: two from A (5 a delivery), three from Z (4).

Cost: B5 ends Monday 16:30, 480 minutes after the opening, a standard day: 0.001 x 1 x 1000 = 1;
moving 50 + 100 kg x 1 = 150; alternates 2 x 10 = 20; expediting 60; deliveries 5 + 4 = 9.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from fractions import Fraction
from typing import Any, TypeVar

from fulfil_models.plan import (
    Objective,
    Peg,
    Plan,
    PlannedBuild,
    PlannedJob,
    PlannedOperation,
    Shipment,
    Status,
    Supply,
    SupplyKind,
)
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    Alternate,
    BillLine,
    Build,
    Dataset,
    Delivery,
    Lane,
    Part,
    PartsOrder,
    Point,
    Purchase,
    RoutingStep,
    Source,
    Stock,
    Supplier,
    WorkCentre,
)

AS_OF = date(2026, 3, 2)
ORDERED = date(2026, 2, 2)
PROMISED = date(2026, 6, 30)
SETTINGS = Settings(as_of=AS_OF)
RowT = TypeVar("RowT")


def march(day: int, clock: str = "08:00") -> datetime:
    return datetime.fromisoformat(f"2026-03-{day:02d}T{clock}")


def changed(rows: tuple[RowT, ...], wanted: dict[str, Any], /, **changes: Any) -> tuple[RowT, ...]:
    """The rows, with changes to every one that has the wanted values.

    Raises AssertionError where none has: a test that changes nothing tests nothing.
    """
    found = [all(getattr(row, k) == v for k, v in wanted.items()) for row in rows]
    assert any(found), f"no row with {wanted}"
    # a type variable cannot say "any of the row classes", and `replace` wants a dataclass
    return tuple(
        replace(row, **changes) if hit else row  # type: ignore[type-var]
        for row, hit in zip(rows, found, strict=True)
    )


DATA = Dataset(
    points=(Point(point="A"), Point(point="Z")),
    parts=(
        Part(part="MACHINE", make=True, family="machines"),
        Part(part="FRAME", make=True),
        Part(part="KIT", make=True),
        Part(part="STEEL", step_milli=500),
        Part(part="BOLT"),
        Part(part="ENGINE", weight_g=100_000),
        Part(part="ENGINE2"),
        Part(part="ENGINE3"),
    ),
    bills=(
        # 1.5 / (1 - 0.1) = 1.67, in steps of 0.5: 2
        BillLine(parent="FRAME", component="STEEL", quantity_milli=1_500, scrap_ppm=100_000),
        BillLine(parent="KIT", component="BOLT", quantity_milli=4_000),
        BillLine(parent="MACHINE", component="FRAME", quantity_milli=1_000),
        BillLine(parent="MACHINE", component="KIT", quantity_milli=1_000, operation=20),
        BillLine(parent="MACHINE", component="ENGINE", quantity_milli=1_000, operation=20),
    ),
    alternates=(
        Alternate(
            part="ENGINE",
            alternate="ENGINE2",
            ratio_ppm=2_000_000,
            extra_cost_micro=10_000_000,
            approved=True,
        ),
        Alternate(part="ENGINE", alternate="ENGINE3"),
    ),
    suppliers=(Supplier(supplier="S"),),
    sources=(
        Source(
            part="ENGINE",
            supplier="S",
            point="A",
            lead_days=10,
            minimum_milli=2_000,
            multiple_milli=1_000,
            monthly_cap_milli=3_000,
            expedite_days=5,
            expedite_cost_micro=30_000_000,
        ),
    ),
    stock=(
        Stock(point="A", part="ENGINE", quantity_milli=2_000, held_milli=1_000),
        Stock(point="A", part="ENGINE2", quantity_milli=2_000),
        Stock(point="A", part="STEEL", quantity_milli=20_000),
        Stock(point="A", part="BOLT", quantity_milli=50_000),
        Stock(point="Z", part="ENGINE", quantity_milli=1_000),
        Stock(point="Z", part="BOLT", quantity_milli=3_000),
    ),
    purchases=(
        Purchase(
            order="P1",
            line="1",
            part="ENGINE",
            supplier="S",
            point="A",
            quantity_milli=1_000,
            ordered=date(2026, 1, 5),
            due=date(2026, 2, 20),
        ),
    ),
    lanes=(
        Lane(
            origin="Z",
            destination="A",
            days=2,
            weekdays=("Tue",),
            cost_per_move_micro=50_000_000,
            cost_per_kg_micro=1_000_000,
        ),
    ),
    work_centres=(
        WorkCentre(work_centre="WELD", point="A"),
        WorkCentre(work_centre="CELL", point="A", stations=2),
        WorkCentre(work_centre="TEST", point="A"),
    ),
    routings=(
        RoutingStep(part="FRAME", operation=10, work_centre="WELD", minutes_milli=60_000),
        RoutingStep(
            part="MACHINE",
            operation=10,
            work_centre="CELL",
            minutes_milli=100_000,
            setup_milli=20_900,  # 120.9 minutes: whole minutes count
        ),
        RoutingStep(part="MACHINE", operation=20, work_centre="TEST", minutes_milli=60_000),
    ),
    builds=tuple(
        Build(
            build=name,
            product="MACHINE",
            point="A",
            ordered=ORDERED,
            promised=None if name == "B5" else PROMISED,
        )
        for name in ("B1", "B2", "B3", "B4", "B5")
    ),
    deliveries=(
        Delivery(point="A", destination="US", days=2, cost_micro=5_000_000),
        Delivery(point="A", destination="US-OH", days=3, cost_micro=5_000_000),
        Delivery(point="Z", destination="US", days=1, cost_micro=4_000_000),
    ),
    parts_orders=(
        PartsOrder(
            order="O1",
            line="1",
            part="BOLT",
            quantity_milli=5_000,
            ordered=ORDERED,
            destination="US-OH-430",
            promised=AS_OF,
        ),
    ),
)

FRAMES = {
    "B1": (march(2), march(2, "09:00")),
    "B2": (march(2, "09:00"), march(2, "10:00")),
    "B3": (march(2, "10:00"), march(2, "11:00")),
    "B4": (march(2, "11:00"), march(2, "12:00")),
    "B5": (march(2, "12:30"), march(2, "13:30")),
}
CELLS = {
    "B1": (march(2, "09:00"), march(2, "11:00")),
    "B2": (march(2, "10:00"), march(2, "12:00")),
    "B3": (march(3), march(3, "10:00")),
    "B4": (march(3), march(3, "10:00")),
    "B5": (march(2, "13:30"), march(2, "15:30")),
}
TESTS = {
    "B1": (march(2, "11:00"), march(2, "12:00")),
    "B2": (march(5), march(5, "09:00")),
    "B3": (march(9), march(9, "09:00")),
    "B4": (march(9, "09:00"), march(9, "10:00")),
    "B5": (march(2, "15:30"), march(2, "16:30")),
}
STOCK_AT = march(2)
SUPPLIES = {
    supply.supply: supply
    for supply in (
        Supply("shelf engine", SupplyKind.STOCK, "ENGINE", "A", 1_000, STOCK_AT),
        Supply("shelf engine2", SupplyKind.STOCK, "ENGINE2", "A", 2_000, STOCK_AT),
        Supply("shelf steel", SupplyKind.STOCK, "STEEL", "A", 10_000, STOCK_AT),
        Supply("shelf bolt", SupplyKind.STOCK, "BOLT", "A", 22_000, STOCK_AT),
        Supply("far bolt", SupplyKind.STOCK, "BOLT", "Z", 3_000, STOCK_AT),
        Supply("far engine", SupplyKind.STOCK, "ENGINE", "Z", 1_000, STOCK_AT),
        Supply(
            "moved engine",
            SupplyKind.TRANSFER,
            "ENGINE",
            "A",
            1_000,
            march(5),
            origin="Z",
            from_supply="far engine",
            leaves_on=date(2026, 3, 3),
            arrives_on=date(2026, 3, 5),
        ),
        Supply(
            "late engine",
            SupplyKind.PURCHASE,
            "ENGINE",
            "A",
            1_000,
            march(9),
            order="P1",
            line="1",
        ),
        Supply(
            "new engines",
            SupplyKind.NEW_PURCHASE,
            "ENGINE",
            "A",
            2_000,
            march(9),
            supplier="S",
            place_on=AS_OF,
            arrives_on=date(2026, 3, 7),
            expedited=True,
        ),
    )
}
ENGINE_OF = {
    "B1": "shelf engine",
    "B2": "moved engine",
    "B3": "late engine",
    "B4": "new engines",
    "B5": "shelf engine2",
}


def _peg(job: str, operation: int | None, part: str, quantity_milli: int, supply: Supply) -> Peg:
    return Peg(
        job,
        operation,
        part,
        supply.part,
        quantity_milli,
        supply.supply,
        supply.point,
        supply.usable,
    )


def _made(build: str, part: str, usable: datetime) -> Supply:
    name = f"{build}/{part}"
    return Supply(name, SupplyKind.JOB, part, "A", 1_000, usable, job=name)


def _pegs(build: str) -> list[Peg]:
    engine = SUPPLIES[ENGINE_OF[build]]
    return [
        _peg(f"{build}/FRAME", 10, "STEEL", 2_000, SUPPLIES["shelf steel"]),
        _peg(f"{build}/KIT", None, "BOLT", 4_000, SUPPLIES["shelf bolt"]),
        _peg(build, 10, "FRAME", 1_000, _made(build, "FRAME", FRAMES[build][1])),
        _peg(build, 20, "KIT", 1_000, _made(build, "KIT", TESTS[build][0])),
        _peg(build, 20, "ENGINE", 2_000 if build == "B5" else 1_000, engine),
    ]


def _build(build: str) -> PlannedBuild:
    finish = TESTS[build][1]
    return PlannedBuild(
        build=build,
        product="MACHINE",
        point="A",
        ordered=ORDERED,
        promised=None if build == "B5" else PROMISED,
        finish=finish,
        ships=finish.date(),
        late_minutes=480 if build == "B5" else 0,
        late_days=0,
        lead_days=(finish.date() - ORDERED).days,
    )


PLAN = Plan(
    as_of=AS_OF,
    status=Status.FEASIBLE,
    objective=Objective(
        lateness=Fraction(1),
        transfers=Fraction(150),
        alternates=Fraction(20),
        expediting=Fraction(60),
        deliveries=Fraction(9),
    ),
    bound=Fraction(50),
    weighted_late_minutes=Fraction(480, 1000),
    builds=tuple(_build(build) for build in TESTS),
    jobs=tuple(
        job
        for build in TESTS
        for job in (
            PlannedJob(build, build, "MACHINE", 1_000),
            PlannedJob(f"{build}/FRAME", build, "FRAME", 1_000, build, 10),
            PlannedJob(f"{build}/KIT", build, "KIT", 1_000, build, 20),
        )
    ),
    operations=tuple(
        operation
        for build in TESTS
        for operation in (
            PlannedOperation(f"{build}/FRAME", 10, "WELD", *FRAMES[build]),
            PlannedOperation(build, 10, "CELL", *CELLS[build]),
            PlannedOperation(build, 20, "TEST", *TESTS[build]),
        )
    ),
    pegs=tuple(peg for build in TESTS for peg in _pegs(build)),
    shipments=(
        Shipment("O1", "1", "BOLT", "BOLT", 2_000, "shelf bolt", "A", AS_OF, date(2026, 3, 5), 0),
        Shipment("O1", "1", "BOLT", "BOLT", 3_000, "far bolt", "Z", AS_OF, date(2026, 3, 3), 0),
    ),
    supplies=(
        *SUPPLIES.values(),
        *(_made(build, "FRAME", FRAMES[build][1]) for build in TESTS),
        *(_made(build, "KIT", TESTS[build][0]) for build in TESTS),
    ),
)

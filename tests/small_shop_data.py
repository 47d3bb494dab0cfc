"""The data of the shop of six builds: what is ordered, on the shelf, to come and to be done.

The plan that goes with it, and the story of each build, are in `small_shop`.
"""

from __future__ import annotations

from datetime import date, datetime

from fulfil_models.tables import (
    Alternate,
    BillLine,
    Build,
    BuildOption,
    Dataset,
    Delivery,
    Downtime,
    Lane,
    Part,
    PartsOrder,
    Point,
    PriceBreak,
    Purchase,
    Rating,
    RegionRule,
    RoutingStep,
    Setting,
    Source,
    Stock,
    Supplier,
    WorkCentre,
)

AS_OF = date(2026, 3, 2)
MICRO = 1_000_000


def march(day: int, clock: str = "08:00") -> datetime:
    return datetime.fromisoformat(f"2026-03-{day:02d}T{clock}")


def _rating(part: str, rating: str, value: str, unit: str) -> Rating:
    return Rating(part=part, rating=rating, value_micro=round(float(value) * MICRO), unit=unit)


def _build(build: str, promised: date | None, destination: str, **more: object) -> Build:
    fields: dict[str, object] = {
        "product": "TOWER",
        "point": "BOI",
        "ordered": date(2026, 2, 2),
        "customer": f"Customer of {build}",
    }
    fields |= more
    if promised is not None:
        fields["promised"] = promised
    return Build(build=build, destination=destination, **fields)  # type: ignore[arg-type]


def dataset() -> Dataset:
    return Dataset(
        settings=(Setting(key="as_of", value="2026-03-02"),),
        points=(
            Point(point="BOI", name="Plant", region="US-ID"),
            Point(point="RNO", name="Store", region="US-NV"),
        ),
        parts=(
            Part(part="TOWER", description="light tower", family="tower", make=True),
            Part(part="TOWER-X", description="tower of the future", family="tower", make=True),
            Part(part="MAST", description="mast", make=True),
            Part(part="KIT", description="hardware kit", make=True),
            Part(
                part="ENG-A",
                description="engine 8 hp",
                weight_g=40_000,
                caution="ship dry: ask the carrier",
            ),
            Part(part="ENG-B", description="engine 13 hp", weight_g=47_000),
            Part(part="PUMP", description="diaphragm pump"),
            Part(part="VALVE", description="check valve"),
            Part(part="BOLT", description="bolt"),
            Part(part="LAMP", description="lamp", weight_g=1_000),
            Part(part="GHOST", description="nobody has it"),
        ),
        bills=(
            BillLine(parent="TOWER", component="ENG-A", quantity_milli=1000, operation=10),
            BillLine(parent="TOWER", component="PUMP", quantity_milli=1000, operation=10),
            BillLine(parent="TOWER", component="MAST", quantity_milli=1000, operation=20),
            BillLine(parent="TOWER", component="KIT", quantity_milli=1000, operation=20),
            BillLine(parent="TOWER-X", component="GHOST", quantity_milli=1000),
            BillLine(parent="MAST", component="BOLT", quantity_milli=4000),
            BillLine(parent="KIT", component="BOLT", quantity_milli=8000, scrap_ppm=100_000),
        ),
        alternates=(
            Alternate(part="ENG-A", alternate="ENG-B", extra_cost_micro=100 * MICRO, approved=True),
        ),
        suppliers=(Supplier(supplier="S1", name="First Works"),),
        sources=(
            Source(
                part="ENG-A",
                supplier="S1",
                point="BOI",
                lead_days=21,
                price_micro=1500 * MICRO,
                monthly_cap_milli=2000,
            ),
        ),
        price_breaks=(
            PriceBreak(
                part="ENG-A", supplier="S1", from_quantity_milli=5000, price_micro=1400 * MICRO
            ),
        ),
        stock=(
            Stock(point="BOI", part="ENG-A", quantity_milli=2000, held_milli=1000),
            Stock(point="RNO", part="ENG-A", quantity_milli=1000),
            Stock(point="BOI", part="ENG-B", quantity_milli=1000),
            Stock(point="BOI", part="PUMP", quantity_milli=10_000),
            Stock(point="BOI", part="VALVE", quantity_milli=5000),
            Stock(point="BOI", part="BOLT", quantity_milli=500_000),
            Stock(point="BOI", part="LAMP", quantity_milli=2000),
            Stock(point="RNO", part="LAMP", quantity_milli=3000),
        ),
        purchases=(
            Purchase(
                order="P1",
                line="1",
                part="ENG-A",
                supplier="S1",
                point="BOI",
                quantity_milli=1000,
                ordered=date(2026, 2, 20),
                due=date(2026, 3, 16),
                confirmed=False,
            ),
            Purchase(
                order="P2",
                line="1",
                part="LAMP",
                supplier="S1",
                point="BOI",
                quantity_milli=10_000,
                ordered=date(2026, 1, 20),
                due=date(2026, 2, 20),
            ),
        ),
        lanes=(
            Lane(
                origin="RNO",
                destination="BOI",
                days=2,
                weekdays=("Tue",),
                cost_per_move_micro=50 * MICRO,
                cost_per_kg_micro=MICRO // 2,
            ),
        ),
        work_centres=(
            WorkCentre(work_centre="ASSY", point="BOI", stations=2),
            WorkCentre(work_centre="TEST", point="BOI"),
            WorkCentre(work_centre="WELD", point="BOI"),
        ),
        downtime=(
            Downtime(work_centre="ASSY", starts=march(4), ends=march(4, "16:30"), stations=1),
        ),
        routings=(
            RoutingStep(part="TOWER", operation=10, work_centre="ASSY", minutes_milli=240_000),
            RoutingStep(part="TOWER", operation=20, work_centre="TEST", minutes_milli=120_000),
            RoutingStep(part="TOWER-X", operation=10, work_centre="ASSY", minutes_milli=60_000),
            RoutingStep(part="MAST", operation=10, work_centre="WELD", minutes_milli=60_000),
        ),
        builds=(
            _build("B1", date(2026, 3, 6), "US-ID"),
            _build("B2", date(2026, 3, 3), "US-CA"),
            _build("B3", date(2026, 3, 4), "US-ID"),
            _build("B4", date(2026, 3, 10), "US-OR"),
            _build("B5", None, "US-ID"),
            _build("B6", date(2026, 4, 1), "US-ID", product="TOWER-X"),
            _build("Q1", None, "US-ID", status="quoted"),
        ),
        build_options=(BuildOption(build="B1", component="PUMP", quantity_milli=1000),),
        region_rules=(
            RegionRule(
                region="US-CA",
                family="tower",
                component="VALVE",
                quantity_milli=1000,
                note="backflow protection",
            ),
        ),
        ratings=(
            _rating("ENG-A", "shaft_power", "8", "hp"),
            _rating("ENG-A", "speed", "3600", "rpm"),
            _rating("ENG-B", "shaft_power", "13", "hp"),
            _rating("ENG-B", "speed", "3600", "rpm"),
            _rating("PUMP", "flow", "15", "gpm"),
            _rating("PUMP", "pressure", "580", "psi"),
            _rating("PUMP", "efficiency", "0.85", "1"),
        ),
        deliveries=(
            Delivery(
                point="RNO",
                destination="US-NV",
                days=1,
                cost_micro=8 * MICRO,
                cost_per_kg_micro=MICRO,
            ),
            Delivery(
                point="BOI",
                destination="US-NV",
                days=2,
                cost_micro=12 * MICRO,
                cost_per_kg_micro=MICRO,
            ),
            Delivery(
                point="BOI",
                destination="US-ID",
                days=1,
                cost_micro=5 * MICRO,
                cost_per_kg_micro=MICRO,
            ),
        ),
        parts_orders=(
            PartsOrder(
                order="O1",
                line="1",
                part="LAMP",
                quantity_milli=5000,
                ordered=date(2026, 3, 1),
                destination="US-NV",
                promised=date(2026, 3, 4),
            ),
            PartsOrder(
                order="O2",
                line="1",
                part="LAMP",
                quantity_milli=4000,
                ordered=date(2026, 2, 20),
                destination="US-ID",
                promised=date(2026, 2, 27),
            ),
        ),
    )

"""A shop of six builds with a plan worked out by hand, for tests of what is asked of a plan.

All work runs Mon-Fri 08:00-12:00 and 12:30-16:30 at BOI; the planning date is Monday 2026-03-02. A
tower takes 240 minutes of assembly (two stations), then 120 of test (one station); its mast takes
60 of welding and has to be there before the test. Engines ENG-A are short:

B1  takes the free engine on the shelf at BOI and has one pump more than the bill.
B2  takes the approved alternate ENG-B; its destination asks for a valve.
B3  waits for an engine from RNO: leaves Tuesday 03-03, there Thursday 03-05; a day late.
B4  waits for purchase P1/1, due 03-16; six days late.
B5  is not promised; it waits for a new order of 21 days, placed today.
B6  can never be built: nobody supplies its GHOST.
O1/1  five lamps, of which each point has too few: split. O2/1 waits for a purchase past due.
"""

from __future__ import annotations

from datetime import date, datetime
from fractions import Fraction

from fulfil_models.plan import (
    Blocker,
    BlockerKind,
    Objective,
    Peg,
    Plan,
    PlannedBuild,
    PlannedJob,
    PlannedOperation,
    Reason,
    Shipment,
    Status,
    Stranded,
    Supply,
    SupplyKind,
)
from small_shop_data import AS_OF, dataset, march

__all__ = ["AS_OF", "ENGINES", "ENGINE_DAYS", "LATE_MINUTES", "SLOTS", "dataset", "march", "plan"]

# build: start of assembly, welding of its mast, start and end of its test
SLOTS = {
    "B1": (march(2), (march(2, "08:00"), march(2, "09:00")), march(2, "12:30"), march(2, "14:30")),
    "B2": (march(2), (march(2, "09:00"), march(2, "10:00")), march(2, "14:30"), march(2, "16:30")),
    "B3": (march(5), (march(2, "10:00"), march(2, "11:00")), march(5, "12:30"), march(5, "14:30")),
    "B4": (
        march(16),
        (march(2, "11:00"), march(2, "12:00")),
        march(16, "12:30"),
        march(16, "14:30"),
    ),
    "B5": (
        march(23),
        (march(2, "12:30"), march(2, "13:30")),
        march(23, "12:30"),
        march(23, "14:30"),
    ),
}
ENGINES = {
    "B1": ("ENG-A", "stock/BOI/ENG-A", march(2)),
    "B2": ("ENG-B", "stock/BOI/ENG-B", march(2)),
    "B3": ("ENG-A", "move/RNO/ENG-A", march(5)),
    "B4": ("ENG-A", "purchase/P1/1", march(16)),
    "B5": ("ENG-A", "new/ENG-A/1", march(23)),
}
LATE_MINUTES = {
    "B1": 0,
    "B2": 0,
    "B3": 360,  # 03-04 16:30 to 03-05 14:30
    "B4": 1800,  # 03-10 16:30 to 03-16 14:30: three days of 480 and 360
    "B5": 7560,  # from the planning date: 15 days of 480 and 360
}
ENGINE_DAYS = {"B3": 3, "B4": 14, "B5": 21}
"""days sooner that each would ship with an engine on the shelf: all others ship on 03-02"""


def _planned_build(build: str) -> PlannedBuild:
    row = next(row for row in dataset().builds if row.build == build)
    assert not isinstance(row.promised, datetime)
    finish = SLOTS[build][3]
    ships = finish.date()
    late = 0 if row.promised is None else max((ships - row.promised).days, 0)
    blockers: tuple[Blocker, ...] = ()
    reasons: tuple[Reason, ...] = ()
    if build in ENGINE_DAYS:
        _, supply, usable = ENGINES[build]
        why = f"its ENG-A comes by {supply}"
        blockers = (
            Blocker(BlockerKind.PART, "ENG-A", usable, ENGINE_DAYS[build], why, supply=supply),
            Blocker(BlockerKind.WORK, build, None, 0, "6 hours of work"),
        )
        reasons = (
            Reason(build, 20, BlockerKind.WORK, build, SLOTS[build][2], "follows operation 10"),
            Reason(build, 10, BlockerKind.PART, "ENG-A", usable, why),
        )
    if build == "B2":
        blockers = (
            Blocker(
                BlockerKind.WORK_CENTRE,
                "TEST",
                march(2, "14:30"),
                0,
                "B1 is tested first",
                ahead=("B1",),
            ),
        )
    return PlannedBuild(
        build=build,
        product="TOWER",
        point="BOI",
        ordered=date(2026, 2, 2),
        promised=row.promised,
        finish=finish,
        ships=ships,
        late_minutes=LATE_MINUTES[build],
        late_days=late,
        lead_days=(ships - date(2026, 2, 2)).days,
        reasons=reasons,
        blockers=blockers,
    )


def _jobs(build: str) -> list[PlannedJob]:
    return [
        PlannedJob(build, build, "TOWER", 1000),
        PlannedJob(f"{build}/20/MAST", build, "MAST", 1000, build, 20),
        PlannedJob(f"{build}/20/KIT", build, "KIT", 1000, build, 20),
    ]


def _operations(build: str) -> list[PlannedOperation]:
    assembly, (weld_start, weld_end), test_start, test_end = SLOTS[build]
    noon = assembly.replace(hour=12)
    return [
        PlannedOperation(build, 10, "ASSY", assembly, noon),
        PlannedOperation(build, 20, "TEST", test_start, test_end),
        PlannedOperation(f"{build}/20/MAST", 10, "WELD", weld_start, weld_end),
    ]


def _stock_peg(job: str, operation: int | None, part: str, quantity_milli: int) -> Peg:
    supply = f"stock/BOI/{part}"
    return Peg(job, operation, part, part, quantity_milli, supply, "BOI", march(2))


def _pegs(build: str) -> list[Peg]:
    used, supply, usable = ENGINES[build]
    weld_end = SLOTS[build][1][1]
    mast, kit = f"{build}/20/MAST", f"{build}/20/KIT"
    pegs = [
        Peg(build, 10, "ENG-A", used, 1000, supply, "BOI", usable),
        _stock_peg(build, 10, "PUMP", 2000 if build == "B1" else 1000),
        Peg(build, 20, "MAST", "MAST", 1000, mast, "BOI", weld_end),
        Peg(build, 20, "KIT", "KIT", 1000, kit, "BOI", march(2)),
        _stock_peg(mast, 10, "BOLT", 4000),
        _stock_peg(kit, None, "BOLT", 9000),  # 8 / 0.9 = 8.89, rounded up
    ]
    if build == "B2":
        pegs.append(_stock_peg(build, 10, "VALVE", 1000))
    return pegs


def _stock(part: str, point: str, quantity_milli: int) -> Supply:
    return Supply(f"stock/{point}/{part}", SupplyKind.STOCK, part, point, quantity_milli, march(2))


def _made(build: str) -> list[Supply]:
    return [
        Supply(
            f"{build}/20/{part}",
            SupplyKind.JOB,
            part,
            "BOI",
            1000,
            usable,
            job=f"{build}/20/{part}",
        )
        for part, usable in (("MAST", SLOTS[build][1][1]), ("KIT", march(2)))
    ]


def plan() -> Plan:
    builds = tuple(SLOTS)
    return Plan(
        as_of=AS_OF,
        status=Status.FEASIBLE,
        objective=Objective(
            # B3 360, B4 1800, B5 0.001 x 7560 minutes of 480 a day at 1000; O2/1 10 days at 1000
            lateness=Fraction(750 + 3750) + Fraction(63, 4) + 10_000,
            transfers=Fraction(50 + 20),  # a move, and 40 kg at 0.50
            alternates=Fraction(100),
            deliveries=Fraction(8 + 3 + 12 + 2 + 5 + 4),
        ),
        bound=Fraction(12_000),
        weighted_late_minutes=Fraction(360 + 1800) + Fraction(756, 100),
        builds=tuple(_planned_build(build) for build in builds),
        jobs=tuple(job for build in builds for job in _jobs(build)),
        operations=tuple(row for build in builds for row in _operations(build)),
        pegs=tuple(peg for build in builds for peg in _pegs(build)),
        shipments=(
            Shipment(
                "O1",
                "1",
                "LAMP",
                "LAMP",
                3000,
                "stock/RNO/LAMP",
                "RNO",
                date(2026, 3, 2),
                date(2026, 3, 3),
                0,
            ),
            Shipment(
                "O1",
                "1",
                "LAMP",
                "LAMP",
                2000,
                "stock/BOI/LAMP",
                "BOI",
                date(2026, 3, 2),
                date(2026, 3, 4),
                0,
            ),
            Shipment(
                "O2",
                "1",
                "LAMP",
                "LAMP",
                4000,
                "purchase/P2/1",
                "BOI",
                date(2026, 3, 9),
                date(2026, 3, 10),
                10,
            ),
        ),
        supplies=(
            _stock("ENG-A", "BOI", 1000),
            _stock("ENG-A", "RNO", 1000),
            _stock("ENG-B", "BOI", 1000),
            _stock("PUMP", "BOI", 10_000),
            _stock("VALVE", "BOI", 5000),
            _stock("BOLT", "BOI", 500_000),
            _stock("LAMP", "BOI", 2000),
            _stock("LAMP", "RNO", 3000),
            Supply(
                "purchase/P1/1",
                SupplyKind.PURCHASE,
                "ENG-A",
                "BOI",
                1000,
                march(16),
                order="P1",
                line="1",
            ),
            Supply(
                "purchase/P2/1",
                SupplyKind.PURCHASE,
                "LAMP",
                "BOI",
                10_000,
                march(9),
                order="P2",
                line="1",
            ),
            Supply(
                "new/ENG-A/1",
                SupplyKind.NEW_PURCHASE,
                "ENG-A",
                "BOI",
                1000,
                march(23),
                supplier="S1",
                place_on=AS_OF,
                arrives_on=date(2026, 3, 23),
                expedited=False,
            ),
            Supply(
                "move/RNO/ENG-A",
                SupplyKind.TRANSFER,
                "ENG-A",
                "BOI",
                1000,
                march(5),
                origin="RNO",
                from_supply="stock/RNO/ENG-A",
                leaves_on=date(2026, 3, 3),
                arrives_on=date(2026, 3, 5),
            ),
            *(supply for build in builds for supply in _made(build)),
        ),
        stranded=(Stranded("build", "B6", ("GHOST",)),),
        notes=("1 purchase past due is counted on 2026-03-09",),
    )

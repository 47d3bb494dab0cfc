"""How much of a build's lateness falls to each part it waits for."""

from __future__ import annotations

import dataclasses
from datetime import date

import pytest
import small_shop
from fulfil_models.held_up import Hold, held_up
from fulfil_models.plan import Blocker, BlockerKind, Plan, Shipment
from fulfil_models.plan_index import PlanIndex

PART, QUEUE = BlockerKind.PART, BlockerKind.WORK_CENTRE
PLAN = small_shop.plan()


def with_blockers(build: str, late_days: int, *rungs: tuple[BlockerKind, str, int]) -> Plan:
    """The plan of the small shop with one build's lateness and blockers changed."""
    blockers = tuple(
        Blocker(kind, what, small_shop.march(16), days, "because") for kind, what, days in rungs
    )
    builds = tuple(
        dataclasses.replace(row, late_days=late_days, blockers=blockers, reasons=())
        if row.build == build
        else row
        for row in PLAN.builds
    )
    return dataclasses.replace(PLAN, builds=builds)


@pytest.mark.parametrize(
    ("rungs", "blamed"),
    [
        # the queue gives 3 of 6 days back, so 3 are left for the engine, and none for the pump
        (((QUEUE, "TEST", 3), (PART, "ENG-A", 14), (PART, "PUMP", 5)), {"ENG-A": 3, "PUMP": 0}),
        # first the engine, 4 days; then the pump, which could answer for 5 of the 2 left
        (((PART, "ENG-A", 4), (PART, "PUMP", 5)), {"ENG-A": 4, "PUMP": 2}),
        # the engine alone gives nothing back since the pump comes no sooner: both hold it 6 days
        (((PART, "ENG-A", 0), (PART, "PUMP", 9)), {"ENG-A": 6, "PUMP": 6}),
        # behind the engine a queue would hold it as long: without the engine neither is gained
        (((PART, "ENG-A", 0), (QUEUE, "TEST", 9)), {"ENG-A": 6}),
        # a queue before it is no concern of the engine's, nor is what follows once days are gained
        (((QUEUE, "TEST", 6), (PART, "ENG-A", 3), (QUEUE, "WELD", 2)), {"ENG-A": 0}),
    ],
)
def test_each_takes_what_is_left(
    rungs: tuple[tuple[BlockerKind, str, int], ...], blamed: dict[str, int]
) -> None:
    found = held_up(PlanIndex(with_blockers("B4", 6, *rungs)))
    assert {
        part: hold.blamed_days
        for part, rows in found.items()
        for use, hold in rows.items()
        if use.who == "B4"
    } == blamed


def test_a_build_in_time_blames_nobody() -> None:
    found = held_up(PlanIndex(with_blockers("B4", 0, (PART, "ENG-A", 14))))
    holds = {use.who: hold for use, hold in found["ENG-A"].items()}
    assert holds["B4"] == Hold(days=14, late_days=0, blamed_days=0)


def test_of_a_split_line_the_late_parcel_waits() -> None:
    # two of O1's lamps leave in time from the shelf, three with the purchase a week later
    late = Shipment(
        *("O1", "1", "LAMP", "LAMP", 3000, "purchase/P2/1", "BOI"),
        ships=date(2026, 3, 9),
        arrives=date(2026, 3, 11),
        late_days=5,
    )
    rows = [row for row in PLAN.shipments if row.supply != "stock/RNO/LAMP"]
    found = held_up(PlanIndex(dataclasses.replace(PLAN, shipments=(*rows, late))))
    waits = {use.who: (use.supply, hold) for use, hold in found["LAMP"].items()}
    assert waits["O1/1"] == ("purchase/P2/1", Hold(5, 5, 5))

"""What a plan does besides the plain way, on the shop of `tiny_shop`: read off small plans."""

from __future__ import annotations

from dataclasses import replace

from fulfil_models.cells import MILLI
from fulfil_models.measures import Measure, MeasureKind, measures, measures_besides
from fulfil_models.plan import Peg, Plan, PlannedJob, Shipment, Supply, SupplyKind
from questions import standing
from tiny_shop import build, lane, march, shop, stand_in, stock

ALTERNATE = Measure(MeasureKind.ALTERNATE, "ENGINE", "ENGINE2", MILLI, ("B1",))


def test_plainly_nothing_is_done_besides() -> None:
    data = shop(builds=(build("B1", march(2)),), stock=(stock(1),))
    assert measures(standing(data)) == ()


def test_an_alternate_that_is_fitted() -> None:
    data = shop(
        builds=(build("B1", march(2)),),
        stock=(stock(1, part="ENGINE2"),),
        alternates=(stand_in(10),),
    )
    assert measures(standing(data)) == (ALTERNATE,)


def test_an_engine_that_is_moved() -> None:
    data = shop(
        builds=(build("B1", march(2)),), stock=(stock(1, "B"),), lanes=(lane("B", "A", 2, move=5),)
    )
    (row,) = measures(standing(data))
    assert (row.kind, row.text, row.takers) == (
        MeasureKind.TRANSFER,
        "ENGINE moved from B",
        ("B1",),
    )


def _drawn(plan: Plan, *amounts: tuple[str, int]) -> Plan:
    """A plan whose builds draw so many thousandths each on one expedited order, an alternate."""
    hurried = Supply(
        supply="N1",
        kind=SupplyKind.NEW_PURCHASE,
        part="ENGINE2",
        point="A",
        quantity_milli=9 * MILLI,
        usable=plan.supplies[0].usable,
        supplier="S",
        expedited=True,
    )
    return replace(
        plan,
        jobs=tuple(PlannedJob(f"{name}:1", name, "MACHINE", MILLI) for name, _ in amounts),
        pegs=tuple(
            Peg(f"{name}:1", 10, "ENGINE", "ENGINE2", milli, "N1", "A", hurried.usable)
            for name, milli in amounts
        ),
        supplies=(hurried,),
    )


def test_two_measures_of_one_draw_and_only_what_is_more_than_before() -> None:
    plan = standing(shop(builds=(build("B1", march(2)),), stock=(stock(1),)))
    before = _drawn(plan, ("B1", 2000), ("B2", 1000))
    after = _drawn(plan, ("B1", 3000), ("B2", 1000), ("B3", 500))
    assert [(row.text, row.quantity_milli) for row in measures(before)] == [
        ("ENGINE2 in place of ENGINE", 3000),
        ("ENGINE2 expedited from S", 3000),
    ]
    # B1 draws 1000 more, B3 500 that it did not draw; B2 draws what it drew
    assert [
        (row.kind, row.quantity_milli, row.takers) for row in measures_besides(after, before)
    ] == [
        (MeasureKind.ALTERNATE, 1500, ("B1", "B3")),
        (MeasureKind.EXPEDITE, 1500, ("B1", "B3")),
    ]
    assert measures_besides(before, after) == ()
    assert measures_besides(after, after) == ()


def test_a_line_of_a_parts_order_is_named_with_its_order() -> None:
    plan = standing(shop(builds=(build("B1", march(2)),), stock=(stock(1),)))
    there = plan.supplies[0].supply
    sent = Shipment(
        "O1", "2", "ENGINE", "ENGINE2", MILLI, there, "A", march(2), march(3), late_days=0
    )
    (row,) = measures(replace(plan, shipments=(sent,)))
    assert (row.text, row.takers) == ("ENGINE2 in place of ENGINE", ("O1/2",))

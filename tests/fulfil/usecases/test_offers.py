"""What an answer tells of its offers: what they cost, what goes into them, which are left out."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from fulfil_models.cells import MICRO, MILLI, PPM
from fulfil_models.tables import (
    Alternate,
    BillLine,
    Dataset,
    Delivery,
    Part,
    RegionRule,
    RoutingStep,
)
from sales_shop import FIRST, book, plan_again, planned
from tiny_shop import DAY, build, delivery, engines, hurried, lane, march, source, stock

from fulfil.render.promise import promise_page
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_machine
from fulfil.usecases.promise import PromiseAnswer, promise
from fulfil.usecases.quote_cautions import Required

pytestmark = pytest.mark.usefixtures("monday")


def asked(path: Path, data: Dataset, **more: Any) -> PromiseAnswer:
    """The answer to who asks for a machine beside a plan of some data."""
    with planned(path / "fulfil.db", data) as store:
        return promise(store, ask_machine("MACHINE", **more))


def text(found: PromiseAnswer) -> str:
    page = promise_page(found)
    return "\n".join([*page.lines(120), *page.notes])


# ---- another product


def other_product() -> Dataset:
    """MACHINE2 is approved in the place of MACHINE for 500 more; its engine is on the shelf, and
    it needs a valve in Nevada."""
    return book(
        parts=(
            Part(part="MACHINE", make=True, family="machine"),
            Part(part="MACHINE2", make=True, family="heavy machine", caution="lift with care"),
            Part(part="ENGINE"),
            Part(part="ENGINE2"),
            Part(part="VALVE"),
        ),
        bills=(
            engines(1),
            BillLine(parent="MACHINE2", component="ENGINE2", quantity_milli=MILLI),
        ),
        routings=tuple(
            RoutingStep(part=part, operation=10, work_centre="CELL", minutes_milli=DAY * MILLI)
            for part in ("MACHINE", "MACHINE2")
        ),
        stock=(stock(2), stock(1, part="ENGINE2"), stock(3, part="VALVE")),
        alternates=(
            Alternate(
                part="MACHINE",
                alternate="MACHINE2",
                ratio_ppm=PPM,
                extra_cost_micro=500 * MICRO,
                approved=True,
            ),
        ),
        region_rules=(
            RegionRule(
                region="US-NV",
                family="heavy machine",
                component="VALVE",
                quantity_milli=MILLI,
                note="backflow protection",
            ),
        ),
        deliveries=(delivery("A"), Delivery(point="A", destination="89", days=1)),
    )


def test_another_product_is_told_with_its_cost_its_caution_and_local_rules(tmp_path: Path) -> None:
    found = asked(tmp_path, other_product(), destination="US-NV")
    (row,) = found.forward
    assert (row.found.by, row.found.ships, row.found.cost) == ("MACHINE2", FIRST, 500)
    assert row.regional == (Required("VALVE", "backflow protection", 1000, 0),)
    assert "VALVE" in {peg.part for peg in row.found.plan.pegs}
    assert found.regional == ()  # none is asked for of a MACHINE
    assert found.cautions == (("MACHINE2", "lift with care"),)
    told = text(found)
    assert "offer 1: 1 VALVE is built in: backflow protection" in told
    assert "caution, MACHINE2: lift with care" in told


def test_no_region_is_known_for_the_rules_of_another_product(tmp_path: Path) -> None:
    found = asked(tmp_path, other_product(), destination="89501")
    assert found.without_region == ("89501",)


# ---- more than are told


def test_what_nothing_else_beats_is_told_and_how_much_is_left_out(tmp_path: Path) -> None:
    # ten alternates on the shelf for 03-04 at 1000 each; an order that takes 29 - 26 = 3 days is
    # here on 03-05 for 5. Of the eleven nine are told
    names = [f"E{number}" for number in range(10)]
    data = book(
        parts=(Part(part="MACHINE", make=True), *(Part(part=name) for name in ["ENGINE", *names])),
        stock=(stock(2), *(stock(1, part=name) for name in names)),
        purchases=(),
        sources=(hurried(29, 26, 5),),
        alternates=tuple(
            Alternate(
                part="ENGINE",
                alternate=name,
                ratio_ppm=PPM,
                extra_cost_micro=1000 * MICRO,
                approved=True,
            )
            for name in names
        ),
    )
    found = asked(tmp_path, data)
    told = [(row.place, row.found.by, row.found.ships, row.found.cost) for row in found.forward]
    assert told == [
        *((place, names[place - 1], FIRST, 1000) for place in range(1, 9)),
        (9, "S", march(5), 5),
    ]
    assert found.left_out == 2
    assert "2 more ways left out" in text(found)


# ---- moved with what the plan moves


def test_a_move_that_the_plan_makes_anyway_costs_nothing_again(tmp_path: Path) -> None:
    # B3's engine leaves B on Tuesday 03-03 for 250 and is here on Friday, and this one with it: the
    # plan that goes on with that offer pays no more for its moves
    data = book(
        builds=(build("B1", march(2)), build("B2", march(3)), build("B3", march(6))),
        stock=(stock(2), stock(2, point="B")),
        purchases=(),
        sources=(source(29),),
        lanes=(lane("B", "A", 3, move=250, weekdays=("Tue",)),),
    )
    with planned(tmp_path / "fulfil.db", data) as store:
        before = store.plan().plan.objective.transfers
        for _ in range(2):  # what the first plan has taken is worked out, of the second it is kept
            found = promise(store, ask_machine("MACHINE"))
            (row,) = found.forward
            assert (row.found.by, row.found.cost, before) == ("B", 0, 250)
            plan_again(store)
        accept_quote(store, promise(store, ask_machine("MACHINE")).quote, place=1)
        assert store.plan().plan.objective.transfers == before

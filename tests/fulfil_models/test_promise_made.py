"""The earliest date of a machine with a made part, beside a plan that stands; by hand.

On the tiny shop: work is done on the only station, from Monday 03-02 on.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from fulfil_models.cells import MILLI
from fulfil_models.plan import BlockerKind
from fulfil_models.tables import BillLine, Dataset, Part, RoutingStep
from questions import (
    ask_builds,
)
from tiny_shop import (
    engines,
    march,
    purchase,
    shop,
    stock,
)


def framed(minutes: int, **tables: object) -> Dataset:
    """A machine of two hours of work, then six; for the last a frame is made in the same cell."""
    base = shop(stock=(stock(1),))
    steps = (("MACHINE", 10, 120), ("MACHINE", 20, 360), ("FRAME", 10, minutes))
    made = replace(
        base,
        parts=(*base.parts, Part(part="FRAME", make=True), Part(part="BEAM")),
        bills=(
            engines(1),
            BillLine(parent="MACHINE", component="FRAME", quantity_milli=MILLI, operation=20),
            BillLine(parent="FRAME", component="BEAM", quantity_milli=MILLI),
        ),
        routings=tuple(
            RoutingStep(part=p, operation=n, work_centre="CELL", minutes_milli=m * MILLI)
            for p, n, m in steps
        ),
        stock=(stock(1), stock(1, part="BEAM")),
    )
    return replace(made, **tables)  # type: ignore[arg-type]  # tables by name


def test_work_that_waits_for_a_made_part_is_not_in_its_way() -> None:
    # 2 h, the frame's 2 h, 6 h: ten hours of work end at 10:00 on Tuesday
    asked = ask_builds(framed(120))
    assert asked.plan.builds[0].finish == datetime(2026, 3, 3, 10)
    starts = {(row.job, row.operation): row.start for row in asked.plan.operations}
    assert sorted(starts.values())[-1] == starts["Q", 20] == datetime(2026, 3, 2, 12, 30)


def test_a_made_part_that_lies_on_the_shelf_is_not_made() -> None:
    asked = ask_builds(framed(120, stock=(stock(1), stock(1, part="FRAME"))))
    assert asked.plan.builds[0].finish == datetime(2026, 3, 2, 16, 30)
    assert [job.job for job in asked.plan.jobs] == ["Q"]


def test_a_made_part_waits_for_its_own_parts() -> None:
    shelf = (stock(1),)
    asked = ask_builds(framed(120, stock=shelf, purchases=(purchase("P", march(10), part="BEAM"),)))
    # the frame is made on Tuesday 03-10 from 8 to 10; then six hours
    assert asked.plan.builds[0].finish == datetime(2026, 3, 10, 16, 30)
    rung = asked.plan.builds[0].blockers[0]
    assert (rung.kind, rung.what) == (BlockerKind.PART, "BEAM")


def test_of_a_part_called_for_twice_the_first_operation_takes_what_is_there() -> None:
    """One beam is there and one comes; the last operation, not the first, waits for it."""
    data = framed(
        60,
        bills=(
            engines(1),
            *(
                BillLine(parent="MACHINE", component="BEAM", quantity_milli=MILLI, operation=n)
                for n in (10, 20)
            ),
        ),
        purchases=(purchase("P", march(10), part="BEAM"),),
    )
    starts = {row.operation: row.start for row in ask_builds(data).plan.operations}
    assert starts == {10: datetime(2026, 3, 2, 8), 20: datetime(2026, 3, 10, 8)}

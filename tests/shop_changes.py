"""The audited shop with changes to its data or its plan: what a test says in one line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import timedelta
from fractions import Fraction
from typing import Any

from audited_shop import DATA, ORDERED, PLAN, PROMISED, SETTINGS, changed, march
from fulfil_models.audit import audit
from fulfil_models.plan import Plan, Stranded
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    BillLine,
    Build,
    Dataset,
    Part,
    PartsOrder,
    Progress,
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

    def rows(self, table: str, wanted: dict[str, Any], /, **changes: Any) -> Shop:
        """With changes to rows of a table of the data."""
        rows = changed(self.data.rows(table), wanted, **changes)
        return replace(self, data=replace(self.data, **{table: rows}))

    def more(self, **rows: Any) -> Shop:
        """With one more row in tables of the data."""
        tables = {name: (*self.data.rows(name), row) for name, row in rows.items()}
        return replace(self, data=replace(self.data, **tables))

    def planned(self, part: str, wanted: dict[str, Any], /, **changes: Any) -> Shop:
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


def engine_peg(build: str, /, **changes: Any) -> Shop:
    return GOOD.planned("pegs", {"job": build, "part": "ENGINE"}, **changes)


def supply(name: str, /, **changes: Any) -> Shop:
    """With changes to a supply, which its pegs repeat."""
    shop = GOOD.planned("supplies", {"supply": name}, **changes)
    if "usable" in changes and any(peg.supply == name for peg in PLAN.pegs):
        shop = shop.planned("pegs", {"supply": name}, usable=changes["usable"])
    return shop


def operation(job: str, number: int, /, **changes: Any) -> Shop:
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

GHOST_ORDER = (
    GHOST.more(
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
    .plus(stranded=Stranded("build", "B9", ("GHOST",)))
)
"""an order for a GHOST, left out like the build"""

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

"""Random tiny books as odd as the contract allows: work of no length, options in any order, and
names that run into each other wherever names are put together.
"""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

from books import books
from fulfil_models.cells import MILLI
from fulfil_models.tables import BillLine, BuildOption, Dataset, Part, Stock
from hypothesis import strategies as st

NAMES = {
    "B": "A/B",
    "C": "A/B/C",
    "PUMP": "B/ENGINE",
    "FRAME": "B/KIT",
    "B2": "B1/10/B/KIT",
    "B3": "purchase",
}
ORDERS = {"P1": ("P", "1/2"), "P2": ("P/1", "2"), "O1": ("10", "B/KIT")}


def renamed(data: Dataset) -> Dataset:
    """The same data with names that run into each other wherever names are put together."""

    def row_of(row: Any) -> Any:
        texts = {f.name: getattr(row, f.name) for f in fields(row)}
        new = {name: NAMES[t] for name, t in texts.items() if isinstance(t, str) and t in NAMES}
        if texts.get("order") in ORDERS:
            new["order"], new["line"] = ORDERS[texts["order"]]
        return replace(row, **new)

    return replace(
        data, **{f.name: tuple(map(row_of, getattr(data, f.name))) for f in fields(data)}
    )


@st.composite
def odd_books(draw: st.DrawFn) -> Dataset:
    """Random tiny books with a last step of no length, several options of one component in any
    order, taking away from two bill lines, and such names."""
    data = draw(books(points=draw(st.integers(1, 3)), options=False))
    steps = [row for row in data.routings if row.part == "MACHINE"]
    last = max(row.operation for row in steps) + 10
    end = replace(steps[0], operation=last, minutes_milli=draw(st.sampled_from((0, 0, 900))))
    end = replace(end, setup_milli=0, stations=1)
    operations = [None, *(row.operation for row in steps), last]
    bills = tuple(
        replace(row, operation=draw(st.sampled_from([row.operation, last])))
        if row.parent == "MACHINE"
        else row
        for row in data.bills
    )
    lamps = draw(st.lists(st.sampled_from(operations), max_size=3, unique=True))
    options = [
        BuildOption(build="B1", component="LAMP", quantity_milli=n * MILLI, operation=operation)
        for n, operation in enumerate(lamps, 1)
    ]
    if draw(st.booleans()):
        washers = draw(st.sampled_from((-2000, -1500, -500, 500)))
        options.append(BuildOption(build="B1", component="WASHER", quantity_milli=washers))
    if draw(st.booleans()):
        options.append(BuildOption(build="B1", component="PUMP", quantity_milli=MILLI))
    small = tuple(Part(part=part, step_milli=500) for part in ("LAMP", "WASHER"))
    data = replace(
        data,
        parts=(*data.parts, *small),
        stock=(
            *data.stock,
            *(Stock(point="A", part=row.part, quantity_milli=10**6) for row in small),
        ),
        routings=(*data.routings, end),
        bills=(
            *bills,
            *(
                BillLine(parent="MACHINE", component="WASHER", quantity_milli=MILLI, scrap_ppm=ppm)
                for ppm in (100_000, 0)
            ),
        ),
        build_options=tuple(draw(st.permutations(options))),
    )
    return renamed(data)

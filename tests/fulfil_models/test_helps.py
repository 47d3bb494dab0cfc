"""What might be tried for a part that holds a build up."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from fulfil_models.helps import Help, HelpKind, helps_for
from fulfil_models.settings import Settings
from fulfil_models.tables import Alternate, Dataset, Purchase, Source, Stock

SETTINGS = Settings(as_of=date(2026, 3, 2))


def line(order: str, due: date, confirmed: bool, point: str = "P") -> Purchase:
    return Purchase(
        order=order,
        line="1",
        part="E",
        supplier="S",
        point=point,
        quantity_milli=2000,
        ordered=date(2026, 1, 5),
        due=due,
        confirmed=confirmed,
    )


DATA = Dataset(
    purchases=(
        line("LATE", date(2026, 2, 20), True),
        line("SURE", date(2026, 3, 9), True),
        line("OPEN", date(2026, 3, 16), False),
        line("AWAY", date(2026, 2, 20), True, point="Q"),
    ),
    stock=(
        Stock(point="P", part="E", quantity_milli=3000, held_milli=1000),
        Stock(point="Q", part="E", quantity_milli=3000),
        Stock(point="P", part="F", quantity_milli=3000, held_milli=1000),
    ),
    alternates=(
        Alternate(part="E", alternate="F", rank=2, note="shaft adapter"),
        Alternate(part="E", alternate="G", approved=True, extra_cost_micro=310_000_000),
        Alternate(part="F", alternate="E", approved=True),
    ),
    sources=(
        Source(
            part="E",
            supplier="S",
            point="P",
            lead_days=30,
            expedite_days=10,
            expedite_cost_micro=5_000_000,
        ),
        Source(part="E", supplier="S", point="Q", lead_days=1),
    ),
)


def test_everything_that_may_be_tried_is_named_and_nothing_else() -> None:
    assert helps_for(DATA, SETTINGS, "E", "P") == (
        Help("E", HelpKind.PAST_DUE, "LATE/1 of S", 2000, date(2026, 2, 20)),
        Help("E", HelpKind.UNCONFIRMED, "OPEN/1 of S", 2000, date(2026, 3, 16)),
        Help("E", HelpKind.HELD, "P", 1000),
        Help("E", HelpKind.ALTERNATE, "G", cost_micro=310_000_000),
        Help("E", HelpKind.NOT_APPROVED, "F", note="shaft adapter"),
        # 30 and 20 days after 2 March
        Help("E", HelpKind.NEW_ORDER, "S", day=date(2026, 4, 1)),
        Help("E", HelpKind.EXPEDITE, "S", day=date(2026, 3, 22), cost_micro=5_000_000),
    )
    assert helps_for(DATA, SETTINGS, "G", "P") == ()


def test_a_new_order_is_told_from_the_day_it_may_be_placed() -> None:
    later = replace(SETTINGS, orders_from=date(2026, 3, 12))
    days = {row.kind: row.day for row in helps_for(DATA, later, "E", "P")}
    # 30 and 20 days after 12 March; what is on order does not wait
    assert days[HelpKind.NEW_ORDER] == date(2026, 4, 11)
    assert days[HelpKind.EXPEDITE] == date(2026, 4, 1)
    assert days[HelpKind.UNCONFIRMED] == date(2026, 3, 16)

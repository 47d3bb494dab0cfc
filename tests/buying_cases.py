"""What is bought on the shop of one station, asked for in one line.

The planning date is Monday 2026-03-02. A build that may not start before the day it is promised
takes its engine on that very day.
"""

from __future__ import annotations

from datetime import date, timedelta

from fulfil_models.buying import Buying, BuyLine, what_to_buy
from fulfil_models.demand_ahead import DemandAhead, ForecastNeed
from fulfil_models.leadtimes import lead_times
from fulfil_models.plan import Plan
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    Dataset,
    Receipt,
)
from oracle_plan import best_plan
from tiny_shop import (
    AS_OF,
    build,
    march,
)

UNIT = 1000
SETTINGS = Settings(as_of=AS_OF)


def took(*days: int) -> tuple[Receipt, ...]:
    """A record of engines from S: stated were 10 days."""
    ordered = date(2025, 11, 3)
    return tuple(
        Receipt(
            order="OLD",
            line=str(number),
            part="ENGINE",
            supplier="S",
            point="A",
            quantity_milli=UNIT,
            ordered=ordered,
            due=ordered + timedelta(10),
            received=ordered + timedelta(taken),
        )
        for number, taken in enumerate(days, 1)
    )


SLOW = took(10, 10, 11, 12, 14)
"""90 of 100 within 14 days: after 12 days one of five is still to come"""


def on(day: int, name: str = "B1", **more: object) -> tuple[object, ...]:
    return (build(name, march(day), earliest=march(day), **more),)


def nothing_expected(*months: str) -> DemandAhead:
    return DemandAhead(months or ("2026-03",), {}, {}, {}, ())


def expected(*units: float, part: str = "ENGINE") -> DemandAhead:
    """So much of a part from March on."""
    months = tuple(f"2026-{month:02d}" for month in range(3, 3 + len(units)))
    rows = tuple(
        ForecastNeed(month, round(each * UNIT), "given")
        for month, each in zip(months, units, strict=True)
        if each
    )
    return DemandAhead(months, {}, {part: rows}, {}, ())


def bought(
    data: Dataset,
    demand: DemandAhead | None = None,
    *,
    plan: Plan | None = None,
    service: float = 0.5,
    budget_micro: int | None = None,
    settings: Settings = SETTINGS,
) -> Buying:
    """At a service of a half there is no safety stock."""
    plan = plan or best_plan(data, settings)[0]
    return what_to_buy(
        Problem(data, settings),
        plan,
        demand or nothing_expected(),
        lead_times(data, settings, with_drift=False),
        service=service,
        budget_micro=budget_micro,
        gap=0.0,
    )


def only(found: Buying) -> BuyLine:
    (line,) = found.lines
    return line


def days_of(line: BuyLine) -> tuple[date, date, date, int]:
    return line.place_on, line.due_on, line.arrives_90, line.behind_days

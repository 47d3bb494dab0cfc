"""Bills by hand and at random, what is expected of them, and the needs of parts that come of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import date
from random import Random
from typing import Any

from fulfil_models.cells import MILLI, PPM
from fulfil_models.demand_ahead import DemandAhead, demand_ahead
from fulfil_models.months import first_day, months_ahead
from fulfil_models.plan import Plan
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import (
    BillLine,
    Build,
    BuildOption,
    Dataset,
    Demand,
    Part,
    RoutingStep,
    TakeRate,
)

AS_OF = date(2026, 3, 2)
MARCH, APRIL, MAY = "2026-03", "2026-04", "2026-05"


def problem_of(data: Dataset, **more: Any) -> Problem:
    return Problem(data, Settings(as_of=AS_OF), **more)


def ahead(data: Dataset, months: int = 1, plan: Plan | None = None) -> DemandAhead:
    return demand_ahead(problem_of(data), plan, months)


def part(name: str, *, make: bool = False, step: int = MILLI) -> Part:
    return Part(part=name, make=make, step_milli=step)


def line(parent: str, component: str, units: float, scrap: float = 0, **more: Any) -> BillLine:
    return BillLine(
        parent=parent,
        component=component,
        quantity_milli=round(units * MILLI),
        scrap_ppm=round(scrap * PPM),
        **more,
    )


def forecast(name: str, month: str, units: float) -> Demand:
    return Demand(part=name, month=month, quantity_milli=round(units * MILLI))


def rate(product: str, component: str, share: float) -> TakeRate:
    return TakeRate(product=product, component=component, rate_ppm=round(share * PPM))


def forecast_of(found: DemandAhead, month: str = MARCH) -> dict[str, int]:
    """By part, however it was made."""
    totals: Counter[str] = Counter()
    for name, needs in found.forecast.items():
        for need in needs:
            if need.month == month:
                totals[name] += need.milli
    return dict(totals)


SET = Dataset(
    parts=(
        part("SET", make=True),
        part("FRAME", make=True),
        part("KIT", make=True),
        part("ENGINE"),
        part("TUBE", step=500),
        part("SCREW"),
    ),
    bills=(
        line("SET", "ENGINE", 1),
        line("SET", "FRAME", 2),
        line("SET", "KIT", 1),
        line("FRAME", "TUBE", 1.2),
        line("FRAME", "SCREW", 4, scrap=0.1),
        line("KIT", "SCREW", 6),
    ),
    routings=tuple(
        RoutingStep(part=name, operation=10, work_centre="CELL", minutes_milli=MILLI)
        for name in ("SET", "FRAME")
    ),
)
"""a set of an engine, two frames and a kit of screws"""


NAMES = ("TOP", "P1", "P2", "P3", "P4", "P5")


def tiny(seed: int) -> Dataset:
    """Six parts of which the earlier may go into none of the later; bills that change."""
    rng = Random(seed)

    def maybe_day() -> date | None:
        return date(2026, rng.randint(2, 6), rng.choice((1, 2, 15))) if rng.random() < 0.2 else None

    parts = tuple(
        part(name, make=name == "TOP" or rng.random() < 0.5, step=rng.choice((1000, 500, 2000)))
        for name in NAMES
    )
    bills = tuple(
        line(
            parent,
            NAMES[rng.randint(place + 1, 5)],
            rng.choice((0.5, 1, 1, 1.3, 2)),
            scrap=rng.choice((0, 0, 0.1, 0.25)),
            operation=rng.choice((None, 10, 20)) if parent == "TOP" else None,
            starts=maybe_day(),
            ends=maybe_day(),
        )
        for place, parent in enumerate(NAMES[:-1])
        for _ in range(rng.randint(0, 3))
    )
    months = months_ahead(AS_OF, 4)
    return Dataset(
        parts=parts,
        bills=bills,
        routings=tuple(
            RoutingStep(part="TOP", operation=number, work_centre="CELL", minutes_milli=MILLI)
            for number in (10, 20)
        ),
        demand=tuple(
            Demand(part=name, month=month, quantity_milli=rng.choice((0, 333, 1000, 2500)))
            for name in ("TOP", rng.choice(NAMES[1:]))
            for month in months
            if rng.random() < 0.8
        ),
        take_rates=tuple(
            TakeRate(product="TOP", component=name, rate_ppm=rng.choice((125_000, 600_000, PPM)))
            for name in rng.sample(NAMES[1:], 2)
        ),
        builds=tuple(
            Build(
                build=f"B{number}",
                product="TOP",
                point="A",
                ordered=date(2026, rng.randint(1, 3), 1),
                promised=first_day(rng.choice(months)) if rng.random() < 0.8 else None,
            )
            for number in range(rng.randint(0, 3))
        ),
        build_options=(BuildOption(build="B0", component="P5", quantity_milli=MILLI),),
    )


def amounts(found: DemandAhead) -> Mapping[tuple[str, str, str], int]:
    return {
        (name, need.month, need.how): need.milli
        for name, needs in found.forecast.items()
        for need in needs
    }

"""What has to be moved between points, when, and for whom?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeVar

from fulfil_models.cells import MILLI
from fulfil_models.plan import Plan, Supply, SupplyKind
from fulfil_models.plan_index import PlanIndex, Use
from fulfil_models.tables import Dataset, Part

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class ForWhom:
    """A build or parts-order line that draws on a supply, and when it needs it."""

    who: str
    quantity_milli: int
    at: datetime


@dataclass(frozen=True, slots=True)
class Move:
    """Units of one part that leave one point for another on one day.

    Attributes
    ----------
    supply, from_supply: the transfer, and the supply it draws on.
    there_on: the day from which the units are at the origin; the planning date for stock.
    needed_on: first day on which any of it is used, or moved on; None if nothing is.
    source: kind of the supply it draws on.
    weight_g: of all the units, in grams; None where the part's weight is not given.
    """

    leaves_on: date
    arrives_on: date
    usable: datetime
    origin: str
    destination: str
    part: str
    description: str | None
    quantity_milli: int
    unit: str
    weight_g: int | None
    supply: str
    from_supply: str
    source: SupplyKind
    there_on: date
    needed_on: date | None
    for_whom: tuple[ForWhom, ...]
    caution: str | None


def for_whom(uses: list[Use]) -> tuple[ForWhom, ...]:
    """Draws on one supply, those of one build or order line at one moment taken together."""
    together: dict[tuple[datetime, str], int] = {}
    for use in uses:
        key = (use.at, use.who)
        together[key] = together.get(key, 0) + use.quantity_milli
    return tuple(
        ForWhom(who, quantity_milli, at) for (at, who), quantity_milli in sorted(together.items())
    )


def moves(dataset: Dataset, plan: Plan) -> tuple[Move, ...]:
    """Every transfer that a plan counts on, in order of the day it leaves."""
    index = PlanIndex(plan)
    parts = {row.part: row for row in dataset.parts}
    found: list[Move] = []
    for supply in plan.supplies:
        if supply.kind is not SupplyKind.TRANSFER:
            continue
        part = parts.get(supply.part)  # gone if the data changed after the plan
        source = index.supplies[required(supply, supply.from_supply)]
        found.append(
            Move(
                leaves_on=required(supply, supply.leaves_on),
                arrives_on=required(supply, supply.arrives_on),
                usable=supply.usable,
                origin=required(supply, supply.origin),
                destination=supply.point,
                part=supply.part,
                description=None if part is None else part.description,
                quantity_milli=supply.quantity_milli,
                unit="ea" if part is None else part.unit,
                weight_g=weight_of(part, supply.quantity_milli),
                supply=supply.supply,
                from_supply=source.supply,
                source=source.kind,
                there_on=source.usable.date(),
                needed_on=index.first_taken.get(supply.supply),
                for_whom=for_whom(index.uses_of.get(supply.supply, [])),
                caution=None if part is None else part.caution,
            )
        )
    return tuple(
        sorted(found, key=lambda m: (m.leaves_on, m.origin, m.destination, m.part, m.supply))
    )


def weight_of(part: Part | None, quantity_milli: int) -> int | None:
    """Weight of so many units in grams, rounded down; None where the part's is not given."""
    if part is None or part.weight_g is None:
        return None
    return part.weight_g * quantity_milli // MILLI


def required(supply: Supply, value: T | None) -> T:
    """A field that every supply of its kind has; ValueError where it is missing."""
    if value is None:
        raise ValueError(f"supply {supply.supply} lacks a field that its kind must have")
    return value

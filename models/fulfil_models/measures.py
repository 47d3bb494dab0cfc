"""What does a plan do besides the plain way, for whom, and what of it does another plan not do?

Plainly, a need is met at its own point by the part it calls for, from stock or from an order that
takes its usual time. Besides, a plan may fit an alternate, have an order expedited, or move units
in from another point: each of these costs something, or has to be approved.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from fulfil_models.plan import Plan, Supply


class MeasureKind(StrEnum):
    """What is done besides the plain way."""

    ALTERNATE = "alternate"
    EXPEDITE = "expedite"
    TRANSFER = "transfer"


@dataclass(frozen=True, slots=True)
class Measure:
    """Something that is done for some builds or lines of parts orders.

    Attributes
    ----------
    what: the part that is called for, expedited or moved.
    by: the alternate, the supplier, the point it is moved from.
    quantity_milli: thousandths of what is used.
    takers: builds and lines (`order/line`) it is done for.
    """

    kind: MeasureKind
    what: str
    by: str
    quantity_milli: int
    takers: tuple[str, ...]

    @property
    def text(self) -> str:
        """The measure in few words."""
        return {
            MeasureKind.ALTERNATE: f"{self.by} in place of {self.what}",
            MeasureKind.EXPEDITE: f"{self.what} expedited from {self.by}",
            MeasureKind.TRANSFER: f"{self.what} moved from {self.by}",
        }[self.kind]


_Key = tuple[MeasureKind, str, str]


def measures(plan: Plan) -> tuple[Measure, ...]:
    """All that a plan does besides the plain way, in the order of its draws."""
    return _gathered(_amounts(plan))


def measures_besides(plan: Plan, before: Plan) -> tuple[Measure, ...]:
    """What a plan does besides the plain way for somebody for whom `before` does not, or does it
    with less."""
    there = _amounts(before)
    more: dict[tuple[_Key, str], int] = {}
    for key, milli in _amounts(plan).items():
        if milli > there.get(key, 0):
            more[key] = milli - there.get(key, 0)
    return _gathered(more)


def _gathered(amounts: dict[tuple[_Key, str], int]) -> tuple[Measure, ...]:
    by_key: defaultdict[_Key, dict[str, int]] = defaultdict(dict)
    for (key, taker), milli in amounts.items():
        by_key[key][taker] = milli
    return tuple(
        Measure(*key, sum(takers.values()), tuple(sorted(takers))) for key, takers in by_key.items()
    )


def _amounts(plan: Plan) -> dict[tuple[_Key, str], int]:
    """Thousandths by measure and by whom it is for."""
    supplies = {supply.supply: supply for supply in plan.supplies}
    build_of = {job.job: job.build for job in plan.jobs}
    draws = [(p.part, p.used, p.supply, build_of[p.job], p.quantity_milli) for p in plan.pegs]
    draws += [
        (row.part, row.used, row.supply, f"{row.order}/{row.line}", row.quantity_milli)
        for row in plan.shipments
    ]
    amounts: defaultdict[tuple[_Key, str], int] = defaultdict(int)
    for part, used, name, taker, milli in draws:
        for key in _done_for(part, used, supplies[name], supplies):
            amounts[key, taker] += milli
    return amounts


def _done_for(part: str, used: str, supply: Supply, supplies: dict[str, Supply]) -> Iterator[_Key]:
    """Measures of one draw on a supply, which may have been moved several times."""
    if used != part:
        yield MeasureKind.ALTERNATE, part, used
    origin = None
    while supply.from_supply is not None:
        origin = supply.origin
        supply = supplies[supply.from_supply]
    if supply.expedited:
        yield MeasureKind.EXPEDITE, used, supply.supplier or ""
    if origin is not None:
        yield MeasureKind.TRANSFER, used, origin

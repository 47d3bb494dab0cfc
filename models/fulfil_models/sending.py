"""From which points could a line of a parts order ship, and what speaks for or against each?"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from fulfil_models.cells import MILLI
from fulfil_models.order_days import OpenDays
from fulfil_models.order_lines import OrderLine
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.plan_index import PlanIndex
from fulfil_models.problem import Problem, carrier_day
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset, Delivery


@dataclass(frozen=True, slots=True)
class SendingPoint:
    """One point that could send what a line asks for.

    Attributes
    ----------
    free_milli: of the part on its shelf, less held.
    others_milli: of that, what the plan gives to others or moves elsewhere.
    next_milli, next_on: the next open purchase of the part to it, and the day from which it can be
        used; None where none is open.
    carrier_days: transit, Mon-Fri; None where nothing is delivered from it to the destination.
    arrives_on: day of arrival of what ships on the first open day from the planning date on.
    cost_micro: of sending the whole line from it in one shipment, in millionths of the currency,
        rounded up.
    """

    point: str
    free_milli: int
    others_milli: int
    next_milli: int | None
    next_on: date | None
    carrier_days: int | None
    arrives_on: date | None
    cost_micro: int | None

    @property
    def spare_milli(self) -> int:
        """What is on its shelf for this line."""
        return self.free_milli - self.others_milli


def sending_points(
    dataset: Dataset, settings: Settings, plan: Plan, line: OrderLine
) -> tuple[SendingPoint, ...]:
    """Every point, those that have most to spare first; points with nothing of the part and
    nothing on order are left out."""
    index, days = PlanIndex(plan), OpenDays(dataset, settings.as_of)
    problem = Problem(dataset, settings)
    shelf = {row.point: row for row in dataset.stock if row.part == line.part}
    others: defaultdict[str, int] = defaultdict(int)
    for use in index.uses_of_part.get(line.part, []):
        origin = index.root(index.supplies[use.supply])
        if origin.kind is SupplyKind.STOCK and (use.order, use.line) != (line.order, line.line):
            others[origin.point] += use.quantity_milli
    coming = sorted(
        (days.onward(row.point, settings.counted_on(row.due)), row.order, row.line, row)
        for row in dataset.purchases
        if row.part == line.part
    )
    found = []
    for point in sorted(row.point for row in dataset.points):
        stock = shelf.get(point)
        free_milli = 0 if stock is None else max(0, stock.quantity_milli - stock.held_milli)
        coming_on, bought = next(
            ((day, row) for day, _, _, row in coming if row.point == point), (None, None)
        )
        if not free_milli and bought is None:
            continue
        delivery = problem.delivery(point, line.destination or "")
        leaves = days.onward(point, settings.as_of)
        found.append(
            SendingPoint(
                point=point,
                free_milli=free_milli,
                others_milli=others[point],
                next_milli=None if bought is None else bought.quantity_milli,
                next_on=coming_on,
                carrier_days=None if delivery is None else delivery.days,
                arrives_on=None if delivery is None else carrier_day(leaves, delivery.days),
                cost_micro=None if delivery is None else _cost_micro(dataset, delivery, line),
            )
        )
    return tuple(sorted(found, key=lambda row: (-row.spare_milli, row.point)))


def _cost_micro(dataset: Dataset, delivery: Delivery, line: OrderLine) -> int:
    weight_g = next((row.weight_g for row in dataset.parts if row.part == line.part), None) or 0
    by_weight = Fraction(delivery.cost_per_kg_micro * weight_g * line.quantity_milli, 1000 * MILLI)
    return delivery.cost_micro + -(-by_weight.numerator // by_weight.denominator)

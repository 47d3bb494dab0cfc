"""What does a plan of the whole model cost? The terms of its objective, in the currency.

Each term gives (variable, cost of one of it), exact; they are those of the plan's own objective.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from math import lcm
from typing import TYPE_CHECKING

from fulfil_models.cells import GRAM_MILLI_MICRO, MICRO, MILLI
from fulfil_models.slots_variables import Units, Variables, largest

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

LARGEST_SCALE = 10**9
FALLBACK_SCALE = 10**6
LARGEST_TOTAL = 2**52

Cost = tuple["cp_model.IntVar", Fraction]


def late_builds(v: Variables) -> Iterator[Cost]:
    """late cells x minutes of a cell x weight x late_day_cost / standard day."""
    for task, late in v.late:
        yield late, task.task.rate * v.compiled.cell


def late_lines(v: Variables) -> Iterator[Cost]:
    """late days x weight x late_day_cost."""
    each = Fraction(v.compiled.book.problem.settings.late_day_cost_micro, MICRO)
    for filling in v.lines:
        yield filling.late, filling.line.line.weight * each


def moves(v: Variables) -> Iterator[Cost]:
    """cost_per_move once for a route and departure, cost_per_kg x weight of what is moved."""
    routes = v.compiled.book.supplies.routes
    for (route, _), moved in v.moved.items():
        yield moved, Fraction(routes[route].cost_per_move_micro, MICRO)
    for offer in v.offers():
        if offer.departure >= 0:
            each = routes[offer.way.route].cost_per_kg_micro
            yield offer.units.steps, _carriage(v, offer.way.way.used, offer.units, each)
    for parcel in v.parcels():
        if parcel.outlet.route >= 0:
            each = routes[parcel.outlet.route].cost_per_kg_micro
            yield parcel.units.steps, _carriage(v, parcel.outlet.used, parcel.units, each)


def alternates(v: Variables) -> Iterator[Cost]:
    """extra cost of an alternate x its quantity, for needs and lines."""
    for filling in v.fillings:
        part = filling.need.need.part
        for way in filling.jobs:
            assert way.job is not None
            made = v.done[way.job.job.name]
            yield made, _extra(v, part, way.way.used, way.quantity)
        for use in filling.uses:
            yield use.pick, _extra(v, part, use.used, use.quantity)
    for line in v.lines:
        for shipped in line.uses:
            part = line.line.line.row.part
            yield shipped.pick, _extra(v, part, shipped.used, shipped.quantity)


def expedited(v: Variables) -> Iterator[Cost]:
    """expedite_cost x quantity ordered."""
    for order in v.orders:
        assert order.lot.source is not None
        each = order.lot.source.expedite_cost_micro or 0
        yield order.ordered, Fraction(each, MICRO * MILLI)


def deliveries(v: Variables) -> Iterator[Cost]:
    """cost once for an order, point, day and cost, cost_per_kg x weight of what ships."""
    paid = set()
    for line in v.lines:
        for parcel in line.parcels:
            delivery, box = line.delivery(parcel), line.box(parcel)
            if delivery.cost_micro and box not in paid:
                paid.add(box)
                yield v.boxes[box], Fraction(delivery.cost_micro, MICRO)
            each = delivery.cost_per_kg_micro
            yield parcel.units.steps, _carriage(v, parcel.outlet.used, parcel.units, each)


TERMS: tuple[Callable[[Variables], Iterator[Cost]], ...] = (
    late_builds,
    late_lines,
    moves,
    alternates,
    expedited,
    deliveries,
)


def minimise(model: cp_model.CpModel, v: Variables) -> int:
    """Have the sum of all terms minimised, counted in whole 1/scale of the currency.

    Returns the scale. Where the currency would have to be cut finer than the solver can count,
    each cost is rounded down, so that the bound stays one.
    """
    costs = [(variable, each) for term in TERMS for variable, each in term(v) if each]
    scale = 1
    for _, each in costs:
        scale = lcm(scale, each.denominator)
        if scale > LARGEST_SCALE:
            scale = FALLBACK_SCALE
            break
    most = sum(largest(variable) * each for variable, each in costs)
    while most * scale > LARGEST_TOTAL and scale > 1:
        scale = max(1, scale // 10)
    model.minimize(sum(int(each * scale) * variable for variable, each in costs))
    return scale


def _carriage(v: Variables, part: str, units: Units, cost_per_kg_micro: int) -> Fraction:
    """Cost of carrying one step of a part."""
    grams = v.compiled.book.problem.parts[part].weight_g or 0
    return Fraction(units.step_milli * grams * cost_per_kg_micro, GRAM_MILLI_MICRO)


def _extra(v: Variables, part: str, used: str, quantity_milli: int) -> Fraction:
    """Extra cost of filling a need of `part` with so much of `used`; 0 for the part itself."""
    if used == part:
        return Fraction(0)
    rows = v.compiled.book.problem.alternates[part]
    each = next(row.extra_cost_micro for row in rows if row.alternate == used)
    return Fraction(each * quantity_milli, MICRO * MILLI)

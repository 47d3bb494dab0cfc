"""Which bins could a line of a parts order ship from?"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from fulfil_models.book_entries import Line, Outlet, weight_of
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.potential import alternate_quantity
from fulfil_models.problem import Problem
from fulfil_models.supply import Advance, Bin, Route, Supplies
from fulfil_models.tables import PartsOrder


def make_line(problem: Problem, supplies: Supplies, index: int, row: PartsOrder) -> Line:
    """A line of the problem with every outlet for the part and its approved alternates."""
    weight = weight_of(row)
    outlets = list(_outlets(problem, supplies, row, row.part, row.quantity_milli, Fraction(0)))
    for alternate in problem.alternates.get(row.part, ()):
        quantity_milli, extra = alternate_quantity(problem, alternate, row.quantity_milli)
        outlets += _outlets(problem, supplies, row, alternate.alternate, quantity_milli, extra)
    day_cost = float(weight) * problem.settings.late_day_cost_micro / MICRO
    return Line(index, row, day_cost, weight, tuple(outlets))


def _outlets(
    problem: Problem,
    supplies: Supplies,
    row: PartsOrder,
    used: str,
    quantity_milli: int,
    extra: Fraction,
) -> Iterator[Outlet]:
    """Of one part, at every point that delivers to the line's destination, and from every bin that
    a route connects with such a point."""
    kg_per_milli = (problem.parts[used].weight_g or 0) / 1000 / MILLI
    for point in problem.points:
        delivery = problem.delivery(point, row.destination)
        if delivery is None:
            continue
        own = supplies.bin(used, point)
        sources: list[tuple[Bin, Advance | None, Route | None]] = [
            (there, None, None) for there in (own, *supplies.expedited(used, point))
        ]
        sources += [(own, advance, None) for advance in supplies.advances(used, point)]
        sources += [
            (supplies.bin(used, route.origin), None, route)
            for route in supplies.routes_into.get(point, ())
        ]
        for there, advance, route in sources:
            if there.lots:
                yield Outlet(
                    used,
                    quantity_milli,
                    float(extra),
                    there,
                    delivery,
                    kg_per_milli * delivery.cost_per_kg_micro / MICRO,
                    advance,
                    route,
                )

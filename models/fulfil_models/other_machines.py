"""What other machine could be made in the place of one that is asked for?

Another option of a part's family that is on the shelf, or another product that is approved instead.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from fulfil_models.explosion import configured, rules_for
from fulfil_models.promise import Question
from fulfil_models.room import Request, Room
from fulfil_models.tables import Alternate, Build, BuildOption
from fulfil_models.taken import stock_key


@dataclass(frozen=True, slots=True)
class Swap:
    """Another option in the place of a part; `at` has its thousandths by operation."""

    part: str
    other: str
    at: Mapping[int | None, int]


def other_options(
    room: Room, question: Question, build: Build, parts: Iterable[str]
) -> Iterator[Swap]:
    """Options for parts of the same family that go into machines like this
    and of which there are enough on the shelf where it is assembled.

    A part that a region rule asks for there is not exchanged, nor is one for its own alternate.
    """
    problem = question.book.problem
    there = configured(problem, build)
    required = {rule.component for rule in rules_for(problem, build)}
    offered = _offered(room, build.product)
    for part in parts:
        family = problem.parts[part].family
        at = {op: milli for (op, name), milli in there.items() if name == part and milli}
        if not at or family is None or part in required:
            continue
        stand_ins = {row.alternate for row in problem.alternates.get(part, ())}
        for other in sorted(offered - stand_ins - {part}):
            if room.problem.parts[other].family != family or any(o == other for _, o in there):
                continue
            if _on_shelf(room, build.point, other) >= sum(at.values()):
                yield Swap(part, other, at)


def _offered(room: Room, product: str) -> set[str]:
    """Components of machines of the product's family, as standard or as an option."""
    parts = room.problem.parts
    family = parts[product].family
    like = {product}
    if family is not None:
        like |= {row.part for row in parts.values() if row.family == family}
    found = {line.component for name in like for line in room.problem.bills.get(name, ())}
    found |= {row.component for row in room.dataset.take_rates if row.product in like}
    builds = {row.build for row in room.dataset.builds if row.product in like}
    found |= {row.component for row in room.dataset.build_options if row.build in builds}
    return found


def _on_shelf(room: Room, point: str, part: str) -> int:
    """Thousandths of a part that are free on the shelf of a point."""
    taken = room.problem.taken.lots_milli.get(stock_key(point, part), 0)
    return sum(
        row.quantity_milli - row.held_milli - taken
        for row in room.dataset.stock
        if (row.part, row.point) == (part, point)
    )


def exchanged(request: Request, build: Build, swap: Swap) -> Request:
    change = [(swap.part, operation, -milli) for operation, milli in swap.at.items()]
    change += [(swap.other, operation, milli) for operation, milli in swap.at.items()]
    mine = [row for row in request.options if row.build == build.build]
    kept = [(row.component, row.operation, row.quantity_milli) for row in mine]
    return _with_options(request, build, [*kept, *change])


def _with_options(
    request: Request, build: Build, amounts: Iterable[tuple[str, int | None, int]]
) -> Request:
    """A request with these as all options of a build: component, operation, thousandths."""
    totals: defaultdict[tuple[str, int | None], int] = defaultdict(int)
    for component, operation, milli in amounts:
        totals[component, operation] += milli
    mine = (
        BuildOption(build=build.build, component=name, quantity_milli=milli, operation=operation)
        for (name, operation), milli in totals.items()
        if milli
    )
    rest = (row for row in request.options if row.build != build.build)
    return dataclasses.replace(request, options=(*rest, *mine))


def other_products(
    room: Room, request: Request, build: Build
) -> Iterator[tuple[Alternate, Request]]:
    """Products approved in the place of a build's own, at the point that assembles them.

    Options keep their operation where the other product has one of that number.
    """
    problem = room.problem
    mine = [row for row in request.options if row.build == build.build]
    for row in problem.alternates.get(build.product, ()):
        steps = problem.routings.get(row.alternate, ())
        points = {problem.work_centres[step.work_centre].point for step in steps}
        if len(points) == 1:
            (point,) = points
            other = dataclasses.replace(build, product=row.alternate, point=point)
            builds = tuple(other if b.build == build.build else b for b in request.builds)
            numbers = {step.operation for step in steps}
            options = [
                (o.component, o.operation if o.operation in numbers else None, o.quantity_milli)
                for o in mine
            ]
            asked = dataclasses.replace(request, builds=builds)
            yield row, _with_options(asked, build, options)

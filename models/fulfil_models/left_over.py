"""What do a plan and held quotes leave of stock and open purchases, and which draws find nothing?

The data may be newer than the plan: what a build or line takes that is gone from them, or has begun
what it takes it for, draws on nothing any more; and what a plan draws on may be gone.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

from fulfil_models.plan import Supply, SupplyKind
from fulfil_models.plan_index import PlanIndex, Use
from fulfil_models.problem import Problem
from fulfil_models.taken import LotKey, purchase_key, stock_key


@dataclass(slots=True)
class Lot:
    """Units that come to a point on a day and that nobody has."""

    point: str
    day: date
    milli: int


@dataclass(frozen=True, slots=True)
class LeftOver:
    """What is left, and what is missing.

    Attributes
    ----------
    lots: by part, in order of day.
    unfilled: draws of the plan on what is not there, each with the quantity that is missing. Of one
        lot those that draw last.
    """

    lots: Mapping[str, list[Lot]]
    unfilled: tuple[Use, ...]


def left_over(problem: Problem, index: PlanIndex | None) -> LeftOver:
    """Of all stock and open purchases; without a plan all that no quote keeps."""
    draws: defaultdict[tuple[LotKey, str], list[Use]] = defaultdict(list)
    for use in () if index is None else standing_uses(problem, index):
        assert index is not None
        root = index.root(index.supplies[use.supply])
        key = _lot_key(root)
        if key is not None:
            draws[key, root.part].append(use)
    taken = problem.taken.lots_milli
    lots: defaultdict[str, list[Lot]] = defaultdict(list)
    unfilled: list[Use] = []

    def share(key: LotKey, lot: Lot, part: str) -> None:
        left = lot.milli - taken.get(key, 0)
        for use in draws.pop((key, part), ()):
            filled = min(max(left, 0), use.quantity_milli)
            if filled < use.quantity_milli:
                unfilled.append(replace(use, quantity_milli=use.quantity_milli - filled))
            left -= filled
        if left > 0:
            lots[part].append(replace(lot, milli=left))

    for row in problem.dataset.stock:
        free = row.quantity_milli - row.held_milli
        share(stock_key(row.point, row.part), Lot(row.point, problem.as_of, free), row.part)
    for line in problem.dataset.purchases:
        lot = Lot(line.point, problem.settings.counted_on(line.due), line.quantity_milli)
        share(purchase_key(line.order, line.line), lot, line.part)
    for rows in lots.values():
        rows.sort(key=lambda row: (row.day, row.point))
    unfilled += [use for uses in draws.values() for use in uses]
    return LeftOver(
        dict(lots), tuple(sorted(unfilled, key=lambda use: (use.at, use.who, use.part, use.supply)))
    )


def _lot_key(root: Supply) -> LotKey | None:
    if root.kind is SupplyKind.STOCK:
        return stock_key(root.point, root.part)
    if root.kind is SupplyKind.PURCHASE:
        return purchase_key(root.order or "", root.line or "")
    return None


def standing_uses(problem: Problem, index: PlanIndex) -> Iterator[Use]:
    """What a plan draws for builds and lines that are still in the data, in order of time.

    Not for operations that have begun since: what they took is gone from the shelf as well.
    """
    builds = {row.build for row in problem.builds}
    lines = {(row.order, row.line) for row in problem.parts_orders}
    for use in index.uses:
        if use.build is None:
            if (use.order, use.line) in lines:
                yield use
        elif use.build in builds and (use.build, _own_operation(index, use)) not in problem.begun:
            yield use


def _own_operation(index: PlanIndex, use: Use) -> int | None:
    """The operation of the build's own job for which units are taken, or what they go into."""
    job, operation = use.job, use.operation
    while job is not None and job != use.build:
        above = index.jobs[job]
        job, operation = above.for_job, above.for_operation
    return operation

"""Plans that are made beside what others have taken, and books that say the same in plain rows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from books import Shape, random_book, settings_of
from fulfil_models.audit import Violation, audit
from fulfil_models.cells import MILLI
from fulfil_models.decisions import from_solution
from fulfil_models.kept_open import held
from fulfil_models.plan import Plan
from fulfil_models.planning import (
    Effort,
    Workbench,
    finished,
    first_plan,
    search_plan,
    solution_of,
    unexplained,
)
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.sketch import take_up
from fulfil_models.stranded import stranded
from fulfil_models.tables import Build, Dataset, Downtime, Point
from fulfil_models.taken import (
    NOTHING,
    LotKey,
    Taken,
    purchase_key,
    stock_key,
    taken_by,
    with_orders,
)
from tiny_shop import SETTINGS, build, march, shop, source

ELSEWHERE = "elsewhere"
"""a point to which nothing leads and from which nothing comes"""
OF_ONE_PLAN = {"objective", "bound"}
"""rules about cost: two plans that are joined have each their own"""


def without(data: Dataset, names: Iterable[str]) -> Dataset:
    """A data set without some of its builds."""
    gone = set(names)
    return replace(
        data,
        builds=tuple(row for row in data.builds if row.build not in gone),
        build_options=tuple(row for row in data.build_options if row.build not in gone),
    )


def only(data: Dataset, names: Iterable[str]) -> Dataset:
    """A data set with some of its builds, and with no parts orders."""
    kept = set(names)
    return replace(
        data,
        builds=tuple(row for row in data.builds if row.build in kept),
        build_options=tuple(row for row in data.build_options if row.build in kept),
        progress=tuple(row for row in data.progress if row.build in kept),
        parts_orders=(),
    )


def split_book(seed: int, shape: Shape, asked: int) -> tuple[Dataset, list[str]] | None:
    """A random book, and the last of its builds, for which others ask one by one; None for a book
    in which something can never come."""
    data = random_book(seed, shape)
    names = sorted(row.build for row in data.builds)[-asked:]
    return None if stranded(data, settings_of(data)) else (data, names)


def bench_for(data: Dataset, settings: Settings, taken: Taken = NOTHING) -> Workbench:
    return Workbench(Problem(with_orders(data, taken), settings, taken=taken))


def listed(data: Dataset, settings: Settings, taken: Taken = NOTHING) -> Plan | None:
    """A first plan, beside what is taken; None where something is left out."""
    bench = bench_for(data, settings, taken)
    sketch = first_plan(bench).sketch
    assert sketch is not None
    solution = solution_of(take_up(bench.compiled, sketch))
    decisions = from_solution(bench.book, bench.compiled, solution)
    if decisions.unplaced or decisions.unshipped:
        return None
    return unexplained(bench, decisions)


def searched(
    data: Dataset, settings: Settings, taken: Taken = NOTHING, seconds: float = 1.0
) -> Plan:
    """The plan that a search finds beside what is taken, with reasons."""
    bench = bench_for(data, settings, taken)
    outcome = search_plan(bench, Effort(seconds=seconds))
    assert not outcome.decisions.unplaced
    assert not outcome.decisions.unshipped
    return finished(bench, outcome)


def broken(data: Dataset, plan: Plan, settings: Settings | None = None) -> list[Violation]:
    """Rules that plans joined into one break, but those that are about cost."""
    found = audit(data, settings or settings_of(data), plan)
    return [violation for violation in found if violation.rule not in OF_ONE_PLAN]


def reduced(data: Dataset, taken: Taken) -> Dataset:
    """What is left of a data set, in plain rows: taken stock is held, work is downtime, and orders
    that others count on come to a point that is of no use, so that a cap counts them."""
    lots: dict[LotKey, int] = Counter(taken.lots_milli)
    known = {(row.order, row.line) for row in data.purchases}
    ordered = [row for row in taken.orders if (row.order, row.line) not in known]
    purchases = []
    for row in (*data.purchases, *ordered):
        milli = lots[purchase_key(row.order, row.line)]
        left, gone = row.quantity_milli - milli, min(milli, row.quantity_milli)
        if left > 0:
            purchases.append(replace(row, quantity_milli=left))
        if gone:
            purchases.append(
                replace(row, order=f"{row.order}!", point=ELSEWHERE, quantity_milli=gone)
            )
    return replace(
        data,
        points=(*data.points, Point(point=ELSEWHERE)),
        stock=tuple(
            replace(row, held_milli=row.held_milli + lots[stock_key(row.point, row.part)])
            for row in data.stock
        ),
        purchases=tuple(purchases),
        downtime=(
            *data.downtime,
            *(
                Downtime(
                    work_centre=row.work_centre,
                    starts=row.starts,
                    ends=row.ends,
                    stations=row.stations,
                )
                for row in taken.busy
            ),
        ),
    )


# ---- on the tiny shop

QUOTED = build("Q", None)


def quoted(data: Dataset, taken: Taken = NOTHING, asked: Build = QUOTED) -> Plan:
    """One machine put beside what is taken."""
    plan = listed(replace(data, builds=(asked,), parts_orders=()), SETTINGS, taken)
    assert plan is not None
    return plan


def hold(data: Dataset, asked: Build = QUOTED) -> Taken:
    """What a hold for one machine, made when there was no plan, takes."""
    return held(quoted(data, asked=asked), data, "Q7:", own=True)


def both(data: Dataset, asked: Build = QUOTED) -> Dataset:
    """The data set with the held machine as a firm build."""
    return replace(data, builds=(*data.builds, asked))


def starts(plan: Plan) -> dict[str, datetime]:
    return {row.job: row.start for row in plan.operations}


def monday(hour: int) -> datetime:
    return datetime(2026, 3, 2, hour)


def beside_an_order() -> tuple[Dataset, Plan, Plan]:
    """A plan whose order brings one engine over (the least are two), and a machine that takes it.

    Nothing else comes in March, for no more than two may.
    """
    data = shop(
        builds=(build("B1", march(12)),), sources=(source(10, cap=2, minimum_milli=2 * MILLI),)
    )
    plan = listed(data, SETTINGS)
    assert plan is not None
    return data, plan, quoted(data, taken_by(plan, data))

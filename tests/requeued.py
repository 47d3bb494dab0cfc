"""The queue re-ordered for something new: asked beside a plan that stands, and looked over.

Whatever comes of it is a plan in which every promise is kept, no later than the plain answer, and
it tells truly who moves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from beside_books import broken
from fulfil_models.audit import audit
from fulfil_models.displaced import Moved, MovedLine
from fulfil_models.plan import Plan
from fulfil_models.planning import Effort, Workbench
from fulfil_models.problem import Problem
from fulfil_models.repair import retimed_plan
from fulfil_models.resequence import Resequenced, resequenced
from fulfil_models.room import Request, Room
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset
from fulfil_models.taken import NOTHING, Taken, joined, taken_by, with_orders
from questions import QUOTED, answer, standing, with_request
from tiny_shop import (
    SETTINGS,
    build,
    march,
    shop,
    stock,
)


@dataclass(frozen=True)
class Asked:
    """A question beside a plan, with its plain answer.

    Attributes
    ----------
    data: with what is asked for among its orders.
    before: the plan that stands, with what is asked for beside it.
    taken: what holds have, of which the plan knows nothing.
    freeze: the plan whose slots are frozen.
    """

    data: Dataset
    settings: Settings
    before: Plan
    request: Request
    taken: Taken = NOTHING
    freeze: Plan | None = None

    @property
    def builds(self) -> frozenset[str]:
        return frozenset(row.build for row in self.request.builds)

    @property
    def lines(self) -> frozenset[tuple[str, str]]:
        return frozenset((row.order, row.line) for row in self.request.lines)

    @property
    def plainly(self) -> date:
        """Day on which the last of it is ready if nobody moves."""
        return ready_day(self.before, self)

    def bench(self) -> Workbench:
        rows = () if self.freeze is None else self.freeze.operations
        slots = {(row.job, row.operation): row.start for row in rows}
        data = with_orders(self.data, self.taken)
        return Workbench(Problem(data, self.settings, previous_starts=slots, taken=self.taken))

    def found(self, seconds: float = 1.0, bench: Workbench | None = None) -> Resequenced:
        """The answer if the queue is re-ordered, looked over."""
        made = resequenced(
            bench or self.bench(), self.before, self.builds, Effort(seconds=seconds), self.lines
        )
        look_over(self, made)
        return made


def put(
    data: Dataset,
    plan: Plan,
    request: Request,
    settings: Settings = SETTINGS,
    taken: Taken = NOTHING,
    freeze: Plan | None = None,
) -> Asked:
    """Something asked for beside a plan, which must have a plain answer."""
    piece = answer(Room(data, settings, taken_by(plan, data) + taken), request)
    assert piece is not None
    whole = joined(plan, piece)
    return Asked(with_request(data, request), settings, whole, request, taken, freeze)


def gone_on(earlier: Dataset, data: Dataset) -> Plan:
    """A plan of the tiny shop as it was, with which it goes on now that the data are others.

    So builds may stand earlier than they were promised, on units that they need not have.
    """
    made = retimed_plan(Workbench(Problem(data, SETTINGS)), standing(earlier))
    assert not made.unplaced
    assert not made.unshipped
    return made.plan


def ready_day(plan: Plan, asked: Asked) -> date:
    """Day on which the last new build ships, or the last new line arrives."""
    days = [row.ships for row in plan.builds if row.build in asked.builds]
    days += [row.arrives for row in plan.shipments if (row.order, row.line) in asked.lines]
    return max(days)


def ship_day(plan: Plan, asked: Asked) -> date:
    days = [row.ships for row in plan.builds if row.build in asked.builds]
    days += [row.ships for row in plan.shipments if (row.order, row.line) in asked.lines]
    return max(days)


# ---- what must hold of every answer


def look_over(asked: Asked, made: Resequenced) -> None:
    assert made.ready == ready_day(made.plan, asked) <= asked.plainly
    assert made.ships == ship_day(made.plan, asked)
    assert broken_promises(asked, made.plan) == []
    if not asked.taken.lots_milli and not asked.taken.busy:
        assert audit(asked.data, asked.settings, made.plan, asked.freeze) == ()
    else:  # stations and supplies of holds are not in the data
        assert broken(asked.data, made.plan, asked.settings) == []
    assert (made.plan.bound, made.plan.notes) in ((0, ()), (made.plan.objective.total, ()))
    assert all(row.reasons for row in made.plan.builds if _waits(asked, made.plan, row.build))
    assert list(made.moved) == list(builds_that_differ(asked, made.plan))
    assert list(made.moved_lines) == list(lines_that_differ(asked, made.plan))
    if made.ready == asked.plainly:
        assert (made.moved, made.moved_lines) == ((), ())
        assert slots(made.plan) == slots(asked.before)


def _waits(asked: Asked, plan: Plan, name: str) -> bool:
    """Whether a build starts later than at the first moment there is: that has a reason."""
    opening = datetime.combine(asked.settings.as_of, datetime.min.time()).replace(hour=8)
    return first_starts(plan).get(name, opening) > opening


def broken_promises(asked: Asked, plan: Plan) -> list[str]:
    """Promised builds, and lines, that are later than they were; "" for what is left out."""
    after = {row.build: row for row in plan.builds}
    found = [
        row.build
        for row in asked.before.builds
        if row.build in after
        and row.promised is not None
        and row.build not in asked.builds
        and (
            after[row.build].late_minutes > row.late_minutes
            or after[row.build].late_days > row.late_days
        )
    ]
    late, late_before = late_days(plan), late_days(asked.before)
    promised = {
        (row.order, row.line)
        for row in asked.data.parts_orders
        if row.promised is not None or row.within_days is not None
    }
    found += [
        f"{order}/{line}"
        for order, line in promised - asked.lines
        if late[order, line] > late_before[order, line]
    ]
    everything = (after.keys(), late.keys())
    names = {row.build for row in asked.before.builds}
    return found if everything == (names, late_before.keys()) else ["", *found]


def builds_that_differ(asked: Asked, after: Plan) -> list[Moved]:
    starts, starts_before = first_starts(after), first_starts(asked.before)
    rows = {row.build: row for row in after.builds}
    pairs = [(row, rows[row.build]) for row in asked.before.builds if row.build not in asked.builds]
    return [
        Moved(
            build=old.build,
            promised=old.promised,
            ships_before=old.ships,
            ships_after=new.ships,
            finish_before=old.finish,
            finish_after=new.finish,
            late_days_before=old.late_days,
            late_days_after=new.late_days,
            starts_before=starts_before.get(old.build),
            starts_after=starts.get(old.build),
        )
        for old, new in pairs
        if (old.ships, old.finish) != (new.ships, new.finish)
        or starts.get(old.build) != starts_before.get(old.build)
    ]


def lines_that_differ(asked: Asked, after: Plan) -> list[MovedLine]:
    due = {
        (row.order, row.line)
        for row in asked.data.parts_orders
        if row.promised is not None or row.within_days is not None
    }
    now, then = sent(asked.before), sent(after)
    late, late_before = late_days(after), late_days(asked.before)
    return [
        MovedLine(
            *key,
            is_promised=key in due,
            ships_before=now[key][0],
            ships_after=then[key][0],
            arrives_before=now[key][1],
            arrives_after=then[key][1],
            points_before=now[key][2],
            points_after=then[key][2],
            late_days_before=late_before[key],
            late_days_after=late[key],
        )
        for key in now
        if key not in asked.lines and now[key] != then[key]
    ]


def sent(plan: Plan) -> dict[tuple[str, str], tuple[date, date, tuple[str, ...]]]:
    """By line of a parts order: when the last of it ships and arrives, and from which points."""
    found: dict[tuple[str, str], tuple[date, date, tuple[str, ...]]] = {}
    for row in plan.shipments:
        ships, arrives, points = found.get((row.order, row.line), (row.ships, row.arrives, ()))
        points = tuple(sorted({*points, row.point}))
        found[row.order, row.line] = max(row.ships, ships), max(row.arrives, arrives), points
    return found


def late_days(plan: Plan) -> dict[tuple[str, str], int]:
    """By line of a parts order: late days of its worst shipment."""
    found: dict[tuple[str, str], int] = {}
    for row in plan.shipments:
        key = (row.order, row.line)
        found[key] = max(row.late_days, found.get(key, 0))
    return found


def first_starts(plan: Plan) -> dict[str, datetime]:
    """By build: when the first of all that is done for it starts."""
    builds = {job.job: job.build for job in plan.jobs}
    found: dict[str, datetime] = {}
    for row in plan.operations:
        name = builds[row.job]
        found[name] = min(row.start, found.get(name, row.start))
    return found


def slots(plan: Plan) -> Mapping[tuple[str, int], tuple[datetime, datetime]]:
    return {(row.job, row.operation): (row.start, row.end) for row in plan.operations}


# ---- builds that were wanted sooner, by hand

ONE = Request((QUOTED,))
SHELF = (stock(1),)
MONDAY = march(2)


def wanted_sooner(*days: int | None, promised: int | date, **tables: Any) -> tuple[Dataset, Plan]:
    """Builds B1, B2 .. that stand on these days of March (None: at once) and are promised later;
    there were `had` engines when that was planned, and now there is all that `tables` say."""
    had = tables.pop("had", len(days))
    names = [f"B{n}" for n in range(1, len(days) + 1)]
    due = march(promised) if isinstance(promised, int) else promised
    then = tuple(
        build(name, None if day is None else march(day))
        for name, day in zip(names, days, strict=True)
    )
    now = tuple(replace(row, promised=due) for row in then)
    data = shop(builds=now, **tables)
    kept = {key: value for key, value in tables.items() if key not in ("stock", "purchases")}
    return data, gone_on(shop(builds=then, stock=(stock(had),), **kept), data)


def draws(plan: Plan) -> dict[str, str]:
    """By build or order: the supply of its engine."""
    found = {peg.job: peg.supply for peg in plan.pegs}
    return found | {row.order: row.supply for row in plan.shipments}


def days(made: Resequenced) -> dict[str, tuple[date, date]]:
    """By build that moves: the days on which it shipped and ships."""
    return {row.build: (row.ships_before, row.ships_after) for row in made.moved}

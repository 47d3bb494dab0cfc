"""Something new asked for beside a plan: on the tiny shop, on random books, and as one plan."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from beside_books import broken, listed, split_book, without
from books import Shape, settings_of
from fulfil_models.audit import Violation
from fulfil_models.cells import MILLI
from fulfil_models.forward import Forward, Lever, brought_forward
from fulfil_models.plan import Plan
from fulfil_models.promise import Allowed, Question, plainly
from fulfil_models.room import Request, Room
from fulfil_models.settings import Settings
from fulfil_models.tables import Build, BuildOption, Dataset, PartsOrder
from fulfil_models.taken import NOTHING, Taken, joined, taken_by
from tiny_shop import SETTINGS, build, order

QUOTED = build("Q", None)


def standing(data: Dataset, settings: Settings = SETTINGS) -> Plan:
    """The plan of a data set in which nothing is left out."""
    plan = listed(data, settings)
    assert plan is not None
    return plan


def taken_of(data: Dataset, settings: Settings = SETTINGS) -> Taken:
    return taken_by(standing(data, settings), data)


def asked_line(units: int, line: str = "1", split: bool = False, **more: object) -> PartsOrder:
    """Spare parts as sales asks for them: to arrive as soon as can be, from one point."""
    row = order("Q", units, None, line, within_days=0, split=split, **more)
    return replace(row, ordered=SETTINGS.as_of)


@dataclass(frozen=True)
class Asked:
    """A question put into what a plan leaves, with its plain answer."""

    data: Dataset
    before: Plan | None
    room: Room
    question: Question
    plan: Plan

    @property
    def ships(self) -> date:
        """Day on which the only build ships."""
        (row,) = self.plan.builds
        return row.ships


def ask(data: Dataset, request: Request, *, beside: bool = True) -> Asked:
    """Ask on the tiny shop, beside its plan or in an empty shop, what must have an answer."""
    before = standing(data) if beside and (data.builds or data.parts_orders) else None
    taken = NOTHING if before is None else taken_by(before, data)
    room = Room(data, SETTINGS, taken)
    question = Question(room, request)
    solution = question.earliest()
    assert solution is not None
    return Asked(data, before, room, question, question.plan(solution))


def ask_builds(
    data: Dataset, *builds: Build, options: tuple[BuildOption, ...] = (), beside: bool = True
) -> Asked:
    return ask(data, Request(builds=builds or (QUOTED,), options=options), beside=beside)


def ask_lines(data: Dataset, *lines: PartsOrder, beside: bool = True) -> Asked:
    return ask(data, Request(lines=lines), beside=beside)


def with_request(data: Dataset, request: Request) -> Dataset:
    """A data set with what is asked for among its orders."""
    return replace(
        data,
        builds=(*data.builds, *request.builds),
        build_options=(*data.build_options, *request.options),
        parts_orders=(*data.parts_orders, *request.lines),
    )


def wrong(asked: Asked, request: Request, plan: Plan) -> list[Violation]:
    """Rules but of cost that a plan of a request breaks, joined with the plan that stands."""
    whole = plan if asked.before is None else joined(asked.before, plan)
    data = asked.data
    if asked.before is None:
        data = replace(data, builds=(), build_options=(), parts_orders=())
    return broken(with_request(data, request), whole, SETTINGS)


# ---- what brings it forward


def forward(asked: Asked) -> list[Forward]:
    """What brings it forward; every one of them is a plan, together with the one that stands."""
    found = brought_forward(asked.room, asked.question, asked.plan)
    for row in found:
        assert wrong(asked, row.request, row.plan) == []
        assert row.days_sooner > 0
    return found


def told(asked: Asked) -> list[tuple[Lever, str, date, Fraction]]:
    return [(row.lever, row.by, row.ships, row.cost) for row in forward(asked)]


def option(part: str, units: float, operation: int | None = 10, of: str = "Q") -> BuildOption:
    milli = round(units * MILLI)
    return BuildOption(build=of, component=part, quantity_milli=milli, operation=operation)


# ---- random books


@dataclass(frozen=True)
class Beside:
    """A random book with a plan of all but one of its builds, and that build as it is asked for."""

    rest: Dataset
    settings: Settings
    before: Plan
    request: Request

    @property
    def taken(self) -> Taken:
        return taken_by(self.before, self.rest)

    def room(self) -> Room:
        return Room(self.rest, self.settings, self.taken)


def random_beside(seed: int, shape: Shape) -> Beside | None:
    """A random question; None for a book in which something can never come, or is left out.

    The build that has options is asked for as often as any.
    """
    found = split_book(seed, shape, asked=shape.builds)
    if found is None:
        return None
    data, names = found
    name = names[seed % len(names)]
    (asked,) = (row for row in data.builds if row.build == name)
    rest = without(data, (name,))
    before = listed(rest, settings_of(data))
    if before is None:
        return None
    options = tuple(row for row in data.build_options if row.build == name)
    request = Request((replace(asked, promised=None),), options)
    return Beside(rest, settings_of(data), before, request)


def answer(
    room: Room, request: Request, allowed: Allowed = plainly, *, explained: bool = True
) -> Plan | None:
    """The plan of a request alone, by ways that are allowed; None where it never comes."""
    question = Question(room, request)
    solution = question.earliest(allowed)
    return None if solution is None else question.plan(solution, explained=explained)

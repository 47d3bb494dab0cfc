"""Which part fills each need of a build, and when? The builds' side of the allocation model.

Objective terms: every build's cost of lateness (and of priced stations), and the extra cost of
alternates. Relaxed: a need that a job and supplies could fill together is left out; a build waits
for its parts and its own work, never for a station.

In long books every need could draw on hundreds of later moments. There two things differ:

- That the latest of several units counts is written as a chain of rows (`is_long`), so that the
  entries grow as the classes of cost do, not as their square. It says the same.
- In still longer ones (`is_grouped`) late draws that cost about the same are one column: it takes
  from the last node of such a span at the cost of the first. Relaxed, by a known measure: lateness
  there counts for no less than 1 / (1 + `SPAN`) of what it costs, and in full up to where nodes are
  told apart.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from fulfil_models.allocation_flows import Flows, Network
from fulfil_models.allocation_rows import Row, Rows, Terms, at_least, at_most, exactly
from fulfil_models.book import Book, Job, Need, Way, WayKind
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.solving import LinearModel

PriceOfStart = Callable[[Need, int], float]
"""least cost of a build's lateness and stations if a need is filled at a position"""

MANY_LATE_DRAWS = 40_000
"""late draws of all needs beyond which a book is long (700 builds over a year have some 54,000)"""
MOST_LATE_DRAWS = 60_000
"""and beyond which they are grouped, for a lower bound"""
SPAN = 0.125
"""by how much the dearest draw of a span may cost more than the cheapest, as a share"""

# ---- variables


@dataclass(slots=True)
class Lateness:
    """Cost of each build: at least `base`, what it costs if it waits for no part."""

    late: dict[int, int] = field(default_factory=dict)
    """by task: column"""
    base: dict[int, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Drawn:
    """Units that a need draws at one node."""

    column: int
    position: int
    cost: float
    """of the build, above its base, if it waits for them"""


@dataclass(slots=True)
class Choice:
    """One part that may fill a need wholly, drawn or made."""

    way: Way
    pick: int | None
    """binary that it does; None where it does in any case"""
    count: int = 0
    """units of flow, if drawn"""
    draws: list[Drawn] = field(default_factory=list)
    fillings: list[Filling] = field(default_factory=list)
    """of the needs of the job, if made"""


@dataclass(slots=True)
class Filling:
    """A need with the choices it has."""

    need: Need
    done: int | None
    """binary that the need's job is done; None where it is in any case"""
    late: int
    base: float
    several: bool
    """it takes several units of flow, which may come one after another"""
    choices: list[Choice]
    marks: dict[float, int] = field(default_factory=dict)
    """by cost, the highest first: binary that this is the latest class drawn"""
    spare: dict[float, int] = field(default_factory=dict)
    """by cost, in long books: by how much the marks from this class on exceed the shares drawn"""

    @property
    def waits(self) -> Iterator[tuple[Drawn, int]]:
        """Draws that cost the build something, with the units of their choice."""
        for choice in self.choices:
            for drawn in choice.draws:
                if drawn.cost > 0:
                    yield drawn, choice.count


def add_lateness(book: Book, model: LinearModel, bases: dict[int, float] | None = None) -> Lateness:
    """late_b >= base_b: cost of a build if it waits for no part, or what `bases` says if more."""
    made = Lateness()
    for task in book.tasks:
        work = sum(op.duration for op in task.root.operations)
        plain = float(task.rate) * max(0, task.earliest + work - task.due)
        base = plain if bases is None else max(plain, bases[task.index])
        made.base[task.index] = base
        made.late[task.index] = model.variable(base, cost=1.0)
    return made


def late_draws(book: Book, networks: Mapping[tuple[str, str], Network]) -> int:
    """How many nodes at which a draw would make a build late there are, over all needs."""
    found = 0
    for need in book.needs:
        if need.plentiful:
            continue
        task = need.job.task
        work = sum(op.duration for op in task.root.operations)
        in_time = max(task.due, task.earliest + work) - need.tail
        for used in {way.used for way in need.ways if way.kind != WayKind.MAKE}:
            net = networks[used, task.build.point]
            end = min(len(net.times), net.unlimited_from + 1)
            found += max(0, end - bisect_right(net.times, in_time))
    return found


def is_long(book: Book, networks: Mapping[tuple[str, str], Network]) -> bool:
    """Whether the model is chained and solved in rounds: from `MANY_LATE_DRAWS` of them on."""
    return late_draws(book, networks) > MANY_LATE_DRAWS


def is_grouped(book: Book, networks: Mapping[tuple[str, str], Network]) -> bool:
    """Whether late draws are grouped: from `MOST_LATE_DRAWS` of them on."""
    return late_draws(book, networks) > MOST_LATE_DRAWS


def spans(costs: Sequence[float], end: int, widening: float | None) -> Iterator[tuple[int, int]]:
    """First and last node of each draw, from the last node that costs nothing on, up to `end`.

    Parameters
    ----------
    costs: of the build by node, ascending.
    end: last node, which stands alone: it may be one without limit.
    widening: how many times as much as its first node the last one of a span may cost; None where
        every node is one of its own.
    """
    first = max(bisect_right(costs, 0.0) - 1, 0)
    while first <= end:
        last = first
        if widening is not None:
            while last + 1 < end and costs[last + 1] <= widening * costs[first]:
                last += 1
        yield first, last
        first = last + 1


class Needs:
    """Columns of everything that fills a need, by build."""

    def __init__(
        self, book: Book, flows: Flows, lateness: Lateness, price: PriceOfStart | None
    ) -> None:
        self.book = book
        self.flows = flows
        self.model = flows.model
        self.lateness = lateness
        self.price = price
        self.long = is_long(book, flows.networks)
        self.grouped = is_grouped(book, flows.networks)
        self.chosen: dict[int, list[tuple[Way, int | None]]] = {}
        self.draws: defaultdict[int, list[tuple[int, int]]] = defaultdict(list)
        self.fillings = [
            filling for task in book.tasks for filling in self._fillings(task.root, None)
        ]

    def _fillings(self, job: Job, done: int | None) -> list[Filling]:
        """Of every need of a job that is a question (`done`: its binary, None if it is done)."""
        found = (self._filling(need, done) for need in job.needs() if not need.plentiful)
        return [filling for filling in found if filling is not None]

    def _filling(self, need: Need, done: int | None) -> Filling | None:
        """Columns of a need and, below it, of the jobs that may fill it; None if left out."""
        drawn: dict[str, Way] = {}
        made: list[Way] = []
        for way in need.ways:
            if way.kind == WayKind.MAKE:
                made.append(way)
            else:
                drawn.setdefault(way.used, way)
        if done is None and not made and self._always_in_time(need, drawn):
            return None
        if made and drawn and need.quantity_milli > self.book.problem.parts[need.part].step_milli:
            return None  # may be part made, part drawn: left out, which only lowers the bound
        ways = [*drawn.values(), *made]
        choices = [Choice(way, self._pick(need, way, len(ways) == 1, done)) for way in ways]
        self.chosen[need.index] = [(choice.way, choice.pick) for choice in choices]
        task = need.job.task.index
        pieces = need.quantity_milli // self.flows.units.get(need.part, need.quantity_milli)
        filling = Filling(
            need, done, self.lateness.late[task], self.lateness.base[task], pieces > 1, choices
        )
        for choice in choices:
            if choice.way.job is not None:
                choice.fillings = self._fillings(choice.way.job, choice.pick)
            else:
                self._add_draws(need, choice)
        if filling.several:
            costs = {waited.cost for waited, _ in filling.waits}
            filling.marks = {cost: self.model.binary() for cost in sorted(costs, reverse=True)}
            if self.long:
                filling.spare = {cost: self.model.variable() for cost in filling.marks}
        return filling

    def _pick(self, need: Need, way: Way, single: bool, done: int | None) -> int | None:
        """Binary that a way is chosen, with its extra cost; what is done where it is the only."""
        extra = self._alternate_cost(need, way)
        if not single:
            return self.model.binary(extra)
        if extra and done is None:
            self.model.offset += extra
        return done

    def _alternate_cost(self, need: Need, way: Way) -> float:
        if way.used == need.part:
            return 0.0
        rows = self.book.problem.alternates[need.part]
        each = next(a.extra_cost_micro for a in rows if a.alternate == way.used)
        return each * way.quantity_milli / MILLI / MICRO

    def _always_in_time(self, need: Need, drawn: dict[str, Way]) -> bool:
        """Whether the part itself is unlimited by the time that costs nothing."""
        if need.part not in drawn:
            return False
        net = self.flows.networks[need.part, need.job.task.build.point]
        first = net.unlimited_from
        return first < len(net.times) and self._cost_at(need, net.times[first]) <= 0.0

    def _cost_at(self, need: Need, position: int) -> float:
        """Cost above the build's base if a need is filled at a position."""
        task = need.job.task
        base = self.lateness.base[task.index]
        if self.price is not None:
            return max(0.0, self.price(need, position) - base)
        cost = float(task.rate) * max(0, position + need.tail - task.due)
        return max(0.0, cost - base)

    def _add_draws(self, need: Need, choice: Choice) -> None:
        """Draws from the last node that costs nothing on: an earlier one gains nothing, for units
        are carried on for nothing. So they may be up to the last node of a span, too."""
        used = choice.way.used
        net = self.flows.networks[used, need.job.task.build.point]
        choice.count = choice.way.quantity_milli // self.flows.units[used]
        end = min(len(net.times) - 1, net.unlimited_from)
        costs = [self._cost_at(need, t) for t in net.times[: end + 1]]
        for first, last in spans(costs, end, 1 + SPAN if self.grouped else None):
            column = self.model.variable(0, choice.count, integer=True)
            net.outflow[last].append((column, 1.0))
            choice.draws.append(Drawn(column, net.times[last], costs[first]))
            self.draws[need.index].append((column, net.times[last]))


# ---- rules


def one_way_fills_a_need(filling: Filling) -> Iterator[Row]:
    """sum over ways w of x_w = done: wholly by the part, or wholly by one alternate, or made.

    Where there is one way only, x is `done` itself.
    """
    if len(filling.choices) == 1:
        return
    terms = [(choice.pick, 1.0) for choice in filling.choices if choice.pick is not None]
    if filling.done is None:
        yield exactly(terms, 1)
    else:
        yield exactly([*terms, (filling.done, -1.0)], 0)


def draws_make_up_a_need(choice: Choice) -> Iterator[Row]:
    """sum over nodes n of f_n = q x: q units are drawn of the part that fills the need."""
    terms = [(drawn.column, 1.0) for drawn in choice.draws]
    if choice.pick is None:
        yield exactly(terms, choice.count)
    else:
        yield exactly([*terms, (choice.pick, -float(choice.count))], 0)


def a_build_waits_for_a_unit(filling: Filling) -> Iterator[Row]:
    """late >= base + sum over draws n of c_n f_n / q, for a need of one unit of flow.

    c_n is what the build then costs above its base.
    """
    terms = [(drawn.column, -(drawn.cost / count)) for drawn, count in filling.waits]
    if filling.several or not terms:
        return
    yield at_least([(filling.late, 1.0), *terms], filling.base)


def a_build_waits_for_the_last_of_several_units(filling: Filling) -> Iterator[Row]:
    """late >= base + sum over classes c of c z_c, for a need of several units of flow.

    A class is all draws that cost the same; z_c says that c is the latest of them:
    for every c, sum over classes >= c of f / q <= sum over classes >= c of z; sum of all z <= 1.
    In long books, with r_c >= 0 the difference of the two sides, f / q + r_c = z + r of the next.
    """
    if not filling.marks:
        return
    classes: defaultdict[float, Terms] = defaultdict(list)
    for drawn, count in filling.waits:
        classes[drawn.cost].append((drawn.column, 1.0 / count))
    above: Terms = []
    flags: Terms = []
    for cost, mark in filling.marks.items():
        above += classes[cost]
        flags.append((mark, -1.0))
        if filling.spare:
            spare = filling.spare[cost]
            yield exactly([*above, *flags, (spare, 1.0)], 0)
            above, flags = [(spare, -1.0)], []
        else:
            yield at_most([*above, *flags], 0)
    yield at_most([(mark, 1.0) for mark in filling.marks.values()], 1)
    costs = [(mark, -cost) for cost, mark in filling.marks.items()]
    yield at_least([(filling.late, 1.0), *costs], filling.base)


def write_needs(rows: Rows, fillings: list[Filling]) -> None:
    """Needs of a job that may be made stand between the rules of the need it is for."""
    for filling in fillings:
        rows.keep(one_way_fills_a_need, filling)
        for choice in filling.choices:
            if choice.way.job is not None:
                write_needs(rows, choice.fillings)
            else:
                rows.keep(draws_make_up_a_need, choice)
        rows.keep(a_build_waits_for_a_unit, filling)
        rows.keep(a_build_waits_for_the_last_of_several_units, filling)

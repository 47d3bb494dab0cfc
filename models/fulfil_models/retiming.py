"""When could one build be done if everybody else stayed where they are?

A build is timed again alone: the stations that others hold stay held, it keeps the supplies it has,
and each of its operations takes the first slot from the moment its parts and the operation before
let it. Any of the things it waits for can be waived - a part as if it lay on the shelf, a work
centre as if nobody else used it - and the dates that come out are re-computed, never estimated.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from fulfil_models import stations
from fulfil_models.book import Book, Job, Need, Operation, Task
from fulfil_models.compiled import Compiled
from fulfil_models.decisions import Decisions
from fulfil_models.plan import BlockerKind, Peg, Plan, Supply, SupplyKind

Waived = frozenset[tuple[BlockerKind, str]]
NOTHING: Waived = frozenset()


@dataclass(frozen=True, slots=True)
class Wait:
    """Why an operation starts no sooner, in a re-timed build.

    Of kind WORK it is a link of the chain that nobody else can do anything about: the operation
    before, the job that makes what the need takes, started work, or the planning date.
    """

    kind: BlockerKind
    what: str
    job: Job
    place: int
    need: Need | None
    since: int
    """cell from which it could have started but for this"""
    until: int

    @property
    def key(self) -> tuple[BlockerKind, str]:
        return self.kind, self.what


@dataclass(frozen=True, slots=True)
class Timing:
    """A build re-timed.

    Attributes
    ----------
    finish: cell at which its last operation ends.
    waits: the critical chain, from the last operation back to what lets it begin no sooner.
    """

    finish: int
    waits: tuple[Wait, ...]


class Retimer:
    """The load of all stations and what each need draws on, with one build timed again at a time.

    Positions are working minutes of the build's point; a cell is so many of them that every
    operation takes a whole number.
    """

    def __init__(self, compiled: Compiled, decisions: Decisions, plan: Plan) -> None:
        self.book: Book = compiled.book
        self.decisions = decisions
        self.cell = compiled.cell
        self.jobs: defaultdict[int, list[Job]] = defaultdict(list)
        for job in decisions.jobs:
            self.jobs[job.task.index].append(job)
        self.made = {job.parent.index: job for job in decisions.jobs if job.parent is not None}
        """the job that makes what a need takes, by the need"""
        self.supplies = {supply.supply: supply for supply in plan.supplies}
        self.peg_of: dict[int, Peg] = {}
        """of each need, the draw that can be there last"""
        self.usable: dict[int, int] = {}
        """position from which that draw can be there"""
        self._soonest_of: dict[str, int] = {}
        self._awaited: dict[tuple[str, int], tuple[Need, ...]] = {}
        self._read_pegs(plan)
        self.layers = self.book.gone.layers(self.cell)
        """load of every work centre, downtime included, in cells"""
        for job in decisions.jobs:
            for operation, start in zip(job.operations, decisions.starts[job.name], strict=True):
                self._load_operation(operation, start // self.cell)

    def _load_operation(self, operation: Operation, start: int) -> None:
        centre, cells = operation.centre, operation.duration // self.cell
        if cells > 0:
            count = min(operation.stations, self.book.centres[centre].stations)
            self.layers[centre] = stations.add(self.layers[centre], start, cells, count)

    def without(self, operation: Operation, start: int) -> stations.Layers:
        """Load of the work centre of an operation as if that one were not there."""
        cells = operation.duration // self.cell
        layers = self.layers[operation.centre]
        return stations.remove(layers, start, cells, operation.stations) if cells else layers

    # ---- what needs draw on

    def _read_pegs(self, plan: Plan) -> None:
        by_key: defaultdict[tuple[str, int | None, str], list[Peg]] = defaultdict(list)
        for peg in plan.pegs:
            by_key[peg.job, peg.operation, peg.part].append(peg)
        for job in self.decisions.jobs:
            for need in job.needs():
                number = job.operations[need.place].number if need.place >= 0 else None
                pegs = by_key.get((job.name, number, need.part), [])
                if pegs and need.index not in self.made:
                    soonest = [self.soonest(self.supplies[peg.supply]) for peg in pegs]
                    last = max(range(len(pegs)), key=lambda i: (soonest[i], pegs[i].usable))
                    self.peg_of[need.index] = pegs[last]
                    self.usable[need.index] = soonest[last]

    def awaited(self, job: Job, place: int) -> tuple[Need, ...]:
        """Needs of an operation that may have to be waited for: not simply on the shelf.

        Those of a phantom stand at place -1.
        """
        key = (job.name, place)
        if key not in self._awaited:
            loose = job.loose if place <= 0 else ()
            needs = (*loose, *(job.operations[place].needs if place >= 0 else ()))
            self._awaited[key] = tuple(
                need for need in needs if need.index in self.made or self.usable.get(need.index)
            )
        return self._awaited[key]

    def soonest(self, supply: Supply) -> int:
        """Position from which a supply can be usable at its point.

        A plan orders and moves no sooner than units are needed; both could be done as soon as the
        lead time and the units to be moved allow. Nobody else has a claim on them.
        """
        if supply.supply not in self._soonest_of:
            self._soonest_of[supply.supply] = self._soonest(supply)
        return self._soonest_of[supply.supply]

    def _soonest(self, supply: Supply) -> int:
        axis = self.book.problem.axes[supply.point]
        usable = axis.position(supply.usable)
        if supply.kind is SupplyKind.NEW_PURCHASE and not supply.expedited:
            lots = self.book.supplies.bin(supply.part, supply.point).lots
            months = [
                lot.usable
                for lot in lots
                if lot.source is not None
                and lot.source.supplier == supply.supplier
                and lot.usable <= usable
            ]
            return max(months, default=usable)
        if supply.kind is SupplyKind.TRANSFER and supply.from_supply is not None:
            return min(usable, self._moved_at_once(supply, self.supplies[supply.from_supply]))
        return usable

    def _moved_at_once(self, supply: Supply, origin: Supply) -> int:
        there = self.book.problem.axes[origin.point].start_moment(self.soonest(origin)).date()
        there = max(there, self.book.problem.as_of)
        arrivals = [
            route.arrivals[number]
            for route in self.book.supplies.routes_into.get(supply.point, ())
            if route.origin == origin.point and len(route.legs) == 1
            for number in (route.first_departure(there),)
            if number < len(route.arrivals)
        ]
        return min(arrivals, default=self.book.problem.axes[supply.point].position(supply.usable))

    # ---- timing

    def retime(self, task: Task, waived: Waived = NOTHING) -> Timing:
        """First finish of a build alone, without what is waived; and its critical chain."""
        steps = [
            (start, -_depth(job), place, job)
            for job in self.jobs[task.index]
            for place, start in enumerate(self.decisions.starts[job.name])
        ]
        # in the order of the plan an operation finds its planned slot free at the latest, since
        # those before it have only moved to the left: re-timing never makes a build later
        steps.sort(key=lambda step: step[:3])
        centres = {job.operations[place].centre for _, _, place, job in steps}
        kept = {centre: self.layers[centre] for centre in centres}
        alone = {centre: stations.empty(self.book.centres[centre].stations) for centre in kept}
        for start, _, place, job in steps:
            operation = job.operations[place]
            cells = operation.duration // self.cell
            if operation.pinned is None:
                self.layers[operation.centre] = self.without(operation, start // self.cell)
            elif cells:
                alone[operation.centre] = stations.add(
                    alone[operation.centre], start // self.cell, cells, operation.stations
                )
        try:
            run = _Run(self, waived, alone)
            for _, _, place, job in steps:
                run.place(job, place)
            finish, waits = run.end(task.root)
        finally:
            for centre, layers in kept.items():
                self.layers[centre] = layers
        return Timing(finish, waits)


def _depth(job: Job) -> int:
    depth = 0
    while job.parent is not None:
        job, depth = job.parent.job, depth + 1
    return depth


_At = tuple[int, tuple[Wait, ...]]
"""a cell, and what is waited for until then, the last wait first"""


class _Run:
    """One re-timing: slots are taken as operations are placed, so that a build's own operations
    never share a station either."""

    def __init__(self, of: Retimer, waived: Waived, alone: dict[int, stations.Layers]) -> None:
        self.of = of
        self.waived = waived
        self.alone = alone
        """load of the build alone, for a work centre that is waived"""
        self.ends: dict[str, _At] = {}
        """of each job, where its last placed operation ends"""

    def end(self, job: Job) -> _At:
        """Where a job ends; a phantom with the last of its components."""
        if job.operations:
            return self.ends[job.name]
        return self._after(self._start(job), self.of.awaited(job, -1))

    def _start(self, job: Job) -> _At:
        """Before this nothing of a build may start."""
        task = job.task
        at = -(-task.earliest // self.of.cell)
        if not at or (BlockerKind.EARLIEST, task.build.build) in self.waived:
            return 0, (Wait(BlockerKind.WORK, job.part, job, 0, None, 0, 0),)
        return at, (Wait(BlockerKind.EARLIEST, task.build.build, job, 0, None, 0, at),)

    def place(self, job: Job, place: int) -> None:
        """Gives an operation the first slot that what comes before it allows."""
        operation, cell = job.operations[place], self.of.cell
        cells = operation.duration // cell
        if operation.pinned is not None:
            at = operation.pinned // cell
            link = Wait(BlockerKind.WORK, job.part, job, place, None, at, at)
            # what was started may end within a cell
            self.ends[job.name] = -(-(operation.pinned + operation.duration) // cell), (link,)
            return
        found = self._start(job)  # holds for what comes after started work, too
        before = self.ends.get(job.name)
        if before is not None and before[0] >= found[0]:
            at, chain = before
            found = at, (Wait(BlockerKind.WORK, job.part, job, place, None, at, at), *chain)
        at, chain = self._after(found, self.of.awaited(job, place))
        slot = self._slot(operation, at)
        if slot > at:
            name = self.of.book.centres[operation.centre].name
            free = (BlockerKind.WORK_CENTRE, name) in self.waived
            # at a work centre free of others only the build's own work is in the way
            kind = BlockerKind.WORK if free else BlockerKind.WORK_CENTRE
            chain = (Wait(kind, name, job, place, None, at, slot), *chain)
        self.ends[job.name] = slot + cells, chain

    def _slot(self, operation: Operation, at: int) -> int:
        """Takes the first free slot from a cell on."""
        centre, cells = operation.centre, operation.duration // self.of.cell
        name = self.of.book.centres[centre].name
        free = (BlockerKind.WORK_CENTRE, name) in self.waived
        layers = self.alone[centre] if free else self.of.layers[centre]
        start = stations.first_fit(layers, at, cells, operation.stations)
        if cells:
            taken = self.alone if free else self.of.layers
            taken[centre] = stations.add(layers, start, cells, operation.stations)
        return start

    def _after(self, found: _At, needs: Iterable[Need]) -> _At:
        """The last of a moment and the arrivals of what is needed."""
        for need in needs:
            other = self._arrival(need)
            if other[0] > found[0]:
                found = other
        return found

    def _arrival(self, need: Need) -> _At:
        if (BlockerKind.PART, need.part) in self.waived:
            return -1, ()
        made = self.of.made.get(need.index)
        if made is not None:
            at, chain = self.end(made)
            if not made.operations:
                return at, chain
            return at, (
                Wait(BlockerKind.WORK, made.part, need.job, need.place, need, at, at),
                *chain,
            )
        usable = -(-self.of.usable.get(need.index, 0) // self.of.cell)
        return usable, (Wait(BlockerKind.PART, need.part, need.job, need.place, need, 0, usable),)

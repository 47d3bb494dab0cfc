"""What does a wait for a part or a station mean, in words a planner can check against the data?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime

from fulfil_models.book import Book, Job, Need
from fulfil_models.plan import Peg, Plan, Shipment, Supply, SupplyKind
from fulfil_models.retiming import Retimer
from fulfil_models.taken import ORDERED, TOGETHER

MOST_AHEAD = 5


class Teller:
    """Tells what stands behind a wait: who is ahead, which supply, when it comes."""

    def __init__(self, retimer: Retimer, plan: Plan) -> None:
        self.retimer = retimer
        self.book: Book = retimer.book
        self.purchases = {(row.order, row.line): row for row in self.book.problem.dataset.purchases}
        self.holders: defaultdict[tuple[str, str], list[tuple[datetime, str]]] = defaultdict(list)
        build_of = {job.job: job.build for job in plan.jobs}
        for peg in plan.pegs:
            self.holders[peg.used, peg.point].append((peg.usable, build_of[peg.job]))
        for row in plan.shipments:
            usable = retimer.supplies[row.supply].usable
            self.holders[row.used, row.point].append((usable, row.order))
        self.running: defaultdict[int, list[tuple[int, int, str]]] = defaultdict(list)
        """of each work centre: first and last position, and build, of all operations"""
        for job in retimer.decisions.jobs:
            starts = retimer.decisions.starts[job.name]
            for operation, start in zip(job.operations, starts, strict=True):
                if operation.duration:
                    span = (start, start + operation.duration, job.task.build.build)
                    self.running[operation.centre].append(span)
        for spans in self.running.values():
            spans.sort()  # so that the sorting for every wait finds little to do

    # ---- stations

    def station(self, job: Job, place: int, since: int, until: int) -> tuple[str, tuple[str, ...]]:
        """Why an operation finds no station between two positions, and the builds ahead of it."""
        centre = job.operations[place].centre
        row = self.book.centres[centre]
        own = job.task.build.build
        held = [(start, end, who) for start, end, _, who in row.held]
        there = [
            build
            for start, end, build in sorted(self.running[centre] + held)
            if start < until and end > since
        ]
        ahead = tuple(dict.fromkeys(build for build in there if build != own))
        said = [f"busy with {names(ahead)}"] if ahead else []
        axis = self.book.problem.axes[row.point]
        for start, end, out in row.down:
            if start < until and end > since:
                said.append(
                    f"{out} of {row.stations} stations out until "
                    f"{axis.end_moment(end):%Y-%m-%d %H:%M}"
                )
        # every load is others', downtime or the build's own
        return f"{row.name}: {', '.join(said) or 'busy with other work of this build'}", ahead

    # ---- parts

    def part(self, need: Need) -> tuple[str, tuple[str, ...], str]:
        """When what a need draws on comes, who has what comes sooner, and the supply."""
        peg = self.retimer.peg_of[need.index]
        supply = self.retimer.supplies[peg.supply]
        ahead = self._ahead(peg, supply, need.job.task.build.build)
        instead = "" if peg.used == need.part else f" ({peg.used} in its place)"
        text = f"{need.part}{instead} {self._comes(supply)}"
        if ahead:
            text += f"; what comes sooner goes to {names(ahead)}"
        return text, ahead, supply.supply

    def shipment(self, row: Shipment) -> str:
        """How what a line ships comes, and who has what comes sooner."""
        supply = self.retimer.supplies[row.supply]
        ahead = self._ahead(row, supply, row.order)
        text = f"{row.used} {self._comes(supply)}"
        if supply.kind is SupplyKind.STOCK:
            text = f"{row.used} is on the shelf at {row.point}"
        elif ahead:
            text += f"; what comes sooner goes to {names(ahead)}"
        return text

    def _ahead(self, draw: Peg | Shipment, supply: Supply, own: str) -> tuple[str, ...]:
        """Who has units of the part at the point that can be used before those of a supply."""
        axis = self.book.problem.axes[supply.point]
        here = axis.start_moment(self.retimer.soonest(supply))
        others = self.book.problem.taken.holders.get((draw.used, draw.point), ())
        return tuple(
            dict.fromkeys(
                who
                for usable, who in sorted([*self.holders[draw.used, draw.point], *others])
                if usable < here and who != own
            )
        )

    def _comes(self, supply: Supply) -> str:
        """How units come, ending in the day from which they can be used."""
        day = supply.usable.date()
        soonest = self._soonest_day(supply)
        if supply.kind is SupplyKind.PURCHASE:
            return self._bought(supply)
        if supply.kind is SupplyKind.NEW_PURCHASE:
            hurried = ", expedited" if supply.expedited else ""
            if soonest < day:
                return (
                    f"can be here from {supply.supplier} on {soonest} at the soonest (the plan "
                    f"orders on {supply.place_on} for {day})"
                )
            return (
                f"is to be ordered from {supply.supplier} on {supply.place_on}{hurried}, here {day}"
            )
        if supply.kind is SupplyKind.TRANSFER:
            origin = self.retimer.supplies.get(supply.from_supply or "")
            there = ""
            if origin is not None and origin.kind is not SupplyKind.STOCK:
                there = f", where it {self._comes(origin)}"
            if soonest < day:
                return (
                    f"can be here from {supply.origin} on {soonest} at the soonest (the plan "
                    f"moves it on {supply.leaves_on} for {day}){there}"
                )
            return f"is moved from {supply.origin} on {supply.leaves_on}, here {day}{there}"
        return f"is here {day}"

    def _bought(self, supply: Supply) -> str:
        day = supply.usable.date()
        name = f"purchase {supply.order}/{supply.line}"
        row = self.purchases.get((supply.order or "", supply.line or ""))
        if row is not None and row.line in (ORDERED, TOGETHER):
            return f"comes with an order that nobody has placed yet, of {row.supplier}, here {day}"
        if row is None:
            return f"comes with {name}, here {day}"
        unsure = "" if row.confirmed else ", not confirmed"
        if row.due < self.book.problem.as_of:
            return f"comes with {name}, past due since {row.due}{unsure}, counted on {day}"
        if row.due < day:
            return f"comes with {name}, due {row.due}{unsure}, usable {day}"
        return f"comes with {name}, due {row.due}{unsure}"

    def _soonest_day(self, supply: Supply) -> date:
        axis = self.book.problem.axes[supply.point]
        return axis.start_moment(self.retimer.soonest(supply)).date()


def names(of: Iterable[str]) -> str:
    """The first few names, and how many more there are."""
    every = tuple(of)
    more = len(every) - MOST_AHEAD
    return ", ".join(every[:MOST_AHEAD]) + (f" and {more} more" if more > 0 else "")

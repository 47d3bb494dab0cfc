"""How does a search move few? Everybody who is taken out goes back to where he stood, if he can.

A state of the insertion search that knows where everybody stood before, and a search over it that
takes out all rivals for a part at once: so a chain of builds can each take the next one's units,
up to one that has time to wait.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from fulfil_models import stations
from fulfil_models.compiled import CLine, CTask
from fulfil_models.insertion import State
from fulfil_models.ledger import ADVANCE, MAKE, Draw, LinePlacement, Placement
from fulfil_models.search import Item, Search, usable_at

RIVALS = 6
"""builds that are taken out with all rivals for a part, on average over all steps"""
MOST_AGAINST_ALL = 0.5
"""share of the steps in which that is done at most: what is pulled goes first then, so it would
always take the earliest units, be they of one who cannot wait"""
FIRST, LAST = -1, 1 << 60
"""cells by which what has no due moment is put in order"""

Lateness = Callable[[int], float]
"""what it costs that a build is finished at a cell"""


class Homing(State):
    """A plan in which everybody who is put back goes to where he stood, if that is free.

    `stands` becomes this state; `homes` says where everybody stood, None for who has no such place.

    Attributes
    ----------
    costs: what lateness costs beside what the book says, by index of a build.
    stir: cost of every build that has other slots than before.
    push: whether who cannot go back is always pushed right, to leave early units to others.
    """

    def __init__(
        self,
        stands: State,
        homes: State,
        costs: Mapping[int, Lateness],
        stir: float = 0.0,
        *,
        push: bool = False,
    ) -> None:
        super().__init__(stands.book)
        vars(self).update(vars(stands))
        self._homes = list(homes.placed)
        self._line_homes = list(homes.lines)
        self._costs = costs
        self._stir = stir
        self._push = push
        for task, placement in zip(self.book.tasks, self.placed, strict=True):
            if placement is not None:
                placement.cost += self._more(task, placement)

    def place(
        self, task: CTask, justify: bool, not_before: dict[int, int] | None = None
    ) -> Placement | None:
        home = self._go_home(task)
        if home is not None:
            return home
        placement = super().place(task, justify or self._push, not_before)
        if placement is not None:
            placement.cost += self._more(task, placement)
        return placement

    def place_line(self, line: CLine) -> LinePlacement | None:
        return self._line_goes_home(line) or super().place_line(line)

    def is_in_time(self, task: CTask) -> bool:
        placement = self.placed[task.index]
        return placement is not None and placement.finish <= task.due

    def comes_home(self, item: Item) -> bool:
        """Bring a build or a line back to where it stood, if it is elsewhere, that is free and
        costs no more; whether that was so."""
        mark, before = len(self.log), self.shared_cost
        if isinstance(item, CTask):
            there, home = self.placed[item.index], self._homes[item.index]
            if there is None or home is None or _slots(there) == _slots(home):
                return False
            self.remove(item)
            build = self._go_home(item)
            if build is not None and build.cost + self.shared_cost <= there.cost + before + 1e-9:
                self.forget()
                return True
            self.rollback(mark)
            self.placed[item.index] = there
            return False
        shipped, line_home = self.lines[item.index], self._line_homes[item.index]
        if shipped is None or line_home is None or shipped.draws == line_home.draws:
            return False
        self.remove_line(item)
        line = self._line_goes_home(item)
        if line is not None and line.cost + self.shared_cost <= shipped.cost + before + 1e-9:
            self.forget()
            return True
        self.rollback(mark)
        self.lines[item.index] = shipped
        return False

    def _more(self, task: CTask, placement: Placement) -> float:
        costing = self._costs.get(task.index)
        late = 0.0 if costing is None else costing(placement.finish)
        return late + self._stir if self._is_elsewhere(placement, task) else late

    def _is_elsewhere(self, placement: Placement, task: CTask) -> bool:
        home = self._homes[task.index]
        return home is not None and _slots(placement) != _slots(home)

    def is_at_home(self, item: Item) -> bool:
        """Whether a build has the slots that it had, or a line the units; what is new has none."""
        if isinstance(item, CTask):
            there, home = self.placed[item.index], self._homes[item.index]
            return there is not None and home is not None and _slots(there) == _slots(home)
        shipped, before = self.lines[item.index], self._line_homes[item.index]
        return shipped is not None and before is not None and shipped.draws == before.draws

    def _go_home(self, task: CTask) -> Placement | None:
        """Put a build where it stood; None where that is not free."""
        home = self._homes[task.index]
        if home is None:
            return None
        mark, placement = len(self.log), Placement(finish=home.finish)
        if not (self._slots_are_free(home, placement) and self._lots_are_left(home, placement)):
            self.rollback(mark)
            return None
        placement.cost += task.rate * max(0, home.finish - task.due) + self._more(task, home)
        self.placed[task.index] = placement
        return placement

    def _slots_are_free(self, home: Placement, placement: Placement) -> bool:
        for job, starts in home.starts:
            placement.starts.append((job, list(starts)))
            for operation, start in zip(job.operations, starts, strict=True):
                if operation.pinned is None and operation.duration:
                    here = self.layers[operation.centre]
                    if not stations.fits(here, start, operation.duration, operation.stations):
                        return False
                    self.load(operation, start, placement)
        return True

    def _lots_are_left(self, home: Placement, placement: Placement) -> bool:
        for draw in home.draws:
            way = draw.way
            if way.kind == MAKE:
                placement.draws.append(Draw(draw.need, way, -1, draw.quantity))
                continue
            self.draw_exactly(draw.need, way, draw.event, draw.quantity, draw.departure, placement)
            if min(self.slack[way.bin][draw.event :]) < 0:
                return False
            if way.kind == ADVANCE and self.bought[way.bin, way.event] > way.limit:
                return False
        return True

    def _line_goes_home(self, line: CLine) -> LinePlacement | None:
        """Ship a line as it was shipped; None where that is not left."""
        home = self._line_homes[line.index]
        if home is None:
            return None
        mark = len(self.log)
        placement = self.commit_line(line, list(home.draws))
        outlets = [line.outlets[number] for number, _, _ in home.draws]
        if all(
            min(self.slack[outlet.bin]) >= 0
            and (outlet.advanced < 0 or self.bought[outlet.bin, outlet.advanced] <= outlet.limit)
            for outlet in outlets
        ):
            return placement
        self.rollback(mark)
        self.lines[line.index] = None
        return None


def _slots(placement: Placement) -> dict[str, list[int]]:
    return {job.job.name: starts for job, starts in placement.starts}


class Pulling(Search):
    """A search that pulls some builds and lines forward, at times against all their rivals."""

    def __init__(self, state: Homing, seed: int, pulled: Sequence[Item], broken: float) -> None:
        super().__init__(state, seed)
        self._pulled = pulled
        self._broken = broken
        """rate of a build that has a promise to keep"""
        self._against_all = False

    def _choose(self) -> list[Item]:
        first = self.random.choice(self._pulled)
        index = self._wanted(first)
        rivals = self.users[index] if index >= 0 else []
        others = [item for item in rivals if item is not first]
        share = min(MOST_AGAINST_ALL, RIVALS / max(1, len(rivals)))
        self._against_all = bool(rivals) and self.random.random() < share
        if self._against_all:
            return [first, *others]
        if isinstance(first, CTask) or not others:
            return super()._choose()
        # most steps of any search begin with a late build, few with a line
        wanted = self.random.randint(1, self.most_out)
        return [first, *self.random.sample(others, min(wanted, len(others)))]

    def _wanted(self, item: Item) -> int:
        """A bin that has, or might have, what an item waits for; -1 if it waits for none."""
        if not isinstance(item, CTask):
            return self.random.choice(item.outlets).bin
        placement = self.state.placed[item.index]
        assert placement is not None
        late = [
            draw.need
            for draw in placement.draws
            if draw.way.kind != MAKE and usable_at(draw) + draw.need.tail > item.due
        ]
        if not late:
            return -1
        ways = [part for way in self.random.choice(late).ways for part in way.parts or (way,)]
        return self.random.choice(ways).bin

    def _order(self, chosen: list[Item]) -> None:
        """Against all rivals: what is pulled first, then who has to be ready first, by and large;
        who has no promise to keep is last."""
        if not self._against_all:
            super()._order(chosen)
            return
        random = self.random
        first = chosen.pop(0)
        blur = random.choice((0.0, 32.0, 320.0))
        lines_at = random.choice((FIRST, LAST))

        def due(item: Item) -> float:
            if not isinstance(item, CTask):
                return lines_at
            return (item.due if item.rate >= self._broken else LAST) + blur * random.random()

        chosen.sort(key=due)
        chosen.insert(0, first)


class Returning(Search):
    """A search over some builds and lines; all others stay where they are."""

    def __init__(self, state: Homing, seed: int, most_out: int, only: Sequence[Item]) -> None:
        super().__init__(state, seed, most_out)
        chosen = {id(item) for item in only}
        self.movable = [item for item in self.movable if id(item) in chosen]
        for index, users in self.users.items():
            self.users[index] = [item for item in users if id(item) in chosen]
        self.by_due = [task for task in self.by_due if id(task) in chosen]
        self.dues = [task.due for task in self.by_due]

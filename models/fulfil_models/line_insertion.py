"""Putting one line of a parts order into a plan that stands, and taking it out again."""

from __future__ import annotations

from fulfil_models.compiled import NEVER, CLine, COutlet
from fulfil_models.ledger import Ledger, LinePlacement


class LineInsertion(Ledger):
    """A ledger in which lines of parts orders are placed."""

    def place_line(self, line: CLine) -> LinePlacement | None:
        """Ship a line from where it costs least, lateness counted; split only if it must be."""
        best: tuple[float, int, int] | None = None
        for number, outlet in enumerate(line.outlets):
            event = self._outlet_event(line, number, outlet.quantity)
            if event < 0:
                continue
            cost = self._outlet_cost(line, number, event, outlet.quantity)
            if best is None or cost < best[0]:
                best = (cost, number, event)
        if best is None or (best[0] > line.day_cost and line.line.row.split):
            split = self._split(line)
            if split is not None and (best is None or split[0] < best[0]):
                return self.commit_line(line, split[1])
        if best is None:
            return None
        cost, number, event = best
        return self.commit_line(line, [(number, event, line.outlets[number].quantity)])

    def _outlet_event(self, line: CLine, number: int, quantity: int) -> int:
        """Event to draw on: the last that is not late, else the first there is; -1 if none."""
        outlet = line.outlets[number]
        if outlet.advanced >= 0:
            return outlet.advanced if self._left_for_outlet(outlet) >= quantity else -1
        first = self._first_event(outlet.bin, quantity)
        if first == len(outlet.late):
            return -1
        event = first
        while event + 1 < len(outlet.late) and outlet.late[event + 1] == 0:
            event += 1
        return event

    def _left_for_outlet(self, outlet: COutlet) -> int:
        """Units of a monthly lot that may still be expedited."""
        left = outlet.limit - self.bought.get((outlet.bin, outlet.advanced), 0)
        return min(left, *self.slack[outlet.bin][outlet.advanced :])

    def _outlet_cost(self, line: CLine, number: int, event: int, quantity: int) -> float:
        outlet = line.outlets[number]
        key = (line.line.row.order, outlet.point, outlet.days[event])
        share = outlet.cost * quantity / outlet.quantity
        box = 0.0 if self.boxes.get(key, 0) else outlet.delivery_cost
        return line.day_cost * outlet.late[event] + share + outlet.cost_per_milli * quantity + box

    def _split(self, line: CLine) -> tuple[float, list[tuple[int, int, int]]] | None:
        """Fill a line piece by piece, the cheapest first, with one kind of part."""
        best: tuple[float, list[tuple[int, int, int]]] | None = None
        for used in dict.fromkeys(outlet.used for outlet in line.outlets):
            numbers = [n for n, o in enumerate(line.outlets) if o.used == used]
            wanted = line.outlets[numbers[0]].quantity
            offers = []
            for number in numbers:
                outlet = line.outlets[number]
                slack = self.slack[outlet.bin]
                least = NEVER if outlet.advanced < 0 else self._left_for_outlet(outlet)
                for event in reversed(outlet.events):
                    least = min(least, slack[event])
                    if least > 0:
                        cost = line.day_cost * outlet.late[event] + outlet.delivery_cost
                        offers.append((cost, outlet.late[event], number, event, least))
            offers.sort()
            pieces: list[tuple[int, int, int]] = []
            taken: dict[int, int] = {}
            for _, _, number, event, least in offers:
                there = line.outlets[number].bin
                step = min(wanted, least - taken.get(there, 0))
                if step > 0:
                    pieces.append((number, event, step))
                    taken[there] = taken.get(there, 0) + step
                    wanted -= step
            if wanted == 0 and pieces:
                worst = max(line.outlets[n].late[e] for n, e, _ in pieces)
                cost = line.day_cost * worst + sum(
                    self._outlet_cost(line, n, e, q) - line.day_cost * line.outlets[n].late[e]
                    for n, e, q in pieces
                )
                if best is None or cost < best[0]:
                    best = (cost, pieces)
        return best

    def commit_line(self, line: CLine, pieces: list[tuple[int, int, int]]) -> LinePlacement:
        placement = LinePlacement(pieces)
        worst = 0
        for number, event, quantity in pieces:
            outlet = line.outlets[number]
            self._set_slack(outlet.bin, event, quantity)
            if outlet.advanced >= 0:
                self._share(self.bought, (outlet.bin, event), quantity, 0.0)
            key = (line.line.row.order, outlet.point, outlet.days[event])
            self._share(self.boxes, key, 1, 0.0 if self.boxes.get(key, 0) else outlet.delivery_cost)
            placement.cost += outlet.cost * quantity / outlet.quantity
            placement.cost += outlet.cost_per_milli * quantity
            worst = max(worst, outlet.late[event])
        placement.cost += worst * line.day_cost
        self.lines[line.index] = placement
        return placement

    def remove_line(self, line: CLine) -> None:
        placement = self.lines[line.index]
        assert placement is not None
        for number, event, quantity in placement.draws:
            outlet = line.outlets[number]
            self._set_slack(outlet.bin, event, -quantity)
            if outlet.advanced >= 0:
                self._share(self.bought, (outlet.bin, event), -quantity, 0.0)
            key = (line.line.row.order, outlet.point, outlet.days[event])
            last = self.boxes[key] == 1
            self._share(self.boxes, key, -1, -outlet.delivery_cost if last else 0.0)
        self.lines[line.index] = None

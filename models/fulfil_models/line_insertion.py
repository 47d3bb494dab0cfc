"""Putting one line of a parts order into a plan that stands, and taking it out again."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from itertools import accumulate

from fulfil_models.compiled import CLine, COutlet, purchase_cost
from fulfil_models.ledger import Box, Ledger, LinePlacement


def box_of(line: CLine, outlet: COutlet, event: int) -> Box:
    """What a line ships in from an outlet at an event, together with others of its order."""
    return (line.line.row.order, outlet.point, outlet.days[event], outlet.delivery_cost)


class LineInsertion(Ledger):
    """A ledger in which lines of parts orders are placed."""

    def place_line(self, line: CLine) -> LinePlacement | None:
        """Ship a line from where it costs least, lateness counted; in pieces only if it must be."""
        best: tuple[float, int, int] | None = None
        for number, outlet in enumerate(line.outlets):
            event = self.outlet_event(line, number, outlet.quantity)
            if event < 0:
                continue
            cost = self.outlet_cost(line, number, event, outlet.quantity)
            if best is None or cost < best[0]:
                best = (cost, number, event)
        if best is None or best[0] > line.day_cost:
            pieced = self._in_pieces(line)
            if pieced is not None and (best is None or pieced[0] < best[0]):
                return self.commit_line(line, pieced[1])
        if best is None:
            return None
        cost, number, event = best
        return self.commit_line(line, [(number, event, line.outlets[number].quantity)])

    def outlet_event(self, line: CLine, number: int, quantity: int) -> int:
        """Event to draw on: the last that is not late, else the first there is; -1 if none."""
        outlet = line.outlets[number]
        if outlet.advanced >= 0:
            return outlet.advanced if self._left_for_outlet(outlet) >= quantity else -1
        event = bisect_left(outlet.last_lot, self._first_event(outlet.bin, quantity))
        if event == len(outlet.late):
            return -1
        while event + 1 < len(outlet.late) and outlet.late[event + 1] == 0:
            event += 1
        return event

    def _left_for_outlet(self, outlet: COutlet) -> int:
        """Units of a monthly lot that may still be expedited."""
        left = outlet.limit - self.bought.get((outlet.bin, outlet.advanced), 0)
        return min(left, *self.slack[outlet.bin][outlet.advanced :])

    def outlet_cost(self, line: CLine, number: int, event: int, quantity: int) -> float:
        """What so much costs from an outlet with an event, lateness and what is shared included."""
        outlet = line.outlets[number]
        key = box_of(line, outlet, event)
        share = outlet.cost * quantity / outlet.quantity
        box = 0.0 if self.boxes.get(key, 0) else outlet.delivery_cost
        if outlet.route >= 0 and not self.moves.get((outlet.route, outlet.departures[event]), 0):
            box += outlet.move_cost
        share += outlet.cost_per_milli * quantity + self._hurry_shared(outlet, quantity)
        return line.day_cost * outlet.late[event] + share + box

    def _hurry_shared(self, outlet: COutlet, quantity: int) -> float:
        """What expediting so much costs beyond what the outlet's own cost says of it: less than
        nothing where an order that is there already brings it."""
        source = outlet.source
        if source is None:
            return 0.0
        taken = self.bought.get((outlet.bin, outlet.advanced), 0)
        cost = purchase_cost(source, taken + quantity) - purchase_cost(source, taken)
        return cost - purchase_cost(source, outlet.quantity) * quantity / outlet.quantity

    def _in_pieces(self, line: CLine) -> tuple[float, list[tuple[int, int, int]]] | None:
        """Fill a line piece by piece, the cheapest first: with one kind of part, from one point
        unless it may be split."""
        best: tuple[float, list[tuple[int, int, int]]] | None = None
        groups: defaultdict[tuple[str, str | None], list[int]] = defaultdict(list)
        for number, outlet in enumerate(line.outlets):
            groups[outlet.used, None if line.line.row.split else outlet.point].append(number)
        for numbers in groups.values():
            wanted = line.outlets[numbers[0]].quantity
            offers = []
            for number in numbers:
                outlet = line.outlets[number]
                free = list(accumulate(reversed(self.slack[outlet.bin]), min))[::-1]
                for event in outlet.events:
                    least = free[outlet.last_lot[event]]
                    if outlet.advanced >= 0:
                        least = min(least, self._left_for_outlet(outlet))
                    if least > 0:
                        cost = line.day_cost * outlet.late[event] + outlet.delivery_cost
                        cost += outlet.move_cost
                        offers.append((cost, outlet.late[event], number, -event, least))
            offers.sort()
            pieces: list[tuple[int, int, int]] = []
            taken: dict[int, int] = {}
            for _, _, number, later, least in offers:
                there = line.outlets[number].bin
                step = min(wanted, least - taken.get(there, 0))
                if step > 0:
                    pieces.append((number, -later, step))
                    taken[there] = taken.get(there, 0) + step
                    wanted -= step
            if wanted == 0 and pieces:
                worst = max(line.outlets[n].late[e] for n, e, _ in pieces)
                cost = line.day_cost * worst + sum(
                    self.outlet_cost(line, n, e, q) - line.day_cost * line.outlets[n].late[e]
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
            self._set_slack(outlet.bin, outlet.last_lot[event], quantity)
            if outlet.route >= 0:
                self._share_move(outlet, event, 1)
            if outlet.source is not None:
                extra = self._hurry_shared(outlet, quantity)
                self._share(self.bought, (outlet.bin, outlet.advanced), quantity, extra)
            key = box_of(line, outlet, event)
            self._share(self.boxes, key, 1, 0.0 if self.boxes.get(key, 0) else outlet.delivery_cost)
            placement.cost += outlet.cost * quantity / outlet.quantity
            placement.cost += outlet.cost_per_milli * quantity
            worst = max(worst, outlet.late[event])
        placement.cost += worst * line.day_cost
        self.lines[line.index] = placement
        return placement

    def _share_move(self, outlet: COutlet, event: int, count: int) -> None:
        """One more, or one less, that moves with a departure: whoever is alone on it pays it."""
        key = (outlet.route, outlet.departures[event])
        there = self.moves.get(key, 0)
        alone = min(there, there + count) == 0
        self._share(self.moves, key, count, count * outlet.move_cost if alone else 0.0)

    def remove_line(self, line: CLine) -> None:
        placement = self.lines[line.index]
        assert placement is not None
        for number, event, quantity in placement.draws:
            outlet = line.outlets[number]
            self._set_slack(outlet.bin, outlet.last_lot[event], -quantity)
            if outlet.route >= 0:
                self._share_move(outlet, event, -1)
            if outlet.source is not None:
                bought = (outlet.bin, outlet.advanced)
                self.bought[bought] -= quantity  # as if it had never been, to know what it added
                extra = self._hurry_shared(outlet, quantity)
                self.bought[bought] += quantity
                self._share(self.bought, bought, -quantity, -extra)
            key = box_of(line, outlet, event)
            last = self.boxes[key] == 1
            self._share(self.boxes, key, -1, -outlet.delivery_cost if last else 0.0)
        self.lines[line.index] = None

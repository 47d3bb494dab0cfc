"""Who draws on what exists, so that as little as can be is ordered anew?

New orders cost nothing in the objective, so decisions draw on them as readily as on the shelf. Here
whoever draws on a new order is given what is on the shelf, on open purchases, or over in another
new order instead, as long as it is there in time for him and nobody else who needs it is left
without. An order that is drawn on less shrinks to the smallest whole order for what is left, or
vanishes; expedited ones first. All slots, points, alternates and moves stay.

What a parts order ships leaves on the day it is usable, so with other units it may leave sooner,
never later, and only where that makes its deliveries no dearer.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date

from fulfil_models.compiled import ordered_milli
from fulfil_models.decisions import Fill, Ship
from fulfil_models.supply import Lot

Box = tuple[str, str, int]
"""what an order ships from a point, and what a delivery of it costs: one for each day"""
Boxes = Counter[tuple[Box, date]]
"""by delivery and day: how many shares leave with it"""


@dataclass(slots=True, eq=False)
class Claim:
    """A draw on a bin: for a fill or a shipment, by a day."""

    claimant: Fill | Ship
    quantity_milli: int
    event: int
    by: date
    """the units must be usable on this day"""
    advanced: bool = False
    pieces: list[tuple[str, int]] = field(default_factory=list)
    """(supply, quantity)"""


@dataclass(slots=True, eq=False)
class Share:
    """So much of a pile for one claim.

    Attributes
    ----------
    by: last day on which units may become usable that serve it.
    box: of what ships as it comes; None for builds, and for what is moved first.
    """

    claim: Claim
    quantity_milli: int
    by: date
    box: Box | None = None

    @property
    def key(self) -> tuple[Hashable, ...]:
        """Alike where shares of one pile may be put together."""
        return id(self.claim), self.by, self.box


@dataclass(slots=True, eq=False)
class Pile:
    """Units of a part that are usable at a point from one day: of a lot that exists, or of a new
    order."""

    lot: Lot
    usable_on: date
    quantity_milli: int
    shares: list[Share] = field(default_factory=list)
    arrives_on: date | None = None
    """of a new order"""
    expedited: bool = False

    @property
    def is_order(self) -> bool:
        return self.arrives_on is not None

    @property
    def drawn_milli(self) -> int:
        return sum(share.quantity_milli for share in self.shares)

    @property
    def left_milli(self) -> int:
        return self.quantity_milli - self.drawn_milli

    def change(self, share: Share, milli: int) -> Share:
        """Gives so much more to whoever has such a share, or takes it away."""
        there = next((own for own in self.shares if own.key == share.key), None)
        if there is None:
            there = Share(share.claim, 0, share.by, share.box)
            self.shares.append(there)
        there.quantity_milli += milli
        if not there.quantity_milli:
            self.shares.remove(there)
        return there


def box_of(ship: Ship) -> Box:
    """What a shipment leaves in."""
    return ship.line.row.order, ship.outlet.point, ship.outlet.delivery.cost_micro


def pile_of(lot: Lot, day: date, quantity_milli: int, pieces: list[tuple[Claim, int]]) -> Pile:
    """A pile with what claims have of it."""
    return Pile(lot, day, quantity_milli, [_share(*piece, day) for piece in pieces])


def _share(claim: Claim, quantity_milli: int, day: date) -> Share:
    """What a claim has of units that are usable from a day. What ships from them leaves then."""
    claimant = claim.claimant
    if isinstance(claimant, Ship) and claimant.outlet.route is None:
        return Share(claim, quantity_milli, day, box_of(claimant))
    return Share(claim, quantity_milli, max(claim.by, day))


def deliveries(piles: Iterable[Pile]) -> Boxes:
    """What parts orders ship from piles, by delivery and day."""
    return Counter(
        (share.box, pile.usable_on) for pile in piles for share in pile.shares if share.box
    )


def spare_orders(piles: Sequence[Pile], boxes: Boxes) -> None:
    """Takes as much as can be from what exists, and leaves out of new orders what nobody needs.

    Parameters
    ----------
    piles: everything of a part at a point, those that are not drawn on included.
    boxes: `deliveries` of all parts; kept up to date.
    """
    _Exchange(piles, boxes).spare()


_Step = tuple[int, Share]
"""from a pile, a share of it that goes on to the next pile"""


class _Exchange:
    """Piles of a part at a point whose units change hands."""

    def __init__(self, piles: Sequence[Pile], boxes: Boxes) -> None:
        existing = sorted((p for p in piles if not p.is_order), key=lambda p: p.usable_on)
        self.orders = sorted((p for p in piles if p.is_order), key=_dearest_first)
        self.piles = existing + sorted(self.orders, key=lambda p: p.usable_on)
        self.boxes = boxes
        self.log: list[tuple[Pile, Pile, Share, int]] = []

    def spare(self) -> None:
        """Until no order shrinks any more."""
        while any(self._shrink(order) for order in self.orders):
            pass

    def _shrink(self, order: Pile) -> bool:
        """Make an order as small as can be; whether it has become smaller."""
        drawn = order.drawn_milli
        if not order.quantity_milli:
            return False
        for whole in (False, True):
            mark = len(self.log)
            if whole and not self._send_elsewhere(order):
                continue
            kept = len(self.log)
            self._push(order, drawn)
            smaller = self._whole(order, order.drawn_milli)
            self._undo(kept)
            if smaller < order.quantity_milli:
                self._push(order, order.drawn_milli - min(order.drawn_milli, smaller))
                order.quantity_milli = smaller
                return True
            self._undo(mark)
        return False

    @staticmethod
    def _whole(order: Pile, milli: int) -> int:
        assert order.lot.source is not None
        return ordered_milli(order.lot.source, milli)

    def _push(self, pile: Pile, most: int, apart_from: Pile | None = None) -> None:
        """Give up to so many units of a pile's shares from other piles, in chains where those who
        have them can be given others in turn."""
        while most > 0:
            path = self._path(pile, apart_from)
            if path is None:
                return
            steps, last = path
            milli = min(most, last.left_milli, *(share.quantity_milli for _, share in steps))
            targets = [*(self.piles[number] for number, _ in steps[1:]), last]
            for (number, share), target in zip(reversed(steps), reversed(targets), strict=True):
                self._move(self.piles[number], target, share, milli)
            most -= milli

    def _path(self, first: Pile, apart_from: Pile | None) -> tuple[list[_Step], Pile] | None:
        """The shortest chain of shares that leads from a pile to one with units left."""
        start = next(n for n, pile in enumerate(self.piles) if pile is first)
        came: dict[int, _Step] = {}
        unreached = [
            n for n, pile in enumerate(self.piles) if pile is not first and pile is not apart_from
        ]
        queue = deque([start])
        while queue:
            number = queue.popleft()
            for share in sorted(self.piles[number].shares, key=lambda share: share.by):
                reached = [n for n in unreached if self._suits(share, number, n)]
                for found in reached:
                    came[found] = number, share
                    if self.piles[found].left_milli > 0:
                        return self._steps(came, found, start), self.piles[found]
                    queue.append(found)
                if reached:
                    unreached = [n for n in unreached if n not in came]
            if not unreached:
                break
        return None

    def _steps(self, came: dict[int, _Step], found: int, start: int) -> list[_Step]:
        steps: list[_Step] = []
        while found != start:
            steps.insert(0, came[found])
            found = came[found][0]
        return steps

    def _suits(self, share: Share, number: int, other: int) -> bool:
        """Whether any units of a share may come from another pile."""
        day = self.piles[other].usable_on
        if day > share.by:
            return False
        if share.box is None or not share.box[-1] or day == self.piles[number].usable_on:
            return True
        return self.boxes[share.box, day] > 0

    def _send_elsewhere(self, order: Pile) -> bool:
        """Give what ships alone from an order to other piles as a whole: it then ships sooner, and
        costs what it cost. Whether there was any."""
        any_sent = False
        for share in sorted(order.shares, key=lambda share: share.by):
            box = share.box
            if box is None or self.boxes[box, order.usable_on] != 1:
                continue
            for pile in self.piles:
                if pile is order or pile.usable_on > share.by:
                    continue
                mark = len(self.log)
                self._push(pile, share.quantity_milli - pile.left_milli, order)
                if pile.left_milli >= share.quantity_milli:
                    self._move(order, pile, share, share.quantity_milli)
                    any_sent = True
                    break
                self._undo(mark)
        return any_sent

    def _move(self, pile: Pile, other: Pile, share: Share, milli: int) -> None:
        self.log.append((pile, other, share, milli))
        self._change(pile, share, -milli)
        self._change(other, share, milli)

    def _change(self, pile: Pile, share: Share, milli: int) -> None:
        before = len(pile.shares)
        pile.change(share, milli)
        if share.box is not None:
            self.boxes[share.box, pile.usable_on] += len(pile.shares) - before

    def _undo(self, mark: int) -> None:
        while len(self.log) > mark:
            pile, other, share, milli = self.log.pop()
            self._change(other, share, -milli)
            self._change(pile, share, milli)


def _dearest_first(order: Pile) -> tuple[int, date]:
    """What costs most to expedite, then what is to be placed first."""
    source = order.lot.source
    assert source is not None
    return -(source.expedite_cost_micro or 0) * order.expedited, order.usable_on

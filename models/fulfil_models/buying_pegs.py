"""Who is served by which order of a part, and who by none?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from fulfil_models.buying_lots import Buyer, Ordered
from fulfil_models.buying_needs import Want, Why

Peg = tuple[Want, int]
"""a want and the thousandths that an order brings of it"""


def pegged(
    buyer: Buyer, wants: Sequence[Want], orders: Sequence[Ordered]
) -> tuple[list[list[Peg]], list[Peg]]:
    """Who is served by each order, and what no order serves.

    What is expedited goes to whom it is expedited for; then all are served in turn, by the day on
    which their orders are to be due, from the orders in turn. A firm want that would come late so
    changes places with others that come in time, or where none does, sooner.
    """
    dealing = _Dealing(wants, orders)
    for o, order in enumerate(orders):
        for w, want in enumerate(wants):
            if order.arrives is not None and want.hurried is not None:
                dealing.give(o, w)
    turn = [
        (buyer.due_by((want.part, want.point), want.day), want.why is not Why.FIRM)
        for want in wants
    ]
    for w in sorted(range(len(wants)), key=lambda w: turn[w]):
        for o in dealing.in_order:
            dealing.give(o, w)
    for w in sorted(range(len(wants)), key=lambda w: turn[w]):
        if wants[w].why is Why.FIRM:
            dealing.bring_forward(w)
    return dealing.pegs(), dealing.unserved()


@dataclass
class _Dealing:
    """Orders by number, and how much each brings of each want."""

    wants: Sequence[Want]
    orders: Sequence[Ordered]
    given: list[dict[int, int]] = field(init=False)
    left: list[int] = field(init=False)
    missing: list[int] = field(init=False)
    in_order: list[int] = field(init=False)

    def __post_init__(self) -> None:
        self.given = [{} for _ in self.orders]
        self.left = [order.milli for order in self.orders]
        self.missing = [want.milli for want in self.wants]
        self.in_order = sorted(
            range(len(self.orders)), key=lambda o: (self.orders[o].last, self.orders[o].first)
        )

    def give(self, o: int, w: int) -> None:
        self._move(o, w, min(self.left[o], self.missing[w]))

    def _move(self, o: int, w: int, milli: int) -> None:
        """Below 0 takes it away."""
        if milli:
            self.given[o][w] = self.given[o].get(w, 0) + milli
            self.left[o] -= milli
            self.missing[w] -= milli

    def bring_forward(self, w: int) -> None:
        """What of a firm want is not in time changes places with what is not firm and is.

        What then is still late, or served by none, takes the place of what is not firm in the
        orders before: from order to order, so that nobody falls far behind.
        """
        day = self.wants[w].day
        after = [o for o in self.in_order if self.orders[o].first > day]
        for o in reversed(self.in_order):
            if self.orders[o].first <= day:
                for later in after:
                    self._swap(o, later, w)
                self._oust(o, w)
        for o in reversed(after):
            self._oust(o, w)
        for place in range(len(after) - 1, 0, -1):
            for o in reversed(after[:place]):
                self._swap(o, after[place], w)

    def _swap(self, o: int, later: int, w: int) -> None:
        """A want that a later order brings changes places with what is not firm in another."""
        for v in self._not_firm(o):
            milli = min(self.given[o][v], self.given[later].get(w, 0))
            self._move(o, v, -milli)
            self._move(later, w, -milli)
            self._move(o, w, milli)
            self._move(later, v, milli)

    def _oust(self, o: int, w: int) -> None:
        """A want that no order brings takes the place of what is not firm."""
        for v in self._not_firm(o):
            milli = min(self.given[o][v], self.missing[w])
            self._move(o, v, -milli)
            self._move(o, w, milli)

    def _not_firm(self, o: int) -> list[int]:
        """What an order brings that is not firm: what is wanted last first, safety stock before
        what is expected on its day."""
        found = [v for v in self.given[o] if self.wants[v].why is not Why.FIRM]
        return sorted(
            found,
            key=lambda v: (self.wants[v].day, self.wants[v].why is Why.SAFETY),
            reverse=True,
        )

    def pegs(self) -> list[list[Peg]]:
        """By order: whom it serves, in order of their days."""
        return [
            [
                (self.wants[w], milli)
                for w, milli in sorted(rows.items(), key=lambda row: (self.wants[row[0]].day, row))
                if milli
            ]
            for rows in self.given
        ]

    def unserved(self) -> list[Peg]:
        return [
            (want, milli) for want, milli in zip(self.wants, self.missing, strict=True) if milli
        ]

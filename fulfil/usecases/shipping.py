"""What shipping asks: what is to be moved, and what goes out for parts orders?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fulfil.usecases.basis import Basis, basis_of, refuse_unknown

if TYPE_CHECKING:
    from fulfil_models.moves import Move
    from fulfil_models.order_lines import OrderLine

    from fulfil.store.session import Store


@dataclass(frozen=True, slots=True)
class TransfersAnswer:
    basis: Basis
    moves: tuple[Move, ...]


@dataclass(frozen=True, slots=True)
class OrdersAnswer:
    """Lines of parts orders. `total` and `late` count all of them."""

    basis: Basis
    total: int
    late: int
    lines: tuple[OrderLine, ...]


def transfers(
    store: Store,
    number: int | None = None,
    *,
    origin: str | None = None,
    destination: str | None = None,
) -> TransfersAnswer:
    from fulfil_models.moves import moves

    basis = basis_of(store, number)
    dataset = store.dataset(("points", "parts"))
    known = [row.point for row in dataset.points]
    for point in (origin, destination):
        if point is not None and point not in known:
            raise refuse_unknown("point", point, known)
    found = moves(dataset, store.plan(basis.plan).plan)
    return TransfersAnswer(
        basis,
        tuple(
            row
            for row in found
            if origin in (None, row.origin) and destination in (None, row.destination)
        ),
    )


def orders(store: Store, number: int | None = None, *, late_only: bool = False) -> OrdersAnswer:
    from fulfil_models.order_lines import order_lines

    basis = basis_of(store, number)
    dataset = store.dataset(("parts", "parts_orders"))
    lines = order_lines(dataset, store.plan(basis.plan).plan)
    late = [row for row in lines if row.late_days > 0 or row.lacks]
    return OrdersAnswer(basis, len(lines), len(late), tuple(late) if late_only else lines)

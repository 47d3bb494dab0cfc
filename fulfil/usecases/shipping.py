"""What shipping asks: what is to be moved, and what goes out for parts orders?"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from fulfil.usecases.basis import Basis, basis_of, planned_data, settings_at
from fulfil.usecases.names import meant

if TYPE_CHECKING:
    from fulfil_models.moves import Move
    from fulfil_models.order_lines import OrderLine
    from fulfil_models.sending import SendingPoint

    from fulfil.store.session import Store

ORDER_TABLES = (
    "settings",
    "points",
    "calendars",
    "shifts",
    "closures",
    "parts",
    "stock",
    "purchases",
    "deliveries",
    "parts_orders",
)


@dataclass(frozen=True, slots=True)
class TransfersAnswer:
    """Transfers. `until` is the last day looked at, None for all days."""

    basis: Basis
    total: int
    until: date | None
    moves: tuple[Move, ...]


@dataclass(frozen=True, slots=True)
class OrdersAnswer:
    """Lines of parts orders. `total` and `late` count all of them."""

    basis: Basis
    total: int
    late: int
    until: date | None
    lines: tuple[OrderLine, ...]


@dataclass(frozen=True, slots=True)
class LineAnswer:
    """One line, and the points that could send it."""

    line: OrderLine
    points: tuple[SendingPoint, ...]


@dataclass(frozen=True, slots=True)
class OrderAnswer:
    """The lines of one parts order."""

    basis: Basis
    currency: str
    lines: tuple[LineAnswer, ...]


def transfers(
    store: Store,
    number: int | None = None,
    *,
    origin: str | None = None,
    destination: str | None = None,
    days: int | None = None,
) -> TransfersAnswer:
    """What to move.

    Parameters
    ----------
    days: what leaves within so many calendar days, the planning date being the first.
    """
    from fulfil_models.moves import moves

    basis = basis_of(store, number)
    dataset = store.dataset(("points", "parts"))
    known = [row.point for row in dataset.points]
    origin = origin and meant("point", origin, known)
    destination = destination and meant("point", destination, known)
    found = moves(dataset, store.plan(basis.plan).plan)
    until = _until(basis, days)
    return TransfersAnswer(
        basis,
        len(found),
        until,
        tuple(
            row
            for row in found
            if origin in (None, row.origin)
            and destination in (None, row.destination)
            and (until is None or row.leaves_on <= until)
        ),
    )


def orders(
    store: Store,
    number: int | None = None,
    *,
    late_only: bool = False,
    origin: str | None = None,
    days: int | None = None,
) -> OrdersAnswer:
    """Lines of parts orders.

    Parameters
    ----------
    origin, days: only what ships from this point; only what ships within so many calendar days,
        the planning date being the first. A line is then shown with those parcels alone.
    """
    from fulfil_models.order_lines import order_lines

    basis = basis_of(store, number)
    dataset = store.dataset(("points", "parts", "parts_orders"))
    origin = origin and meant("point", origin, (row.point for row in dataset.points))
    until = _until(basis, days)
    lines = order_lines(dataset, store.plan(basis.plan).plan)
    late = [row for row in lines if row.late_days > 0 or row.lacks]
    return OrdersAnswer(
        basis,
        len(lines),
        len(late),
        until,
        tuple(
            line
            for row in (late if late_only else lines)
            for line in [_leaving(row, origin, until)]
            if line is not None
        ),
    )


def _leaving(line: OrderLine, origin: str | None, until: date | None) -> OrderLine | None:
    """The line with those of its parcels that leave a point until a day; None if none does."""
    if origin is None and until is None:
        return line
    parcels = tuple(
        parcel
        for parcel in line.parcels
        if origin in (None, parcel.point) and (until is None or parcel.ships <= until)
    )
    return dataclasses.replace(line, parcels=parcels) if parcels else None


def order(store: Store, name: str, number: int | None = None) -> OrderAnswer:
    """One parts order, or one line of it (`ORDER/LINE`), and why it ships from where it does.

    A name that is an order's means that order, though it may be a line of another, too.
    """
    from fulfil_models.order_lines import order_lines
    from fulfil_models.sending import sending_points

    basis = basis_of(store, number)
    dataset = planned_data(store, basis, ORDER_TABLES)
    plan = store.plan(basis.plan).plan
    lines = order_lines(dataset, plan)
    by_name: dict[str, list[OrderLine]] = {}
    for line in lines:
        by_name.setdefault(line.order, []).append(line)
    whole = frozenset(by_name)
    for line in lines:
        one = f"{line.order}/{line.line}"
        if one not in whole:
            by_name.setdefault(one, []).append(line)
    settings = settings_at(dataset, basis)
    return OrderAnswer(
        basis,
        settings.currency,
        tuple(
            LineAnswer(line, sending_points(dataset, settings, plan, line))
            for line in by_name[meant("parts order", name, by_name)]
        ),
    )


def _until(basis: Basis, days: int | None) -> date | None:
    return None if days is None else basis.as_of + timedelta(days - 1)

"""Purchase lines that were decided on here: how they are named, added, taken back, and kept when a
data set is loaded that lacks them."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fulfil.errors import Refused

if TYPE_CHECKING:
    from datetime import date

    from fulfil_models.buying import BuyLine
    from fulfil_models.tables import Dataset, Purchase

    from fulfil.store.session import Store

PREFIX = "NEW-"
_NAME = re.compile(rf"{PREFIX}([1-9][0-9]{{0,8}})")


def is_new(order: str) -> bool:
    """Whether an order has the name of one that was decided on here."""
    return _NAME.fullmatch(order) is not None


def line_name(row: Purchase) -> str:
    return f"{row.order}/{row.line}"


def purchases_for(dataset: Dataset, lines: Iterable[tuple[BuyLine, date]]) -> tuple[Purchase, ...]:
    """Lines as open purchases that nobody has confirmed yet; with each the day to order it.

    What is ordered from one supplier for one point on one day is one order. Its number is the next
    one that no purchase and no receipt has ever had.
    """
    from fulfil_models.tables import Purchase

    orders = [row.order for row in dataset.purchases]
    orders += [row.order for row in dataset.receipts]
    last = max((int(found[1]) for name in orders if (found := _NAME.fullmatch(name))), default=0)
    names: dict[tuple[str, str, date], str] = {}
    counts: dict[str, int] = {}
    added = []
    for line, ordered in lines:
        key = (line.supplier, line.point, ordered)
        if key not in names:
            last += 1
            names[key] = f"{PREFIX}{last}"
        order = names[key]
        counts[order] = counts.get(order, 0) + 1
        added.append(
            Purchase(
                order=order,
                line=str(counts[order]),
                part=line.part,
                supplier=line.supplier,
                point=line.point,
                quantity_milli=line.quantity_milli,
                ordered=ordered,
                due=line.due_on,
                confirmed=False,
            )
        )
    return tuple(added)


def with_purchases(dataset: Dataset, added: Iterable[Purchase]) -> Dataset:
    return dataclasses.replace(dataset, purchases=(*dataset.purchases, *added))


def take_back(store: Store, order: str) -> tuple[Purchase, ...]:
    """Takes an order that was decided on here out of the data; its lines.

    Raises Refused for any other.
    """
    from fulfil.store.write import prepared
    from fulfil.usecases.names import meant

    while True:
        data_hash = store.data_hash()
        dataset = store.dataset()
        known = dict.fromkeys(row.order for row in dataset.purchases if is_new(row.order))
        if not known:
            raise Refused(
                "no purchase was decided on here", "`fulfil buy --accept` adds what is to be placed"
            )
        order = meant("order decided on here", order, known)
        gone = tuple(row for row in dataset.purchases if row.order == order)
        left = tuple(row for row in dataset.purchases if row.order != order)
        ready = prepared(dataclasses.replace(dataset, purchases=left))
        with store.deciding() as desk:
            if desk.data_hash() != data_hash:
                continue
            desk.replace_dataset(ready)
            return gone


# ---- when data are loaded


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of lines that were decided on here and that a data set does not have by name.

    Attributes
    ----------
    lines: those that stay in the data.
    known_as: those that the data set has under another name: theirs, and that one.
    dropped: those of a part, supplier or point that the data set does not know any more.
    """

    lines: tuple[Purchase, ...] = ()
    known_as: tuple[tuple[Purchase, Purchase], ...] = ()
    dropped: tuple[Purchase, ...] = ()


NOTHING_KEPT = Kept()


def kept(before: Dataset, new: Dataset) -> Kept:
    """What of the lines decided on here a new data set is to keep.

    A line is not kept where the data set has its order and line, open or received, or a line that
    was not there before of the same part, supplier, point and quantity: that is taken to be the
    order as it was placed. Each such line stands for one.

    Parameters
    ----------
    before: the table purchases. new: also receipts, parts, suppliers and points.
    """
    known = {(row.order, row.line) for row in before.purchases}
    there = {(row.order, row.line) for row in new.purchases}
    there |= {(row.order, row.line) for row in new.receipts}
    placed = [row for row in new.purchases if (row.order, row.line) not in known]
    parts = {row.part for row in new.parts}
    suppliers = {row.supplier for row in new.suppliers}
    points = {row.point for row in new.points}
    lines, known_as, dropped = [], [], []
    for row in before.purchases:
        if not is_new(row.order) or (row.order, row.line) in there:
            continue
        match = next((other for other in placed if _alike(row, other)), None)
        if match is not None:
            placed.remove(match)
            known_as.append((row, match))
        elif row.part in parts and row.supplier in suppliers and row.point in points:
            lines.append(row)
        else:
            dropped.append(row)
    return Kept(tuple(lines), tuple(known_as), tuple(dropped))


def _alike(one: Purchase, other: Purchase) -> bool:
    return (one.part, one.supplier, one.point, one.quantity_milli) == (
        other.part,
        other.supplier,
        other.point,
        other.quantity_milli,
    )

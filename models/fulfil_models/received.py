"""On what does a promise kept open draw, now that purchases have come?

An open purchase line says what is still to come. What it brings less than a piece draws on it has
been put on the shelf of its point, and is drawn from there. Of what is not on that shelf either
the piece goes on drawing on the line: so it is seen that units are missing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, time
from typing import TypeVar

from fulfil_models.plan import Peg, Plan, Shipment, Supply, SupplyKind
from fulfil_models.tables import Dataset
from fulfil_models.taken import ORDERED, LotKey, drawn_by_supply, purchase_key, stock_key

_Draw = TypeVar("_Draw", Peg, Shipment)
_NOTHING: Mapping[LotKey, int] = {}


def as_received(piece: Plan, dataset: Dataset, others: Mapping[LotKey, int] = _NOTHING) -> Plan:
    """A piece that was put beside a plan, as it draws on the data as they are.

    Parameters
    ----------
    others: what other promises kept open draw on each lot, in thousandths; a line gives to them
        first. Units of the shelf that they have are not taken.
    """
    there = Counter({key: -milli for key, milli in others.items()})
    for row in dataset.stock:
        free_milli = max(0, row.quantity_milli - row.held_milli)
        there[stock_key(row.point, row.part)] += free_milli
    for line in dataset.purchases:
        there[purchase_key(line.order, line.line)] += line.quantity_milli
    drawn = drawn_by_supply(piece)
    for supply in piece.supplies:
        if supply.kind is SupplyKind.STOCK:
            there[stock_key(supply.point, supply.part)] -= drawn[supply.supply]
    for supply in piece.supplies:
        if supply.kind is SupplyKind.PURCHASE and supply.line != ORDERED:
            missing = drawn[supply.supply] - max(
                0, there[purchase_key(supply.order or "", supply.line or "")]
            )
            shelf = stock_key(supply.point, supply.part)
            milli = min(missing, there[shelf])
            if milli > 0:
                there[shelf] -= milli
                piece = _from_shelf(piece, supply, milli)
    return piece


def _from_shelf(piece: Plan, line: Supply, milli: int) -> Plan:
    """A piece that draws so much less on a purchase line, and on the shelf of its point instead."""
    shelf = _shelf(piece, line)
    left = milli

    def parted(row: _Draw) -> list[_Draw]:
        nonlocal left
        taken = min(left, row.quantity_milli) if row.supply == line.supply else 0
        left -= taken
        rest = replace(row, quantity_milli=row.quantity_milli - taken)
        now = replace(row, supply=shelf.supply, quantity_milli=taken)
        if isinstance(now, Peg):
            now = replace(now, usable=shelf.usable)
        return [part for part in (now, rest) if part.quantity_milli]

    def moved(row: Supply) -> Supply:
        """What is moved on goes wholly or not at all."""
        nonlocal left
        if row.from_supply != line.supply or row.quantity_milli > left:
            return row
        left -= row.quantity_milli
        return replace(row, from_supply=shelf.supply)

    pegs = tuple(part for row in piece.pegs for part in parted(row))
    shipments = tuple(part for row in piece.shipments for part in parted(row))
    supplies = {row.supply: moved(row) for row in piece.supplies}
    change = milli - left
    if not change:
        return piece
    supplies[shelf.supply] = replace(shelf, quantity_milli=shelf.quantity_milli + change)
    supplies[line.supply] = replace(line, quantity_milli=line.quantity_milli - change)
    if not supplies[line.supply].quantity_milli:
        del supplies[line.supply]
    return replace(
        piece, pegs=pegs, shipments=shipments, supplies=tuple(supplies[k] for k in sorted(supplies))
    )


def _shelf(piece: Plan, line: Supply) -> Supply:
    """The shelf to which a purchase line is delivered, as a supply of a piece."""
    for supply in piece.supplies:
        if (supply.kind, supply.part, supply.point) == (SupplyKind.STOCK, line.part, line.point):
            return supply
    name = "/".join(stock_key(line.point, line.part))
    while any(supply.supply == name for supply in piece.supplies):
        name += "'"
    usable = datetime.combine(piece.as_of, time.min)
    return Supply(name, SupplyKind.STOCK, line.part, line.point, 0, usable)

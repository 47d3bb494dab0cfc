"""What ships for a parts order, and what is ordered? The rules of the whole model about orders,
those that customers place and those that are expedited.

In the formulas x is what is drawn of a lot, z says whether anything is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fulfil_models.slots_variables import Variables, largest

if TYPE_CHECKING:
    from ortools.sat.python import cp_model


def lines_shipped(model: cp_model.CpModel, v: Variables) -> None:
    """One part fills a line wholly: sum over parts of pick = 1; sum of x of a part = quantity *
    pick; z >= x / quantity."""
    for line in v.lines:
        for parcel in line.parcels:
            model.add(parcel.units.milli <= parcel.outlet.quantity * parcel.units.taken)
        for use in line.uses:
            model.add(sum(parcel.units.milli for parcel in use.parcels) == use.quantity * use.pick)
        model.add_exactly_one(use.pick for use in line.uses)


def one_origin_unless_split(model: cp_model.CpModel, v: Variables) -> None:
    """A line that may not be split: origin >= z of all that ships from it; sum of origins <= 1."""
    for line in v.lines:
        if line.origins:
            for parcel in line.parcels:
                model.add_implication(parcel.units.taken, line.origins[parcel.outlet.point])
            model.add(sum(line.origins.values()) <= 1)


def worst_shipment_counts(model: cp_model.CpModel, v: Variables) -> None:
    """late days of a line >= late days of whatever ships for it, if z."""
    for line in v.lines:
        for parcel in line.parcels:
            if parcel.late_days:
                model.add(line.late >= parcel.late_days).only_enforce_if(parcel.units.taken)


def deliveries_paid(model: cp_model.CpModel, v: Variables) -> None:
    """box of an order, point and day >= z of all that ships in it."""
    for line in v.lines:
        for parcel in line.parcels:
            if line.delivery(parcel).cost_micro:
                model.add_implication(parcel.units.taken, v.boxes[line.box(parcel)])


def draws_ordered(model: cp_model.CpModel, v: Variables) -> None:
    """ordered >= sum of x over all that draw on an expedited lot."""
    for order in v.orders:
        model.add(order.ordered >= sum(units.milli for units in order.drawn))


def orders_whole(model: cp_model.CpModel, v: Variables) -> None:
    """An expedited order is 0, or at least the minimum and a multiple: minimum * placed <= ordered
    <= most * placed; ordered = multiple * times."""
    for order in v.orders:
        source = order.lot.source
        assert source is not None
        model.add(order.ordered <= largest(order.ordered) * order.placed)
        model.add(order.ordered >= source.minimum_milli * order.placed)
        if order.times is not None:
            model.add(order.ordered == source.multiple_milli * order.times)

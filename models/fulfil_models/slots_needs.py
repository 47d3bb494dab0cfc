"""What fills a need, and when is it there? The rules of the whole model about parts of builds.

In the formulas x is what is drawn of a lot, z says whether anything is, s is the start of the
operation that the need is for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fulfil_models.slots_variables import Variables

if TYPE_CHECKING:
    from ortools.sat.python import cp_model


def needs_filled(model: cp_model.CpModel, v: Variables) -> None:
    """For each need of a job that is done, one part fills it wholly, or a job made for it:
    sum over parts of pick + sum over jobs of made = done; sum of x of a part = quantity * pick."""
    for filling in v.fillings:
        choices = [v.done[way.job.job.name] for way in filling.jobs if way.job is not None]
        for use in filling.uses:
            choices.append(use.pick)
            model.add(sum(offer.units.milli for offer in use.offers) == use.quantity * use.pick)
        if filling.done is None:
            model.add_exactly_one(choices)
        else:
            model.add(sum(choices) == filling.done)


def made_parts_ready(model: cp_model.CpModel, v: Variables) -> None:
    """end of the last operation of a job made for a need <= s."""
    for filling in v.fillings:
        for way in filling.jobs:
            assert way.job is not None
            if way.job.operations:
                name = way.job.job.name
                end = v.starts[name][-1] + way.job.operations[-1].duration
                model.add(end <= filling.at).only_enforce_if(v.done[name])


def lots_usable(model: cp_model.CpModel, v: Variables) -> None:
    """z >= x / quantity; s >= the moment from which the lot is usable, if z."""
    for filling in v.fillings:
        for use in filling.uses:
            for offer in use.offers:
                units = offer.units
                if use.quantity <= units.step_milli:
                    model.add(units.milli == use.quantity * units.taken)
                else:
                    model.add(units.milli <= use.quantity * units.taken)
                if offer.usable > 0:
                    model.add(filling.at >= offer.usable).only_enforce_if(units.taken)


def moves_paid(model: cp_model.CpModel, v: Variables) -> None:
    """x <= quantity * moved, of the departure that the units leave with."""
    for offer in v.offers():
        moved = v.moved.get((offer.way.route, offer.departure))
        if moved is not None:
            model.add(offer.units.milli <= offer.way.quantity * moved)
    for parcel in v.parcels():
        moved = v.moved.get(parcel.departure)
        if moved is not None:
            model.add(parcel.units.milli <= parcel.outlet.quantity * moved)


def lots_not_overdrawn(model: cp_model.CpModel, v: Variables) -> None:
    """sum of x over all that draw on a lot, needs and lines, <= the lot."""
    for (number, event), draws in v.drawn().items():
        lot = v.compiled.book.supplies.bins[number].lots[event]
        if lot.quantity_milli < sum(units.most_milli for units in draws):
            model.add(sum(units.milli for units in draws) <= lot.quantity_milli)

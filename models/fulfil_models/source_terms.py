"""What do the terms of a source allow: how soon does an order come, and how much can it bring?

Minimum, multiple and monthly cap of a source, and its lead time with and without expediting.
"""

from __future__ import annotations

from datetime import date, timedelta

from fulfil_models.settings import Settings
from fulfil_models.tables import Purchase, Source


def days_to_arrive(source: Source, *, expedited: bool = False) -> int:
    """Calendar days from placing an order to its arrival, never below 0.

    Parameters
    ----------
    expedited: less the days that expediting saves, where the source offers it.
    """
    sooner = (source.expedite_days or 0) if expedited else 0
    return max(0, source.lead_days - sooner)


def is_expedited(order: Purchase, source: Source) -> bool:
    """Whether an order comes sooner than its source delivers without hurry."""
    return (order.due - order.ordered).days < days_to_arrive(source)


def first_arrival(settings: Settings, source: Source, *, expedited: bool = False) -> date:
    """First day on which a new order of a source can arrive.

    Parameters
    ----------
    expedited: as in `days_to_arrive`.
    """
    days = days_to_arrive(source, expedited=expedited)
    return settings.first_order_day + timedelta(days)


def whole_orders(source: Source, left_milli: int) -> int:
    """Most of so many thousandths that orders of a source can bring (its minimum and multiple)."""
    if source.multiple_milli:
        left_milli -= left_milli % source.multiple_milli
    return left_milli if left_milli > 0 and left_milli >= source.minimum_milli else 0


def order_for(source: Source, wanted_milli: int, step_milli: int) -> int:
    """The smallest order of a source that brings so many thousandths (its minimum and multiple).

    Parameters
    ----------
    step_milli: smallest quantity of the part, which orders are multiples of where the source has
        none of its own.
    """
    unit = source.multiple_milli or step_milli
    return -(-max(wanted_milli, source.minimum_milli) // unit) * unit


def can_order(source: Source) -> bool:
    """Whether some order of a source fits its monthly cap."""
    cap = source.monthly_cap_milli
    return cap is None or whole_orders(source, cap) > 0

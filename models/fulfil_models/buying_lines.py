"""When is an order to be placed, when does it come, for whom, and is it worth expediting?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction

from fulfil_models.buying_lots import Buyer, Ordered
from fulfil_models.buying_needs import Why
from fulfil_models.buying_pegs import Peg
from fulfil_models.buying_safety import lead_days
from fulfil_models.cells import MILLI
from fulfil_models.harms import Harm
from fulfil_models.months import month_of
from fulfil_models.source_terms import days_to_arrive
from fulfil_models.tables import Source


@dataclass(frozen=True, slots=True)
class Served:
    """Who gets units of a line: see `Want`. `late_days`: by which they come after `day`."""

    why: Why
    who: str
    quantity_milli: int
    day: date
    late_days: int


@dataclass(frozen=True, slots=True)
class BuyLine:
    """One line to order.

    Attributes
    ----------
    place_on: day to place it.
    behind_days: how many days after it is first wanted 90 of 100 such orders have come.
    needed_on: first day on which any of it is wanted.
    due_on: when it comes as stated; arrives_90: by when 90 of 100 such orders come.
    expedited: at the supplier's extra cost.
    price_micro: of one unit in an order of this size; None where none is given.
    cost_micro: price x quantity, expediting not included.
    estimate_micro: where no price is given, what sizes go by: the price of a larger order, else the
        cost of the part, x quantity. None where there is a price, or nothing to go by.
    saves_micro: lateness that expediting is expected to save; 0 where the plan decided on it.
    firm_milli, forecast_milli, safety_milli: of it for each; `more_milli` is beyond all that, for
        minimum, multiple, or price.
    """

    place_on: date
    behind_days: int
    supplier: str
    part: str
    description: str | None
    point: str
    quantity_milli: int
    unit: str
    needed_on: date
    due_on: date
    arrives_90: date
    expedited: bool
    price_micro: int | None
    cost_micro: int | None
    estimate_micro: int | None
    expedite_cost_micro: int
    saves_micro: int
    firm_milli: int
    forecast_milli: int
    safety_milli: int
    more_milli: int
    served: tuple[Served, ...]


def line_of(buyer: Buyer, order: Ordered, pegs: Sequence[Peg], harm: Mapping[str, Harm]) -> BuyLine:
    """The line of an order, with the days that are right for whom it serves."""
    source, milli = order.source, order.milli
    buffer = buyer.buffer(source)
    needed = min((want.day for want, _ in pegs), default=order.last)
    if order.arrives is not None:
        due, days = order.arrives, days_to_arrive(source, expedited=True)
    else:
        first = order.first if order.in_month else buyer.soonest(source)
        due = min(max(needed - timedelta(buffer), first), order.last)
        days = source.lead_days
    part, price = buyer.problem.parts[source.part], buyer.prices.given(source, milli)
    estimate = buyer.prices.estimate(source) if price is None else None
    sums = Counter[Why]()
    for want, served_milli in pegs:
        sums[want.why] += served_milli
    line = BuyLine(
        place_on=due - timedelta(days),
        behind_days=max(0, (due - needed).days + buffer),
        supplier=source.supplier,
        part=source.part,
        description=part.description,
        point=source.point,
        quantity_milli=milli,
        unit=part.unit,
        needed_on=needed,
        due_on=due,
        arrives_90=due + timedelta(buffer),
        expedited=order.arrives is not None,
        price_micro=price,
        cost_micro=None if price is None else price * milli // MILLI,
        estimate_micro=None if estimate is None else estimate * milli // MILLI,
        expedite_cost_micro=0 if order.arrives is None else _extra(source, milli),
        saves_micro=0,
        firm_milli=sums[Why.FIRM],
        forecast_milli=sums[Why.FORECAST],
        safety_milli=sums[Why.SAFETY],
        more_milli=milli - sums.total(),
        served=_served(pegs, due),
    )
    return line if order.arrives is not None else _maybe_hurried(buyer, order, line, pegs, harm)


def _extra(source: Source, milli: int) -> int:
    return (source.expedite_cost_micro or 0) * milli // MILLI


def _served(pegs: Iterable[Peg], due: date) -> tuple[Served, ...]:
    return tuple(
        Served(want.why, want.who, milli, want.day, max(0, (due - want.day).days))
        for want, milli in pegs
    )


# ---- expediting


def _maybe_hurried(
    buyer: Buyer,
    order: Ordered,
    line: BuyLine,
    pegs: Sequence[Peg],
    harm: Mapping[str, Harm],
) -> BuyLine:
    """A line that is placed at the first chance, expedited where that saves more than it costs.

    Judged at the day by which 50 of 100 come; nobody else is moved. What the plan does not expedite
    at stated lead times may be worth it at those of the record. Not under a budget, which sizes
    have used up by then.
    """
    source = order.source
    if not source.expedite_days or line.place_on > buyer.problem.settings.first_order_day:
        return line
    if buyer.budget_micro is not None:
        return line
    due = line.place_on + timedelta(days_to_arrive(source, expedited=True))
    if order.in_month and month_of(due) != month_of(line.due_on):
        return line
    middle = lead_days(source, buyer.leads.get((source.part, source.supplier)))[0]
    comes = line.place_on + timedelta(middle)
    saved = Fraction(0)
    for who, day in _first_days(pegs).items():
        if who in harm:
            late = (comes - day).days - harm[who].slack_days
            sooner = min(late, (line.due_on - due).days)
            saved += max(0, sooner) * harm[who].day_cost_micro
    extra = _extra(source, order.milli)
    if saved <= extra:
        return line
    buffer = line.arrives_90 - line.due_on
    return replace(
        line,
        due_on=due,
        arrives_90=due + buffer,
        behind_days=max(0, (due + buffer - line.needed_on).days),
        expedited=True,
        expedite_cost_micro=extra,
        saves_micro=int(saved),
        served=_served(pegs, due),
    )


def _first_days(pegs: Iterable[Peg]) -> dict[str, date]:
    """First day on which each build or parts order wants any of a line."""
    days: dict[str, date] = {}
    for want, _ in pegs:
        if want.why is Why.FIRM:
            days[want.who] = min(days.get(want.who, want.day), want.day)
    return days

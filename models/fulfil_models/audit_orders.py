"""Are the dates and the cost right: of builds, of parts orders, of the whole plan?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date, datetime
from fractions import Fraction

from fulfil_models.audit_frame import (
    UNPROMISED_WEIGHT,
    Finding,
    Frame,
    clock,
    line_key,
    money,
    number,
)
from fulfil_models.audit_hours import carrier_days_after
from fulfil_models.cells import MILLI, PPM
from fulfil_models.plan import Objective, PlannedBuild, Status, SupplyKind
from fulfil_models.tables import PartsOrder

_MET = Fraction(1, 10**6)
"""largest gap at which a bound is called met"""


# ---- builds


def ship_dates(frame: Frame) -> Iterator[Finding]:
    """A build is finished when its last operation ends, and ships by the cut-off or next day."""
    for row in frame.plan.builds:
        finish = _finish(frame, row)
        if finish is None:
            yield f"build {row.build}", "has no operation, planned or done"
            continue
        if row.finish != finish:
            yield f"build {row.build}", f"is finished at {clock(finish)}, not {clock(row.finish)}"
        ships = _ships(frame, row, finish)
        if row.ships != ships:
            yield f"build {row.build}", f"ships on {ships}, not {row.ships}"


def lateness(frame: Frame) -> Iterator[Finding]:
    """Late minutes, late days and lead days follow from the finish and the promise."""
    for row in frame.plan.builds:
        finish = _finish(frame, row)
        if finish is None:
            continue
        subject = f"build {row.build}"
        minutes = _late_minutes(frame, row, finish)
        if row.late_minutes != minutes:
            yield subject, f"is {minutes} working minutes late, not {row.late_minutes}"
        ships = _ships(frame, row, finish)
        promised = frame.builds[row.build].promised
        day = promised.date() if isinstance(promised, datetime) else promised
        days = 0 if day is None else max(0, (ships - day).days)
        if row.late_days != days:
            yield subject, f"ships {days} days late, not {row.late_days}"
        lead = (ships - frame.builds[row.build].ordered).days
        if row.lead_days != lead:
            yield subject, f"ships {lead} days after its order, not {row.lead_days}"


def _finish(frame: Frame, row: PlannedBuild) -> datetime | None:
    job = frame.jobs.get(row.build)
    return None if job is None else frame.last_end(job)


def _ships(frame: Frame, row: PlannedBuild, finish: datetime) -> date:
    point = frame.points[frame.builds[row.build].point]
    return frame.hours[point.point].ship_day(finish, point.cutoff)


def _late_minutes(frame: Frame, row: PlannedBuild, finish: datetime) -> int:
    build = frame.builds[row.build]
    hours = frame.hours[build.point]
    due = hours.due(build.promised, frame.points[build.point].cutoff)
    return max(0, hours.position(finish) - due)


# ---- parts orders


def shipments(frame: Frame) -> Iterator[Finding]:
    """A shipment leaves on the first open day by whose opening it is usable, and travels on."""
    for row in frame.plan.shipments:
        subject = f"shipment {line_key(row.order, row.line)} from {row.supply}"
        line, supply = frame.lines[row.order, row.line], frame.supplies[row.supply]
        if (supply.part, supply.point) != (row.used, row.point) or row.part != line.part:
            yield subject, "is not of its line and its supply"
        ships = frame.hours[row.point].first_shipping_day(supply.usable)
        if row.ships != ships:
            yield subject, f"leaves on {ships}, not {row.ships}"
        way = frame.delivery(row.point, line.destination)
        if way is None:
            yield subject, f"has no delivery from {row.point} to {line.destination}"
            continue
        arrives = carrier_days_after(row.ships, way.days)
        if row.arrives != arrives:
            yield subject, f"arrives {arrives}, not {row.arrives}"
        late = _late_days(frame, line, row.ships, arrives)
        if row.late_days != late:
            yield subject, f"is {late} days late, not {row.late_days}"


def parts_orders(frame: Frame) -> Iterator[Finding]:
    """Each line is shipped in full, from one point unless it may be split."""
    for line in frame.planned_lines():
        subject = f"line {line_key(line.order, line.line)}"
        rows = frame.shipments_by_line.get((line.order, line.line), [])
        if not rows:
            yield subject, "is not shipped"
            continue
        for row in rows:
            if row.quantity_milli <= 0 or row.quantity_milli % frame.parts[row.used].step_milli:
                yield subject, f"ships {number(row.quantity_milli)}, not in whole steps"
        points = sorted({row.point for row in rows})
        if len(points) > 1 and not line.split:
            yield subject, f"may not be split and ships from {' and '.join(points)}"
        if len({row.used for row in rows}) > 1 or not frame.may_fill(line.part, rows[0].used):
            continue  # a matter of `alternates`
        wanted = frame.wanted(line.part, rows[0].used, line.quantity_milli)
        shipped = sum(row.quantity_milli for row in rows)
        if shipped != wanted:
            yield subject, f"ships {number(shipped)} and needs {number(wanted)}"


def _late_days(frame: Frame, line: PartsOrder, ships: date, arrives: date) -> int:
    """Calendar days past the ship-by date, else past the deliver-by date, else past `as_of`."""
    if line.promised is not None:
        late = ships - line.promised
    elif line.within_days is not None:
        late = arrives - carrier_days_after(line.ordered, line.within_days)
    else:
        late = ships - frame.terms.as_of
    return max(0, late.days)


# ---- cost


def recomputed(frame: Frame) -> tuple[Objective, Fraction]:
    """What the plan costs by kind, and its weighted late minutes, from its rows and the data."""
    builds, minutes = _builds_lateness(frame)
    orders, deliveries = _orders_cost(frame)
    cost = Objective(
        lateness=builds + orders,
        transfers=_transfers_cost(frame),
        alternates=_alternates_cost(frame),
        expediting=_expediting_cost(frame),
        deliveries=deliveries,
    )
    return cost, minutes


def objective(frame: Frame) -> Iterator[Finding]:
    """What the plan costs, by kind, computed anew and compared exactly.

    A figure that was carried by a plan document is the nearest binary fraction's decimal text;
    that is accepted for the exact figure.
    """
    cost, minutes = recomputed(frame)
    for kind in ("lateness", "transfers", "alternates", "expediting", "deliveries"):
        amount, stated = getattr(cost, kind), getattr(frame.plan.objective, kind)
        if stated not in (amount, carried(amount)):
            yield kind, f"is {float(amount)}, stated is {float(stated)}"
    if frame.plan.weighted_late_minutes not in (minutes, carried(minutes)):
        yield (
            "weighted late minutes",
            f"are {float(minutes)}, stated is {float(frame.plan.weighted_late_minutes)}",
        )


def bound(frame: Frame) -> Iterator[Finding]:
    """The bound is not above the objective; optimal is only what meets its bound."""
    plan = frame.plan
    total = plan.objective.total
    if plan.bound > max(total, carried(total)):
        yield "bound", f"is {float(plan.bound)}, the plan costs {float(total)}"
    if plan.status not in (Status.OPTIMAL, Status.FEASIBLE):
        yield "status", f"is {plan.status}, yet here is a plan"
    if plan.status is Status.OPTIMAL and plan.gap > _MET:
        yield "status", f"is optimal at a gap of {float(plan.gap)}"


def carried(amount: Fraction) -> Fraction:
    """The amount as a plan document carries it."""
    return Fraction(repr(float(amount)))


def _builds_lateness(frame: Frame) -> tuple[Fraction, Fraction]:
    """Cost of all late builds, and the sum of weight x late minutes."""
    days = minutes = Fraction(0)
    for row in frame.plan.builds:
        finish = _finish(frame, row)
        late = 0 if finish is None else _late_minutes(frame, row, finish)
        if late:
            build = frame.builds[row.build]
            weight = Fraction(build.weight_ppm, PPM) if build.promised else UNPROMISED_WEIGHT
            minutes += weight * late
            days += weight * late / frame.hours[build.point].standard_day
    return days * money(frame.terms.late_day_cost_micro), minutes


def _orders_cost(frame: Frame) -> tuple[Fraction, Fraction]:
    """Cost of late lines, and of deliveries: by weight, and once per point and day of an order."""
    days = carriage = Fraction(0)
    departures: set[tuple[str, str, date, int]] = set()
    for key, rows in frame.shipments_by_line.items():
        line = frame.lines[key]
        worst = 0
        for row in rows:
            way = frame.delivery(row.point, line.destination)
            if way is None:
                continue
            arrives = carrier_days_after(row.ships, way.days)
            worst = max(worst, _late_days(frame, line, row.ships, arrives))
            carriage += frame.kg(row.used, row.quantity_milli) * money(way.cost_per_kg_micro)
            # Lines of one order to places of different cost are different deliveries.
            departures.add((row.order, row.point, row.ships, way.cost_micro))
        promised = line.promised is not None or line.within_days is not None
        days += worst * (Fraction(line.weight_ppm, PPM) if promised else UNPROMISED_WEIGHT)
    once = money(sum(cost_micro for *_, cost_micro in departures))
    return days * money(frame.terms.late_day_cost_micro), once + carriage


def _transfers_cost(frame: Frame) -> Fraction:
    """Lane costs: by weight, and once per lane and departure day."""
    total = Fraction(0)
    moves: set[tuple[str, str, date]] = set()
    for supply in frame.plan.supplies:
        lane = frame.lanes.get((supply.origin or "", supply.point))
        if supply.kind is SupplyKind.TRANSFER and lane is not None:
            assert supply.leaves_on is not None
            moves.add((lane.origin, lane.destination, supply.leaves_on))
            kg = frame.kg(supply.part, supply.quantity_milli)
            total += kg * money(lane.cost_per_kg_micro)
    return total + money(sum(frame.lanes[o, d].cost_per_move_micro for o, d, _ in moves))


def _alternates_cost(frame: Frame) -> Fraction:
    """Extra cost of what stands in for another part, approved or not."""
    extra_micro = {
        (row.part, row.alternate): row.extra_cost_micro for row in frame.dataset.alternates
    }
    units: defaultdict[tuple[str, str], int] = defaultdict(int)
    for peg in frame.plan.pegs:
        units[peg.part, peg.used] += peg.quantity_milli
    for shipment in frame.plan.shipments:
        units[shipment.part, shipment.used] += shipment.quantity_milli
    return money(
        sum(
            Fraction(extra_micro[key] * milli, MILLI)
            for key, milli in units.items()
            if key in extra_micro
        )
    )


def _expediting_cost(frame: Frame) -> Fraction:
    total_micro = Fraction(0)
    for supply in frame.plan.supplies:
        if supply.kind is SupplyKind.NEW_PURCHASE and supply.expedited:
            source = frame.sources.get((supply.part, supply.supplier or "", supply.point))
            each_micro = (source.expedite_cost_micro or 0) if source is not None else 0
            total_micro += Fraction(each_micro * supply.quantity_milli, MILLI)
    return money(total_micro)

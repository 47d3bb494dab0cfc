"""The decisions of the oracle written out as a plan, so that the checker can judge them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from fractions import Fraction

from fulfil_models.audit_frame import Frame, Terms
from fulfil_models.audit_hours import Hours, carrier_days_after
from fulfil_models.audit_orders import recomputed
from fulfil_models.audit_time import minutes_needed
from fulfil_models.plan import (
    Objective,
    Peg,
    Plan,
    PlannedBuild,
    PlannedJob,
    PlannedOperation,
    Shipment,
    Status,
    Supply,
    SupplyKind,
)
from fulfil_models.tables import Dataset
from oracle import Oracle
from oracle_supply import Leg, Lot, order_size
from oracle_work import Best, Draw


def best_plan(dataset: Dataset, settings: Terms) -> tuple[Plan, Fraction]:
    """A plan of the least cost, and that cost as the oracle counts it.

    The cost that the plan states is computed from its rows by the checker's own functions.
    """
    oracle = Oracle(dataset, settings)
    best = oracle.solve()
    plan = _Writer(oracle, best).plan()
    cost, minutes = recomputed(Frame(dataset, settings, plan, None))
    return (
        replace(plan, objective=cost, bound=cost.total, weighted_late_minutes=minutes),
        best.cost,
    )


class _Writer:
    def __init__(self, oracle: Oracle, best: Best) -> None:
        self.oracle = oracle
        self.frame = oracle.frame
        self.best = best
        self.supplies: dict[str, Supply] = {}
        self.operations: list[PlannedOperation] = []

    def plan(self) -> Plan:
        self._operations()
        self._supplies()
        return Plan(
            as_of=self.oracle.as_of,
            status=Status.OPTIMAL,
            objective=Objective(),
            bound=Fraction(0),
            weighted_late_minutes=Fraction(0),
            builds=tuple(self._build(build.build) for build in self.oracle.builds),
            jobs=tuple(
                PlannedJob(
                    name,
                    job.build.build,
                    job.part,
                    job.milli,
                    job.above.job if job.above else None,
                    job.above.operation if job.above else None,
                )
                for name, job in self.best.jobs.items()
            ),
            operations=tuple(self.operations),
            pegs=tuple(self._peg(draw) for draw in self.best.draws if draw.wanted.build),
            shipments=tuple(self._shipment(draw) for draw in self.best.draws if draw.wanted.line),
            supplies=tuple(self.supplies.values()),
        )

    def _operations(self) -> None:
        for name, job in self.best.jobs.items():
            hours = self.frame.hours[job.build.point]
            for step in self.frame.routings.get(job.part, []):
                start = self.best.starts[name, step.operation]
                end = start + minutes_needed(step, job.milli)
                begins = self._moment(hours, start, hours.may_start)
                ends = begins if start == end else self._moment(hours, end, hours.may_end)
                self.operations.append(
                    PlannedOperation(name, step.operation, step.work_centre, begins, ends)
                )

    def _moment(self, hours: Hours, position: int, fits: Callable[[datetime], bool]) -> datetime:
        """The one moment of a position at which work may start, or may end."""
        low, high = 0, 1440 * 365 * 3
        while low < high:
            middle = (low + high) // 2
            if hours.position(self.frame.midnight + timedelta(minutes=middle)) < position:
                low = middle + 1
            else:
                high = middle
        moment = self.frame.midnight + timedelta(minutes=low)
        while not fits(moment):
            moment += timedelta(minutes=1)
        assert hours.position(moment) == position
        return moment

    def _supplies(self) -> None:
        drawn: defaultdict[tuple[Lot, tuple[Leg, ...]], int] = defaultdict(int)
        for draw in self.best.draws:
            if draw.way is not None:
                for legs in range(len(draw.way.legs) + 1):
                    drawn[draw.way.lot, draw.way.legs[:legs]] += draw.milli
        for (lot, legs), milli in drawn.items():
            self.supplies[_name(lot, legs)] = (
                self._moved(lot, legs, milli) if legs else self._from_lot(lot, milli)
            )
        for draw in self.best.draws:
            if draw.way is None:
                self.supplies[draw.job] = self._made(draw)

    def _from_lot(self, lot: Lot, milli: int) -> Supply:
        supply = Supply(_name(lot, ()), lot.kind, lot.part, lot.point, milli, lot.usable)
        if lot.purchase is not None:
            return replace(supply, order=lot.purchase.order, line=lot.purchase.line)
        if lot.source is None or lot.arrives_on is None:
            return supply
        hurry = (lot.source.expedite_days or 0) if lot.expedited else 0
        lead = timedelta(max(0, lot.source.lead_days - hurry))
        return replace(
            supply,
            quantity_milli=order_size(lot.source, milli),
            supplier=lot.source.supplier,
            place_on=lot.arrives_on - lead,
            arrives_on=lot.arrives_on,
            expedited=lot.expedited,
        )

    def _moved(self, lot: Lot, legs: tuple[Leg, ...], milli: int) -> Supply:
        lane, day = legs[-1]
        arrives_on = day + timedelta(lane.days)
        return Supply(
            _name(lot, legs),
            SupplyKind.TRANSFER,
            lot.part,
            lane.destination,
            milli,
            self.frame.hours[lane.destination].opening(arrives_on),
            origin=lane.origin,
            from_supply=_name(lot, legs[:-1]),
            leaves_on=day,
            arrives_on=arrives_on,
        )

    def _made(self, draw: Draw) -> Supply:
        job = self.best.jobs[draw.job]
        ends = [row.end for row in self.operations if row.job == draw.job]
        at_job, at_operation = draw.wanted.at
        usable = max(ends) if ends else self._start(at_job, at_operation)
        point = job.build.point
        return Supply(draw.job, SupplyKind.JOB, job.part, point, job.milli, usable, job=draw.job)

    def _start(self, job: str, operation: int | None) -> datetime:
        return next(
            row.start for row in self.operations if (row.job, row.operation) == (job, operation)
        )

    def _peg(self, draw: Draw) -> Peg:
        supply = self.supplies[_supply_of(draw)]
        wanted = draw.wanted
        return Peg(
            wanted.job,
            wanted.operation,
            wanted.part,
            draw.used,
            draw.milli,
            supply.supply,
            supply.point,
            supply.usable,
        )

    def _shipment(self, draw: Draw) -> Shipment:
        line, way = draw.wanted.line, draw.way
        assert line is not None
        assert way is not None
        delivery = self.frame.delivery(way.point, line.destination)
        assert delivery is not None
        ships = self.frame.hours[way.point].first_shipping_day(way.usable)
        return Shipment(
            line.order,
            line.line,
            line.part,
            draw.used,
            draw.milli,
            _supply_of(draw),
            way.point,
            ships,
            carrier_days_after(ships, delivery.days),
            self.oracle.late_days(line, way, delivery.days),
        )

    def _build(self, name: str) -> PlannedBuild:
        build = self.frame.builds[name]
        hours, point = self.frame.hours[build.point], self.frame.points[build.point]
        finish = max(row.end for row in self.operations if row.job == name)
        ships = hours.ship_day(finish, point.cutoff)
        promised = build.promised
        day = promised.date() if isinstance(promised, datetime) else promised
        return PlannedBuild(
            name,
            build.product,
            build.point,
            build.ordered,
            promised,
            finish,
            ships,
            max(0, hours.position(finish) - hours.due(promised, point.cutoff)),
            0 if day is None else max(0, (ships - day).days),
            (ships - build.ordered).days,
        )


def _name(lot: Lot, legs: tuple[Leg, ...]) -> str:
    """A supply by what it is, where it has been and when it left there."""
    what = f"{lot.kind} {lot.part} {lot.point}"
    if lot.purchase is not None:
        what += f" {lot.purchase.order} {lot.purchase.line}"
    if lot.source is not None:
        what += f" {lot.source.supplier} {lot.arrives_on} {lot.expedited}"
    return what + "".join(f" > {lane.destination} {day}" for lane, day in legs)


def _supply_of(draw: Draw) -> str:
    return draw.job if draw.way is None else _name(draw.way.lot, draw.way.legs)

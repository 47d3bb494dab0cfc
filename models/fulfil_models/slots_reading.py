"""From a solution to a hint for the whole model, and from the model's answer to a solution."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from fulfil_models.compiled import MIXED, CJob, all_jobs, all_needs
from fulfil_models.ledger import Draw, LinePlacement, Placement
from fulfil_models.search import Solution
from fulfil_models.slots_variables import Values, Variables

if TYPE_CHECKING:
    from ortools.sat.python import cp_model


def hint(model: cp_model.CpModel, v: Variables, solution: Solution) -> None:
    """Let the solver start from where a solution has its operations."""
    for placement in solution.placed:
        if placement is not None:
            for job, starts in placement.starts:
                for variable, start in zip(v.starts[job.job.name], starts, strict=True):
                    model.add_hint(variable, start)


def read(v: Variables, values: Values) -> tuple[list[Placement], list[LinePlacement]]:
    """Where an answer puts every build and line, without their costs."""
    return _builds(v, values), _lines(v, values)


def _builds(v: Variables, values: Values) -> list[Placement]:
    draws: defaultdict[int, list[Draw]] = defaultdict(list)
    for offer in v.offers():
        quantity = offer.units.read(values)
        if quantity:
            draws[offer.need.need.job.task.index].append(
                Draw(offer.need, offer.way, offer.event, quantity, offer.departure)
            )
    placements = []
    for task in v.compiled.tasks:
        placement = Placement()
        for job in all_jobs(task.root):
            done = v.done.get(job.job.name)
            if done is None or values[done.index]:
                starts = [values[start.index] for start in v.starts[job.job.name]]
                placement.starts.append((job, starts))
                placement.draws += _draws_on_jobs(v, values, job)
        placement.draws += draws[task.index]
        placements.append(placement)
    return placements


def _draws_on_jobs(v: Variables, values: Values, job: CJob) -> list[Draw]:
    """Draws of a job's needs on the jobs that are made for them."""
    return [
        Draw(need, way, -1, way.quantity)
        for need in all_needs(job)
        for way in need.ways
        if way.kind != MIXED and way.job is not None and values[v.done[way.job.job.name].index]
    ]


def _lines(v: Variables, values: Values) -> list[LinePlacement]:
    lines = [LinePlacement() for _ in v.compiled.lines]
    for line in v.lines:
        for parcel in line.parcels:
            quantity = parcel.units.read(values)
            if quantity:
                lines[line.line.index].draws.append((parcel.number, parcel.event, quantity))
    return lines

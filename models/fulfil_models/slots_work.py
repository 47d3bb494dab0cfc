"""When may an operation run? The rules of the whole model about work: order, stations, lateness.

In the formulas s is the start of an operation, p its duration and n the stations it takes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fulfil_models.compiled import all_jobs
from fulfil_models.slots_variables import Variables

if TYPE_CHECKING:
    from ortools.sat.python import cp_model


def operations_in_order(model: cp_model.CpModel, v: Variables) -> None:
    """s of an operation >= s + p of the one before it, in every job that is done."""
    for task in v.compiled.tasks:
        for job in all_jobs(task.root):
            starts = v.starts[job.job.name]
            done = v.done.get(job.job.name)
            for k in range(1, len(starts)):
                ordered = model.add(starts[k] >= starts[k - 1] + job.operations[k - 1].duration)
                if done is not None:
                    ordered.only_enforce_if(done)


def nothing_before_earliest(model: cp_model.CpModel, v: Variables) -> None:
    """s >= earliest of the build, but for started and frozen operations."""
    for task in v.compiled.tasks:
        for job in all_jobs(task.root):
            for operation, start in zip(job.operations, v.starts[job.job.name], strict=True):
                if operation.pinned is None:
                    model.add(start >= job.earliest)


def stations_not_overloaded(model: cp_model.CpModel, v: Variables) -> None:
    """sum of n over all that runs at a moment + stations out or taken then <= all of the centre."""
    cell = v.compiled.cell
    for index, centre in enumerate(v.compiled.book.centres):
        loads = list(v.runs[index])
        for number, (start, end, count) in enumerate(centre.gone):
            gone = model.new_fixed_size_interval_var(
                start // cell, (end - start) // cell, f"gone[{centre.name}/{number}]"
            )
            loads.append((gone, count))
        if not loads:
            continue
        runs = [run for run, _ in loads]
        if centre.stations == 1:
            model.add_no_overlap(runs)
        else:
            model.add_cumulative(runs, [count for _, count in loads], centre.stations)


def lateness(model: cp_model.CpModel, v: Variables) -> None:
    """late of a build >= s + p of its last operation - due."""
    for task, late in v.late:
        if task.root.operations:
            start = v.starts[task.root.job.name][-1]
            model.add(late >= start + task.root.operations[-1].duration - task.due)

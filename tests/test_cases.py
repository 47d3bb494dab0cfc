"""The worked cases are typed in as published: each is solved here by other means than a plan."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from itertools import pairwise

import networkx
import numpy
import pytest
from cases import CASES, LOW_LEVEL_CODES, SHOPS, TOTALS, TRANSPORTS, Case
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.tables import Dataset
from ortools.sat.python import cp_model

from fulfil.exchange.loading import load_rows

SOLVED = [pytest.param(case, id=case.folder) for case in (*SHOPS, *TRANSPORTS)]


def load(folder: str) -> Dataset:
    dataset, findings = load_rows(CASES / folder, date(2026, 3, 2))
    assert [finding.text() for finding in findings] == []
    assert dataset is not None
    return dataset


def test_every_folder_is_in_the_tables() -> None:
    named = {case.folder for case in (*SHOPS, *TRANSPORTS)} | set(TOTALS)
    assert {path.name for path in CASES.iterdir() if path.is_dir()} == named


@pytest.mark.parametrize("case", SOLVED)
def test_the_page_of_a_case_states_its_figure_and_memory(case: Case) -> None:
    page = (case.path / "README.md").read_text(encoding="utf-8")
    figure = f"{float(case.expected):g}" if case.expected.denominator > 1 else f"{case.expected}"
    assert f"**{figure}**" in page
    assert ("from memory" in page) == ("from memory" in case.source)


@pytest.mark.parametrize("case", [pytest.param(case, id=case.folder) for case in SHOPS])
def test_job_shops_have_their_published_makespan(case: Case) -> None:
    dataset = load(case.folder)
    jobs = [line.component for line in dataset.bills]
    assert {line.parent for line in dataset.bills} == {"SHOP"}
    horizon = sum(step.minutes_milli for step in dataset.routings) // MILLI
    model = cp_model.CpModel()
    makespan = model.new_int_var(0, horizon, "makespan")
    on_machine: dict[str, list[cp_model.IntervalVar]] = {}
    for job in jobs:
        steps = sorted((s for s in dataset.routings if s.part == job), key=lambda s: s.operation)
        starts = []
        for step in steps:
            name = f"{job}/{step.operation}"
            minutes = step.minutes_milli // MILLI
            start = model.new_int_var(0, horizon, f"start {name}")
            interval = model.new_fixed_size_interval_var(start, minutes, name)
            on_machine.setdefault(step.work_centre, []).append(interval)
            starts.append((start, minutes))
        for (before, minutes), (after, _) in pairwise(starts):
            model.add(after >= before + minutes)
        model.add(makespan >= starts[-1][0] + starts[-1][1])
    for intervals in on_machine.values():
        model.add_no_overlap(intervals)
    model.minimize(makespan)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = 60
    assert solver.solve(model) == cp_model.OPTIMAL
    assert solver.value(makespan) == case.expected
    (last,) = [step for step in dataset.routings if step.part == "SHOP"]
    assert (last.minutes_milli, last.work_centre) == (MILLI, "LAST")


@pytest.mark.parametrize("case", [pytest.param(case, id=case.folder) for case in TRANSPORTS])
def test_transportation_problems_have_their_published_optimum(case: Case) -> None:
    """As a flow of least cost; costs are whole thousandths of the unit cost, so nothing rounds."""
    dataset = load(case.folder)
    supply = {row.point: row.quantity_milli // MILLI for row in dataset.stock}
    wanted = {row.destination: row.quantity_milli // MILLI for row in dataset.parts_orders}
    assert [part.weight_g for part in dataset.parts] == [1000]
    assert len(dataset.deliveries) == len(supply) * len(wanted)
    graph = networkx.DiGraph()
    graph.add_node("all", demand=-sum(wanted.values()))
    for point, units in supply.items():
        graph.add_edge("all", point, capacity=units, weight=0)
    for destination, units in wanted.items():
        graph.add_node(destination, demand=units)
    for row in dataset.deliveries:
        graph.add_edge(row.point, row.destination, weight=row.cost_per_kg_micro * 1000 // MICRO)
    cost, _ = networkx.network_simplex(graph)
    assert Fraction(cost, 1000) == case.expected


@pytest.mark.parametrize("folder", TOTALS)
def test_total_requirements_solve_the_equations(folder: str) -> None:
    """Totals x = demand + what parents take: (I - A) x = d, one TOP demanded."""
    dataset = load(folder)
    parts = [part.part for part in dataset.parts]
    matrix = numpy.eye(len(parts))
    for line in dataset.bills:
        matrix[parts.index(line.component), parts.index(line.parent)] -= line.quantity_milli / MILLI
    demand = numpy.zeros(len(parts))
    demand[parts.index("TOP")] = 1
    totals = dict(zip(parts, numpy.linalg.solve(matrix, demand), strict=True))
    del totals["TOP"]
    assert totals == pytest.approx(TOTALS[folder])


def test_low_level_codes_are_the_longest_ways_from_the_top() -> None:
    graph = networkx.DiGraph(
        (line.parent, line.component) for line in load("low-level-codes").bills
    )
    graph.remove_node("TOP")
    codes = {
        part: max(len(path) - 1 for path in networkx.all_simple_paths(graph, "A", part))
        for part in graph
        if part != "A"
    }
    assert {"A": 0, **codes} == LOW_LEVEL_CODES

"""The planner on the published cases: it finds the best figure and proves it."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest
from cases import SHOPS, TRANSPORTS, Case
from fulfil_models.audit import audit
from fulfil_models.plan import Plan
from fulfil_models.planning import Effort, Workbench, finished, search_plan
from fulfil_models.problem import Problem
from fulfil_models.settings import parse_settings

from fulfil.exchange.loading import load_rows

LATE_DAY_COST = 1440
"""of the job shops: one a minute, the day having 1440"""


def planned(case: Case) -> Plan:
    today = date(2026, 3, 2)
    dataset, findings = load_rows(case.path, today)
    assert dataset is not None, [finding.text() for finding in findings]
    settings = parse_settings(dataset.settings, today)
    bench = Workbench(Problem(dataset, settings))
    plan = finished(bench, search_plan(bench, Effort(seconds=6)))
    assert audit(dataset, settings, plan) == ()
    return plan


@pytest.mark.parametrize("case", [pytest.param(case, id=case.folder) for case in SHOPS])
def test_job_shops_reach_the_published_makespan(case: Case) -> None:
    """The last operation of one minute ends at makespan + 1, all of it late at weight 1."""
    plan = planned(case)
    (build,) = plan.builds
    assert build.late_minutes == case.expected + 1
    assert plan.weighted_late_minutes == case.expected + 1
    assert plan.objective.total == plan.objective.lateness == case.expected + 1
    assert plan.gap == 0


@pytest.mark.parametrize("case", [pytest.param(case, id=case.folder) for case in TRANSPORTS])
def test_transportation_problems_reach_the_published_optimum(case: Case) -> None:
    plan = planned(case)
    assert plan.objective.deliveries == case.expected
    assert plan.objective.total == case.expected
    assert plan.weighted_late_minutes == Fraction(0)
    assert plan.gap == 0

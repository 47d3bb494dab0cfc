"""What the page of `chase` says of lines that are late at no harm."""

from __future__ import annotations

from datetime import date

import pytest
from fulfil_models.chasing import chases
from fulfil_models.planning import Effort, Workbench, finished, search_plan
from fulfil_models.tables import Build
from tiny_shop import AS_OF, build, march, problem_of, purchase, shop

from fulfil.render.chasing import chase_page
from fulfil.usecases.basis import Basis
from fulfil.usecases.chasing import ChaseAnswer


@pytest.mark.parametrize(
    "row",
    [
        build("B1", march(9), weight_ppm=0),  # a week late then, which weighs nothing
        build("B1", date(2026, 3, 31)),  # built later then, and still in time
    ],
)
def test_what_is_later_at_no_harm_is_not_said_to_be_no_later(row: Build) -> None:
    data = shop(builds=(row,), purchases=(purchase("P1", march(9)),))
    problem = problem_of(data)
    bench = Workbench(problem)
    lines = chases(problem, finished(bench, search_plan(bench, Effort(seconds=0.1))))
    hurting = sum(1 for line in lines if line.hurts)
    answer = ChaseAnswer(Basis(1, AS_OF, False), "USD", 1, 0, 0, hurting, False, lines, {})
    told = " ".join(line.strip() for line in chase_page(answer, every=True).lines(100))
    assert "0 would add weighted late days if they came a week later" in told
    assert "a week later, these add no weighted late days (+: no further looked at):" in told

"""The demo with a fortnight frozen and the assembling plant's shelves empty: what is let go?"""

from __future__ import annotations

import dataclasses
import time
from collections import Counter
from datetime import datetime
from pathlib import Path

import pytest
from fulfil_models.book import Book
from fulfil_models.compiled import Compiled
from fulfil_models.freeze import is_frozen, thaw
from fulfil_models.planning import Workbench, first_plan
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.stranded import left_out, stranded
from fulfil_models.tables import Dataset

from fulfil.store import open_store
from fulfil.usecases.basis import settings_of

Frozen = set[tuple[str, int]]
PLANT = "TWIN-FALLS"


@pytest.fixture(scope="module")
def problem(demo_db: Path) -> Problem:
    """The demo, its plan frozen, without what lies on the plant's shelves."""
    with open_store(str(demo_db)) as store:
        data, plan = store.dataset(), store.plan().plan
    settings = dataclasses.replace(settings_of(data, plan.as_of), freeze_days=14)
    assert Counter(row.point for row in plan.builds).most_common(1)[0][0] == PLANT
    empty = dataclasses.replace(data, stock=tuple(r for r in data.stock if r.point != PLANT))
    starts = {(row.job, row.operation): row.start for row in plan.operations}
    return problem_of(empty, settings, starts)


def problem_of(
    data: Dataset, settings: Settings, starts: dict[tuple[str, int], datetime]
) -> Problem:
    out = left_out(data, settings)
    return Problem(data, settings, out.builds, out.lines, starts, stranded(data, settings))


def frozen(book: Book) -> Frozen:
    return {
        (job.name, operation.number)
        for task in book.tasks
        for job in task.jobs()
        for operation in job.operations
        if is_frozen(operation)
    }


def test_what_cannot_stay_is_found_in_no_time(
    problem: Problem, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[Compiled] = []
    before: list[Frozen] = []

    def counted(self: Compiled, *arguments: object) -> None:
        made.append(self)
        init(self, *arguments)

    def watched(book: Book) -> Compiled:
        before.append(frozen(book))
        began = time.process_time()
        compiled = thaw(book)
        spent.append(time.process_time() - began)
        return compiled

    init, spent = Compiled.__init__, list[float]()
    monkeypatch.setattr(Compiled, "__init__", counted)
    monkeypatch.setattr("fulfil_models.planning.thaw", watched)
    kept = frozen(Workbench(problem).book)
    assert len(before[0]) > 80
    assert 0 < len(kept) < len(before[0]) / 2
    assert kept < before[0]
    # once with all that was frozen, once with what is left of it; not once for each let go
    assert len(made) == 2
    assert spent[0] < 5


def test_every_build_can_still_be_planned(problem: Problem) -> None:
    sketch = first_plan(Workbench(problem)).sketch
    assert sketch is not None
    assert [place for place, build in enumerate(sketch.builds) if build is None] == []

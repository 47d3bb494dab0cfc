"""The queue re-ordered: the plan with something new as early as can be, every promise kept."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fulfil.errors import RejectedPlan
from fulfil.usecases.current import Current, taken_by_holds
from fulfil.usecases.quote_documents import with_request

if TYPE_CHECKING:
    from fulfil_models.plan import Plan
    from fulfil_models.resequence import Resequenced
    from fulfil_models.room import Request

    from fulfil.store.session import Store

RESEQUENCING_SHARE = 0.6
"""share of the seconds that re-ordering may search; the rest reads, takes up, explains, checks"""


def reordered_plan(
    store: Store, now: Current, request: Request, piece: Plan, seconds: float
) -> Resequenced:
    """The plan with something new as early as it can be while every promise is kept.

    `piece` is what is new beside the plan, where nobody moves. See `resequence.Resequenced`.
    """
    from fulfil_models.audit import audit
    from fulfil_models.planning import Effort, Workbench
    from fulfil_models.resequence import resequenced
    from fulfil_models.taken import joined

    from fulfil.usecases.planning import frozen_plan, problem_beside

    dataset = with_request(now.believed, request)
    previous = frozen_plan(store, now.settings)
    taken = taken_by_holds(now.holds, now.believed, plan=0)
    problem, _ = problem_beside(dataset, now.settings, previous, taken)
    made = resequenced(
        Workbench(problem),
        joined(now.plan, piece),
        frozenset(row.build for row in request.builds),
        Effort(seconds=seconds * RESEQUENCING_SHARE),
        frozenset((row.order, row.line) for row in request.lines),
    )
    violations = audit(dataset, now.settings, made.plan, previous)
    if violations:
        first = violations[0]
        raise RejectedPlan(
            f"the re-ordered plan broke a rule ({first.rule}: {first.subject}: {first.wrong})",
            "this is an error of the program: report it; the date without re-ordering holds",
        )
    return made

"""What does a new plan owe to the one that is worked by?

Where its search begins, which promises it keeps whatever that costs, and which it breaks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fulfil_models.compare import is_late

from fulfil.usecases.basis import standing_header

if TYPE_CHECKING:
    from fulfil_models.plan import PlannedBuild
    from fulfil_models.planning import Workbench
    from fulfil_models.sketch import Sketch

    from fulfil.store.session import Store

MOST_NAMED = 6
"""builds that a note names"""


@dataclass(frozen=True, slots=True)
class Beginning:
    """What a search begins with.

    Attributes
    ----------
    sketch: how the plan that is worked by goes on; None where there is none, or its starts lie
        between the cells of the book.
    builds, lines: whose promise is kept before all cost.
    notes: what is to be said of it.
    """

    sketch: Sketch | None = None
    builds: frozenset[str] = frozenset()
    lines: frozenset[tuple[str, str]] = frozenset()
    notes: tuple[str, ...] = ()


def beginning(store: Store, bench: Workbench, keep: bool | None) -> Beginning:
    """What a new plan begins with. Where no plan is accepted that is nothing, so that the same data
    give the same plan.

    Parameters
    ----------
    keep: whether to keep what the plan keeps still; None: only if it keeps all that it kept.
        Where it cannot, somebody is to be late, and keeping all others to the day may make him
        very late.
    """
    from fulfil_models.repair import stands

    accepted, standing = store.accepted_header(), worked_by(store)
    if accepted is None or standing is None:
        return Beginning()
    there = stands(bench, store.plan(standing).plan)
    # that it was re-timed when somebody asked for a date must make no difference
    kept = _kept(store, accepted.number) | _kept(store, standing)
    late = sorted(
        row.build
        for row in bench.problem.builds
        if (row.build, row.promised) in kept and row.build not in there.builds
    )
    if keep or (keep is None and not late):
        note = f"promises that plan {standing} keeps come before all cost"
        return Beginning(there.sketch, there.builds, there.lines, (note,))
    if keep is None:
        note = (
            f"with the data as they are plan {standing} cannot go on and keep its promise of "
            f"{_named(late)}: all promises are weighed by what lateness costs; --keep keeps those "
            "that it keeps still"
        )
        return Beginning(there.sketch, notes=(note,))
    return Beginning(there.sketch)


def broken_notes(store: Store, number: int) -> tuple[str, ...]:
    """That a plan does not keep promises which the plan that is worked by keeps: whoever accepts it
    has to know."""
    standing = worked_by(store)
    late = [] if standing is None else broken(store, standing, number)
    if not late:
        return ()
    names = [f"{row.build} ({row.late_days})" for row in late]
    return (
        f"late in this plan, by so many days, and in time in plan {standing}, which is worked by: "
        f"{_named(names)}; see `fulfil compare {standing} {number}` before you accept it",
    )


def worked_by(store: Store) -> int | None:
    """The accepted plan, or what it was gone on with since; None where none is accepted."""
    standing = standing_header(store)
    return None if standing is None or store.accepted_header() is None else standing.number


def broken(store: Store, standing: int, number: int) -> list[PlannedBuild]:
    """Builds that are late in a plan and for the same promise in time in the one that is worked by;
    the latest first."""
    kept = _kept(store, standing)
    late = [
        row
        for row in store.planned_builds(number)
        if is_late(row) and (row.build, row.promised) in kept
    ]
    return sorted(late, key=lambda row: (-row.late_days, row.build))


def _kept(store: Store, number: int) -> set[tuple[str, object]]:
    """Builds that are in time in a plan, with their promise."""
    return {
        (row.build, row.promised)
        for row in store.planned_builds(number)
        if row.promised is not None and not is_late(row)
    }


def _named(names: list[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return ", ".join(names[:MOST_NAMED]) + more

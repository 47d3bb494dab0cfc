"""Which draws does each build or parts order wait for, and how much of its lateness is theirs?

`blockers` works out, while a plan is made, what each build waits for; here what a stored plan says
of that is turned round, part by part.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from fulfil_models.plan import BlockerKind, PlannedBuild, SupplyKind
from fulfil_models.plan_index import PlanIndex, Use


@dataclass(frozen=True, slots=True)
class Hold:
    """How long a part holds a build or a parts order up.

    Attributes
    ----------
    days: calendar days gained without it, after what stands before it in the list of blockers,
        and together with what follows there if that holds it as long; None where the plan names
        the part as the reason of a start without a figure.
    late_days: calendar days that the build or the line is late.
    blamed_days: those of them that fall to the part.
    """

    days: int | None
    late_days: int
    blamed_days: int


def held_up(index: PlanIndex) -> dict[str, dict[Use, Hold]]:
    """By part: the draw each build or order line waits for, and what it costs.

    Made parts are left to their own components, unless the plan names them.
    """
    uses: defaultdict[str, list[Use]] = defaultdict(list)
    for use in index.uses:
        uses[use.who].append(use)
    found: defaultdict[str, dict[Use, Hold]] = defaultdict(dict)
    for build in index.plan.builds:
        for part, hold in _named(build, uses[build.build], index).items():
            last = max(
                (use for use in uses[build.build] if part in (use.part, use.called)),
                key=lambda use: (use.usable or use.at, use.at),
                default=None,
            )
            if last is not None:
                found[last.part].setdefault(last, hold)
    late: dict[tuple[str, str], int] = {}
    for row in index.plan.shipments:
        key = (row.order, row.line)
        late[key] = max(late.get(key, 0), row.late_days)
    in_time = {
        (row.order, row.line, row.supply) for row in index.plan.shipments if not row.late_days
    }
    for use in reversed(index.uses):  # of a line in several parcels the last one stands for it
        line = (use.order or "", use.line or "")
        days = late.get(line, 0)
        if days > 0 and (*line, use.supply) not in in_time:
            part_uses = found[use.part]
            if not any(other.who == use.who for other in part_uses):
                part_uses[use] = Hold(days, days, days)
    return {part: rows for part, rows in sorted(found.items()) if rows}


def _named(build: PlannedBuild, uses: Iterable[Use], index: PlanIndex) -> dict[str, Hold]:
    """Parts a build waits for, and what each costs.

    They are those that the plan names as blockers, or as the reason of a start. For a build of
    which the plan explains nothing, they are those that become usable at the very moment at which
    an operation starts.
    """
    holds = _holds(build)
    alone = {row.what for row in build.blockers if row.days > 0}
    found = {part: hold for part, hold in holds.items() if part in alone or hold.blamed_days}
    unknown = Hold(None, build.late_days, 0)
    for reason in build.reasons:
        if reason.kind is BlockerKind.PART:
            found.setdefault(reason.what, holds.get(reason.what, unknown))
    if build.blockers or build.reasons:
        return found
    for use in uses:
        kind = index.supplies[use.supply].kind
        if kind not in (SupplyKind.STOCK, SupplyKind.JOB) and use.usable == use.at:
            found.setdefault(use.part, unknown)
    return found


def _holds(build: PlannedBuild) -> dict[str, Hold]:
    """What each part it waits for costs a build.

    The list of blockers is gone through from the top: each takes the days it gives back while any
    lateness is left. A part that gives nothing back alone shares the days of what follows it,
    which would hold the build as long: when the part was met, nothing after it was waited for, so
    neither can be gained without it.
    """
    left = build.late_days
    holds: dict[str, Hold] = {}
    together: list[str] = []
    for row in build.blockers:
        taken = min(row.days, left)
        left -= taken
        if row.kind is BlockerKind.PART:
            together.append(row.what)
        for part in together:
            holds[part] = Hold(row.days, build.late_days, taken)
        if row.days > 0:
            together = []
    return holds

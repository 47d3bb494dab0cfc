"""Which open purchase lines are to be chased first: whose slipping does the most harm?

Harm is re-computed: everybody who draws on a line is timed again with the line a week later, all
others staying where they are (`slipping`). Who draws on nothing of it, has time, or weighs nothing
is not hurt. Harm is weighted late days more than in the plan.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction

from fulfil_models.leadtimes import Share
from fulfil_models.open_purchases import OpenPurchase, open_purchases
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.plan_index import PlanIndex
from fulfil_models.problem import Problem
from fulfil_models.slipping import Hit, Slipping, cost_of, weighted
from fulfil_models.tables import Purchase

WEEK = 7
MOST_DAYS = 28
"""calendar days of slipping that are tried when it is asked how much later a line may come"""

Expected = Callable[[OpenPurchase, Share], date | None]
"""the day on which a line is there with so many chances in a hundred: the line, and the share, `50`
or `90`; None where nothing is known"""


def nothing_known(line: OpenPurchase, share: Share) -> date | None:
    """For data without a record."""
    return None


@dataclass(frozen=True, slots=True)
class Chase:
    """One open purchase line and what its slipping does.

    Attributes
    ----------
    line: as the plan counts on it.
    expected_50, expected_90: the day on which it is there with so many chances in a hundred, going
        by the record, never sooner than as stated (`expected_days`).
    hits: who ships later if it comes a week after the day the plan counts on.
    late_days: their weighted late days more than in the plan, nobody else being moved for them.
    free_late_days: the same if a station were free for whoever loses his slot: what is over is
        the queue, which a new plan may shorten at the cost of others.
    cost: of `late_days`, in the currency.
    record_late_days: the same if it comes on `expected_90`; None where that is not known.
    harmless_days: the most days after that day that it may come at no harm to anybody, looked at
        up to `MOST_DAYS` or its slack; None where the plan draws nothing on it.
    """

    line: OpenPurchase
    expected_50: date | None
    expected_90: date | None
    hits: tuple[Hit, ...]
    late_days: Fraction
    free_late_days: Fraction
    cost: Fraction
    record_late_days: Fraction | None
    harmless_days: int | None

    @property
    def hurts(self) -> bool:
        """Whether it adds weighted late days if it comes a week later."""
        return self.late_days > 0

    @property
    def harmless_until(self) -> date | None:
        """The last day on which it may come at no harm; None where nothing is drawn on it."""
        if self.harmless_days is None:
            return None
        return self.line.counted_on + timedelta(self.harmless_days)


def chases(
    problem: Problem,
    plan: Plan,
    expected: Expected = nothing_known,
    stated: Iterable[Purchase] | None = None,
) -> tuple[Chase, ...]:
    """Every open purchase line: those past due that hurt first, then by the harm of a week, then
    by the harm of the day that the record says, then those that may slip least.

    `problem` has the due dates that the plan counts on, `stated` those that are stated where they
    are others.
    """
    index = PlanIndex(plan)
    rows = open_purchases(problem.dataset, problem.settings, plan, index, stated)
    trial = _Trial(problem, plan, index)
    found = [_chase(trial, row, expected) for row in rows]
    return tuple(sorted(found, key=_order))


def _order(row: Chase) -> tuple[bool, Fraction, Fraction, int, date, str, str]:
    line = row.line
    never = MOST_DAYS**2
    return (
        not (row.hurts and line.past_due_days),
        -row.late_days,
        -(row.record_late_days or Fraction(0)),
        never if row.harmless_days is None else row.harmless_days,
        line.counted_on,
        line.order,
        line.line,
    )


class _Trial:
    """Lines of a plan that come later, one at a time."""

    def __init__(self, problem: Problem, plan: Plan, index: PlanIndex) -> None:
        self.problem = problem
        self.slipping = Slipping(problem, plan, index)
        self._of_line: defaultdict[tuple[str | None, str | None], list[str]] = defaultdict(list)
        for supply in plan.supplies:
            if supply.kind is SupplyKind.PURCHASE:
                self._of_line[supply.order, supply.line].append(supply.supply)

    def hits(self, line: OpenPurchase, arrives: date, *, free: bool = False) -> tuple[Hit, ...]:
        """Who is later if a line comes on a day, with the stations `free` or not."""
        later: dict[str, datetime] = {}
        for supply in self._of_line[line.order, line.line]:
            later |= self.slipping.later(supply, arrives)
        return self.slipping.hits(later, free=free) if later else ()

    def harmless_days(self, line: OpenPurchase) -> int | None:
        """How many days after it is counted on it may come at no harm to anybody."""
        if line.slack_days is None or line.usable_on is None:
            return None
        low = max(0, (line.usable_on - line.counted_on).days + line.slack_days)
        high = MOST_DAYS + 1
        while high - low > 1:  # whoever is late for a day is late for every later one
            middle = (low + high) // 2
            if weighted(self.hits(line, line.counted_on + timedelta(middle))):
                high = middle
            else:
                low = middle
        return low


def _chase(trial: _Trial, row: OpenPurchase, expected: Expected) -> Chase:
    week_later = row.counted_on + timedelta(WEEK)
    hits = trial.hits(row, week_later)
    late_days = weighted(hits)
    at_90 = expected(row, "90")
    at_record = None if at_90 is None else weighted(trial.hits(row, at_90))
    return Chase(
        line=row,
        expected_50=expected(row, "50"),
        expected_90=at_90,
        hits=hits,
        late_days=late_days,
        free_late_days=weighted(trial.hits(row, week_later, free=True)),
        cost=cost_of(late_days, trial.problem),
        record_late_days=at_record,
        harmless_days=trial.harmless_days(row),
    )

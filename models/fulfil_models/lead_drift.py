"""Did deliveries become slower or faster than they were, by more than chance?"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from fulfil_models.lead_curve import whole_days
from fulfil_models.lead_record import Observed
from fulfil_models.survival import FROM_ITS_BEGINNING, Times, kaplan_meier, log_rank, times

DRIFT_MONTHS = 6
ENOUGH_FOR_DRIFT = 3
"""deliveries on either side of the turn"""
BY_CHANCE = 0.05
"""a difference is more than chance if chance alone makes such a one more rarely than that"""

Measured = Sequence[tuple[Observed, int]]
"""what was observed, and the days of it that count as one"""


@dataclass(frozen=True, slots=True)
class Drift:
    """Did a supplier become slower or faster?

    Attributes
    ----------
    since: the turn. How long things take from that day on is held against how long they took
        before, by a log-rank test. A line under way at the turn tells of both: that it had not come
        before, and when it came after.
    recent_records, earlier_records: deliveries from the turn on, and before it.
    recent_days, earlier_days: medians; None where the curve does not come down to it.
    p_value: how often chance alone makes such a difference.
    """

    since: date
    recent_records: int
    earlier_records: int
    recent_days: int | None
    earlier_days: int | None
    p_value: float
    more_than_chance: bool


@dataclass(frozen=True, slots=True)
class Turn:
    """Times on either side of a day; medians in the unit of the times."""

    since: date
    recent: Times
    earlier: Times

    def drift(self, unit_days: int | Fraction) -> Drift | None:
        """None where there are few deliveries on either side, or nothing can be compared."""
        if min(self.recent.completed_count, self.earlier.completed_count) < ENOUGH_FOR_DRIFT:
            return None
        compared = log_rank(self.recent, self.earlier)
        if compared is None:
            return None
        return Drift(
            since=self.since,
            recent_records=self.recent.completed_count,
            earlier_records=self.earlier.completed_count,
            recent_days=_median(self.recent, unit_days),
            earlier_days=_median(self.earlier, unit_days),
            p_value=compared.p_value,
            more_than_chance=compared.p_value < BY_CHANCE,
        )


def _median(found: Times, unit_days: int | Fraction) -> int | None:
    time = kaplan_meier(found).quantile(0.5)
    return None if time is None else whole_days(time, unit_days)


def turn_of(measured: Measured, as_of: date) -> Turn:
    """What is observed cut in two at the turn.

    Before it a line counts as open at the age it then had; after it only from that age on. So long
    lead times are compared although hardly anything ordered since has come yet, and what is open
    is counted on both sides.
    """
    since = months_before(as_of, DRIFT_MONTHS)
    before: list[tuple[float, bool]] = []
    after: list[tuple[float, bool, float]] = []
    for row, unit in measured:
        age_days = (since - row.ordered).days - 1  # at the end of the day before the turn
        if age_days < 0:
            after.append((row.days / unit, row.completed, FROM_ITS_BEGINNING))
        elif row.days <= age_days:
            before.append((row.days / unit, row.completed))
        else:
            before.append((age_days / unit, False))
            after.append((row.days / unit, row.completed, age_days / unit))
    return Turn(
        since,
        times([row[0] for row in after], [row[1] for row in after], [row[2] for row in after]),
        times([row[0] for row in before], [row[1] for row in before]),
    )


def months_before(day: date, months: int) -> date:
    """The same day so many months earlier, or the last of that month where it is shorter."""
    year, month = divmod(day.year * 12 + day.month - 1 - months, 12)
    last = monthrange(year, month + 1)[1]
    return date(year, month + 1, min(day.day, last))

"""How long does a thing take, if some of what is known of it is still going on?

A time is completed, or right-censored: it has gone on so long, and not come to its end. A time may
also be known only from an age on (`entered`): what ended before that age was not looked at.

The estimate of Kaplan and Meier of the curve S(t), the share that takes longer than t, takes no law
for granted and ends at the longest time; laws are in `survival_laws`. Times are in any unit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FROM_ITS_BEGINNING = -1.0
CLOSE = 1e-12
"""shares nearer to each other than that are the same"""


@dataclass(frozen=True)
class Times:
    """Times of one kind of thing.

    Attributes
    ----------
    lasted: how long each took, or has gone on so far; 0 or more.
    completed: whether it came to its end.
    entered: age after which it was looked at; below 0 for from its beginning.
    """

    lasted: Floats
    completed: NDArray[np.bool_]
    entered: Floats

    def __len__(self) -> int:
        return len(self.lasted)

    @cached_property
    def completed_count(self) -> int:
        return int(np.count_nonzero(self.completed))

    @cached_property
    def longest(self) -> float:
        return float(self.lasted.max(initial=0.0))


def times(
    lasted: Sequence[float], completed: Sequence[bool], entered: Sequence[float] | None = None
) -> Times:
    """Times from plain numbers, one of each for a thing; what ends as it enters is left out.

    Raises ValueError for sequences of unlike length and for times below 0.
    """
    made = Times(
        np.asarray(lasted, dtype=np.float64),
        np.asarray(completed, dtype=np.bool_),
        np.full(len(lasted), FROM_ITS_BEGINNING)
        if entered is None
        else np.asarray(entered, dtype=np.float64),
    )
    if not len(made.lasted) == len(made.completed) == len(made.entered):
        raise ValueError("times, ends and entries are not as many")
    if len(made) and made.lasted.min() < 0:
        raise ValueError("a time is below 0")
    kept = made.lasted > made.entered
    return Times(made.lasted[kept], made.completed[kept], made.entered[kept])


# ---- without a law


@dataclass(frozen=True)
class KaplanMeier:
    """The curve S(t): 1 until the first end, then one step down at each.

    Attributes
    ----------
    steps: times at which something ended, ascending.
    survival: S from each step on.
    errors: Greenwood's standard error of S from each step on.
    longest: the longest time there is, completed or not; nothing is known beyond it.
    """

    steps: Floats
    survival: Floats
    errors: Floats
    longest: float

    def at(self, time: float) -> float:
        """S(t): the share that takes longer than `time`."""
        before = int(np.searchsorted(self.steps, time, side="right"))
        return 1.0 if before == 0 else float(self.survival[before - 1])

    def quantile(self, share: float, after: float = -math.inf) -> float | None:
        """First time by which at least `share` has ended; None where the curve never gets there.

        Parameters
        ----------
        after: of those alone that have not ended by then.
        """
        left = self.at(after)
        if left <= CLOSE:
            return None
        reached = np.flatnonzero(self.survival <= (1 - share) * left + CLOSE)
        return float(self.steps[reached[0]]) if len(reached) else None


def kaplan_meier(found: Times) -> KaplanMeier:
    """The estimate of Kaplan and Meier; at equal times ends come before what is still going on."""
    steps, ended = np.unique(found.lasted[found.completed], return_counts=True)
    risked = _at_risk(found, steps)
    survival: Floats = np.cumprod(1 - ended / risked, dtype=np.float64)
    left = risked - ended
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(left > 0, ended / (risked * left), 0.0)
    errors: Floats = survival * np.sqrt(np.cumsum(terms))
    return KaplanMeier(steps, survival, errors, found.longest)


def _at_risk(found: Times, steps: Floats) -> Floats:
    """How many are under way just before each step."""
    not_ended = len(found) - np.searchsorted(np.sort(found.lasted), steps, side="left")
    not_entered = len(found) - np.searchsorted(np.sort(found.entered), steps, side="left")
    at_risk: Floats = (not_ended - not_entered).astype(np.float64)
    return at_risk


@dataclass(frozen=True, slots=True)
class LogRank:
    """Do two kinds take equally long? `p_value`: how often chance alone differs that much."""

    chi_squared: float
    p_value: float


def log_rank(one: Times, other: Times) -> LogRank | None:
    """The log-rank test with one degree of freedom; None where nothing can differ."""
    steps = np.unique(np.concatenate([one.lasted[one.completed], other.lasted[other.completed]]))
    ended_one, ended_other = _ended(one, steps), _ended(other, steps)
    risked_one, risked_other = _at_risk(one, steps), _at_risk(other, steps)
    ended, risked = ended_one + ended_other, risked_one + risked_other
    expected = float(np.sum(ended * risked_one / risked))
    several = np.maximum(risked - 1, 1)
    spread = ended * risked_one * risked_other * (risked - ended) / (risked**2 * several)
    variance = float(np.sum(spread))
    if variance <= CLOSE:
        return None
    chi_squared = (float(ended_one.sum()) - expected) ** 2 / variance
    return LogRank(chi_squared, math.erfc(math.sqrt(chi_squared / 2)))


def _ended(found: Times, steps: Floats) -> Floats:
    ends = np.sort(found.lasted[found.completed])
    upto = np.searchsorted(ends, steps, side="right")
    ended: Floats = (upto - np.searchsorted(ends, steps, side="left")).astype(np.float64)
    return ended

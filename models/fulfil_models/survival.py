"""How long does a thing take, if some of what is known of it is still going on?

A time is completed, or right-censored: it has gone on so long, and not come to its end. A time may
also be known only from an age on (`entered`): what ended before that age was not looked at.

The estimate of Kaplan and Meier of the curve S(t), the share that takes longer than t, takes no law
for granted and ends at the longest time; laws are in `survival_laws`. Times are in any unit.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate
from operator import mul, neg

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
    if entered is None:
        return made
    kept = made.lasted > made.entered
    return Times(made.lasted[kept], made.completed[kept], made.entered[kept])


# ---- without a law


@dataclass(frozen=True)
class KaplanMeier:
    """The curve S(t): 1 until the first end, then one step down at each.

    In plain numbers: most records are of a few times, which arrays would only make slower.

    Attributes
    ----------
    steps: times at which something ended, ascending.
    ended: how many ended at each step.
    at_risk: how many were under way just before it.
    survival: S from each step on.
    longest: the longest time there is, completed or not; nothing is known beyond it.
    """

    steps: tuple[float, ...]
    ended: tuple[int, ...]
    at_risk: tuple[int, ...]
    survival: tuple[float, ...]
    longest: float

    @cached_property
    def errors(self) -> tuple[float, ...]:
        """Greenwood's standard error of S from each step on."""
        terms = (
            ended / (risked * (risked - ended)) if risked > ended else 0.0
            for ended, risked in zip(self.ended, self.at_risk, strict=True)
        )
        return tuple(
            share * math.sqrt(total)
            for share, total in zip(self.survival, accumulate(terms), strict=True)
        )

    def at(self, time: float) -> float:
        """S(t): the share that takes longer than `time`."""
        before = bisect_right(self.steps, time)
        return 1.0 if before == 0 else self.survival[before - 1]

    def quantile(self, share: float, after: float = -math.inf) -> float | None:
        """First time by which at least `share` has ended; None where the curve never gets there.

        Parameters
        ----------
        after: of those alone that have not ended by then.
        """
        left = self.at(after)
        if left <= CLOSE:
            return None
        most = (1 - share) * left + CLOSE
        reached = bisect_left(self.survival, -most, key=neg)  # it goes down
        return self.steps[reached] if reached < len(self.steps) else None


def kaplan_meier(found: Times) -> KaplanMeier:
    """The estimate of Kaplan and Meier; at equal times ends come before what is still going on."""
    ends = sorted(Counter(found.lasted[found.completed].tolist()).items())
    lasted, entered = sorted(found.lasted.tolist()), sorted(found.entered.tolist())
    # of as many as ever entered, those under way just before a step
    at_risk = [bisect_left(entered, step) - bisect_left(lasted, step) for step, _ in ends]
    shares = (1 - ended / risked for (_, ended), risked in zip(ends, at_risk, strict=True))
    return KaplanMeier(
        steps=tuple(step for step, _ in ends),
        ended=tuple(ended for _, ended in ends),
        at_risk=tuple(at_risk),
        survival=tuple(accumulate(shares, mul)),
        longest=found.longest,
    )


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

"""How much of something is asked for on average that is asked for only now and then?

Sizes of demands and the intervals between them are smoothed apart, each time there is a demand
(Croston 1972). Their quotient comes out too high on average; Syntetos and Boylan (2005) take it
times 1 - alpha / 2. All figures are exact fractions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Intermittent:
    """Demand that comes now and then.

    Attributes
    ----------
    size: smoothed size of a demand, in the unit of the series; 0 where there never was one.
    interval: smoothed periods from one demand to the next, 1 or more; None where there was none.
    rate: what is expected of a period.
    """

    size: Fraction
    interval: Fraction | None
    rate: Fraction


NEVER = Intermittent(Fraction(0), None, Fraction(0))


def croston(series: Sequence[int | Fraction], alpha: Fraction) -> Intermittent:
    """Croston's estimate after the last period of a series.

    Parameters
    ----------
    series: demand of each period, 0 or more, the earliest first.
    alpha: share of the newest size and interval in the smoothed ones, above 0 and at most 1.

    The first demand is the first size, and its period, counted from 1, the first interval. Periods
    without demand change nothing until there is one again.

    Raises ValueError for an alpha or a demand that cannot be.
    """
    if not 0 < alpha <= 1:
        raise ValueError(f"alpha {alpha} is not above 0 and at most 1: smooth with a share like it")
    if any(demand < 0 for demand in series):
        raise ValueError("a demand of the series is below 0: give what was asked for, 0 or more")
    size = interval = Fraction(0)
    last = 0
    for period, demand in enumerate(series, 1):
        if demand > 0:
            if last:
                size += alpha * (demand - size)
                interval += alpha * (period - last - interval)
            else:
                size, interval = Fraction(demand), Fraction(period)
            last = period
    return Intermittent(size, interval, size / interval) if last else NEVER


def sba(series: Sequence[int | Fraction], alpha: Fraction) -> Intermittent:
    """The same with the rate times 1 - alpha / 2. Parameters and errors as of `croston`."""
    found = croston(series, alpha)
    return Intermittent(found.size, found.interval, found.rate * (1 - alpha / 2))

"""Which law do times follow, if some of them are still going on?

Weibull, lognormal and exponential laws by maximum likelihood, chosen by their AIC. Of a completed
time the likelihood takes the density, of one that still goes on the share S that takes longer.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from fulfil_models.survival import CLOSE, Floats, Times

NORMAL = NormalDist()
LOG_ROOT_TWO_PI = 0.5 * math.log(2 * math.pi)
FAR_TAIL = 25.0
"""standard deviations from where the normal tail is taken by its series"""
SHARPEST = 1e5
"""shape of a Weibull law, or 1/sigma of a lognormal one, from where all times count as equal"""
STEPS = 200
"""most steps of Newton; ten are usual"""


@dataclass(frozen=True, slots=True)
class Weibull:
    """S(t) = exp(-(t / scale)^shape). `log_likelihood` of the times it was fitted to."""

    scale: float
    shape: float
    log_likelihood: float

    name: ClassVar[str] = "Weibull"
    parameters: ClassVar[int] = 2

    def survival(self, time: float) -> float:
        return math.exp(-((time / self.scale) ** self.shape)) if time > 0 else 1.0

    def quantile(self, share: float, after: float = 0.0) -> float:
        """Time by which `share` of those has ended that have not by `after`."""
        gone = (max(after, 0.0) / self.scale) ** self.shape
        return float(self.scale * (gone - math.log1p(-share)) ** (1 / self.shape))


@dataclass(frozen=True, slots=True)
class Lognormal:
    """The logarithm of the time is normal with mean `mu` and deviation `sigma`."""

    mu: float
    sigma: float
    log_likelihood: float

    name: ClassVar[str] = "lognormal"
    parameters: ClassVar[int] = 2

    def survival(self, time: float) -> float:
        return math.exp(log_upper_tail(self._standard(time))) if time > 0 else 1.0

    def quantile(self, share: float, after: float = 0.0) -> float:
        """Time by which `share` of those has ended that have not by `after`."""
        if after <= 0:
            return math.exp(self.mu + self.sigma * NORMAL.inv_cdf(share))
        standard = self._standard(after)
        if standard < FAR_TAIL:
            left = math.exp(log_upper_tail(standard) + math.log1p(-share))
            further = -NORMAL.inv_cdf(left) if left < 0.5 else NORMAL.inv_cdf(1 - left)
        else:  # so far out the tail falls off like exp(-standard x)
            further = standard - math.log1p(-share) / standard
        return max(math.exp(self.mu + self.sigma * further), after)

    def _standard(self, time: float) -> float:
        return (math.log(time) - self.mu) / self.sigma


@dataclass(frozen=True, slots=True)
class Exponential:
    """S(t) = exp(-t / mean): what is left takes as long, however old it is."""

    mean: float
    log_likelihood: float

    name: ClassVar[str] = "exponential"
    parameters: ClassVar[int] = 1

    def survival(self, time: float) -> float:
        return math.exp(-max(time, 0.0) / self.mean)

    def quantile(self, share: float, after: float = 0.0) -> float:
        """Time by which `share` of those has ended that have not by `after`."""
        return max(after, 0.0) - self.mean * math.log1p(-share)


Law = Weibull | Lognormal | Exponential


def aic(law: Law) -> float:
    """Akaike's criterion: the law with the least one is to be chosen."""
    return 2 * law.parameters - 2 * law.log_likelihood


def best_law(found: Times) -> Law | None:
    """Of a Weibull and a lognormal law the one with the lesser AIC; None where neither fits."""
    laws: list[Law] = [law for law in (weibull(found), lognormal(found)) if law is not None]
    return min(laws, key=aic) if laws else None


def exponential(found: Times) -> Exponential | None:
    """By maximum likelihood: all time gone by, shared among what ended."""
    count, total = found.completed_count, float(found.lasted.sum())
    if count == 0 or total == 0:
        return None
    mean = total / count
    return Exponential(mean, -count * (math.log(mean) + 1))


def weibull(found: Times) -> Weibull | None:
    """By maximum likelihood; None where fewer than two times differ, so that no shape is likeliest.

    The likelihood is greatest where, over all times t, and over the ends e of which there are n,

        sum(t^shape ln t) / sum(t^shape) - 1 / shape = sum(ln e) / n
        scale^shape = sum(t^shape) / n

    The left side grows with the shape: the root is closed in upon by halving and steps of Newton.
    """
    lasted, completed = _positive(found)
    if not completed.any():
        return None
    unit = float(lasted.max())
    logs = np.log(lasted / unit)  # at most 0, so that no power is too large
    count = int(np.count_nonzero(completed))
    wanted = float(logs[completed].mean())

    def excess(shape: float) -> tuple[float, float]:
        """Left side less right side of the equation, and its slope."""
        powers = np.exp(shape * logs)
        total = float(powers.sum())
        first = float((powers * logs).sum()) / total
        second = float((powers * logs * logs).sum()) / total
        return first - 1 / shape - wanted, second - first * first + 1 / shape**2

    shape = _root(excess)
    if shape is None:
        return None
    powers = np.exp(shape * logs)
    scale = unit * (float(powers.sum()) / count) ** (1 / shape)
    gone = float(np.sum((lasted / scale) ** shape))
    ends = np.log(lasted[completed] / scale)
    log_likelihood = count * math.log(shape / scale) + (shape - 1) * float(ends.sum()) - gone
    return Weibull(scale, shape, log_likelihood)


def _root(excess: Callable[[float], tuple[float, float]]) -> float | None:
    """Where a growing function of a shape is 0; None if that is beyond every shape in use."""
    low, high = 0.0, 1.0
    while excess(high)[0] < 0:
        low, high = high, 2 * high
        if high > SHARPEST:
            return None
    at = (low + high) / 2
    for _ in range(STEPS):
        over, slope = excess(at)
        if over > 0:
            high = at
        else:
            low = at
        step = at - over / slope
        after = step if low < step < high else (low + high) / 2
        if abs(after - at) <= 1e-13 * at:
            return after
        at = after
    return at


def lognormal(found: Times) -> Lognormal | None:
    """By maximum likelihood; None where fewer than two completed times differ.

    With y = ln t, rate = 1 / sigma and offset = mu / sigma the log-likelihood is concave, so steps
    of Newton, halved where they overshoot, lead to its top. The last one is that which gains no
    more than the likelihood is computed to.
    """
    lasted, completed = _positive(found)
    logs = np.log(lasted)
    ends, open_ = logs[completed], logs[~completed]
    if len(ends) < 2 or float(np.ptp(ends)) <= CLOSE:
        return None
    rate = 1 / float(ends.std())
    offset = float(ends.mean()) * rate
    value = _lognormal_value(offset, rate, ends, open_)
    for _ in range(STEPS):
        step, gain = _lognormal_step(offset, rate, ends, open_)
        if gain <= CLOSE * abs(value):
            offset, rate = offset + step[0], rate + step[1]
            break
        length = 1.0
        while length > 1e-12:
            tried = (offset + length * step[0], rate + length * step[1])
            better = _lognormal_value(*tried, ends, open_) if tried[1] > 0 else -math.inf
            if better > value:
                break
            length /= 2
        else:
            break
        (offset, rate), value = tried, better
        if rate > SHARPEST:
            return None
    density = value - len(ends) * LOG_ROOT_TWO_PI - float(ends.sum())
    return Lognormal(offset / rate, 1 / rate, density)


def _lognormal_value(offset: float, rate: float, ends: Floats, open_: Floats) -> float:
    """Log-likelihood but for what does not hang on the law."""
    ended = len(ends) * math.log(rate) - 0.5 * float(np.sum((rate * ends - offset) ** 2))
    return ended + sum(log_upper_tail(z) for z in (rate * open_ - offset).tolist())


def _lognormal_step(
    offset: float, rate: float, ends: Floats, open_: Floats
) -> tuple[tuple[float, float], float]:
    """Newton's step to the top, for offset and rate, and about how much is gained by it."""
    residuals = rate * ends - offset
    standards = rate * open_ - offset
    hazards = np.array([_normal_hazard(z) for z in standards.tolist()])
    bends = hazards * (hazards - standards)
    slope_offset = float(residuals.sum() + hazards.sum())
    slope_rate = len(ends) / rate - float((residuals * ends).sum() + (hazards * open_).sum())
    along_offset = len(ends) + float(bends.sum())
    across = -float(ends.sum() + (bends * open_).sum())
    along_rate = len(ends) / rate**2 + float((ends**2).sum() + (bends * open_**2).sum())
    area = along_offset * along_rate - across * across
    step_offset = (along_rate * slope_offset - across * slope_rate) / area
    step_rate = (along_offset * slope_rate - across * slope_offset) / area
    gain = (slope_offset * step_offset + slope_rate * step_rate) / 2
    return (step_offset, step_rate), gain


def log_upper_tail(standard: float) -> float:
    """Logarithm of the share of a standard normal above `standard`, however far out."""
    if standard < FAR_TAIL:
        return math.log(0.5 * math.erfc(standard / math.sqrt(2)))
    square = standard * standard
    return (
        -square / 2 - math.log(standard) - LOG_ROOT_TWO_PI + math.log1p(-1 / square + 3 / square**2)
    )


def _normal_hazard(standard: float) -> float:
    """Density over upper tail of a standard normal."""
    return math.exp(-standard * standard / 2 - LOG_ROOT_TWO_PI - log_upper_tail(standard))


def _positive(found: Times) -> tuple[Floats, NDArray[np.bool_]]:
    """Times a law can be fitted to: ends at 0 count as half the least other time; what has gone on
    for no time tells nothing."""
    kept = found.completed | (found.lasted > 0)
    lasted, completed = found.lasted[kept], found.completed[kept]
    above = lasted[lasted > 0]
    if not len(above):
        return above, completed[:0]
    return np.where(lasted > 0, lasted, float(above.min()) / 2), completed

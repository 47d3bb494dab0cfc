"""By which day has which share of deliveries come, by the record and by a law beyond it?"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import cached_property
from typing import Literal

from fulfil_models.survival import KaplanMeier, Times, kaplan_meier
from fulfil_models.survival_laws import Law, best_law

Share = Literal["50", "80", "90"]
SHARES: tuple[Share, ...] = ("50", "80", "90")
"""per cent of deliveries that have come by then"""
PARTS_OF_ONE: dict[Share, float] = {"50": 0.5, "80": 0.8, "90": 0.9}

ENOUGH_FOR_A_LAW = 8
"""deliveries from which on a law is fitted to them"""
REACH = 2
"""multiple of the longest time seen, open ones too, beyond which nothing is read from a law"""
OF_THE_RECORD = "Kaplan-Meier"
FROM_THE_ORDER_ON = -math.inf


class Ground(StrEnum):
    """What a number of days rests on."""

    RECORD = "record"
    LAW = "law"
    AT_LEAST = "at least"
    STATED = "stated"


@dataclass(frozen=True)
class Shape:
    """How long deliveries take, in days or as multiples of what is stated.

    Kept in one piece for all that is read from it, since its curve and its law are found only once,
    and only when they are asked for.
    """

    found: Times

    @cached_property
    def steps(self) -> KaplanMeier:
        return kaplan_meier(self.found)

    @cached_property
    def fastest(self) -> float:
        """The shortest completed time; infinite without any."""
        return self.steps.steps[0] if self.steps.steps else math.inf

    @cached_property
    def slowest(self) -> float:
        """The longest completed time; below 0 without any."""
        return self.steps.steps[-1] if self.steps.steps else -1.0

    @cached_property
    def law(self) -> Law | None:
        """The likeliest law; None where there are few deliveries, or none fits."""
        if self.found.completed_count < ENOUGH_FOR_A_LAW:
            return None
        return best_law(self.found)

    @cached_property
    def quantiles(self) -> dict[Share, tuple[float, Ground]]:
        """Times from the order on, by share."""
        return {share: self.quantile(share) for share in SHARES}

    def quantile(self, share: Share, after: float = FROM_THE_ORDER_ON) -> tuple[float, Ground]:
        """Time by which that share has come of those that took longer than `after`.

        Where too much is still open for the curve to come down so far, the law says it, but never
        less than the longest time seen: so long it takes by the curve at least. Of times beyond
        `REACH` times that, which are like nothing seen, no more is said than that: so long at
        least.
        """
        wanted = PARTS_OF_ONE[share]
        known = self.steps.quantile(wanted, after)
        if known is not None:
            return known, Ground.RECORD
        least = max(self.found.longest, after)
        if self.law is None:
            return least, Ground.AT_LEAST
        younger = after < self.fastest
        time = max(self.law.quantile(wanted, 0.0 if younger else after), least)
        if time > REACH * least:
            return REACH * least, Ground.AT_LEAST
        return time, Ground.LAW


@dataclass(frozen=True)
class Curve:
    """A shape in days: `unit_days` is 1, or the stated lead time its times are multiples of."""

    shape: Shape
    unit_days: int | Fraction

    def days(self, share: Share) -> tuple[int, Ground]:
        """Whole days within which that share comes, and what that rests on."""
        time, ground = self.shape.quantiles[share]
        return whole_days(time, self.unit_days), ground

    def days_after(self, share: Share, age_days: int, further_days: int) -> int:
        """Whole days from the order within which that share comes of what took longer than an age.

        Parameters
        ----------
        further_days: beyond the longest delivery of the record the law alone speaks, which knows no
            case like it; then it is so many days more at least.
        """
        age = float(age_days / self.unit_days)
        shape = self.shape
        if age < shape.fastest:
            return self.days(share)[0]
        days = whole_days(shape.quantile(share, age)[0], self.unit_days)
        if age >= shape.slowest and (shape.law is not None or days <= age_days):
            return max(days, age_days + further_days)
        return days

    def name(self, grounds: Iterable[Ground]) -> str:
        """The curve that days with these grounds were read from."""
        beyond = {Ground.LAW, Ground.AT_LEAST}.intersection(grounds)
        law = self.shape.law if beyond else None
        return OF_THE_RECORD if law is None else law.name


def whole_days(time: float, unit_days: int | Fraction) -> int:
    """Whole days within which something that takes so long has come."""
    return math.ceil(time * unit_days - 1e-6)

"""What is left to promise, period by period, when all that is promised already is kept?

The standard time-phased arithmetic of available to promise (ATP), for one part: on hand, receipts
and commitments by period. `available_weeks` finds these figures in a data set and a plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate


@dataclass(frozen=True, slots=True)
class AvailablePeriod:
    """One period of the table, in thousandths of the part's unit.

    Attributes
    ----------
    discrete_milli: of the supply that comes in this period (in the first one of what is on hand,
        too), what is not needed before more comes; below 0 where later commitments need earlier
        supply. None in a period into which nothing comes.
    cumulative_milli: all supply up to the end of this period less all commitments up to then. It
        does not look ahead: what later commitments need is in it.
    look_ahead_milli: what may be promised up to the end of this period without harm to any later
        commitment. Below 0 where supply falls short of the commitments that there are.
    """

    receipts_milli: int
    committed_milli: int
    discrete_milli: int | None
    cumulative_milli: int
    look_ahead_milli: int


@dataclass(frozen=True, slots=True)
class AvailableTable:
    """Available to promise, period by period."""

    on_hand_milli: int
    periods: tuple[AvailablePeriod, ...]


def available_to_promise(
    on_hand_milli: int, receipts_milli: Sequence[int], committed_milli: Sequence[int]
) -> AvailableTable:
    """The time-phased table of one part.

    Parameters
    ----------
    on_hand_milli: free to use at the beginning of the first period; below 0 for what is owed.
    receipts_milli: what comes in each period.
    committed_milli: what is promised already, by the period in which it is taken.

    Raises
    ------
    ValueError
        Where there are not as many receipts as commitments, or one of them is below 0.
    """
    if len(receipts_milli) != len(committed_milli):
        raise ValueError(
            f"{len(receipts_milli)} periods of receipts, {len(committed_milli)} of commitments"
        )
    if any(quantity < 0 for quantity in (*receipts_milli, *committed_milli)):
        raise ValueError("a receipt or a commitment is below 0")
    discrete = _discrete(on_hand_milli, receipts_milli, committed_milli)
    balances = list(
        accumulate(
            (came - went for came, went in zip(receipts_milli, committed_milli, strict=True)),
            initial=on_hand_milli,
        )
    )[1:]
    # what is left of each supply after the correction is for anyone from its period on
    ahead = accumulate(quantity or 0 for quantity in _corrected(discrete))
    rows = zip(receipts_milli, committed_milli, discrete, balances, ahead, strict=True)
    return AvailableTable(on_hand_milli, tuple(AvailablePeriod(*row) for row in rows))


def _discrete(
    on_hand_milli: int, receipts_milli: Sequence[int], committed_milli: Sequence[int]
) -> list[int | None]:
    """Supply of each period that has any, less the commitments until the next that has."""
    discrete: list[int | None] = []
    latest = 0
    for period, (came, went) in enumerate(zip(receipts_milli, committed_milli, strict=True)):
        supply = came if period else came + on_hand_milli
        if period == 0 or came:
            latest = period
            discrete.append(supply - went)
        else:
            discrete.append(None)
            discrete[latest] = (discrete[latest] or 0) - went
    return discrete


def _corrected(discrete: Sequence[int | None]) -> list[int | None]:
    """The same with nothing below 0 but in the first period: what a later supply lacks is taken
    from the one before it, and so on backward."""
    corrected = list(discrete)
    missing = 0
    for period in range(len(corrected) - 1, -1, -1):
        own = corrected[period]
        if own is None:
            continue
        left = own - missing
        corrected[period] = left if period == 0 else max(left, 0)
        missing = max(-left, 0)
    return corrected

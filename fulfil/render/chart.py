"""A part's needs and balance as a picture in plain text."""

from __future__ import annotations

from collections.abc import Sequence

from fulfil_models.cover import PartCover, PeriodCover

from fulfil.render import words

FIRM, FORECAST = "#", "+"
NOTHING_LEFT, SEVERAL = "|", "*"
MARKS = ("S", "5", "9")
"""of the balance by stated, 50 % and 90 % dates"""
SHORT = "!"
TENTHS = 9
LEGEND = (
    f"needs: {FIRM} firm, {FORECAST} forecast; balance at the end of the {{period}}: "
    f"{MARKS[0]} by stated, {MARKS[1]} by 50 %, {MARKS[2]} by 90 % dates, {SEVERAL} by several; "
    f"{NOTHING_LEFT} nothing left"
)
STRIP_LEGEND = (
    "what is left by the 90 % dates at the end of each period, 0 to 9 of the most there is in the "
    f"horizon, {SHORT} below nothing"
)


def chart(row: PartCover, width: int) -> list[str]:
    """One line a period: needs as a bar to the left, the three balances on a scale to the right."""
    periods = row.periods
    label = max(len(period.period) for period in periods)
    most = max(period.firm_milli + period.forecast_milli for period in periods)
    low, high = bounds(periods)
    figure = max(len(_needs(period)) for period in periods)
    room = width - label - figure - 6
    bar = max(room // 3, 10)
    scale = max(room - bar, 20)
    ends = _ends(words.quantity(low), words.quantity(high), scale)
    lines = [f"{'':{label}}  {'needs':{bar + figure + 1}}  {ends}".rstrip()]
    for period in periods:
        firm, forecast = _bar(period, most, bar)
        needed = f"{FIRM * firm}{FORECAST * forecast}"
        left = f"{period.period:{label}}  {_needs(period):>{figure}} {needed:{bar}}"
        lines.append(f"{left}  {_balance(period, low, high, scale)}".rstrip())
    return lines


def _needs(period: PeriodCover) -> str:
    return words.quantity(period.firm_milli + period.forecast_milli)


def bounds(periods: Sequence[PeriodCover]) -> tuple[int, int]:
    """The lowest and the highest of all balances, nothing included."""
    found = [value for period in periods for value in balances(period)]
    return min(*found, 0), max(*found, 0)


def balances(period: PeriodCover) -> tuple[int, int, int]:
    return period.balance_stated_milli, period.balance_50_milli, period.balance_90_milli


def strips(rows: Sequence[PartCover]) -> list[tuple[str, str]]:
    """Of each part one mark a period: how much is left by the 90 % dates."""
    return [(row.part, _strip(row)) for row in rows]


def _strip(row: PartCover) -> str:
    left = [period.balance_90_milli for period in row.periods]
    most = max([row.on_hand_milli, *left, 1])
    return "".join(SHORT if value < 0 else str(value * TENTHS // most) for value in left)


def _ends(low: str, high: str, scale: int) -> str:
    middle = "balance"
    space = max(scale - len(low) - len(high) - len(middle), 2)
    return f"{low}{' ' * (space // 2)}{middle}{' ' * (space - space // 2)}{high}"


def _bar(period: PeriodCover, most: int, room: int) -> tuple[int, int]:
    """Marks of firm and of forecast needs; whatever is not nothing gets one at least."""
    if not most:
        return 0, 0
    firm = _marks(period.firm_milli, most, room)
    both = max(
        _marks(period.firm_milli + period.forecast_milli, most, room),
        firm + (period.forecast_milli > 0),
    )
    if both > room:
        firm, both = firm - 1, room
    return firm, both - firm


def _marks(milli: int, most: int, room: int) -> int:
    return 0 if milli <= 0 else max(1, round(milli * room / most))


def _balance(period: PeriodCover, low: int, high: int, room: int) -> str:
    cells = [" "] * room
    cells[_place(0, low, high, room)] = NOTHING_LEFT
    taken: set[int] = set()
    for mark, value in zip(MARKS, balances(period), strict=True):
        place = _place(value, low, high, room)
        cells[place] = SEVERAL if place in taken else mark
        taken.add(place)
    return "".join(cells)


def _place(value: int, low: int, high: int, room: int) -> int:
    return 0 if high == low else (value - low) * (room - 1) // (high - low)

"""How much will be ordered of each product and part that is in no order yet, month by month?

A forecast that is given counts. For what has none, the months before the planning date say how much
is ordered: their mean where nearly every month has some, else the average of intermittent demand.
Orders that are for a month use its forecast up, open ones like those that are done or have shipped;
what is left stands beside the firm ones. Of a month that has begun a forecast that is given stands
to its end; of an average only so much of what is left as the month has working days left.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from fulfil_models.cells import MILLI, day_of
from fulfil_models.explosion import round_up
from fulfil_models.intermittent import sba
from fulfil_models.months import last_day, month_of, months_later
from fulfil_models.order_days import OpenDays
from fulfil_models.problem import FIRM, Problem, carrier_day
from fulfil_models.tables import Build, Delivered, PartsOrder

GIVEN, PAST, INTERMITTENT = "given", "past orders", "intermittent"
"""how a forecast was made"""
HISTORY_MONTHS = 12
OFTEN_MONTHS = 10
"""of these so many with orders are nearly every month"""
ALPHA = Fraction(1, 10)
_DONE = "done"
"""status of a build that somebody ordered and that needs nothing any more"""


@dataclass(frozen=True, slots=True)
class ProductForecast:
    """What is expected to be ordered of a product or part in a month, in thousandths.

    Attributes
    ----------
    given_milli: the forecast; of one made from the past the average, rounded up.
    consumed_milli: what orders for the month are of it, never more than it.
    left_milli: what is expected besides: given less consumed, of an average in the month that has
        begun the share of its working days that are left.
    how: `given`, `past orders` or `intermittent`.
    """

    month: str
    given_milli: int
    consumed_milli: int
    left_milli: int
    how: str


Expected = Mapping[str, tuple[ProductForecast, ...]]
"""by product or part, months in order, those without a forecast left out"""


def expected_orders(problem: Problem, months: tuple[str, ...]) -> Expected:
    """What is expected to be ordered in these months, which begin with that of the planning date.

    A product or part with any forecast from the first month on has only what is given: nothing is
    expected in a month that is left out.
    """
    used = _used_by_month(problem)
    given = _given(problem, months[0])
    expected: dict[str, tuple[ProductForecast, ...]] = {}
    for part, by_month in given.items():
        rows = ((month, by_month.get(month, 0)) for month in months)
        expected[part] = tuple(_consumed(used[part], GIVEN, rows))
    share = _share_left(problem)
    for part, series in _past_orders(problem).items():
        if part not in given and part in problem.parts:
            how, rate_milli = _rate(series)
            rows = ((month, rate_milli) for month in months)
            expected[part] = tuple(
                replace(row, left_milli=round_up(row.left_milli * share, 1))
                if row.month == months[0]
                else row
                for row in _consumed(used[part], how, rows)
            )
    return {part: rows for part, rows in sorted(expected.items()) if rows}


def late_in_month(day: date) -> bool:
    """Whether a day is in the last third of its month."""
    return 3 * (day.day - 1) >= 2 * last_day(month_of(day)).day


# ---- what uses it up


@dataclass(frozen=True, slots=True)
class _Order:
    """What somebody ordered.

    Attributes
    ----------
    month: that it is for; None where nothing tells.
    """

    part: str
    ordered: date
    month: str | None
    milli: int


def _orders(problem: Problem) -> Iterator[_Order]:
    """All that was ever ordered, each once: what has shipped, what is done, what is open."""
    data = problem.dataset
    builds = {row.build: row for row in data.builds}
    shipped = {row.order for row in data.delivered}
    for row in data.delivered:
        build = builds.get(row.order)
        if build is None or build.status != FIRM:
            month = _shipped_month(row, build) if row.shipped <= problem.as_of else None
            yield _Order(row.product, row.ordered, month, MILLI)
    for build in data.builds:
        if build.status == FIRM:
            yield _Order(build.product, build.ordered, build_month(problem, build), MILLI)
        elif build.status == _DONE and build.build not in shipped:
            month = None if build.promised is None else month_of(day_of(build.promised))
            yield _Order(build.product, build.ordered, month, MILLI)
    for order in data.parts_orders:
        yield _Order(order.part, order.ordered, line_month(order), order.quantity_milli)


def build_month(problem: Problem, build: Build) -> str:
    """The month in which a build is promised; of one without a promise that of today."""
    return month_of(problem.as_of if build.promised is None else day_of(build.promised))


def _shipped_month(row: Delivered, build: Build | None) -> str:
    """The month in which it was promised, else that in which it shipped."""
    promised = row.promised
    if promised is None and build is not None and build.promised is not None:
        promised = day_of(build.promised)
    return month_of(promised or row.shipped)


def line_month(order: PartsOrder) -> str:
    """The month by which a line ships, else by which it is there, else in which it was ordered."""
    if order.promised is not None:
        return month_of(order.promised)
    if order.within_days is not None:
        return month_of(carrier_day(order.ordered, order.within_days))
    return month_of(order.ordered)


def _used_by_month(problem: Problem) -> defaultdict[str, Counter[str]]:
    """By product or part and month: what orders are for, planned or not, open or no longer."""
    used: defaultdict[str, Counter[str]] = defaultdict(Counter)
    for order in _orders(problem):
        if order.month is not None:
            used[order.part][order.month] += order.milli
    return used


def _consumed(
    used: Mapping[str, int], how: str, rows: Iterator[tuple[str, int]]
) -> Iterator[ProductForecast]:
    for month, given_milli in rows:
        if given_milli:
            consumed = min(given_milli, used.get(month, 0))
            yield ProductForecast(month, given_milli, consumed, given_milli - consumed, how)


def _given(problem: Problem, first: str) -> dict[str, dict[str, int]]:
    """By part and month what the forecast gives from a month on."""
    given: defaultdict[str, dict[str, int]] = defaultdict(dict)
    for row in problem.dataset.demand:
        if row.month >= first:
            given[row.part][row.month] = row.quantity_milli
    return dict(given)


# ---- what the past says


def _past_orders(problem: Problem) -> dict[str, list[int]]:
    """By product or part: thousandths ordered in each of the last whole months, earliest first.

    Machines are those delivered and those of the book, by the day they were ordered: the months
    just gone would look poor without what is not delivered yet.
    """
    place = {
        months_later(problem.as_of, later - HISTORY_MONTHS): later
        for later in range(HISTORY_MONTHS)
    }
    past: defaultdict[str, list[int]] = defaultdict(lambda: [0] * HISTORY_MONTHS)
    for order in _orders(problem):
        at = place.get(month_of(order.ordered))
        if at is not None:
            past[order.part][at] += order.milli
    return dict(past)


def _rate(series: list[int]) -> tuple[str, int]:
    """How the monthly average of past orders is made, and that average in thousandths."""
    if sum(quantity > 0 for quantity in series) >= OFTEN_MONTHS:
        return PAST, round_up(Fraction(sum(series), len(series)), 1)
    return INTERMITTENT, round_up(sba(series, ALPHA).rate, 1)


def _share_left(problem: Problem) -> Fraction:
    """How much of the working days of the month are left, the planning date among them.

    A day counts as a working day when any point is open. All of a month without any.
    """
    days, as_of = OpenDays(problem.dataset, problem.as_of), problem.as_of
    over = left = 0
    for number in range(1, last_day(month_of(as_of)).day + 1):
        day = as_of.replace(day=number)
        if days.open_anywhere(problem.points, day):
            over, left = over + (day < as_of), left + (day >= as_of)
    return Fraction(left, over + left) if over else Fraction(1)

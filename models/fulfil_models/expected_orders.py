"""How much will be ordered of each product and part that is in no order yet, month by month?

A forecast that is given counts. For what has none, the months before the planning date say how much
is ordered: their mean where nearly every month has some, else the average of intermittent demand.
Firm orders use the forecast of their month up; what is left stands beside them.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from fulfil_models.cells import MILLI, day_of
from fulfil_models.explosion import round_up
from fulfil_models.intermittent import sba
from fulfil_models.problem import FIRM, Problem, carrier_day
from fulfil_models.shared_cap import month_of
from fulfil_models.tables import Build, PartsOrder

GIVEN, PAST, INTERMITTENT = "given", "past orders", "intermittent"
"""how a forecast was made"""
HISTORY_MONTHS = 12
OFTEN_MONTHS = 10
"""of these so many with orders are nearly every month"""
ALPHA = Fraction(1, 10)
_ORDERED = (FIRM, "done")
"""statuses of builds that somebody ordered"""


@dataclass(frozen=True, slots=True)
class ProductForecast:
    """What is expected to be ordered of a product or part in a month, in thousandths.

    Attributes
    ----------
    given_milli: the forecast; of one made from the past the average, rounded up.
    consumed_milli: what firm orders of the month are of it, never more than it.
    left_milli: given less consumed: what nobody has ordered yet.
    how: `given`, `past orders` or `intermittent`.
    """

    month: str
    given_milli: int
    consumed_milli: int
    left_milli: int
    how: str


Expected = Mapping[str, tuple[ProductForecast, ...]]
"""by product or part, months in order, those without a forecast left out"""


def months_ahead(as_of: date, months: int) -> tuple[str, ...]:
    """So many calendar months, that of the planning date first.

    Raises ValueError for less than one.
    """
    if months < 1:
        raise ValueError(f"{months} months are none to look at: ask for 1 or more")
    return tuple(_months_later(as_of, later) for later in range(months))


def first_day(month: str) -> date:
    return date.fromisoformat(f"{month}-01")


def expected_orders(problem: Problem, months: tuple[str, ...]) -> Expected:
    """What is expected to be ordered in these months, which begin with that of the planning date.

    A product or part with any forecast from the first month on has only what is given: nothing is
    expected in a month that is left out.
    """
    firm = _firm_by_month(problem)
    given = _given(problem, months[0])
    expected: dict[str, tuple[ProductForecast, ...]] = {}
    for part, by_month in given.items():
        rows = ((month, by_month.get(month, 0)) for month in months)
        expected[part] = tuple(_consumed(firm[part], GIVEN, rows))
    for part, series in _past_orders(problem).items():
        if part not in given and part in problem.parts:
            how, rate_milli = _rate(series)
            rows = ((month, rate_milli) for month in months)
            expected[part] = tuple(_consumed(firm[part], how, rows))
    return {part: rows for part, rows in sorted(expected.items()) if rows}


def build_month(problem: Problem, build: Build) -> str:
    """The month in which a build is promised; of one without a promise that of today."""
    return month_of(problem.as_of if build.promised is None else day_of(build.promised))


def line_month(order: PartsOrder) -> str:
    """The month by which a line ships, else by which it is there, else in which it was ordered."""
    if order.promised is not None:
        return month_of(order.promised)
    if order.within_days is not None:
        return month_of(carrier_day(order.ordered, order.within_days))
    return month_of(order.ordered)


def _consumed(
    firm: Mapping[str, int], how: str, rows: Iterator[tuple[str, int]]
) -> Iterator[ProductForecast]:
    for month, given_milli in rows:
        if given_milli:
            consumed = min(given_milli, firm.get(month, 0))
            yield ProductForecast(month, given_milli, consumed, given_milli - consumed, how)


def _firm_by_month(problem: Problem) -> defaultdict[str, Counter[str]]:
    """By product or part and month: what firm builds and parts orders are for, planned or not."""
    firm: defaultdict[str, Counter[str]] = defaultdict(Counter)
    for build in problem.dataset.builds:
        if build.status == FIRM:
            firm[build.product][build_month(problem, build)] += MILLI
    for order in problem.dataset.parts_orders:
        firm[order.part][line_month(order)] += order.quantity_milli
    return firm


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
        _months_later(problem.as_of, later - HISTORY_MONTHS): later
        for later in range(HISTORY_MONTHS)
    }
    past: defaultdict[str, list[int]] = defaultdict(lambda: [0] * HISTORY_MONTHS)
    for part, ordered, quantity_milli in _orders(problem):
        at = place.get(month_of(ordered))
        if at is not None:
            past[part][at] += quantity_milli
    return dict(past)


def _orders(problem: Problem) -> Iterator[tuple[str, date, int]]:
    data = problem.dataset
    delivered = {row.order for row in data.delivered}
    for row in data.delivered:
        yield row.product, row.ordered, MILLI
    for build in data.builds:
        if build.status in _ORDERED and build.build not in delivered:
            yield build.product, build.ordered, MILLI
    for order in data.parts_orders:
        yield order.part, order.ordered, order.quantity_milli


def _rate(series: list[int]) -> tuple[str, int]:
    """How the monthly average of past orders is made, and that average in thousandths."""
    if sum(quantity > 0 for quantity in series) >= OFTEN_MONTHS:
        return PAST, round_up(Fraction(sum(series), len(series)), 1)
    return INTERMITTENT, round_up(sba(series, ALPHA).rate, 1)


def _months_later(day: date, later: int) -> str:
    """The calendar month so many months after that of a day; before it, below 0."""
    year, month = divmod(day.year * 12 + day.month - 1 + later, 12)
    return f"{year:04}-{month + 1:02}"

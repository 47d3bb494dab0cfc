"""How to plan: the settings of a data set as typed values, and what is wrong with them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from fulfil_models.cells import MICRO, PPM, CellError, parse_date, parse_decimal
from fulfil_models.tables import Setting

MOST_DAYS = 3650
"""ten years: the farthest a horizon may reach, so that every date stays one of the calendar"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """How to plan.

    Attributes
    ----------
    as_of: the planning date; nothing is planned before it.
    currency: ISO 4217 code of all money.
    late_day_cost_micro: cost of one late day at weight 1, in millionths of the currency.
    overdue_days: a purchase past due is counted on so many calendar days after `as_of`.
    horizon_days: how many calendar days from `as_of` are looked at.
    freeze_days: operations of the accepted plan that start within so many days keep their slot.
    order_cost_micro: cost of placing one order with a supplier, in millionths of the currency.
    holding_share_ppm: cost of holding a unit for a year, in millionths of its price.
    orders_from: no new purchase is placed before that day; None where any day will do.
    """

    as_of: date
    currency: str = "USD"
    late_day_cost_micro: int = 1000 * MICRO
    overdue_days: int = 7
    horizon_days: int = 730
    freeze_days: int = 0
    order_cost_micro: int = 50 * MICRO
    holding_share_ppm: int = PPM // 5
    orders_from: date | None = None

    @property
    def first_order_day(self) -> date:
        """The first day on which a new purchase may be placed (contract rule 4c)."""
        return self.as_of if self.orders_from is None else max(self.as_of, self.orders_from)

    @property
    def orders_wait(self) -> bool:
        """Whether new purchases are placed later than on the planning date."""
        return self.first_order_day > self.as_of

    def counted_on(self, due: date) -> date:
        """The day an open purchase is counted on: its due date, `overdue_days` from the planning
        date if it is past due (contract rule 4b)."""
        return self.as_of + timedelta(self.overdue_days) if due < self.as_of else due


@dataclass(frozen=True, slots=True)
class SettingProblem:
    """A row of the settings that cannot be used as it stands. `unknown`: no such setting."""

    index: int
    key: str
    unknown: bool
    wrong: str
    remedy: str


class SettingsError(ValueError):
    """Settings that cannot be used; `problems` lists all of them."""

    def __init__(self, problems: Iterable[SettingProblem]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(f"setting {p.key} {p.wrong}: {p.remedy}" for p in self.problems))


def _currency(text: str) -> str:
    if not re.fullmatch(r"[A-Z]{3}", text):
        raise CellError("is not a currency code", "write the three letters of ISO 4217, e.g. USD")
    return text


def _cost(of: str) -> Callable[[str], int]:
    def parse(text: str) -> int:
        cost_micro = parse_decimal(text, 6)
        if cost_micro < 0:
            raise CellError("is below 0", f"write the cost of one {of}, 0 or more")
        return cost_micro

    return parse


def _share(text: str) -> int:
    share_ppm = parse_decimal(text, 6)
    if not 0 <= share_ppm <= PPM:
        raise CellError("is not from 0 to 1", "write the share of the price, e.g. 0.2 for 20 %")
    return share_ppm


def _days(least: int) -> Callable[[str], int]:
    def parse(text: str) -> int:
        days = parse_decimal(text, 0)
        if not least <= days <= MOST_DAYS:
            raise CellError(
                f"is not from {least} to {MOST_DAYS}",
                f"write a whole number of days from {least} to {MOST_DAYS}",
            )
        return days

    return parse


SETTINGS: dict[str, tuple[str, Callable[[str], Any]]] = {
    "as_of": ("as_of", parse_date),
    "currency": ("currency", _currency),
    "late_day_cost": ("late_day_cost_micro", _cost("late day")),
    "overdue_days": ("overdue_days", _days(0)),
    "horizon_days": ("horizon_days", _days(1)),
    "freeze_days": ("freeze_days", _days(0)),
    "order_cost": ("order_cost_micro", _cost("purchase order")),
    "holding_share": ("holding_share_ppm", _share),
    "orders_from": ("orders_from", parse_date),
}
"""for each key, the attribute of `Settings` it sets and how its text is read"""


def read_settings(
    rows: Iterable[Setting], today: date
) -> tuple[Settings, tuple[SettingProblem, ...]]:
    """The settings of a data set, defaults standing in for what is missing or wrong.

    Parameters
    ----------
    rows: of the table `settings`.
    today: stands for `as_of` where that is not set.
    """
    values: dict[str, Any] = {"as_of": today}
    problems = []
    for index, row in enumerate(rows):
        if row.key not in SETTINGS:
            remedy = f"use one of {', '.join(SETTINGS)}"
            problems.append(SettingProblem(index, row.key, True, "is no setting", remedy))
            continue
        attribute, parse = SETTINGS[row.key]
        try:
            values[attribute] = parse(row.value)
        except CellError as error:
            problems.append(SettingProblem(index, row.key, False, error.wrong, error.remedy))
    return Settings(**values), tuple(problems)


def parse_settings(rows: Iterable[Setting], today: date) -> Settings:
    """The settings of a data set that has been checked.

    Raises
    ------
    SettingsError
        For a value that cannot be used. Unknown keys do no harm.
    """
    settings, problems = read_settings(rows, today)
    bad = [problem for problem in problems if not problem.unknown]
    if bad:
        raise SettingsError(bad)
    return settings

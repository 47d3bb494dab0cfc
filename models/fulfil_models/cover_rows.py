"""What is told of a part's cover: how long it lasts, whom it hits, when to order?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fulfil_models.leadtimes import LearntFrom


@dataclass(frozen=True, slots=True)
class ComingLine:
    """An open purchase line, and the days on which it can be used: as stated, and by the record.

    By the record no line comes sooner than as stated: see `expected_days`. `kept_milli` of it is
    for quotes that are held.
    """

    order: str
    line: str
    supplier: str
    point: str
    quantity_milli: int
    kept_milli: int
    due: date
    past_due: bool
    stated_on: date
    on_50: date
    on_90: date

    @property
    def free_milli(self) -> int:
        """What is not kept."""
        return max(self.quantity_milli - self.kept_milli, 0)


@dataclass(frozen=True, slots=True)
class Outlook:
    """How a part lasts if open lines come on one kind of days.

    Attributes
    ----------
    runs_out_on: first day on which more is needed than is there; None if never in the horizon.
    firm_runs_out_on: the same by firm needs alone.
    days: calendar days from the planning date to that, all of them covered.
    back_on: first day after it on which what is on order has made up for it; None if never.
    short_milli: the most that is missing at the end of any day.
    order_by: last day to order so that 90 of 100 orders are there on the day it runs out.
    """

    runs_out_on: date | None
    firm_runs_out_on: date | None
    days: int | None
    back_on: date | None
    short_milli: int
    order_by: date | None


@dataclass(frozen=True, slots=True)
class LastOrder:
    """From whom the last order could come, and how long he takes.

    Attributes
    ----------
    days_90: within which 90 of 100 orders come, by the record where there is one.
    at_least: so much is still open that the record says only that it takes so long at least.
    """

    supplier: str
    point: str
    stated_days: int
    days_90: int
    learnt_from: LearntFrom
    at_least: bool


@dataclass(frozen=True, slots=True)
class Hit:
    """A build or parts-order line that a shortage of the part hits.

    Attributes
    ----------
    needed_on: day on which it wants the part.
    late_days: days of lateness in the plan that the part answers for; 0 where it has caused none,
        and only the need falls on days without cover.
    harm_ppm: them times the weight of the build or line, in millionths of a late day: the list is
        in order of it.
    """

    who: str
    kind: str
    needed_on: date
    quantity_milli: int
    promised: date | None
    late_days: int
    harm_ppm: int


@dataclass(frozen=True, slots=True)
class PeriodCover:
    """One month or week of a part: what is there, what goes, what comes, what is left.

    Attributes
    ----------
    on_hand_milli: at its beginning, by stated dates.
    cover_days: how many days after its end what is left by the 90 % dates lasts if nothing more
        comes; None if beyond the horizon.
    """

    period: str
    first: date
    until: date
    on_hand_milli: int
    firm_milli: int
    forecast_milli: int
    coming_stated_milli: int
    coming_50_milli: int
    coming_90_milli: int
    balance_stated_milli: int
    balance_50_milli: int
    balance_90_milli: int
    cover_days: int | None


@dataclass(frozen=True, slots=True)
class PartCover:
    """One bought part over the horizon.

    Attributes
    ----------
    on_hand_milli: on the shelf now, less what is held, and kept for quotes that are held.
    on_order_milli: less what is kept for quotes that are held.
    kept_milli, kept_order_milli: what quotes that are held keep of both, and what is to be ordered
        for them if they are accepted; kept_for: their names.
    firm_milli, forecast_milli: needed in the horizon.
    how: the ways in which its forecast needs were made.
    stock_days: how many days from the planning date on stock alone lasts; None if beyond.
    stated, learnt_50, learnt_90: how it lasts by each kind of days.
    last_order: None where nobody supplies it, or no order fits a monthly cap.
    most_milli: what new orders can bring in the horizon at the very most, where all who supply it
        have a monthly cap; else None.
    hits: those that the plan makes late for want of it, the worst first; then by promise those
        whose needs fall after it has run out by the 90 % dates, until more comes.
    lines: open purchases, by the stated day.
    periods: none where they were not asked for.
    """

    part: str
    description: str | None
    family: str | None
    unit: str
    on_hand_milli: int
    on_order_milli: int
    kept_milli: int
    kept_order_milli: int
    kept_for: tuple[str, ...]
    firm_milli: int
    forecast_milli: int
    how: tuple[str, ...]
    stock_days: int | None
    stated: Outlook
    learnt_50: Outlook
    learnt_90: Outlook
    last_order: LastOrder | None
    most_milli: int | None
    hits: tuple[Hit, ...]
    lines: tuple[ComingLine, ...]
    periods: tuple[PeriodCover, ...]

    @property
    def runs_out(self) -> bool:
        return any(row.runs_out_on for row in (self.stated, self.learnt_50, self.learnt_90))

    @property
    def decisive(self) -> Outlook:
        """The one to order by: that of the 90 % dates, if it runs out by them."""
        return decisive(self.stated, self.learnt_50, self.learnt_90)

    @property
    def never_milli(self) -> int:
        """What stays short in the horizon whatever is ordered, under monthly caps."""
        short_milli = max(self.decisive.short_milli, 0)
        return 0 if self.most_milli is None else max(short_milli - self.most_milli, 0)

    @property
    def late_days(self) -> int:
        """Late days in the plan for want of it."""
        return sum(hit.late_days for hit in self.hits)

    @property
    def harm_ppm(self) -> int:
        """Weighted late days in the plan for want of it, in millionths."""
        return sum(hit.harm_ppm for hit in self.hits)

    @property
    def order_by(self) -> date | None:
        return self.decisive.order_by


def decisive(stated: Outlook, learnt_50: Outlook, learnt_90: Outlook) -> Outlook:
    """That of the 90 % dates, if it runs out by them; else the next one by which it does."""
    rows = (learnt_90, learnt_50, stated)
    return next((row for row in rows if row.runs_out_on), learnt_90)

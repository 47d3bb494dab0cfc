"""Which dates has a data set if the record of its suppliers is believed before what they state?

An open purchase comes when the record says, and a new one takes as long as it says; but nothing
comes sooner than stated. A supplier who was faster than he says has promised no more for that, and
a plan that counts on it would be late by his promise.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from fulfil_models.expected_days import expected_on, order_days
from fulfil_models.findings import counted
from fulfil_models.lead_curve import Share
from fulfil_models.lead_record import Offer
from fulfil_models.leadtimes import LeadTime, lead_times
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset, Purchase, Source

Choice = Literal["stated", "learnt-50", "learnt-80", "learnt-90"]
"""whose word counts: the suppliers', or their record's for 50, 80 or 90 of 100 deliveries"""

STATED: Choice = "stated"
SHARE_OF: Mapping[str, Share] = {"learnt-50": "50", "learnt-80": "80", "learnt-90": "90"}


def believed(
    dataset: Dataset, settings: Settings, leads: Mapping[Offer, LeadTime], choice: Choice
) -> Dataset:
    """The data set with due dates of open purchases and lead times of sources as believed.

    A purchase past due comes as its supplier's record says, or `overdue_days` after the planning
    date, whichever is later. Neither a due date nor a lead time is moved beyond the horizon: what
    is planned to come after it could not be planned with. Expediting brings a new purchase as many
    days sooner as before. A source of another point than the one that most of the record goes to
    takes longer in proportion. What has no record stays as stated.

    Parameters
    ----------
    leads: as `leadtimes.lead_times` tells them of this data set.
    """
    if choice == STATED:
        return dataset
    share = SHARE_OF[choice]
    return replace(
        dataset,
        purchases=tuple(
            _purchase(row, leads.get((row.part, row.supplier)), settings, share)
            for row in dataset.purchases
        ),
        sources=tuple(
            _source(row, leads.get((row.part, row.supplier)), share) for row in dataset.sources
        ),
    )


def as_believed(dataset: Dataset, settings: Settings, choice: Choice) -> Dataset:
    """The same, with what is learnt on the planning date.

    Reads the tables `sources`, `receipts` and `purchases`.
    """
    if choice == STATED:
        return dataset
    return believed(dataset, settings, lead_times(dataset, settings, with_drift=False), choice)


def _purchase(row: Purchase, lead: LeadTime | None, settings: Settings, share: Share) -> Purchase:
    day = expected_on(lead, row, settings, share)
    return replace(row, due=day) if day > settings.counted_on(row.due) else row


def _source(row: Source, lead: LeadTime | None, share: Share) -> Source:
    # what is expedited is never longer than the whole lead time, which only grows here
    return replace(row, lead_days=order_days(row, lead, share))


# ---- what that changes, in words


@dataclass(frozen=True, slots=True)
class Later:
    """A due date or a lead time that the record moves.

    Attributes
    ----------
    days: by which it comes later than without the record.
    """

    name: str
    days: int


def later_purchases(
    dataset: Dataset, believed_data: Dataset, settings: Settings
) -> tuple[Later, ...]:
    """Open purchase lines that are counted on later, those moved most first."""
    pairs = zip(dataset.purchases, believed_data.purchases, strict=True)
    return _later(
        (f"{old.order}/{old.line}", _days(settings, old.due, new.due)) for old, new in pairs
    )


def later_sources(dataset: Dataset, believed_data: Dataset) -> tuple[Later, ...]:
    """Sources that take longer, as part, supplier and point; those moved most first."""
    pairs = zip(dataset.sources, believed_data.sources, strict=True)
    return _later(
        (f"{old.part} of {old.supplier} to {old.point}", new.lead_days - old.lead_days)
        for old, new in pairs
    )


def beliefs(
    dataset: Dataset, believed_data: Dataset, settings: Settings, choice: Choice
) -> tuple[str, ...]:
    """Sentences on what a plan takes for granted that believes the record; none for `stated`."""
    if choice == STATED:
        return ()
    sources = later_sources(dataset, believed_data)
    lines = later_purchases(dataset, believed_data, settings)
    longest = f", {sources[0].name} by {_text(sources[0].days)}" if sources else ""
    latest = f", {lines[0].name} by {_text(lines[0].days)}" if lines else ""
    return (
        f"lead times by the record, of {SHARE_OF[choice]} of 100 deliveries ({choice}): "
        f"{len(sources)} of {counted(len(dataset.sources), 'source', 'sources')} longer than "
        f"stated{longest}; {len(lines)} of "
        f"{counted(len(dataset.purchases), 'open purchase line', 'open purchase lines')} later "
        f"than due{latest}; nothing sooner than stated",
    )


def _text(days: int) -> str:
    return counted(days, "day", "days")


def _days(settings: Settings, old: date, new: date) -> int:
    return (settings.counted_on(new) - settings.counted_on(old)).days


def _later(rows: Iterable[tuple[str, int]]) -> tuple[Later, ...]:
    found = [Later(name, days) for name, days in rows if days > 0]
    return tuple(sorted(found, key=lambda row: (-row.days, row.name)))

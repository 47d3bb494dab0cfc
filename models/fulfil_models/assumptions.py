"""What did the plan take for granted? Said with every plan."""

from __future__ import annotations

from datetime import timedelta

from fulfil_models.findings import counted
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset


def assumptions(dataset: Dataset, settings: Settings) -> tuple[str, ...]:
    """Sentences on the planning date, on new purchases that wait and on open ones in doubt."""
    notes = [f"planning date {settings.as_of}"]
    if settings.orders_wait:
        notes.append(f"no new purchase is placed before {settings.first_order_day}")
    return (*notes, *purchases_assumed(dataset, settings))


def purchases_assumed(dataset: Dataset, settings: Settings) -> tuple[str, ...]:
    """Sentences on open purchases that are past due or not confirmed."""
    notes = []
    past = sorted((row.order, row.line) for row in dataset.purchases if row.due < settings.as_of)
    if past:
        day = settings.as_of + timedelta(settings.overdue_days)
        names = ", ".join(f"{order}/{line}" for order, line in past[:5])
        more = f" and {len(past) - 5} more" if len(past) > 5 else ""
        notes.append(f"past-due purchase lines are counted on {day}: {names}{more}")
    unconfirmed = sum(not row.confirmed for row in dataset.purchases)
    if unconfirmed:
        lines = counted(unconfirmed, "open purchase line has", "open purchase lines have")
        notes.append(f"{lines} no confirmed date")
    return tuple(notes)

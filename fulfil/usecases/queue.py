"""What production asks: what starts when on which station, and are its parts there?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from fulfil_models.assumptions import purchases_assumed

from fulfil.usecases.basis import Basis, basis_of, planned_data, settings_at
from fulfil.usecases.names import meant

if TYPE_CHECKING:
    from fulfil_models.queue import QueueEntry

    from fulfil.store.session import Store


@dataclass(frozen=True, slots=True)
class QueueAnswer:
    """Operations that start within `days` calendar days of the planning date, by work centre.

    Attributes
    ----------
    next_start: of the first operation that starts later; None where none does.
    assumed: what the plan took for granted, in sentences.
    """

    basis: Basis
    days: int
    entries: tuple[QueueEntry, ...]
    next_start: datetime | None
    assumed: tuple[str, ...] = ()


TABLES = (
    "settings",
    "points",
    "calendars",
    "shifts",
    "closures",
    "parts",
    "work_centres",
    "downtime",
    "routings",
    "progress",
    "purchases",
)


def queue(
    store: Store, number: int | None = None, *, work_centre: str | None = None, days: int = 7
) -> QueueAnswer:
    """The queue of one work centre or of all."""
    from fulfil_models.queue import next_start
    from fulfil_models.queue import queue as queue_of

    basis = basis_of(store, number)
    dataset = planned_data(store, basis, TABLES)
    if work_centre is not None:
        known = [row.work_centre for row in dataset.work_centres]
        work_centre = meant("work centre", work_centre, known)
    plan = store.plan(basis.plan).plan
    later = next_start(plan, plan.as_of + timedelta(days), work_centre)
    return QueueAnswer(
        basis,
        days,
        queue_of(dataset, plan, work_centre=work_centre, days=days),
        None if later is None else later.start,
        purchases_assumed(dataset, settings_at(dataset, basis)),
    )

"""What production asks: what starts when on which station, and are its parts there?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fulfil.usecases.basis import Basis, basis_of, refuse_unknown

if TYPE_CHECKING:
    from fulfil_models.queue import QueueEntry

    from fulfil.store.session import Store


@dataclass(frozen=True, slots=True)
class QueueAnswer:
    """Operations that start within `days` calendar days of the planning date, by work centre."""

    basis: Basis
    days: int
    entries: tuple[QueueEntry, ...]


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
)


def queue(
    store: Store, number: int | None = None, *, work_centre: str | None = None, days: int = 7
) -> QueueAnswer:
    """The queue of one work centre or of all."""
    from fulfil_models.queue import queue as queue_of

    basis = basis_of(store, number)
    dataset = store.dataset(TABLES)
    if work_centre is not None:
        known = [row.work_centre for row in dataset.work_centres]
        if work_centre not in known:
            raise refuse_unknown("work centre", work_centre, known)
    plan = store.plan(basis.plan).plan
    return QueueAnswer(basis, days, queue_of(dataset, plan, work_centre=work_centre, days=days))

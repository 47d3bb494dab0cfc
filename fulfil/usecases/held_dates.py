"""When would what is held ship now that the data, or the day, are not those it was made from?

A hold keeps units and places in the queue. That its purchases come when they were to, and that what
it counts on is ordered in time, it cannot keep: so its date is worked out anew, as it is when the
quote is accepted.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from fulfil.errors import Refused, RejectedPlan
from fulfil.usecases.current import Current, Hold, current, go_on, taken_by_holds
from fulfil.usecases.quote_documents import NAME, with_request

if TYPE_CHECKING:
    from fulfil_models.plan import Plan

    from fulfil.store.session import Store


def ship_days_now(store: Store, holds: Iterable[Hold]) -> dict[int, date]:
    """Day on which the last of each hold would ship if it were accepted now, by its quote.

    Those that no plan can go on with are not in it. The plan that stands has to be of the data and
    the day as they are.
    """
    try:
        now = current(store)
    except Refused:
        return {}
    found = {}
    for hold in holds:
        day = _ships(store, now, hold)
        if day is not None:
            found[hold.quote.number] = day
    return found


def _ships(store: Store, now: Current, hold: Hold) -> date | None:
    from fulfil_models.ready import last_ship_day
    from fulfil_models.renaming import renamed
    from fulfil_models.taken import apart, joined

    others = tuple(row for row in now.holds if row.quote.number != hold.quote.number)
    drawing = hold.drawing(now.believed, taken_by_holds(others, now.believed, now.basis.plan))
    own = hold.quote.plan != now.basis.plan
    piece = renamed(drawing, {NAME: hold.name})
    piece = apart(piece, now.believed, f"{hold.name}:", own, hold.offer.orders)
    names = {row.build for row in piece.builds} | {row.order for row in piece.shipments}
    try:
        plan = go_on(
            store,
            f"plan {now.basis.plan}",
            joined(now.plan, piece),
            with_request(now.dataset, hold.request),
            now.settings,
            others,
            now.premises,
        )
    except (Refused, RejectedPlan):
        return None
    return last_ship_day(_of(plan, names))


def _of(plan: Plan, names: set[str]) -> Plan:
    """What a plan has of some builds and orders."""
    return replace(
        plan,
        builds=tuple(row for row in plan.builds if row.build in names),
        shipments=tuple(row for row in plan.shipments if row.order in names),
    )

"""Which new orders of a plan could be left out, or be smaller, with everybody served all the same?

It is told by the data and the plan alone: at every moment at which units of a part leave a point's
supplies there must be as many as have left by then.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time

from fulfil_models.audit_frame import Frame
from fulfil_models.plan import Plan, Supply, SupplyKind
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset

Place = tuple[str, str]
"""a part and a point"""
Row = tuple[datetime, int]
"""a moment, and thousandths that come or leave then"""


def needless(dataset: Dataset, settings: Settings, plan: Plan) -> list[str]:
    """Names of such orders. Shipments of parts orders keep their units where a delivery costs
    anything, since with others they would ship on another day."""
    frame = Frame(dataset, settings, plan, None)
    fixed: defaultdict[str, int] = defaultdict(int)
    leaves: defaultdict[Place, list[Row]] = defaultdict(list)
    for name, moment, milli, stays in _draws(frame):
        supply = frame.supplies[name]
        if stays:
            fixed[name] += milli
        else:
            leaves[supply.part, supply.point].append((moment, milli))
    orders = [row for row in plan.supplies if row.kind is SupplyKind.NEW_PURCHASE]
    found = []
    for order in orders:
        place = order.part, order.point
        comes = list(_exists(frame, place, fixed))
        for row in orders:
            if (row.part, row.point) == place:
                quantity_milli = _next_smaller(frame, row) if row is order else row.quantity_milli
                comes.append((row.usable, quantity_milli - fixed[row.supply]))
        if all(milli >= 0 for _, milli in comes) and _served(comes, leaves[place]):
            found.append(order.supply)
    return found


def _draws(frame: Frame) -> Iterator[tuple[str, datetime, int, bool]]:
    """(supply, when units leave it, how many, whether they must come from it)"""
    at_once = {
        (frame.jobs[row.job].build, row.start)
        for row in frame.plan.operations
        if row.start == row.end
    }
    for peg in frame.plan.pegs:
        at = frame.moment(peg.job, peg.operation) or peg.usable
        if (frame.jobs[peg.job].build, at) in at_once:
            # work of no length may be done the evening before, so it takes what is there by then
            at = datetime.combine(at.date(), time.min)
        yield peg.supply, at, peg.quantity_milli, False
    for row in frame.plan.shipments:
        way = frame.delivery(row.point, frame.lines[row.order, row.line].destination)
        assert way is not None
        moved = frame.supplies[row.supply].kind is SupplyKind.TRANSFER
        yield row.supply, _night(row.ships), row.quantity_milli, bool(moved or way.cost_micro)
    for supply in frame.plan.supplies:
        if supply.from_supply is not None and supply.leaves_on is not None:
            yield supply.from_supply, _night(supply.leaves_on), supply.quantity_milli, False


def _night(day: date) -> datetime:
    return datetime.combine(day, time.max)


def _exists(frame: Frame, place: Place, fixed: dict[str, int]) -> Iterator[Row]:
    """What is on the shelf and on open purchases, without what must leave them."""
    part, point = place
    of_lot: defaultdict[object, int] = defaultdict(int)
    for supply in frame.plan.supplies:
        lot = (supply.order, supply.line) if supply.kind is SupplyKind.PURCHASE else point
        if supply.kind in (SupplyKind.STOCK, SupplyKind.PURCHASE) and supply.point == point:
            of_lot[lot] += fixed[supply.supply] if supply.part == part else 0
    for row in frame.dataset.stock:
        if (row.part, row.point) == place:
            yield frame.midnight, row.quantity_milli - row.held_milli - of_lot[point]
    for purchase in frame.dataset.purchases:
        if (purchase.part, purchase.point) == place:
            usable = frame.hours[point].opening(frame.due_day(purchase.due))
            lot = (purchase.order, purchase.line)
            yield usable, purchase.quantity_milli - of_lot[lot]


def _next_smaller(frame: Frame, order: Supply) -> int:
    """The largest whole order that is smaller; 0 where there is none."""
    source = frame.sources[order.part, order.supplier or "", order.point]
    step = source.multiple_milli or frame.parts[order.part].step_milli
    smaller = order.quantity_milli - step
    return smaller if smaller >= source.minimum_milli else 0


def _served(comes: Iterable[Row], leaves: Iterable[Row]) -> bool:
    left = 0
    for _, _, milli in sorted(
        [(at, 0, milli) for at, milli in comes] + [(at, 1, -milli) for at, milli in leaves]
    ):
        left += milli
        if left < 0:
            return False
    return True

"""From where does each line of a parts order ship, and when does it arrive?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fulfil_models.moves import weight_of
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.tables import Dataset, PartsOrder
from fulfil_models.uses import PlanIndex


@dataclass(frozen=True, slots=True)
class Parcel:
    """What ships for a line from one point on one day."""

    point: str
    used: str
    quantity_milli: int
    ships: date
    arrives: date
    source: SupplyKind
    """kind of the supply it comes from; of a transfer, of the supply moved"""
    weight_g: int | None


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One line of a parts order.

    Attributes
    ----------
    promised: the day it must ship by; None where it is bound by `within_days`, or by nothing.
    late_days: calendar days its last parcel is late.
    lacks: parts that can never come, where the line cannot be filled; else empty.
    """

    order: str
    line: str
    part: str
    description: str | None
    quantity_milli: int
    ordered: date | None
    destination: str | None
    within_days: int | None
    promised: date | None
    late_days: int
    ships: date | None
    arrives: date | None
    parcels: tuple[Parcel, ...]
    lacks: tuple[str, ...]
    caution: str | None


def order_lines(dataset: Dataset, plan: Plan) -> tuple[OrderLine, ...]:
    """Every line of the plan's parts orders, in order of order and line."""
    index = PlanIndex(plan)
    parts = {row.part: row for row in dataset.parts}
    rows = {(row.order, row.line): row for row in dataset.parts_orders}
    parcels: dict[tuple[str, str], dict[tuple[str, str, date, date, SupplyKind], int]] = {}
    late: dict[tuple[str, str], int] = {}
    called: dict[tuple[str, str], str] = {}
    for ship in plan.shipments:
        key = (ship.order, ship.line)
        called[key] = ship.part
        late[key] = max(late.get(key, 0), ship.late_days)
        kind = index.root(index.supplies[ship.supply]).kind
        parcel = (ship.point, ship.used, ship.ships, ship.arrives, kind)
        line = parcels.setdefault(key, {})
        line[parcel] = line.get(parcel, 0) + ship.quantity_milli
    lacks = {row.key: row.parts for row in plan.stranded if row.kind == "parts_order"}
    found: list[OrderLine] = []
    for key in sorted({*parcels, *(key for key in rows if "/".join(key) in lacks)}):
        row: PartsOrder | None = rows.get(key)
        part = parts.get(called[key] if row is None else row.part)
        shipped = tuple(
            Parcel(
                point, used, quantity, ships, arrives, kind, weight_of(parts.get(used), quantity)
            )
            for (point, used, ships, arrives, kind), quantity in sorted(
                parcels.get(key, {}).items(), key=lambda entry: (entry[0][2], entry[0])
            )
        )
        found.append(
            OrderLine(
                order=key[0],
                line=key[1],
                part=called[key] if row is None else row.part,
                description=None if part is None else part.description,
                quantity_milli=sum(parcel.quantity_milli for parcel in shipped)
                if row is None
                else row.quantity_milli,
                ordered=None if row is None else row.ordered,
                destination=None if row is None else row.destination,
                within_days=None if row is None else row.within_days,
                promised=None if row is None else row.promised,
                late_days=late.get(key, 0),
                ships=max((parcel.ships for parcel in shipped), default=None),
                arrives=max((parcel.arrives for parcel in shipped), default=None),
                parcels=shipped,
                lacks=() if shipped else lacks.get("/".join(key), ()),
                caution=None if part is None else part.caution,
            )
        )
    return tuple(found)

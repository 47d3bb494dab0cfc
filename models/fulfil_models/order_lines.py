"""From where does each line of a parts order ship, and when does it arrive?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fulfil_models.moves import weight_of
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.plan_index import Origin, PlanIndex, origin_of
from fulfil_models.problem import carrier_day
from fulfil_models.stranded import line_key
from fulfil_models.tables import Dataset, PartsOrder


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
    late_days: int
    origins: tuple[Origin, ...]
    """the supplies it is taken from"""


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One line of a parts order.

    Attributes
    ----------
    promised: the day it must ship by; None where it is bound by `within_days`, or by nothing.
    arrive_by: the day it must arrive by, where it is bound by `within_days` alone: so many carrier
        days (Mon-Fri) after it was ordered.
    split: it may ship from several points.
    late_days: calendar days its last parcel is late.
    lacks: parts that can never come, where the line cannot be filled; else empty.
    """

    order: str
    line: str
    part: str
    description: str | None
    quantity_milli: int
    unit: str
    ordered: date | None
    destination: str | None
    within_days: int | None
    promised: date | None
    arrive_by: date | None
    split: bool
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
    origins: dict[tuple[str, str, str, str, date], dict[str, Origin]] = {}
    late: dict[tuple[str, str], int] = {}
    parcel_late: dict[tuple[str, str, str, str, date], int] = {}
    called: dict[tuple[str, str], str] = {}
    for ship in plan.shipments:
        key = (ship.order, ship.line)
        called[key] = ship.part
        late[key] = max(late.get(key, 0), ship.late_days)
        parcel_late[*key, ship.point, ship.used, ship.ships] = ship.late_days
        supply = index.supplies[ship.supply]
        kind = index.root(supply).kind
        origins.setdefault((*key, ship.point, ship.used, ship.ships), {})[ship.supply] = origin_of(
            index, supply
        )
        parcel = (ship.point, ship.used, ship.ships, ship.arrives, kind)
        line = parcels.setdefault(key, {})
        line[parcel] = line.get(parcel, 0) + ship.quantity_milli
    lacks = {row.key: row.parts for row in plan.stranded if row.kind == "parts_order"}
    found: list[OrderLine] = []
    for key in sorted({*parcels, *(key for key in rows if line_key(*key) in lacks)}):
        row: PartsOrder | None = rows.get(key)
        part = parts.get(called[key] if row is None else row.part)
        shipped = tuple(
            Parcel(
                point,
                used,
                quantity,
                ships,
                arrives,
                kind,
                weight_of(parts.get(used), quantity),
                parcel_late[*key, point, used, ships],
                tuple(
                    origin
                    for _, origin in sorted(origins[*key, point, used, ships].items())
                    if origin.first is kind
                ),
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
                unit="ea" if part is None else part.unit,
                ordered=None if row is None else row.ordered,
                destination=None if row is None else row.destination,
                within_days=None if row is None else row.within_days,
                promised=None if row is None else row.promised,
                arrive_by=None if row is None else _arrive_by(row),
                split=row is None or row.split,
                late_days=late.get(key, 0),
                ships=max((parcel.ships for parcel in shipped), default=None),
                arrives=max((parcel.arrives for parcel in shipped), default=None),
                parcels=shipped,
                lacks=() if shipped else lacks.get(line_key(*key), ()),
                caution=None if part is None else part.caution,
            )
        )
    return tuple(found)


def _arrive_by(row: PartsOrder) -> date | None:
    if row.promised is not None or row.within_days is None:
        return None
    return carrier_day(row.ordered, row.within_days)

"""Small records of deliveries in one line, and the lead times that are learnt from them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from fulfil_models.leadtimes import (
    SHARES,
    LeadTime,
    lead_times,
)
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset, Purchase, Receipt, Source

AS_OF = date(2026, 3, 2)
SETTINGS = Settings(as_of=AS_OF)
Key = tuple[str, str]
ENGINE: Key = ("ENGINE", "S1")


def came(
    *days: int,
    part: str = "ENGINE",
    supplier: str = "S1",
    point: str = "A",
    ago: int = 200,
    due: int | None = None,
) -> tuple[Receipt, ...]:
    """Deliveries that took so many days, all ordered `ago` days before the planning date."""
    ordered = AS_OF - timedelta(ago)
    return tuple(
        Receipt(
            order=f"{part}-{supplier}-{point}-{ago}",
            line=str(number),
            part=part,
            supplier=supplier,
            point=point,
            quantity_milli=1000,
            ordered=ordered,
            due=None if due is None else ordered + timedelta(due),
            received=ordered + timedelta(taken),
        )
        for number, taken in enumerate(days, 1)
    )


def still_open(
    *ages: int, part: str = "ENGINE", supplier: str = "S1", due: int = 100
) -> tuple[Purchase, ...]:
    """Lines ordered so many days ago, due so many days after their order."""
    return tuple(
        Purchase(
            order=f"open-{part}-{supplier}",
            line=str(number),
            part=part,
            supplier=supplier,
            point="A",
            quantity_milli=1000,
            ordered=AS_OF - timedelta(age),
            due=AS_OF + timedelta(due - age),
        )
        for number, age in enumerate(ages, 1)
    )


def source(lead_days: int, part: str = "ENGINE", supplier: str = "S1", point: str = "A") -> Source:
    return Source(part=part, supplier=supplier, point=point, lead_days=lead_days)


def data(
    sources: Iterable[Source] = (),
    receipts: Iterable[Receipt] = (),
    purchases: Iterable[Purchase] = (),
) -> Dataset:
    return Dataset(sources=tuple(sources), receipts=tuple(receipts), purchases=tuple(purchases))


def learnt(dataset: Dataset, key: Key = ENGINE) -> LeadTime:
    return lead_times(dataset, SETTINGS)[key]


def days(lead: LeadTime) -> list[int]:
    return [lead.days(share) for share in SHARES]

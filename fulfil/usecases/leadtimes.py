"""How long do parts take from their suppliers by the record, and how well are due dates kept?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from fulfil.clock import today
from fulfil.errors import Refused
from fulfil.usecases.basis import require_data, settings_of
from fulfil.usecases.names import meant

if TYPE_CHECKING:
    from fulfil_models.lead_record import Observed
    from fulfil_models.leadtimes import LeadTime, SupplierRecord
    from fulfil_models.settings import Settings
    from fulfil_models.tables import Dataset

    from fulfil.store.session import Store

TABLES = ("settings", "parts", "suppliers", "sources", "purchases", "receipts")


@dataclass(frozen=True, slots=True)
class LeadTimesAnswer:
    """Lead times, those first that may take longest beyond what is stated.

    Attributes
    ----------
    as_of: the planning date: the record is looked at as it was then.
    total: parts and suppliers there are, shown or not.
    supplier: the one asked for, over all its parts; None where all are shown.
    tested, drifted: rows that were tested for drift by a record of their own, and those of them
        that drifted by more than chance.
    """

    as_of: date
    total: int
    rows: tuple[LeadTime, ...]
    supplier: SupplierRecord | None
    supplier_name: str | None
    tested: int
    drifted: int


@dataclass(frozen=True, slots=True)
class OpenLine:
    """A purchase line still to come: when, by the record."""

    line: Observed
    expected_50: date
    expected_90: date


@dataclass(frozen=True, slots=True)
class PartLead:
    """One part from one supplier, with all that was learnt from."""

    lead: LeadTime
    supplier_name: str | None
    came: tuple[Observed, ...]
    open_lines: tuple[OpenLine, ...]


@dataclass(frozen=True, slots=True)
class PartLeadsAnswer:
    """One part from each of its suppliers."""

    as_of: date
    part: str
    description: str | None
    unit: str
    suppliers: tuple[PartLead, ...]


def lead_times(store: Store, *, supplier: str | None = None) -> LeadTimesAnswer:
    """Of every part and supplier, or of one supplier."""
    from fulfil_models.leadtimes import LearntFrom, supplier_records
    from fulfil_models.leadtimes import lead_times as leads_of

    dataset, settings = _data(store)
    if supplier is not None:
        supplier = meant("supplier", supplier, (row.supplier for row in dataset.suppliers))
    found = leads_of(dataset, settings)
    rows = sorted(
        (row for row in found.values() if supplier in (None, row.supplier)),
        key=lambda row: (-_longer_days(row), row.part, row.supplier),
    )
    tested = [row.drift for row in rows if row.drift and row.learnt_from is LearntFrom.OWN]
    return LeadTimesAnswer(
        as_of=settings.as_of,
        total=len(found),
        rows=tuple(rows),
        supplier=None if supplier is None else supplier_records(dataset, settings).get(supplier),
        supplier_name=_names(dataset).get(supplier or ""),
        tested=len(tested),
        drifted=sum(drift.more_than_chance for drift in tested),
    )


def _longer_days(row: LeadTime) -> int:
    """Days beyond what is stated within which 90 of 100 come."""
    return row.p90_days - (row.stated_days or 0)


def part_lead_times(store: Store, name: str, *, supplier: str | None = None) -> PartLeadsAnswer:
    """Of one part, from each of its suppliers or from one, with the deliveries behind it.

    Raises Refused for a supplier that the part has nothing to do with.
    """
    from fulfil_models.lead_record import records
    from fulfil_models.leadtimes import lead_times as leads_of

    dataset, settings = _data(store)
    name = meant("part", name, (row.part for row in dataset.parts))
    if supplier is not None:
        supplier = meant("supplier", supplier, (row.supplier for row in dataset.suppliers))
    part = next(row for row in dataset.parts if row.part == name)
    known = records(dataset, settings.as_of)
    _refuse_other_supplier(name, supplier, [by for of, by in known if of == name])
    names = _names(dataset)
    return PartLeadsAnswer(
        as_of=settings.as_of,
        part=part.part,
        description=part.description,
        unit=part.unit,
        suppliers=tuple(
            _part_lead(lead, known[offer].observed, names.get(lead.supplier), settings)
            for offer, lead in leads_of(dataset, settings, parts={name}).items()
            if supplier in (None, lead.supplier)
        ),
    )


def _refuse_other_supplier(part: str, supplier: str | None, known: list[str]) -> None:
    if supplier is None or supplier in known:
        return
    raise Refused(
        f"no source, receipt or purchase of {part} names {supplier}",
        f"{part} comes from {' or '.join(known)}" if known else f"nobody is named for {part}",
    )


def _part_lead(
    lead: LeadTime, observed: tuple[Observed, ...], name: str | None, settings: Settings
) -> PartLead:
    from fulfil_models.leadtimes import arrival

    as_of = settings.as_of
    lines = [
        OpenLine(
            line=row,
            expected_50=arrival(lead, row.ordered, row.due or as_of, as_of, "50", row.point),
            expected_90=arrival(lead, row.ordered, row.due or as_of, as_of, "90", row.point),
        )
        for row in observed
        if not row.completed
    ]
    came = sorted(
        (row for row in observed if row.received is not None),
        key=lambda row: (row.received or as_of, row.order, row.line),
        reverse=True,
    )
    return PartLead(
        lead=lead,
        supplier_name=name,
        came=tuple(came),
        open_lines=tuple(sorted(lines, key=lambda row: (row.expected_50, row.line.ordered))),
    )


def _data(store: Store) -> tuple[Dataset, Settings]:
    require_data(store)
    dataset = store.dataset(TABLES)
    return dataset, settings_of(dataset, today())


def _names(dataset: Dataset) -> dict[str, str | None]:
    return {row.supplier: row.name for row in dataset.suppliers}

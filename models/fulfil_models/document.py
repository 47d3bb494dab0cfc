"""A plan as the plan document, and back: plain dictionaries that JSON can carry.

Quantities are whole numbers where they can be, else the decimal fraction; dates are ISO text.
Money becomes the nearest binary fraction here and nowhere else: `to_document` is the edge.
Figures that follow from others (the total, the gap) are computed from the others as the document
carries them, so that a document that is read and written again is the same document.
"""

from __future__ import annotations

from datetime import date, datetime
from fractions import Fraction

from fulfil_models.cells import MILLI, format_datetime
from fulfil_models.document_reading import (
    DATES,
    FORMAT,
    KIND_FIELDS,
    DocumentError,
    Row,
    exact,
    from_document,
)
from fulfil_models.plan import (
    COSTS,
    Peg,
    Plan,
    PlannedBuild,
    PlannedJob,
    PlannedOperation,
    Shipment,
    Supply,
    gap_of,
)

__all__ = ["DocumentError", "from_document", "quantity_number", "to_document"]


def to_document(
    plan: Plan,
    *,
    number: int = 0,
    seconds: float = 0.0,
    lead_times: str = "stated",
    orders_from: date | None = None,
) -> Row:
    """The plan document of a plan.

    Parameters
    ----------
    number: under which the plan is kept; 0 for one that is not.
    seconds: that it took to compute.
    lead_times: whose word on them counts (`believing.Choice`); not named if what is stated does.
    orders_from: first day of new purchases; not named where it is None, the planning date.
    """
    costs: Row = {kind: float(getattr(plan.objective, kind)) for kind in COSTS}
    bound = float(plan.bound)
    total = sum((exact(costs[kind]) for kind in COSTS), Fraction(0))
    return {
        "format": FORMAT,
        "plan": number,
        "as_of": plan.as_of.isoformat(),
        "status": plan.status.value,
        "objective": {"total": float(total), **costs},
        "bound": bound,
        "gap": float(gap_of(total, exact(bound))),
        "weighted_late_minutes": _number(plan.weighted_late_minutes),
        "seconds": seconds,
        **({} if lead_times == "stated" else {"lead_times": lead_times}),
        **({} if orders_from is None else {"orders_from": orders_from.isoformat()}),
        "builds": [_write_build(build) for build in plan.builds],
        "jobs": [_write_job(job) for job in plan.jobs],
        "operations": [_write_operation(operation) for operation in plan.operations],
        "pegs": [_write_peg(peg) for peg in plan.pegs],
        "shipments": [_write_shipment(shipment) for shipment in plan.shipments],
        "supplies": [_write_supply(supply) for supply in plan.supplies],
        "stranded": [
            {"kind": row.kind, "key": row.key, "parts": list(row.parts)} for row in plan.stranded
        ],
        "notes": list(plan.notes),
    }


def quantity_number(milli: int) -> int | float:
    """A quantity in thousandths as the number a document carries."""
    return milli // MILLI if milli % MILLI == 0 else milli / MILLI


def _number(value: Fraction) -> int | float:
    return value.numerator if value.denominator == 1 else float(value)


def _moment(value: date | datetime | None) -> str | None:
    if value is None:
        return None
    return format_datetime(value) if isinstance(value, datetime) else value.isoformat()


def _write_build(build: PlannedBuild) -> Row:
    return {
        "build": build.build,
        "product": build.product,
        "point": build.point,
        "ordered": build.ordered.isoformat(),
        "promised": _moment(build.promised),
        "finish": format_datetime(build.finish),
        "ships": build.ships.isoformat(),
        "late_minutes": build.late_minutes,
        "late_days": build.late_days,
        "lead_days": build.lead_days,
        "reasons": [
            {
                "job": reason.job,
                "operation": reason.operation,
                "kind": reason.kind.value,
                "what": reason.what,
                "at": format_datetime(reason.at),
                "why": reason.why,
            }
            for reason in build.reasons
        ],
        "blockers": [
            {
                "kind": blocker.kind.value,
                "what": blocker.what,
                "until": _moment(blocker.until),
                "days": blocker.days,
                "why": blocker.why,
                "supply": blocker.supply,
                "ahead": list(blocker.ahead),
            }
            for blocker in build.blockers
        ],
    }


def _write_job(job: PlannedJob) -> Row:
    return {
        "job": job.job,
        "build": job.build,
        "part": job.part,
        "quantity": quantity_number(job.quantity_milli),
        "for_job": job.for_job,
        "for_operation": job.for_operation,
    }


def _write_operation(operation: PlannedOperation) -> Row:
    return {
        "job": operation.job,
        "operation": operation.operation,
        "work_centre": operation.work_centre,
        "start": format_datetime(operation.start),
        "end": format_datetime(operation.end),
    }


def _write_peg(peg: Peg) -> Row:
    return {
        "job": peg.job,
        "operation": peg.operation,
        "part": peg.part,
        "used": peg.used,
        "quantity": quantity_number(peg.quantity_milli),
        "supply": peg.supply,
        "point": peg.point,
        "usable": format_datetime(peg.usable),
    }


def _write_shipment(shipment: Shipment) -> Row:
    return {
        "order": shipment.order,
        "line": shipment.line,
        "part": shipment.part,
        "used": shipment.used,
        "quantity": quantity_number(shipment.quantity_milli),
        "supply": shipment.supply,
        "point": shipment.point,
        "ships": shipment.ships.isoformat(),
        "arrives": shipment.arrives.isoformat(),
        "late_days": shipment.late_days,
    }


def _write_supply(supply: Supply) -> Row:
    row: Row = {
        "supply": supply.supply,
        "kind": supply.kind.value,
        "part": supply.part,
        "point": supply.point,
        "quantity": quantity_number(supply.quantity_milli),
        "usable": format_datetime(supply.usable),
    }
    for name in KIND_FIELDS[supply.kind]:
        value = getattr(supply, name)
        row[name] = _moment(value) if name in DATES else value
    return row

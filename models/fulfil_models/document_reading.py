"""A plan document read back into a plan, and the form that reading and writing share."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from fractions import Fraction
from typing import Any, TypeVar

from fulfil_models.cells import MILLI, CellError, parse_date, parse_datetime
from fulfil_models.plan import (
    COSTS,
    Blocker,
    BlockerKind,
    Objective,
    Peg,
    Plan,
    PlannedBuild,
    PlannedJob,
    PlannedOperation,
    Reason,
    Shipment,
    Status,
    Stranded,
    Supply,
    SupplyKind,
)

FORMAT = 1

ROUNDING = Fraction(1, 10**9)
"""share by which a figure computed from others may differ: more than binary fractions need"""

Row = dict[str, Any]
T = TypeVar("T")

KIND_FIELDS: dict[SupplyKind, tuple[str, ...]] = {
    SupplyKind.STOCK: (),
    SupplyKind.PURCHASE: ("order", "line"),
    SupplyKind.NEW_PURCHASE: ("supplier", "place_on", "arrives_on", "expedited"),
    SupplyKind.TRANSFER: ("origin", "from_supply", "leaves_on", "arrives_on"),
    SupplyKind.JOB: ("job",),
}
"""what a supply says besides part, point, quantity and time, by its kind"""

DATES = ("place_on", "arrives_on", "leaves_on")


class DocumentError(ValueError):
    """A plan document that cannot be read: where, and what is wrong there."""


def from_document(document: Row) -> Plan:
    """The plan that a plan document carries, exactly as it carries it.

    The document's own `plan` and `seconds` are not part of a plan.

    Raises
    ------
    DocumentError
        Where something is missing or is not of the right kind, naming the place; where the total
        or the gap is not what the other figures make.
    """
    if document.get("format") != FORMAT:
        raise DocumentError(f"format is {document.get('format')!r}, not {FORMAT}")
    top = _Reader("document", document)
    objective = top.inner("objective")
    plan = Plan(
        as_of=top.day("as_of"),
        status=top.choice("status", Status),
        objective=Objective(**{kind: objective.fraction(kind) for kind in COSTS}),
        bound=top.fraction("bound"),
        weighted_late_minutes=top.fraction("weighted_late_minutes"),
        builds=top.each("builds", _read_build),
        jobs=top.each("jobs", _read_job),
        operations=top.each("operations", _read_operation),
        pegs=top.each("pegs", _read_peg),
        shipments=top.each("shipments", _read_shipment),
        supplies=top.each("supplies", _read_supply),
        stranded=top.each("stranded", _read_stranded) if "stranded" in document else (),
        notes=top.words("notes") if "notes" in document else (),
    )
    _must_be(objective.fraction("total"), plan.objective.total, "total")
    if "gap" in document:
        _must_be(top.fraction("gap"), plan.gap, "gap")
    return plan


def _must_be(stated: Fraction, computed: Fraction, what: str) -> None:
    """Raises DocumentError where a figure is off by more than the rounding of its writer."""
    if abs(stated - computed) > ROUNDING * max(Fraction(1), abs(computed)):
        raise DocumentError(f"{what} is {float(stated)}, the figures make {float(computed)}")


def exact(value: object) -> Fraction:
    """The number as its shortest decimal text says it: 0.1 is a tenth. Raises ValueError."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError
    return Fraction(repr(value))


class _Reader:
    """One object of a document, whose fields are read by kind and named when they are wrong."""

    def __init__(self, place: str, row: object) -> None:
        if not isinstance(row, dict):
            raise DocumentError(f"{place} is not an object")
        self.place = place
        self.row: Row = row

    def _get(self, name: str, read: Callable[[Any], T], wanted: str) -> T:
        if name not in self.row:
            raise DocumentError(f"{self.place} has no {name}")
        try:
            return read(self.row[name])
        except (ValueError, TypeError, CellError):
            raise DocumentError(
                f"{self.place}: {name} is {self.row[name]!r}, not {wanted}"
            ) from None

    def inner(self, name: str) -> _Reader:
        return _Reader(f"{self.place}.{name}", self.row.get(name))

    def each(self, name: str, read: Callable[[_Reader], T]) -> tuple[T, ...]:
        rows = self._get(name, _as_list, "a list")
        return tuple(read(_Reader(f"{name}[{i}]", row)) for i, row in enumerate(rows))

    def text(self, name: str) -> str:
        return self._get(name, _as_text, "a text")

    def text_or_none(self, name: str) -> str | None:
        return None if self.row.get(name) is None else self.text(name)

    def words(self, name: str) -> tuple[str, ...]:
        return self._get(name, lambda rows: tuple(_as_text(r) for r in _as_list(rows)), "texts")

    def count(self, name: str) -> int:
        return self._get(name, _as_count, "a whole number")

    def count_or_none(self, name: str) -> int | None:
        return None if self.row.get(name) is None else self.count(name)

    def yes_no(self, name: str) -> bool:
        return self._get(name, _as_yes_no, "true or false")

    def fraction(self, name: str) -> Fraction:
        return self._get(name, exact, "a number")

    def milli(self, name: str) -> int:
        return self._get(name, _as_milli, "a number with at most three places")

    def day(self, name: str) -> date:
        return self._get(name, lambda value: parse_date(_as_text(value)), "a date")

    def moment(self, name: str) -> datetime:
        return self._get(name, lambda value: parse_datetime(_as_text(value)), "a date and time")

    def moment_or_none(self, name: str) -> datetime | None:
        return None if self.row.get(name) is None else self.moment(name)

    def either_or_none(self, name: str) -> date | datetime | None:
        value = self.row.get(name)
        if value is None:
            return None
        return self.moment(name) if "T" in str(value) else self.day(name)

    def choice(self, name: str, kinds: Callable[[str], T]) -> T:
        return self._get(name, kinds, "one of the known kinds")


def _as_text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError
    return value


def _as_list(value: object) -> list[Any]:
    if not isinstance(value, list):
        raise TypeError
    return value


def _as_count(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise TypeError
    return value


def _as_yes_no(value: object) -> bool:
    if not isinstance(value, bool):
        raise TypeError
    return value


def _as_milli(value: object) -> int:
    milli = exact(value) * MILLI
    if milli.denominator != 1:
        raise ValueError
    return milli.numerator


def _read_build(row: _Reader) -> PlannedBuild:
    return PlannedBuild(
        build=row.text("build"),
        product=row.text("product"),
        point=row.text("point"),
        ordered=row.day("ordered"),
        promised=row.either_or_none("promised"),
        finish=row.moment("finish"),
        ships=row.day("ships"),
        late_minutes=row.count("late_minutes"),
        late_days=row.count("late_days"),
        lead_days=row.count("lead_days"),
        reasons=row.each("reasons", _read_reason) if "reasons" in row.row else (),
        blockers=row.each("blockers", _read_blocker),
    )


def _read_reason(row: _Reader) -> Reason:
    return Reason(
        job=row.text("job"),
        operation=row.count_or_none("operation"),
        kind=row.choice("kind", BlockerKind),
        what=row.text("what"),
        at=row.moment("at"),
        why=row.text("why"),
    )


def _read_blocker(row: _Reader) -> Blocker:
    return Blocker(
        kind=row.choice("kind", BlockerKind),
        what=row.text("what"),
        until=row.moment_or_none("until"),
        days=row.count("days"),
        why=row.text("why"),
        supply=row.text_or_none("supply"),
        ahead=row.words("ahead") if "ahead" in row.row else (),
    )


def _read_job(row: _Reader) -> PlannedJob:
    return PlannedJob(
        job=row.text("job"),
        build=row.text("build"),
        part=row.text("part"),
        quantity_milli=row.milli("quantity"),
        for_job=row.text_or_none("for_job"),
        for_operation=row.count_or_none("for_operation"),
    )


def _read_operation(row: _Reader) -> PlannedOperation:
    return PlannedOperation(
        job=row.text("job"),
        operation=row.count("operation"),
        work_centre=row.text("work_centre"),
        start=row.moment("start"),
        end=row.moment("end"),
    )


def _read_peg(row: _Reader) -> Peg:
    return Peg(
        job=row.text("job"),
        operation=row.count_or_none("operation"),
        part=row.text("part"),
        used=row.text("used"),
        quantity_milli=row.milli("quantity"),
        supply=row.text("supply"),
        point=row.text("point"),
        usable=row.moment("usable"),
    )


def _read_shipment(row: _Reader) -> Shipment:
    return Shipment(
        order=row.text("order"),
        line=row.text("line"),
        part=row.text("part"),
        used=row.text("used"),
        quantity_milli=row.milli("quantity"),
        supply=row.text("supply"),
        point=row.text("point"),
        ships=row.day("ships"),
        arrives=row.day("arrives"),
        late_days=row.count("late_days"),
    )


def _read_supply(row: _Reader) -> Supply:
    kind = row.choice("kind", SupplyKind)
    own: Row = {}
    for name in KIND_FIELDS[kind]:
        if name in DATES:
            own[name] = row.day(name)
        elif name == "expedited":
            own[name] = row.yes_no(name)
        else:
            own[name] = row.text(name)
    return Supply(
        supply=row.text("supply"),
        kind=kind,
        part=row.text("part"),
        point=row.text("point"),
        quantity_milli=row.milli("quantity"),
        usable=row.moment("usable"),
        **own,
    )


def _read_stranded(row: _Reader) -> Stranded:
    return Stranded(kind=row.text("kind"), key=row.text("key"), parts=row.words("parts"))

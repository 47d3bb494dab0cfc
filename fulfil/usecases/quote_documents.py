"""A quote as it is kept: what was asked, and what was offered, as documents and back."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from fulfil.errors import Refused
from fulfil.store.moments import moment_of

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator, Mapping

    from fulfil_models.plan import Plan, Shipment
    from fulfil_models.room import Request
    from fulfil_models.tables import Dataset, PartsOrder, Purchase

    from fulfil.store.results import Quote

PLAINLY = ""
"""lever of the first offer, which nothing was done for"""
NUMBERED = "Q"
NAME = "QUOTE"
"""the build or the order that is asked about, until it has a name of its own"""


def quote_name(number: int) -> str:
    """What a quote is called by people."""
    return f"{NUMBERED}{number}"


def quote_number(text: str) -> int:
    """The number of a quote as it is typed, Q7 or 7. Raises Refused for what is none."""
    number = text.strip().upper().removeprefix(NUMBERED)
    if not number.isascii() or not number.isdigit() or int(number) < 1 or len(number) > 9:
        raise Refused(f"{text} is no quote", "quotes are called Q1, Q2 ...: `fulfil holds --all`")
    return int(number)


@dataclass(frozen=True, slots=True)
class Offer:
    """One way in which what was asked for can be had.

    Attributes
    ----------
    lever, what, by: what is done for it; all empty for the plain one.
    ships: day on which the last of it ships.
    arrives: day on which the last shipment of a parts order arrives, else None.
    cost: more than plainly, in the currency.
    request, plan: what is made and sent then, and how.
    orders: new orders of the plan beside it that it draws on.
    """

    lever: str
    what: str
    by: str
    ships: date
    arrives: date | None
    days_sooner: int
    cost: Fraction
    request: Request
    plan: Plan
    orders: tuple[Purchase, ...]


def offer_document(offer: Offer) -> dict[str, Any]:
    from fulfil_models.document import to_document

    return {
        "lever": offer.lever,
        "what": offer.what,
        "by": offer.by,
        "ships": offer.ships.isoformat(),
        "arrives": None if offer.arrives is None else offer.arrives.isoformat(),
        "days_sooner": offer.days_sooner,
        "cost": str(offer.cost),
        "request": request_document(offer.request),
        "plan": to_document(offer.plan),
        "orders": [_row_document(row) for row in offer.orders],
    }


def offer_of(quote: Quote, place: int) -> Offer:
    """An offer of a quote by its place, 0 for the plain one. Raises Refused for one too many."""
    from fulfil_models.document_reading import from_document

    offers = quote.answer["offers"]
    if not 0 <= place < len(offers):
        raise Refused(
            f"{quote_name(quote.number)} has no offer {place}",
            f"it has 0, the plain one, to {len(offers) - 1}"
            if len(offers) > 1
            else "it has only the plain one",
        )
    row = offers[place]
    return Offer(
        lever=row["lever"],
        what=row["what"],
        by=row["by"],
        ships=date.fromisoformat(row["ships"]),
        arrives=None if row["arrives"] is None else date.fromisoformat(row["arrives"]),
        days_sooner=row["days_sooner"],
        cost=Fraction(row["cost"]),
        request=request_of(row["request"]),
        plan=from_document(row["plan"]),
        orders=tuple(_row_of("purchases", order) for order in row["orders"]),
    )


def request_document(request: Request) -> dict[str, Any]:
    return {
        "builds": [_row_document(row) for row in request.builds],
        "build_options": [_row_document(row) for row in request.options],
        "parts_orders": [_row_document(row) for row in request.lines],
    }


def request_of(document: Mapping[str, Any]) -> Request:
    from fulfil_models.room import Request

    def rows(table: str) -> tuple[Any, ...]:
        return tuple(_row_of(table, row) for row in document[table])

    return Request(rows("builds"), rows("build_options"), rows("parts_orders"))


def named(
    request: Request,
    renaming: dict[str, str],
    promised: date,
    customer: str | None = None,
    told: Plan | None = None,
) -> Request:
    """A request under the names of its order, with what is promised, for a customer.

    Parameters
    ----------
    promised: day on which all of it ships, where nothing else was `told`.
    told: the plan of what was quoted, where that is promised: each machine for its own ship day, or
        the day that was wanted of it where that is later; spare parts for their arrival, wherever
        they ship from, unless only a ship date was wanted of them.
    """
    found = called(request, renaming)
    ships = {} if told is None else {row.build: row.ships for row in told.builds}
    arrives = {} if told is None else arrivals_of(told)
    builds = [
        dataclasses.replace(
            row,
            promised=_later(ships.get(asked.build, promised), asked.promised),
            customer=row.customer or customer,
        )
        for asked, row in zip(request.builds, found.builds, strict=True)
    ]
    lines = [
        dataclasses.replace(
            row,
            promised=None,
            within_days=_within(row.ordered, arrives[asked.order, asked.line]),
        )
        if (asked.order, asked.line) in arrives and _is_to_arrive(asked)
        else dataclasses.replace(row, promised=promised)
        for asked, row in zip(request.lines, found.lines, strict=True)
    ]
    return dataclasses.replace(found, builds=tuple(builds), lines=tuple(lines))


def _is_to_arrive(line: PartsOrder) -> bool:
    """Whether the arrival of a line is promised: of two days that are wanted of it the data have
    only one, and it is the arrival that its customer sees."""
    return line.promised is None or line.within_days is not None


def _later(promised: date, wanted: date | datetime | None) -> date | datetime:
    """What is promised of a machine of which a day was wanted, or none."""
    from fulfil_models.cells import day_of

    return promised if wanted is None or day_of(wanted) <= promised else wanted


def arrivals_of(plan: Plan) -> dict[tuple[str, str], date]:
    """By line of a parts order: the day on which the last of it arrives."""
    return _last(plan, lambda row: row.arrives)


def ship_days_of(plan: Plan) -> dict[tuple[str, str], date]:
    """By line of a parts order: the day on which the last of it ships."""
    return _last(plan, lambda row: row.ships)


def _last(plan: Plan, day: Callable[[Shipment], date]) -> dict[tuple[str, str], date]:
    found: dict[tuple[str, str], date] = {}
    for row in plan.shipments:
        key = row.order, row.line
        found[key] = max(day(row), found.get(key, day(row)))
    return found


def _within(ordered: date, arrives: date) -> int:
    """Carrier days from an order to an arrival."""
    from fulfil_models.problem import carrier_day

    days = 0
    while carrier_day(ordered, days) < arrives:
        days += 1
    return days


def called(request: Request, renaming: dict[str, str]) -> Request:
    """A request under other names; `renaming` has the new one by the old."""

    def new(name: str) -> str:
        return renaming.get(name, name)

    return dataclasses.replace(
        request,
        builds=tuple(dataclasses.replace(row, build=new(row.build)) for row in request.builds),
        options=tuple(dataclasses.replace(row, build=new(row.build)) for row in request.options),
        lines=tuple(dataclasses.replace(row, order=new(row.order)) for row in request.lines),
    )


def names_of(request: Request) -> tuple[str, ...]:
    """The builds and orders of a request, each once."""
    names = [row.build for row in request.builds] + [row.order for row in request.lines]
    return tuple(dict.fromkeys(names))


def ships_of(plan: Plan, names: Collection[str]) -> date:
    """When the last of some builds and orders ships."""
    days = [row.ships for row in plan.builds if row.build in names]
    days += [row.ships for row in plan.shipments if row.order in names]
    return max(days)


def with_request(dataset: Dataset, request: Request) -> Dataset:
    """The data set with what is asked for as firm orders."""
    return dataclasses.replace(
        dataset,
        builds=dataset.builds + request.builds,
        build_options=dataset.build_options + request.options,
        parts_orders=dataset.parts_orders + request.lines,
    )


def order_of(quote: Quote) -> Request:
    """What an accepted quote became: firm builds and lines, under their names."""
    renaming = {} if quote.asked["named"] or quote.name is None else {NAME: quote.name}
    assert quote.promised is not None
    offer = offer_of(quote, quote.chosen or 0)
    told = offer.plan if quote.promised == offer.ships else None
    return named(offer.request, renaming, quote.promised, quote.held_for, told)


@dataclass(frozen=True, slots=True)
class Promise:
    """The last day by which a build, or an order of spare parts, was promised to ship, or, where
    it `arrives`, to be there."""

    name: str
    day: date
    arrives: bool


def promises_of(order: Request) -> tuple[Promise, ...]:
    """What is promised with an order as it is in the data."""
    return tuple(_promises_of(order))


def _promises_of(order: Request) -> Iterator[Promise]:
    from fulfil_models.cells import day_of
    from fulfil_models.problem import carrier_day

    for row in order.builds:
        if row.promised is not None:
            yield Promise(row.build, day_of(row.promised), arrives=False)
    lines: dict[tuple[str, bool], date] = {}
    for line in order.lines:
        arrives = line.promised is None
        day = line.promised or carrier_day(line.ordered, line.within_days or 0)
        lines[line.order, arrives] = max(day, lines.get((line.order, arrives), day))
    yield from (Promise(name, day, arrives) for (name, arrives), day in lines.items())


def last_promised(promises: Iterable[Promise]) -> date | None:
    """The last ship date among promises; None where all are of arrivals."""
    return max((row.day for row in promises if not row.arrives), default=None)


def promised_texts(promises: Iterable[Promise]) -> dict[str, list[str]]:
    """What is promised, each with the names for which it is."""
    by: dict[str, list[str]] = {}
    for row in promises:
        what = f"promised {'to arrive by' if row.arrives else 'for'} {row.day}"
        by.setdefault(what, []).append(row.name)
    return by


def orders_drawn_on(plan: Plan, orders: Iterable[Purchase]) -> tuple[Purchase, ...]:
    """Of some new orders those that a plan draws on."""
    drawn = {(supply.order, supply.line) for supply in plan.supplies}
    return tuple(row for row in orders if (row.order, row.line) in drawn)


def _row_document(row: Any) -> dict[str, Any]:
    """A row of a data set by attribute, days and moments as text."""
    values = {field.name: getattr(row, field.name) for field in dataclasses.fields(row)}
    return {
        name: value.isoformat() if isinstance(value, date) else value
        for name, value in values.items()
    }


def _row_of(table: str, document: Mapping[str, Any]) -> Any:
    from fulfil_models import tables  # noqa: F401 -- fills TABLES
    from fulfil_models.columns import TABLES

    described = TABLES[table]
    days = {c.attribute for c in described.columns if c.kind.json_type in ("date", "datetime")}
    days |= {c.attribute for c in described.columns if c.kind.name == "moment"}
    values = dict(document)
    for name in days & values.keys():
        values[name] = moment_of(values[name])
    return described.row(**values)

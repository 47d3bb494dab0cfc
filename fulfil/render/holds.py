"""Pages of `hold`, `holds`, `release`, and of `accept` for a quote."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from fulfil_models.plan import SupplyKind

from fulfil.render import words
from fulfil.render.changes import retimed_note
from fulfil.render.fits import APPROVAL
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.promise import doubt_notes, lever_text
from fulfil.render.reordering import cost_text, taking_lines
from fulfil.render.text import Column, paragraph, table
from fulfil.usecases.accepting import AcceptedQuote
from fulfil.usecases.deciding import Course, Renewal
from fulfil.usecases.holds import HeldRow, HoldsAnswer, Released
from fulfil.usecases.quote_documents import (
    Promise,
    last_promised,
    order_of,
    promised_texts,
    promises_of,
    quote_name,
)

HOLDS = (
    Column("quote"),
    Column("state"),
    Column("until"),
    Column("for", flexible=True),
    Column("what", flexible=True),
    Column("how", flexible=True),
    Column("ships"),
    Column("order", flexible=True),
)


def hold_page(found: HeldRow) -> Page:
    quote = found.quote
    name = quote_name(quote.number)
    whom = f" for {quote.held_for}" if quote.held_for else ""
    text = f"{name} is held{whom} until the end of {quote.held_until}: {_what(found)}"
    was = () if found.was_for is None else (f"it was held for {found.was_for}",)
    return Page(
        lines=lambda width: paragraph(text, width, "  "),
        document=lambda: {
            **_row(found),
            **({"was_for": found.was_for} if was else {}),
            **_course_document(found.course),
        },
        notes=(
            *was,
            *_course_notes(found.course, quote.number),
            *_to_order(found),
            f"`fulfil accept {name}` makes it a firm order, `fulfil release {name}` ends it",
        ),
    )


def _to_order(found: HeldRow) -> list[str]:
    """That a date counts on orders that nobody places as long as the quote is only held."""
    plan = found.offer.plan
    return [
        f"counts on an order of {words.quantity(row.quantity_milli)} {row.part} from "
        f"{row.supplier}{', expedited' if row.expedited else ''}, to be placed on {row.place_on}: "
        "accepted on a later day, it may ship later"
        for row in plan.supplies
        if row.kind is SupplyKind.NEW_PURCHASE and row.place_on == plan.as_of
    ]


def _course_notes(course: Course | None, number: int) -> list[str]:
    """What had to be done before something could be decided on a quote."""
    notes: list[str] = []
    if course is None:
        return notes
    if course.retiming is not None:
        done = course.retiming
        notes.append(retimed_note(done.retimed_from, done.plan, done.changes))
        if done.late_after > done.late_before:
            notes.append(
                f"builds late: {done.late_before} in plan {done.retimed_from}, {done.late_after} "
                f"in plan {done.plan}; `fulfil plan` searches for a better one"
            )
    if course.renewal is not None:
        notes.append(_renewed(course.renewal, number))
    elif course.named != number:
        notes.append(f"{quote_name(course.named)} was asked again as {quote_name(number)} before")
    return notes


def _renewed(done: Renewal, number: int) -> str:
    days = (done.quoted - done.ships).days
    date = "the same date" if not days else f"it ships {done.ships}, {words.days(days)} sooner"
    names = f"{quote_name(done.number)} was asked again as {quote_name(number)}"
    return f"{names}, since {done.why}: {date}"


def _course_document(course: Course | None) -> dict[str, Any]:
    if course is None:
        return {}
    retiming, renewal = course.retiming, course.renewal
    return {
        "named": quote_name(course.named),
        "retimed_from": None if retiming is None else retiming.retimed_from,
        "changes": [] if retiming is None else plain(retiming.changes),
        "asked_again_since": None if renewal is None else renewal.why,
    }


def _what(found: HeldRow) -> str:
    arrives = "" if found.offer.arrives is None else f", arrives {found.offer.arrives}"
    how = f" ({_how(found)})" if found.offer.lever else ""
    return f"{found.what}{how} ships {found.offer.ships}{arrives}"


def _how(found: HeldRow) -> str:
    offer = found.offer
    return lever_text(offer.lever, offer.what, offer.by, [row.point for row in offer.plan.builds])


def holds_page(found: HoldsAnswer) -> Page:
    def lines(width: int) -> list[str]:
        if not found.rows:
            return ["nothing is held"]
        out = table(HOLDS, (_cells(row) for row in found.rows), width)
        for row in found.rows:
            for clash in row.broken:
                text = f"{quote_name(row.quote.number)} cannot be kept: {clash}"
                out += ["", *paragraph(text, width, "  ")]
            if row.ships_now is not None and row.ships_now != row.offer.ships:
                later = (row.ships_now - row.offer.ships).days
                how = f"{words.days(abs(later))} {'later' if later > 0 else 'sooner'}"
                text = (
                    f"{quote_name(row.quote.number)} would ship {row.ships_now} now, {how}: the "
                    "data, or the day, are not those it was made from"
                )
                out += ["", *paragraph(text, width, "  ")]
        return out

    return Page(
        lines=lines,
        document=lambda: {"on": plain(found.on), "quotes": [_row(row) for row in found.rows]},
        notes=(_untold(found.wrong),) if found.wrong else (),
        headings=(
            "quote",
            "state",
            "held_until",
            "held_for",
            "what",
            "lever",
            "ships",
            "arrives",
            "promised",
            "name",
        ),
        records=lambda: [_row(row) for row in found.rows],
    )


def _untold(wrong: str) -> str:
    """That it cannot be told when some of what is held would ship now."""
    return (
        f"when what was quoted from other data, or on another day, would ship now cannot be told: "
        f"{wrong}; run `fulfil plan`"
    )


def _cells(row: HeldRow) -> list[str]:
    quote = row.quote
    return [
        quote_name(quote.number),
        _state(row),
        words.day(quote.held_until),
        quote.held_for or "",
        row.what,
        _how(row),
        str(quote.promised or row.offer.ships),
        quote.name or "",
    ]


def _state(row: HeldRow) -> str:
    """The state of a quote; one that is kept in the data is as accepted as before."""
    state = row.quote.state.value
    if state == "held" and not row.active:
        return "ran out"
    if row.broken:
        return "broken"
    return {"kept": "accepted"}.get(state, state)


def _row(row: HeldRow) -> dict[str, Any]:
    quote = row.quote
    promises = promises_of(order_of(quote)) if quote.promised is not None else ()
    return {
        "quote": quote_name(quote.number),
        "state": _state(row),
        "active": row.active,
        "plan": quote.plan,
        "held_until": plain(quote.held_until),
        "held_for": quote.held_for,
        "what": row.what,
        "offer": quote.chosen,
        "lever": row.offer.lever or None,
        "ships": plain(row.offer.ships),
        "ships_now": plain(row.ships_now),
        "arrives": plain(row.offer.arrives),
        "promised": plain(last_promised(promises)),
        "name": quote.name,
        "broken": list(row.broken),
        "promises": _promises(promises),
    }


def release_page(found: Released) -> Page:
    quote = found.quote
    name = quote_name(quote.number)
    text = f"{name} is let go"
    notes: tuple[str, ...] = ()
    if found.plan is not None:
        text += f"; {quote.name} is in the data no more, and plan {found.plan} goes on without it"
        notes = ("who was moved for it stays where he is: `fulfil plan` makes room anew",)
    elif found.was_order:
        text += f"; {quote.name} is in the data no more"
        notes = (f"no plan goes on without it yet: {found.wrong}; run `fulfil plan`",)
    return Page(
        lines=lambda width: paragraph(text, width, "  "),
        document=lambda: {
            "quote": name,
            "state": quote.state.value,
            "name": quote.name,
            "plan": found.plan,
        },
        notes=notes,
    )


def _promised(found: AcceptedQuote) -> str:
    """What is promised to whom: alike promises together."""
    return ", ".join(
        f"{', '.join(names)} {'is' if len(names) == 1 else 'are'} {what}"
        for what, names in promised_texts(found.promises).items()
    )


def _promises(rows: Iterable[Promise]) -> list[dict[str, Any]]:
    return [{"name": row.name, "day": plain(row.day), "arrives": row.arrives} for row in rows]


def accepted_page(found: AcceptedQuote) -> Page:
    name = quote_name(found.quote.number)
    ship = "ships" if len(found.names) == 1 else "ship"
    text = (
        f"{name} is accepted: {_promised(found)}, and {ship} {found.ships} in plan {found.plan}, "
        "which goes on with it"
    )
    late = found.late_after
    kept = "that was kept before"
    if found.course.retiming is not None:
        kept = f"that plan {found.course.retiming.plan} kept"
    notes = [
        *_course_notes(found.course, found.quote.number),
        f"plan {found.plan} keeps every promise {kept}; builds late: {found.late_before} before, "
        f"{late} now",
        "it is in the data from now on: a data set that is loaded later need not have it, and "
        "takes its place where it does",
    ]
    if found.reordered is not None:
        notes += doubt_notes(found.reordered.doubts)
    if found.to_approve:
        notes.append(APPROVAL)

    def lines(width: int) -> list[str]:
        out = paragraph(text, width, "  ")
        if found.reordered is not None:
            told = f"the queue was re-ordered for it; {cost_text(found.reordered, found.currency)}"
            out += ["", *paragraph(told, width, "  "), *taking_lines(found.reordered, width)]
        return out

    return Page(
        lines=lines,
        document=lambda: {
            "quote": name,
            "names": list(found.names),
            "promised": plain(found.promised),
            "promises": _promises(found.promises),
            "ships": plain(found.ships),
            "plan": found.plan,
            "late_before": found.late_before,
            "late_after": late,
            "reordered": plain(found.reordered),
            "to_approve": found.to_approve,
            **_course_document(found.course),
        },
        notes=tuple(notes),
    )

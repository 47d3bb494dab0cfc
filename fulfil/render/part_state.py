"""The state of one part in words: where it is, when more comes, who waits for it."""

from __future__ import annotations

from fulfil_models.plan import Stranded
from fulfil_models.shortages import Shortage, Waiting
from fulfil_models.timeline import Gap

from fulfil.render import words
from fulfil.render.facts import facts
from fulfil.render.text import Column, paragraph, table

WAITING_SHOWN = 6
"""builds that the overview shows for each short part"""


def heading(row: Shortage, width: int) -> list[str]:
    return paragraph(f"{row.part}{f' {row.description}' if row.description else ''}", width, "  ")


def state(row: Shortage, width: int) -> list[str]:
    """Where a part is, when more comes, when nothing is left, when to have ordered."""
    told = [("needed", words.quantity(row.needed_milli, row.unit)), ("on hand", _on_hand(row))]
    coming = [
        f"{words.quantity(line.quantity_milli)} on {line.counted_on}"
        f"{_at(line.point, row)} ({line.order}/{line.line}"
        f"{f', past due since {line.due}' if line.past_due else ''}"
        f"{'' if line.confirmed else ', not confirmed'})"
        for line in row.on_order
    ]
    told.append(("on order", words.listed(coming) if coming else "none"))
    new = [
        f"{words.quantity(line.quantity_milli)} from {line.supplier}{_at(line.point, row)}, "
        f"to be placed {words.day(line.place_on)}"
        f"{', expedited' if line.expedited else ''}, arrives {words.day(line.arrives_on)}"
        for line in row.to_order
    ]
    if new:
        told.append(("to order", words.listed(new)))
    if row.gaps:
        told.append(("nothing left", words.listed([_gap(gap) for gap in row.gaps])))
    told += [
        (
            f"at {place.point}",
            f"needs {words.quantity(place.needed_milli, row.unit)}; on its own stock and purchases "
            f"nothing left {words.listed([_gap(gap) for gap in place.gaps])}",
        )
        for place in row.at_points
        if place.gaps and place.gaps != row.gaps
    ]
    if row.replaced:
        instead = [
            f"{words.quantity(use.quantity_milli)} {use.used} for {use.who}" for use in row.replaced
        ]
        told.append(("in its place", words.listed(instead)))
    caps = [
        f"{cap.supplier} lets go {words.quantity(cap.cap_milli)} a calendar month"
        for cap in row.monthly_caps
    ]
    if caps:
        told.append(("rationed", ", ".join(caps)))
    told.append(("last day" if not row.made else "ordering", _last_day(row)))
    return facts(told, width)


def _points(row: Shortage) -> set[str]:
    return (
        {place.point for place in row.on_hand if place.free_milli}
        | {line.point for line in row.on_order}
        | {line.point for line in row.to_order}
        | {place.point for place in row.at_points}
    )


def _at(point: str, row: Shortage) -> str:
    """Where a purchase goes, if that is not plain."""
    return f" to {point}" if len(_points(row)) > 1 else ""


def _on_hand(row: Shortage) -> str:
    places = [
        f"{words.quantity(place.free_milli)} at {place.point}"
        + (f" (and {words.quantity(place.held_milli)} held)" if place.held_milli else "")
        for place in row.on_hand
        if place.free_milli or place.held_milli
    ]
    return ", ".join(places) if places else "none"


def _gap(gap: Gap) -> str:
    if gap.until is None:
        return f"from {gap.starts} on"
    return f"from {gap.starts} until {gap.until}"


def _last_day(row: Shortage) -> str:
    if row.made:
        return "it is made here: see what it is made of with fulfil explode"
    if row.lead_days is None:
        none = "it cannot be ordered: no source delivers where it is wanted"
        return f"{none}, or no order fits its monthly cap" if row.monthly_caps else none
    lead = f"lead time {words.days(row.lead_days)}"
    if row.order_by is None:
        return f"{lead}; nothing is late for want of it"
    if row.missed_by_days is not None:
        text = f"to order in time was {row.order_by}, {words.days(row.missed_by_days)} ago"
        if row.order_for_since is not None and row.order_by < row.order_for_since:
            text += f" and before {row.order_for} was ordered ({lead}"
        else:
            text += f" ({row.order_for}, {lead}"
    else:
        text = f"to order in time is {row.order_by} ({row.order_for}, {lead}"
    return text + (f"; expedited {row.expedited_by})" if row.expedited_by else ")")


def waiting_lines(row: Shortage, width: int, most: int = WAITING_SHOWN) -> list[str]:
    rows = [
        [
            "",
            waiting.who,
            words.day(waiting.promised),
            waiting.starts_on.isoformat(),
            words.NOTHING if waiting.days is None else str(waiting.days),
            str(waiting.late_days),
            str(waiting.blamed_days),
            _gets(waiting, row.part),
        ]
        for waiting in _first(row, most)
    ]
    columns = (
        Column(""),
        Column("who waits"),
        Column("promised"),
        Column("takes it on"),
        Column("held up\n(days)", right=True),
        Column("late\n(days)", right=True),
        Column("by\nit", right=True),
        Column("gets", flexible=True),
    )
    out = ["", *table(columns, rows, width)]
    if len(row.waiting) > most:
        out.append(f"  {len(row.waiting) - most} more wait: fulfil shortages {row.part}")
    return out


def _first(row: Shortage, most: int) -> list[Waiting]:
    """So many of those that wait, in their order: before all those that are late by the part."""
    order = sorted(enumerate(row.waiting), key=lambda pair: not pair[1].blamed_days)
    return [waiting for _, waiting in sorted(order[:most], key=lambda pair: pair[0])]


def _gets(waiting: Waiting, part: str) -> str:
    text = words.origin(waiting.origin, waiting.usable).removesuffix(" 00:00")
    return text if waiting.called == part else f"{text}, in place of {waiting.called}"


def stranded_lines(stranded: tuple[Stranded, ...], width: int) -> list[str]:
    out = [""] if stranded else []
    for row in stranded:
        kind = "build" if row.kind == "build" else "parts order"
        text = (
            f"{kind} {row.key} is not planned: {', '.join(row.parts)} can never come "
            "(no stock, purchase, source or approved alternate)"
        )
        out += paragraph(text, width, "  ")
    return out


def legend(rows: tuple[Shortage, ...]) -> tuple[str, ...]:
    if not any(row.waiting for row in rows):
        return ()
    return (
        "held up: days sooner with the part at hand, what comes before it in the list of "
        "`fulfil build` out of the way; by it: days of the lateness that are then its own",
    )

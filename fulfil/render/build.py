"""Page of `build`."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from fulfil_models.build_card import BuildCard, CardOperation, CardPart
from fulfil_models.cells import day_of
from fulfil_models.compare import is_late
from fulfil_models.helps import Help, HelpKind
from fulfil_models.plan import Blocker, BlockerKind, PlannedBuild, SupplyKind

from fulfil.render import words
from fulfil.render.builds import held_up_by
from fulfil.render.common import answer, cautions, to_verify
from fulfil.render.fits import fit_lines
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import Column, paragraph, table
from fulfil.usecases.basis import Basis
from fulfil.usecases.builds import BuildAnswer

MOST_RUNGS = 8
"""lines of a ladder that are shown, the build's own work at its end included"""


def build_page(found: BuildAnswer) -> Page:
    card = found.card

    def lines(width: int) -> list[str]:
        return [
            *_head(card, found.basis.as_of, width),
            *_ladder(card, found.basis.as_of, width),
            *_helps(card, found.basis, width),
            *_chain(card, width),
            *_work(card.operations, width),
            *_parts(card.operations, width),
            *fit_lines(card.fit_checks, width),
            *_rules(card, width),
        ]

    notes = (
        *found.basis.notes,
        *cautions((row.part, row.caution) for row in card.cautions),
        *(check.caution for check in card.fit_checks[:1]),
    )
    return Page(
        lines=lines, document=lambda: answer(found.basis, build=_plain_card(card)), notes=notes
    )


def _plain_card(card: BuildCard) -> object:
    fields = plain(card)
    for check, row in zip(fields["fit_checks"], card.fit_checks, strict=True):
        check["verdict"] = row.verdict.value
    return {**fields.pop("build"), **fields}


def _head(card: BuildCard, as_of: date, width: int) -> list[str]:
    row = card.build
    out = paragraph(f"build {row.build}: {row.product} {card.description or ''}".rstrip(), width)
    for_whom = [word for word in (card.customer, card.destination) if word]
    if for_whom:
        out.append(f"for {', '.join(for_whom)}")
    promise = (
        "not promised yet"
        if row.promised is None
        else f"promised {words.day(row.promised)}, "
        + (_late_words(row) if is_late(row) else _spare(row))
    )
    text = (
        f"ships {row.ships} from {row.point} ({promise}); ordered {row.ordered}, "
        f"lead time {words.days(row.lead_days)}"
    )
    out += paragraph(text, width, "  ")
    if row.promised is not None and is_late(row):
        why: list[str] = []
        if row.late_minutes:
            why.append(f"late by {row.late_minutes:,} working minutes")
        if day_of(row.promised) < as_of:
            why.append(f"its promise had passed on the planning date {as_of}")
        if why:
            out += paragraph("; ".join(why), width, "  ")
    if row.blockers:
        out += paragraph(f"held up first by: {held_up_by(row)}", width, "  ")
    soonest = could_ship(row, as_of)
    if soonest < row.ships:
        text = (
            f"could ship {soonest} as things stand, {words.days((row.ships - soonest).days)} "
            "sooner; the plan leaves it until it is wanted"
        )
        out += paragraph(text, width, "  ")
    if card.options:
        changes = ", ".join(
            f"{words.signed(option.quantity_milli)} {option.component}" for option in card.options
        )
        out += paragraph(f"options: {changes}", width, "  ")
    if card.finished:
        done = ", ".join(f"{row.operation} ({words.moment(row.finished)})" for row in card.finished)
        out += paragraph(f"operations done: {done}", width, "  ")
    return out


def _spare(row: PlannedBuild) -> str:
    """In time, and by how many days if it is early."""
    assert row.promised is not None
    spare = (day_of(row.promised) - row.ships).days
    return f"in time, {words.days(spare)} early" if spare > 0 else "in time"


def _late_words(row: PlannedBuild) -> str:
    return f"{words.days(row.late_days)} late" if row.late_days else "late by less than a day"


LADDER_HEADING = (
    "what would bring it forward, each with the ones above it out of the way, too, and all other "
    "builds where they are:"
)
LADDER_COLUMNS = (
    Column("", right=True),
    Column("what holds it up", flexible=True),
    Column("until"),
    Column("days\nsooner", right=True),
    Column("ships\nthen"),
    Column("why", flexible=True),
)


def _ladder(card: BuildCard, as_of: date, width: int) -> list[str]:
    row = card.build
    if not row.blockers:
        return []
    ships = could_ship(row, as_of)
    rows = []
    for number, blocker in enumerate(row.blockers, start=1):
        if blocker.kind is BlockerKind.WORK:
            # the days it takes are no gain: the date is what the lines above leave
            rows.append([str(number), "its own work", "", "", "", blocker.why])
            continue
        ships -= timedelta(blocker.days)
        rows.append(
            [
                str(number),
                _holder(blocker),
                "" if blocker.until is None else words.day(blocker.until.date()),
                str(blocker.days),
                words.day(ships),
                blocker.why,
            ]
        )
    shown = rows if len(rows) <= MOST_RUNGS else [*rows[: MOST_RUNGS - 1], rows[-1]]
    out = [
        "",
        *paragraph(LADDER_HEADING, width),
        "",
        *table(LADDER_COLUMNS, shown, width),
    ]
    if len(shown) < len(rows):
        left = row.blockers[MOST_RUNGS - 1 : -1]
        days = words.days(sum(blocker.days for blocker in left))
        out += [
            "",
            f"left out: {len(left)} more that together hold it up {days}; --json lists them",
        ]
    return out


def could_ship(row: PlannedBuild, as_of: date) -> date:
    """The day on which a build could ship as things stand; sooner than planned where it is in time
    and the plan leaves it until it is wanted.

    The days of a whole ladder, which ends in the build's own work, add up to that day, counted from
    the planning date.
    """
    if not row.blockers or row.blockers[-1].kind is not BlockerKind.WORK:
        return row.ships
    return min(row.ships, as_of + timedelta(sum(blocker.days for blocker in row.blockers)))


def _holder(blocker: Blocker) -> str:
    if blocker.kind is BlockerKind.PART:
        return f"part {blocker.what}"
    if blocker.kind is BlockerKind.WORK_CENTRE:
        return f"queue at {blocker.what}"
    return "not to be started"


def _helps(card: BuildCard, basis: Basis, width: int) -> list[str]:
    if not card.helps:
        return []
    out = ["", "what might be tried for its parts:"]
    for row in card.helps:
        out += paragraph(f"  {row.part}: {_help_words(row, basis)}", width, "    ")
    return out


def _help_words(row: Help, basis: Basis) -> str:
    units = "" if row.quantity_milli is None else words.quantity(row.quantity_milli)
    cost = "" if row.cost_micro is None else f", {words.money(row.cost_micro)} more a unit"
    note = f" ({row.note})" if row.note else ""
    day = "the planning date" if basis.orders_from is None else f"{basis.orders_from}"
    return {
        HelpKind.PAST_DUE: f"press for {row.what}: {units} past due since {row.day}",
        HelpKind.UNCONFIRMED: f"have {row.what} confirmed: {units} due {row.day}",
        HelpKind.HELD: f"{units} held at {row.what}, not to be used unless released",
        HelpKind.ALTERNATE: f"{row.what} may stand in{cost}; the plan weighed it{note}",
        HelpKind.NOT_APPROVED: f"{row.what} is not approved to stand in{note}",
        HelpKind.NEW_ORDER: f"ordered from {row.what} on {day} it is here {row.day}",
        HelpKind.EXPEDITE: f"expedited from {row.what} it is here {row.day}{cost}",
    }[row.kind]


def _chain(card: BuildCard, width: int) -> list[str]:
    if not card.build.reasons:
        return []
    rows = [
        [words.moment(row.at), _operation_name(card, row.job, row.operation), row.why]
        for row in card.build.reasons
    ]
    columns = (
        Column("no sooner than"),
        Column("operation", flexible=True),
        Column("why", flexible=True),
    )
    return [
        "",
        "why then, from the last operation back to the first:",
        "",
        *table(columns, rows, width),
    ]


def _operation_name(card: BuildCard, job: str, operation: int | None) -> str:
    number = words.NOTHING if operation is None else str(operation)
    return number if job == card.build.build else f"{job} {number}"


def _work(operations: Sequence[CardOperation], width: int) -> list[str]:
    if not operations:
        return ["", "no operation is left to be done"]
    rows = [
        [
            row.part,
            str(row.operation),
            row.work_centre,
            words.moment(row.start),
            words.moment(row.end),
            "started" if row.started is not None else "",
        ]
        for row in operations
    ]
    columns = (
        Column("makes", flexible=True),
        Column("operation", right=True),
        Column("work centre", flexible=True),
        Column("starts"),
        Column("ends"),
        Column(""),
    )
    return ["", *table(columns, rows, width)]


PART_COLUMNS = (
    Column("goes into", flexible=True),
    Column("at", right=True),
    Column("part", flexible=True),
    Column("what it is", flexible=True),
    Column("quantity", right=True),
    Column("comes from", flexible=True),
)


def _parts(operations: Sequence[CardOperation], width: int) -> list[str]:
    """Where each part comes from: one by one what is not simply on the shelf, then what is."""
    rows = [
        [
            operation.part,
            str(operation.operation),
            _part_name(part),
            part.description or "",
            words.quantity(part.quantity_milli, part.unit),
            _origin(part),
        ]
        for operation in operations
        for part in operation.parts
        if not _is_plain_stock(part)
    ]
    out = ["", *table(PART_COLUMNS, rows, width)] if rows else []
    shelf = [
        f"{operation.part} at {operation.operation}, from stock at {point}: {', '.join(names)}"
        for operation in operations
        for point, names in _shelf(operation).items()
    ]
    if shelf:
        out.append("")
        for text in shelf:
            out += paragraph(text, width, "  ")
    return out


def _origin(part: CardPart) -> str:
    if part.origin.kind is SupplyKind.JOB:
        # its operations stand in the table above
        return f"made for it, done {words.moment(part.usable)}"
    return words.origin(part.origin, part.usable)


def _shelf(operation: CardOperation) -> dict[str, list[str]]:
    """What an operation takes from the shelf of each point, with quantities."""
    found: dict[str, list[str]] = {}
    for part in operation.parts:
        if _is_plain_stock(part):
            unit = "" if part.unit == "ea" else part.unit
            text = f"{words.quantity(part.quantity_milli, unit)} {_part_name(part)}"
            found.setdefault(part.origin.first_point, []).append(text)
    return found


def _is_plain_stock(part: CardPart) -> bool:
    return part.origin.kind is SupplyKind.STOCK and part.used == part.part


def _part_name(part: CardPart) -> str:
    name = part.used if part.used == part.part else f"{part.used} for {part.part}"
    return name if part.through is None else f"{name} (in {part.through})"


def _rules(card: BuildCard, width: int) -> list[str]:
    if not card.rules:
        return []
    out = [""]
    for rule in card.rules:
        text = (
            f"commonly required in {rule.region}: {words.quantity(rule.quantity_milli)} "
            f"{rule.component}: {to_verify(rule.note)}"
        )
        out += paragraph(text, width, "  ")
    return out

"""Pages of `builds` and `build`."""

from __future__ import annotations

from collections.abc import Sequence

from fulfil_models.build_card import BuildCard, CardOperation, CardPart
from fulfil_models.compare import first_blocker
from fulfil_models.fit import FitCheck, Verdict
from fulfil_models.plan import BlockerKind, PlannedBuild, SupplyKind

from fulfil.render import words
from fulfil.render.common import answer, blocker_fields, cautions
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, paragraph, table
from fulfil.usecases.builds import BuildAnswer, BuildsAnswer

BUILD_COLUMNS = (
    Column("build"),
    Column("product", flexible=True),
    Column("promised"),
    Column("ships"),
    Column("late\n(days)", right=True),
    Column("lead\n(days)", right=True),
    Column("first thing that holds it up", flexible=True),
)


def build_row(row: PlannedBuild) -> list[str]:
    if row.promised is None:
        late = words.NOTHING
    elif row.late_minutes and not row.late_days:
        late = "<1"  # promised to the minute and late on the same day
    else:
        late = str(row.late_days)
    return [
        row.build,
        row.product,
        words.day(row.promised),
        words.day(row.ships),
        late,
        str(row.lead_days),
        words.blocker(first_blocker(row)),
    ]


def builds_page(found: BuildsAnswer, *, every: bool) -> Page:
    limit = len(found.builds) if every else ROWS

    def lines(width: int) -> list[str]:
        counts = [words.count(found.total, "build"), f"{found.late} late"]
        if found.not_promised:
            counts.append(f"{found.not_promised} not promised")
        out = [", ".join(counts)]
        if found.builds:
            out += ["", *table(BUILD_COLUMNS, map(build_row, found.builds[:limit]), width)]
        return out + left_out(len(found.builds), limit, "--late, --point or --product")

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            total=found.total,
            late=found.late,
            not_promised=found.not_promised,
            builds=[_plain_build(row) for row in found.builds],
        ),
        headings=(
            "build",
            "product",
            "point",
            "ordered",
            "promised",
            "finish",
            "ships",
            "late_minutes",
            "late_days",
            "lead_days",
            "blocker_kind",
            "blocker_what",
            "blocker_until",
            "blocker_days",
        ),
        records=lambda: [
            {**plain(row), **blocker_fields("blocker", first_blocker(row))} for row in found.builds
        ],
        notes=found.basis.notes,
    )


def _plain_build(row: PlannedBuild) -> object:
    fields = plain(row)
    del fields["reasons"]  # `build` shows them
    return fields


# ---- one build


def build_page(found: BuildAnswer) -> Page:
    card = found.card

    def lines(width: int) -> list[str]:
        return [
            *_head(card, width),
            *_ladder(card, width),
            *_chain(card, width),
            *_work(card.operations, card, width),
            *_parts(card.operations, width),
            *_checks(card.fit_checks, width),
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


def _head(card: BuildCard, width: int) -> list[str]:
    row = card.build
    out = paragraph(f"build {row.build}: {row.product} {card.description or ''}".rstrip(), width)
    for_whom = [word for word in (card.customer, card.destination) if word]
    if for_whom:
        out.append(f"for {', '.join(for_whom)}")
    promise = (
        "not promised yet"
        if row.promised is None
        else f"promised {words.day(row.promised)}, "
        + (_late_words(row) if row.late_minutes else "in time")
    )
    text = (
        f"ships {row.ships} from {row.point} ({promise}); ordered {row.ordered}, "
        f"lead time {words.days(row.lead_days)}"
    )
    out += paragraph(text, width, "  ")
    if row.late_minutes:
        out.append(f"late by {row.late_minutes:,} working minutes")
    if card.options:
        changes = ", ".join(
            f"{words.signed(option.quantity_milli)} {option.component}" for option in card.options
        )
        out += paragraph(f"options: {changes}", width, "  ")
    if card.finished:
        done = ", ".join(f"{row.operation} ({words.moment(row.finished)})" for row in card.finished)
        out += paragraph(f"operations done: {done}", width, "  ")
    return out


def _late_words(row: PlannedBuild) -> str:
    return f"{words.days(row.late_days)} late" if row.late_days else "late by less than a day"


def _ladder(card: BuildCard, width: int) -> list[str]:
    if not card.build.blockers:
        return []
    rows = [
        [
            str(number),
            words.blocker(row) if row.kind is not BlockerKind.WORK else "its own work",
            str(row.days),
            row.why,
        ]
        for number, row in enumerate(card.build.blockers, start=1)
    ]
    columns = (
        Column("", right=True),
        Column("what holds it up", flexible=True),
        Column("ships sooner\nby (days)", right=True),
        Column("why", flexible=True),
    )
    return ["", "each taken away after the ones above it:", "", *table(columns, rows, width)]


def _chain(card: BuildCard, width: int) -> list[str]:
    if not card.build.reasons:
        return []
    rows = [
        [
            words.moment(row.at),
            _operation_name(card, row.job, row.operation),
            row.why,
        ]
        for row in card.build.reasons
    ]
    columns = (
        Column("starts"),
        Column("operation", flexible=True),
        Column("why then", flexible=True),
    )
    return ["", "from the last operation back to the first:", "", *table(columns, rows, width)]


def _operation_name(card: BuildCard, job: str, operation: int | None) -> str:
    number = words.NOTHING if operation is None else str(operation)
    return number if job == card.build.build else f"{job} {number}"


def _work(operations: Sequence[CardOperation], card: BuildCard, width: int) -> list[str]:
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
            words.origin(part.origin, part.usable),
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


VERDICTS = {
    Verdict.FITS: "fits",
    Verdict.DOES_NOT_FIT: "DOES NOT FIT",
    Verdict.NOT_KNOWN: "not known",
}


def _checks(checks: Sequence[FitCheck], width: int) -> list[str]:
    out: list[str] = []
    for check in checks:
        out += ["", f"fit check: {check.used} in place of {check.called}"]
        if not check.lines:
            out.append("  nothing to compare: one of them has no ratings")
        for line in check.lines:
            text = f"  {line.what.replace('_', ' ')}: {VERDICTS[line.verdict]} ({line.how})"
            out += paragraph(text, width, "    ")
    return out


def _rules(card: BuildCard, width: int) -> list[str]:
    if not card.rules:
        return []
    out = [""]
    for rule in card.rules:
        text = (
            f"commonly required in {rule.region}: {words.quantity(rule.quantity_milli)} "
            f"{rule.component}: {rule.note} (verify with the local authority)"
        )
        out += paragraph(text, width, "  ")
    return out

"""Page of `builds`."""

from __future__ import annotations

from itertools import takewhile

from fulfil_models.compare import first_blocker
from fulfil_models.plan import BlockerKind, PlannedBuild

from fulfil.render import words
from fulfil.render.common import answer, blocker_fields
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, table
from fulfil.usecases.builds import BuildsAnswer

BUILD_COLUMNS = (
    Column("build"),
    Column("product", flexible=True),
    Column("promised"),
    Column("ships"),
    Column("late\n(days)", right=True),
    Column("lead\n(days)", right=True),
    Column("held up first by\n(days sooner without)", flexible=True),
)
CUSTOMER_COLUMN = Column("customer", flexible=True)
HEADINGS = (
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
    "customer",
    "destination",
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
        held_up_by(row),
    ]


def held_up_by(row: PlannedBuild) -> str:
    """What holds a build up first, or that only its own work does.

    Days that are gained only with other things out of the way, too, are told as that.
    """
    first = first_blocker(row)
    if first is None:
        return words.blocker(next(iter(row.blockers), None))
    others = row.blockers[row.blockers.index(first) + 1 :]
    rest = takewhile(lambda rung: not rung.days and rung.kind is not BlockerKind.WORK, others)
    with_it = len(list(rest))
    text = words.blocker(first)
    if not with_it or not first.days or not text.endswith(")"):
        return text
    return f"{text[:-1]}, with {with_it} more)"


def builds_page(found: BuildsAnswer, *, every: bool) -> Page:
    limit = len(found.builds) if every else ROWS

    def lines(width: int) -> list[str]:
        counts = [words.count(found.total, "build"), f"{found.late} late"]
        if found.not_promised:
            counts.append(f"{found.not_promised} not promised")
        shown = f"; {len(found.builds) or 'none'} shown" if found.narrowed else ""
        out = [", ".join(counts) + shown]
        if found.builds:
            # of few builds the reader wants to know whom to tell
            columns: tuple[Column, ...] = BUILD_COLUMNS
            row_of = build_row
            if found.narrowed and any(found.customer(row.build) for row in found.builds):
                columns = (*BUILD_COLUMNS[:2], CUSTOMER_COLUMN, *BUILD_COLUMNS[2:])

                def row_of(row: PlannedBuild) -> list[str]:
                    cells = build_row(row)
                    return [*cells[:2], found.customer(row.build) or "", *cells[2:]]

            out += ["", *table(columns, map(row_of, found.builds[:limit]), width)]
        more = left_out(len(found.builds), limit, "--late, --customer, --point or --product")
        return out + more

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            total=found.total,
            late=found.late,
            not_promised=found.not_promised,
            builds=[_plain_build(found, row) for row in found.builds],
        ),
        headings=HEADINGS,
        records=lambda: [
            {
                **plain(row),
                **blocker_fields("blocker", first_blocker(row)),
                "customer": found.customer(row.build),
                "destination": found.destination(row.build),
            }
            for row in found.builds
        ],
        notes=(*found.basis.notes, *found.assumed),
    )


def _plain_build(found: BuildsAnswer, row: PlannedBuild) -> object:
    fields = plain(row)
    del fields["reasons"]  # `build` shows them
    return {
        **fields,
        "customer": found.customer(row.build),
        "destination": found.destination(row.build),
    }

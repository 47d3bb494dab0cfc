"""Pages of `plan`, `plans`, `compare`, `audit` and `accept`."""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from fulfil_models.compare import Comparison, Moved, is_late
from fulfil_models.plan import COSTS, Plan, Status

from fulfil.render import words
from fulfil.render.builds import BUILD_COLUMNS, build_row
from fulfil.render.common import answer, blocker_fields
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, paragraph, table
from fulfil.usecases.plans import (
    AcceptAnswer,
    AuditAnswer,
    CompareAnswer,
    PlansAnswer,
    PlanSummary,
    premise_notes,
)

if TYPE_CHECKING:
    from fulfil_models.believing import Choice

LATEST_SHOWN = 8
SOON_DAYS = 7
"""days, the planning date being the first, of which the end of `plan` says what is to be done"""


def plan_page(
    plan: Plan,
    number: int,
    seconds: float,
    *,
    currency: str,
    before: int | None,
    comparison: Comparison | None,
    notes: tuple[str, ...],
    better: PlanSummary | None = None,
    program: str = "fulfil",
    following: bool = True,
    lead_times: Choice = "stated",
    orders_from: date | None = None,
) -> Page:
    """The end of `fulfil plan`: how it came out, what changed against the plan before, what to do.

    Parameters
    ----------
    better: a plan of the same data that costs less.
    program: how to call this program with the same database.
    following: whether to end with what is to be done first.
    lead_times: whose word on them the plan takes.
    orders_from: first day on which it places new purchases; None where it is the planning date.
    """

    def lines(width: int) -> list[str]:
        out = [f"plan {number} of {plan.as_of}, made in {seconds:.1f} s", ""]
        out += _counts(plan)
        out += ["", *_costs(plan, currency), "", *paragraph(_proof(plan, currency), width, "  ")]
        if before is not None and comparison is not None:
            changes = _changes(before, number, comparison, program)
            out += ["", *paragraph(changes, width, "  ")]
        if better is not None:
            out += ["", *paragraph(_better(better, plan, currency), width, "  ")]
        late = sorted(
            filter(is_late, plan.builds), key=lambda row: (-row.late_days, -row.late_minutes)
        )
        if late:
            out += ["", *table(BUILD_COLUMNS, map(build_row, late[:LATEST_SHOWN]), width)]
            if len(late) > LATEST_SHOWN:
                out.append(f"{len(late) - LATEST_SHOWN} more are late: {program} builds --late")
        for row in plan.stranded:
            kind = "build" if row.kind == "build" else "parts order"
            text = f"{kind} {row.key} is not planned: {', '.join(row.parts)} can never come"
            out += ["", *paragraph(text, width, "  ")]
        return [*out, "", *_next(plan, number, program, better)] if following else out

    def document() -> Any:
        from fulfil_models.document import to_document

        return to_document(
            plan, number=number, seconds=seconds, lead_times=lead_times, orders_from=orders_from
        )

    return Page(lines=lines, document=document, notes=(*plan.notes, *notes), indent=None)


def _counts(plan: Plan) -> list[str]:
    late = sum(map(is_late, plan.builds))
    open_ = sum(1 for row in plan.builds if row.promised is None)
    rows = [
        ["builds", str(len(plan.builds)), ""],
        ["  in time", str(len(plan.builds) - late - open_), ""],
        ["  late", str(late), ""],
    ]
    if open_:
        rows.append(["  not promised yet", str(open_), ""])
    lines = {(row.order, row.line): 0 for row in plan.shipments}
    for row in plan.shipments:
        lines[row.order, row.line] = max(lines[row.order, row.line], row.late_days)
    if lines:
        rows.append(["lines of parts orders", str(len(lines)), ""])
        rows.append(["  late", str(sum(1 for days in lines.values() if days)), ""])
    minutes = plan.weighted_late_minutes
    rows.append(["weighted lateness", f"{_minutes(minutes)}", "working minutes"])
    names = max(len(row[0]) for row in rows)
    figures = max(len(row[1]) for row in rows)
    return [
        f"{name.ljust(names)}  {figure.rjust(figures)} {unit}".rstrip()
        for name, figure, unit in rows
    ]


def _minutes(minutes: Fraction) -> str:
    # a figure of thousands needs no decimals
    return f"{float(minutes):,.0f}" if minutes >= 100 else f"{float(minutes):,.1f}"


def _costs(plan: Plan, currency: str) -> list[str]:
    rows = [[kind, words.money(getattr(plan.objective, kind))] for kind in COSTS]
    rows = [row for row in rows if row[1] != "0.00"]
    rows.append(["together", words.money(plan.objective.total)])
    return table((Column("cost"), Column(currency, right=True)), rows)


def _proof(plan: Plan, currency: str) -> str:
    if plan.status is Status.OPTIMAL or plan.gap == 0:
        return "proven: no plan of these data costs less"
    if plan.bound <= 0:
        return "nothing was proven in that time about how far it is from the best"
    return (
        f"proven: no plan of these data costs less than {currency} {words.money(plan.bound)}, so "
        f"this one is at most {words.percent(plan.gap)} of its cost from the best"
    )


def _changes(before: int, number: int, comparison: Comparison, program: str) -> str:
    if not comparison.moved:
        return f"against plan {before}: every build ships on the same day"
    parts = [f"{comparison.later} ship later", f"{comparison.sooner} sooner"]
    if comparison.added:
        parts.append(f"{comparison.added} new")
    if comparison.removed:
        parts.append(f"{comparison.removed} gone")
    return (
        f"against plan {before}: {', '.join(parts)}, {comparison.unchanged} unchanged "
        f"({program} compare {before} {number})"
    )


def _better(known: PlanSummary, plan: Plan, currency: str) -> str:
    less = words.money(plan.objective.total - known.total)
    return (
        f"plan {known.plan}, of the same data, costs {currency} {less} less and has "
        f"{words.count(known.late, 'late build')}: it is the better one to work by"
    )


def _next(plan: Plan, number: int, program: str, better: PlanSummary | None) -> list[str]:
    """What the plan asks of people first, and which command tells more of it."""
    last = plan.as_of + timedelta(SOON_DAYS - 1)
    today = [row for row in plan.operations if row.start.date() == plan.as_of]
    orders = [row for row in plan.supplies if row.place_on and row.place_on <= last]
    moves = [row for row in plan.supplies if row.leaves_on and row.leaves_on <= last]
    parcels = {(row.order, row.line) for row in plan.shipments if row.ships <= last}
    until = f"until {last}"
    rows = [
        (len(today), "operation", f"to start on {plan.as_of}", "queue --days 1"),
        (len(orders), "order", f"to place {until}", f"purchases --days {SOON_DAYS}"),
        (len(moves), "transfer", f"to send {until}", f"transfers --days {SOON_DAYS}"),
        (len(parcels), "line", f"of parts orders to ship {until}", f"orders --days {SOON_DAYS}"),
    ]
    todo = [
        (f"{words.count(count, one)} {what}", command)
        for count, one, what, command in rows
        if count
    ]
    if better is None:
        todo.append(("if this is the plan to work by", f"accept {number}"))
    elif not better.accepted:
        todo.append(
            (f"if plan {better.plan}, the better one, is to be worked by", f"accept {better.plan}")
        )
    size = max(len(text) for text, _ in todo)
    return ["next:", *(f"  {text.ljust(size)}  {program} {command}" for text, command in todo)]


# ---- the list of plans


PLAN_COLUMNS = (
    Column("plan", right=True),
    Column("made (UTC)"),
    Column("planning\ndate"),
    Column("builds", right=True),
    Column("late", right=True),
    Column("cost", right=True),
    Column("proven\ngap", right=True),
    Column("status"),
    Column("", flexible=True),
)


def plans_page(found: PlansAnswer, *, every: bool) -> Page:
    limit = len(found.plans) if every else ROWS

    def lines(width: int) -> list[str]:
        if not found.plans:
            return ["there is no plan yet: fulfil plan makes one"]
        out = table(PLAN_COLUMNS, map(_plan_row, found.plans[:limit]), width)
        return out + left_out(len(found.plans), limit)

    return Page(
        lines=lines,
        document=lambda: plain(found),
        headings=(
            "plan",
            "created",
            "as_of",
            "status",
            "builds",
            "late",
            "total",
            "bound",
            "gap",
            "weighted_late_minutes",
            "seconds",
            "accepted",
            "goes_on_with",
            "data_changed",
        ),
        records=lambda: [plain(row) for row in found.plans],
    )


def _plan_row(row: PlanSummary) -> list[str]:
    notes = ["accepted"] if row.accepted else []
    if row.goes_on_with is not None:
        notes.append(f"goes on with {row.goes_on_with}")
    if row.data_changed:
        notes.append("of other data")
    if row.lead_times != "stated":
        notes.append(row.lead_times)
    if row.premises.orders_from is not None:
        notes.append(f"orders from {row.premises.orders_from}")
    return [
        str(row.plan),
        words.moment(row.created),
        row.as_of.isoformat(),
        str(row.builds),
        str(row.late),
        words.money(row.total),
        words.NOTHING if row.unproven else words.percent(row.gap),
        row.status,
        ", ".join(notes),
    ]


def accept_page(found: AcceptAnswer) -> Page:
    number, days = found.accepted.plan, found.freeze_days
    if days:
        effect = (
            f"the next plans keep what it starts within {words.days(days)} (freeze_days) of their "
            "planning date"
        )
    else:
        effect = (
            "freeze_days is 0, so the next plans are free to move all that has not started; set "
            "it in the settings to keep the next days as they are"
        )
    notes = [f"plan {found.replaced} was accepted before"] if found.replaced else []
    if found.accepted.data_changed:
        notes.append(f"plan {number} was made from data that have changed since")
    return Page(
        lines=lambda width: paragraph(f"plan {number} is accepted: {effect}", width, "  "),
        document=lambda: {
            **plain(found.accepted),
            "freeze_days": days,
            "replaced": found.replaced,
        },
        notes=tuple(notes),
    )


# ---- two plans compared


def _compare_columns(before: int, after: int) -> tuple[Column, ...]:
    return (
        Column("build"),
        Column("promised"),
        Column(f"ships in\nplan {before}"),
        Column(f"ships in\nplan {after}"),
        Column("later by\n(days)", right=True),
        Column("late\n(days)", right=True),
        Column(f"held up in\nplan {before} by", flexible=True),
        Column(f"held up in\nplan {after} by", flexible=True),
    )


def compare_page(found: CompareAnswer, *, every: bool) -> Page:
    moved = found.comparison.moved
    limit = len(moved) if every else ROWS

    def lines(width: int) -> list[str]:
        before, after, change = found.before, found.after, found.comparison
        out = [
            f"from plan {before.plan} ({before.as_of}) to plan {after.plan} ({after.as_of}): "
            f"late builds {change.late_before} to {change.late_after}, "
            f"cost {words.money(before.total)} to {words.money(after.total)}",
            f"{change.later} ship later, {change.sooner} sooner, {change.added} new, "
            f"{change.removed} gone, {change.unchanged} unchanged",
        ]
        out = [line for text in out for line in paragraph(text, width, "  ")]
        if moved:
            columns = _compare_columns(before.plan, after.plan)
            out += ["", *table(columns, map(_moved_row, moved[:limit]), width)]
        return out + left_out(len(moved), limit)

    return Page(
        lines=lines,
        document=lambda: {
            **plain(found),
            "comparison": {
                **plain(found.comparison),
                "later": found.comparison.later,
                "sooner": found.comparison.sooner,
                "added": found.comparison.added,
                "removed": found.comparison.removed,
            },
        },
        headings=(
            "build",
            "product",
            "promised",
            "ships_before",
            "ships_after",
            "moved_days",
            "late_days_before",
            "late_days_after",
            *blocker_fields("before", None),
            *blocker_fields("after", None),
        ),
        records=lambda: [
            {
                **plain(row),
                **blocker_fields("before", row.blocker_before),
                **blocker_fields("after", row.blocker_after),
            }
            for row in moved
        ],
        notes=tuple(
            f"plan {row.plan} was made from data that have changed since"
            for row in (found.before, found.after)
            if row.data_changed
        )
        + premise_notes(found.before, found.after),
    )


def _moved_row(row: Moved) -> list[str]:
    if row.moved_days is None:
        shift = "new" if row.ships_before is None else "gone"
    else:
        shift = f"{row.moved_days:+d}"
    return [
        row.build,
        words.day(row.promised),
        words.day(row.ships_before),
        words.day(row.ships_after),
        shift,
        words.NOTHING if row.ships_after is None else str(row.late_days_after),
        words.blocker(row.blocker_before),
        words.blocker(row.blocker_after),
    ]


# ---- audit


BROKEN_COLUMNS = (
    Column("rule", flexible=True),
    Column("where", flexible=True),
    Column("what is wrong", flexible=True),
)


def audit_page(found: AuditAnswer, *, every: bool) -> Page:
    limit = len(found.violations) if every else ROWS

    def lines(width: int) -> list[str]:
        if found.good:
            return paragraph(
                f"plan {found.basis.plan} keeps every rule {_data_of(found)}", width, "  "
            )
        broken = words.count(len(found.violations), "rule")
        out = [
            *paragraph(f"plan {found.basis.plan} breaks {broken} {_data_of(found)}", width, "  "),
            "",
            *table(
                BROKEN_COLUMNS,
                ([row.rule, row.subject, row.wrong] for row in found.violations[:limit]),
                width,
            ),
        ]
        return out + left_out(len(found.violations), limit)

    return Page(
        lines=lines,
        document=lambda: answer(found.basis, good=found.good, violations=found.violations),
        headings=("rule", "subject", "wrong"),
        records=lambda: [plain(row) for row in found.violations],
        notes=found.basis.notes,
    )


def _data_of(found: AuditAnswer) -> str:
    """What a plan is held against."""
    data = "with the data as they are now"
    if found.basis.lead_times == "stated":
        return data
    return f"{data} and lead times as the record has them ({found.basis.lead_times})"

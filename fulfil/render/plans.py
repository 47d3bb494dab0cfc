"""Pages of `plan`, `plans`, `compare`, `audit` and `accept`."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from fulfil_models.compare import Comparison, Moved, is_late
from fulfil_models.plan import Plan, Status

from fulfil.render import words
from fulfil.render.builds import BUILD_COLUMNS, build_row
from fulfil.render.common import answer, blocker_fields
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, paragraph, table
from fulfil.usecases.plans import AuditAnswer, CompareAnswer, PlansAnswer, PlanSummary

COSTS = ("lateness", "transfers", "alternates", "expediting", "deliveries")
LATEST_SHOWN = 8


def plan_page(
    plan: Plan,
    number: int,
    seconds: float,
    *,
    currency: str,
    before: int | None,
    comparison: Comparison | None,
    notes: tuple[str, ...],
) -> Page:
    """The end of `fulfil plan`: how it came out, and what changed against the plan before."""

    def lines(width: int) -> list[str]:
        out = [f"plan {number} of {plan.as_of}, made in {seconds:.1f} s", ""]
        out += _counts(plan)
        out += ["", *_costs(plan, currency), "", *paragraph(_proof(plan, currency), width, "  ")]
        if before is not None and comparison is not None:
            out += ["", *paragraph(_changes(before, number, comparison), width, "  ")]
        late = sorted(
            filter(is_late, plan.builds), key=lambda row: (-row.late_days, -row.late_minutes)
        )
        if late:
            out += ["", *table(BUILD_COLUMNS, map(build_row, late[:LATEST_SHOWN]), width)]
            if len(late) > LATEST_SHOWN:
                out.append(f"{len(late) - LATEST_SHOWN} more are late: fulfil builds --late")
        for row in plan.stranded:
            kind = "build" if row.kind == "build" else "parts order"
            text = f"{kind} {row.key} is not planned: {', '.join(row.parts)} can never come"
            out += ["", *paragraph(text, width, "  ")]
        return out

    def document() -> Any:
        from fulfil_models.document import to_document

        return to_document(plan, number=number, seconds=seconds)

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


def _changes(before: int, number: int, comparison: Comparison) -> str:
    if not comparison.moved:
        return f"against plan {before}: every build ships on the same day"
    parts = [f"{comparison.later} ship later", f"{comparison.sooner} sooner"]
    if comparison.added:
        parts.append(f"{comparison.added} new")
    if comparison.removed:
        parts.append(f"{comparison.removed} gone")
    return (
        f"against plan {before}: {', '.join(parts)}, {comparison.unchanged} unchanged "
        f"(fulfil compare {before} {number})"
    )


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
            "data_changed",
        ),
        records=lambda: [plain(row) for row in found.plans],
    )


def _plan_row(row: PlanSummary) -> list[str]:
    notes = ["accepted"] if row.accepted else []
    if row.data_changed:
        notes.append("of other data")
    return [
        str(row.plan),
        words.moment(row.created),
        row.as_of.isoformat(),
        str(row.builds),
        str(row.late),
        words.money(row.total),
        words.percent(row.gap),
        row.status,
        ", ".join(notes),
    ]


def accept_page(found: PlanSummary) -> Page:
    return Page(
        lines=lambda width: [
            f"plan {found.plan} is accepted: the next plans keep what it starts within the "
            "freeze_days of the settings"
        ],
        document=lambda: plain(found),
    )


# ---- two plans compared


COMPARE_COLUMNS = (
    Column("build"),
    Column("promised"),
    Column("shipped"),
    Column("ships"),
    Column("later by\n(days)", right=True),
    Column("late\n(days)", right=True),
    Column("held up before by", flexible=True),
    Column("held up now by", flexible=True),
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
            out += ["", *table(COMPARE_COLUMNS, map(_moved_row, moved[:limit]), width)]
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
        ),
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
            return [f"plan {found.basis.plan} keeps every rule with the data as they are now"]
        out = [
            f"plan {found.basis.plan} breaks {words.count(len(found.violations), 'rule')} "
            "with the data as they are now",
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

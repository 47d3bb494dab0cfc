"""Commands about plans themselves: plan, plans, compare, accept, audit."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from fulfil.commands.options import Csv, Every, Json, PlanNumber, open_database, program, show
from fulfil.errors import INTERRUPTED, REFUSED, Failed, RejectedPlan

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from fulfil_models.believing import Choice

    from fulfil.store.session import Store
    from fulfil.usecases.planning import FirstPlan, PlanOutcome, Progress

SECONDS = 60.0

LeadTimes = Literal["stated", "learnt-50", "learnt-80", "learnt-90"]
"""the choices of `fulfil_models.believing`, which no command loads before it runs"""

Seconds = Annotated[
    float, typer.Option("--seconds", metavar="N", min=1, help="About how many seconds to search.")
]


def plan(
    context: typer.Context,
    seconds: Seconds = SECONDS,
    seed: Annotated[
        int, typer.Option("--seed", metavar="N", min=0, help="Another seed, another search.")
    ] = 0,
    repeatable: Annotated[
        bool,
        typer.Option(
            "--repeatable/--best",
            help="The same plan every time, or the best that all cores find by the clock.",
        ),
    ] = True,
    lead_times: Annotated[
        LeadTimes,
        typer.Option(
            "--lead-times",
            help="As suppliers state them, or as 50, 80 or 90 of 100 of their deliveries kept "
            "them, but never sooner than stated.",
        ),
    ] = "stated",
    orders_from: Annotated[
        str | None,
        typer.Option(
            "--orders-from",
            metavar="DATE",
            help="Place no new purchase before that day: what does it cost to wait with them?",
        ),
    ] = None,
    keep: Annotated[
        bool | None,
        typer.Option(
            "--keep/--weigh",
            help="Keep every promise that the plan worked by keeps still, whatever that costs, or "
            "weigh all by what lateness costs. Without either, they are kept as long as that plan "
            "can go on and keep them all.",
        ),
    ] = None,
    json: Json = False,
) -> None:
    """Make a plan of all firm builds, check it and keep it.

    Ctrl-C keeps the best plan so far. With --json the plan document is printed.
    """
    from fulfil.usecases.asking import parse_day

    first_day = parse_day(orders_from)
    with open_database(context) as store:
        outcome = run_planning(
            store,
            seconds=seconds,
            seed=seed,
            repeatable=repeatable,
            lead_times=lead_times,
            orders_from=first_day,
            keep=keep,
        )
        show_outcome(store, outcome, program=program(context), json=json)
    if outcome.interrupted:
        raise Failed(INTERRUPTED)


def run_planning(
    store: Store,
    *,
    seconds: float,
    seed: int,
    repeatable: bool,
    lead_times: Choice = "stated",
    orders_from: date | None = None,
    keep: bool | None = None,
) -> PlanOutcome:
    """Makes a plan, with its progress on the terminal.

    Raises RejectedPlan where the plan does not pass its check.
    """
    from fulfil.usecases.basis import require_data
    from fulfil.usecases.planning import make_plan

    require_data(store)
    line = _ProgressLine() if _on_a_terminal() else None
    draw: Callable[[Progress], None] | None = None if line is None else line.draw
    tell: Callable[[FirstPlan], None] | None = None if line is None else line.first
    try:
        outcome = make_plan(
            store,
            seconds=seconds,
            seed=seed,
            mode="repeatable" if repeatable else "best",
            on_progress=draw,
            on_first=tell,
            lead_times=lead_times,
            orders_from=orders_from,
            keep=keep,
        )
    finally:
        if line is not None:
            line.clear()
    if outcome.violations:
        first = outcome.violations[0]
        raise RejectedPlan(
            f"the plan broke {len(outcome.violations)} of its own rules and was not kept "
            f"(the first: {first.rule}: {first.subject}: {first.wrong})",
            "this is an error of the program: report it with the data set if you may share it; "
            "`fulfil export PATH` writes it to a folder or a workbook",
        )
    return outcome


def show_outcome(
    store: Store, outcome: PlanOutcome, *, program: str, json: bool, following: bool = True
) -> None:
    """Prints how a plan came out, what changed against the one before and what to do first."""
    from fulfil.render.plans import plan_page
    from fulfil.usecases import plans
    from fulfil.usecases.basis import settings_of
    from fulfil.usecases.worked_by import broken_notes

    before = plans.previous(store, outcome.number)
    changes = None if before is None else plans.compare(store, before, outcome.number)
    notes = []
    if outcome.interrupted:
        notes.append("the search was interrupted; this is the best plan it had found")
    if outcome.cut_by_clock:
        notes.append("the clock cut the search: another run may end with another plan")
    notes += broken_notes(store, outcome.number)
    settings = settings_of(store.dataset(["settings"]), outcome.plan.as_of)
    notes += plans.freeze_notes(store, settings)
    if changes is not None:
        notes += plans.premise_notes(changes.before, changes.after)
    page = plan_page(
        outcome.plan,
        outcome.number,
        outcome.seconds,
        currency=settings.currency,
        before=before,
        comparison=None if changes is None else changes.comparison,
        better=plans.better_known(store, outcome.number),
        notes=tuple(notes),
        program=program,
        following=following,
        lead_times=outcome.lead_times,
        orders_from=outcome.orders_from,
    )
    show(page, json=json)


def _on_a_terminal() -> bool:
    return sys.stderr.isatty()


class _ProgressLine:
    """One line on the error stream that is written over and over."""

    def __init__(self) -> None:
        self._length = 0

    def draw(self, progress: Progress) -> None:
        parts = [f"{progress.elapsed_seconds:5.1f} s", progress.phase]
        if progress.incumbent is not None:
            parts.append(f"best {float(progress.incumbent):,.0f}")
        if progress.bound is not None:
            parts.append(f"proven {float(progress.bound):,.0f}")
        text = "  ".join(parts)
        typer.echo(f"\r{text.ljust(self._length)}", err=True, nl=False)
        self._length = len(text)

    def first(self, found: FirstPlan) -> None:
        """Leave a line about the first plan, above the one that goes on."""
        text = (
            f"{found.elapsed_seconds:5.1f} s  first checked plan: {found.builds_in_time} builds in "
            f"time, {found.builds_late} late, cost {float(found.cost):,.0f}; improving it"
        )
        typer.echo(f"\r{text.ljust(self._length)}", err=True)
        self._length = 0

    def clear(self) -> None:
        typer.echo(f"\r{' ' * self._length}\r", err=True, nl=False)


def plans(
    context: typer.Context, every: Every = False, json: Json = False, csv: Csv = False
) -> None:
    """List the plans that are kept, the newest first."""
    from fulfil.render.plans import plans_page
    from fulfil.usecases import plans as usecase

    with open_database(context) as store:
        found = usecase.plans(store)
    show(plans_page(found, every=every), json=json, csv=csv)


def compare(
    context: typer.Context,
    before: Annotated[
        int, typer.Argument(metavar="BEFORE", min=1, help="Number of the earlier plan.")
    ],
    after: Annotated[int, typer.Argument(metavar="AFTER", min=1, help="Number of the later one.")],
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show which builds moved from plan to plan, and why."""
    from fulfil.render.plans import compare_page
    from fulfil.usecases import plans as usecase

    with open_database(context) as store:
        found = usecase.compare(store, before, after)
    show(compare_page(found, every=every), json=json, csv=csv)


def accept(
    context: typer.Context,
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="[PLAN|QUOTE]",
            help="A plan by its number, or a quote such as Q7; else the newest plan.",
        ),
    ] = None,
    promised: Annotated[
        str | None,
        typer.Option("--promised", metavar="DATE", help="Of a quote: another ship date."),
    ] = None,
    called: Annotated[
        str | None,
        typer.Option("--as", metavar="NAME", help="Of a quote: what the build or order is called."),
    ] = None,
    customer: Annotated[
        str | None,
        typer.Option(
            "--for",
            metavar="CUSTOMER",
            help="Of a quote: whom it is for; else the one it was held for.",
        ),
    ] = None,
    offer: Annotated[
        int | None,
        typer.Option("--offer", metavar="N", min=0, help="Of a quote: one of its offers."),
    ] = None,
    seconds: Annotated[
        float,
        typer.Option("--seconds", min=1, help="Of a quote: that re-ordering may take."),
    ] = 20.0,
    json: Json = False,
) -> None:
    """Make a plan the one to work by, or a quote a firm order.

    Later plans keep what an accepted plan starts within the freeze_days of the settings. An
    accepted quote is due in every later plan like any other order; the plan goes on with it at
    once. A date earlier than the quoted one re-orders the queue, if every promise can be kept.
    """
    from fulfil.usecases.quote_documents import NUMBERED, quote_number

    if name is not None and name.strip().upper().startswith(NUMBERED):
        _accept_quote(
            context, quote_number(name), promised, called, customer, offer, seconds, json=json
        )
        return
    if promised or called or customer or offer is not None:
        raise typer.BadParameter("--promised, --as, --for and --offer are for quotes: Q7")
    from fulfil.render.plans import accept_page
    from fulfil.usecases import plans as usecase

    with open_database(context) as store:
        found = usecase.accept(store, _plan_number(name))
    show(accept_page(found), json=json)


def _plan_number(text: str | None) -> int | None:
    if text is None:
        return None
    if not text.isascii() or not text.isdigit() or int(text) < 1 or len(text) > 9:
        raise typer.BadParameter(f"{text} is neither the number of a plan nor a quote such as Q7")
    return int(text)


def _accept_quote(
    context: typer.Context,
    number: int,
    promised: str | None,
    called: str | None,
    customer: str | None,
    offer: int | None,
    seconds: float,
    *,
    json: bool,
) -> None:
    from fulfil.render.holds import accepted_page
    from fulfil.usecases import accepting as usecase
    from fulfil.usecases.asking import parse_day

    day = parse_day(promised)
    with open_database(context) as store:
        found = usecase.accept_quote(
            store,
            number,
            promised=day,
            name=called,
            customer=customer,
            place=offer,
            seconds=seconds,
        )
    show(accepted_page(found), json=json)


def audit(
    context: typer.Context,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Check a stored plan against the data as they are now.

    The exit code is 1 if it breaks a rule.
    """
    from fulfil.render.plans import audit_page
    from fulfil.usecases import plans as usecase

    with open_database(context) as store:
        found = usecase.audit(store, number)
    show(audit_page(found, every=every), json=json, csv=csv)
    if not found.good:
        raise Failed(REFUSED)


def register(app: typer.Typer) -> None:
    for command in (plan, plans, compare, accept, audit):
        app.command()(command)

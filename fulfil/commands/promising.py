"""Commands for sales that promise: promise, hold, holds, release."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fulfil.commands.options import Csv, Json, open_database, show

if TYPE_CHECKING:
    from fulfil.usecases.asking import Asked

QuoteName = Annotated[str, typer.Argument(metavar="QUOTE", help="The quote: Q7, or 7.")]
OfferPlace = Annotated[
    int | None,
    typer.Option(
        "--offer", metavar="N", min=0, help="One of its offers; else the one held, or as asked."
    ),
]


def promise(
    context: typer.Context,
    product: Annotated[
        str | None, typer.Argument(metavar="[PRODUCT]", help="The machine that is wanted.")
    ] = None,
    point: Annotated[
        str | None,
        typer.Option("--point", metavar="P", help="Where it is assembled, if in several places."),
    ] = None,
    option: Annotated[
        list[str] | None,
        typer.Option(
            "--option", metavar="PART=QTY", help="Added to its bill; less than 0 takes away."
        ),
    ] = None,
    part: Annotated[
        list[str] | None,
        typer.Option("--part", metavar="PART=QTY", help="Spare parts instead of a machine."),
    ] = None,
    file: Annotated[
        Path | None,
        typer.Option(
            "--file",
            metavar="PATH",
            help="Several machines: a folder or workbook with `builds` and `build_options`.",
        ),
    ] = None,
    destination: Annotated[
        str | None, typer.Option("--to", metavar="DESTINATION", help="Region or postal code.")
    ] = None,
    within: Annotated[
        int | None,
        typer.Option(
            "--within", metavar="DAYS", min=0, help="Carrier days in which parts are to arrive."
        ),
    ] = None,
    weight: Annotated[
        str | None,
        typer.Option("--weight", metavar="W", help="How much a late day will count; 1 is usual."),
    ] = None,
    wanted: Annotated[
        str | None, typer.Option("--wanted", metavar="DATE", help="Ship date that is asked for.")
    ] = None,
    resequence: Annotated[
        bool,
        typer.Option("--resequence", help="Also re-order the queue, every promise kept."),
    ] = False,
    seconds: Annotated[
        float, typer.Option("--seconds", min=1, help="That re-ordering may take.")
    ] = 20.0,
    number: Annotated[
        int | None,
        typer.Option(
            "--plan", metavar="N", min=1, help="A plan by its number; else the one worked by."
        ),
    ] = None,
    json: Json = False,
) -> None:
    """Show when something new could ship.

    The first date found that moves nobody in the accepted plan and takes nothing from anyone, what
    holds it up, and what would bring it forward. It is kept as a quote, which `hold` and `accept`
    take up; nothing is held yet. Where the data changed since the plan, that is re-timed first.
    """
    from fulfil.render.promise import promise_page
    from fulfil.usecases import promise as usecase

    asked = _asked(product, point, option, part, file, destination, within, weight, wanted)
    with open_database(context) as store:
        found = usecase.promise(
            store, asked, number, reorder_seconds=seconds if resequence else None
        )
    show(promise_page(found), json=json)


def _asked(
    product: str | None,
    point: str | None,
    option: list[str] | None,
    part: list[str] | None,
    file: Path | None,
    destination: str | None,
    within: int | None,
    weight: str | None,
    wanted: str | None,
) -> Asked:
    """What is asked for, of the one form that is given."""
    from fulfil.usecases import asking

    given = [name for name, value in _forms(product, part, file) if value]
    if len(given) != 1:
        raise typer.BadParameter(
            "name a PRODUCT, or spare parts with --part, or a --file"
            if not given
            else f"{' and '.join(given)} exclude each other"
        )
    day, weight_ppm = asking.parse_day(wanted), asking.parse_weight(weight)
    if within is not None and not part:
        raise typer.BadParameter("--within is for parts: --part")
    if product and not part:
        options = asking.parse_amounts(option or (), "--option")
        return asking.ask_machine(product, point, options, destination, day, weight_ppm)
    alone = {"--point": point, "--option": option}
    if file is not None:
        alone |= {"--to": destination, "--weight": weight}
    for name, value in alone.items():
        if value:
            raise typer.BadParameter(f"{name} is for a single machine")
    if file is not None:
        return asking.ask_file(file, day)
    if not destination:
        raise typer.BadParameter("spare parts need a destination: --to")
    amounts = asking.parse_amounts(part or (), "--part")
    return asking.ask_parts(amounts, destination, within, day, weight_ppm)


def _forms(
    product: str | None, part: list[str] | None, file: Path | None
) -> list[tuple[str, object]]:
    return [("PRODUCT", product), ("--part", part), ("--file", file)]


def hold(
    context: typer.Context,
    quote: QuoteName,
    days: Annotated[
        int,
        typer.Option("--days", metavar="N", min=0, max=365, help="Days from today; 0 is today."),
    ],
    customer: Annotated[
        str | None, typer.Option("--for", metavar="CUSTOMER", help="Whom it is held for.")
    ] = None,
    offer: OfferPlace = None,
    json: Json = False,
) -> None:
    """Keep a quote open for some days.

    Its parts and its places in the queue are kept from everybody, other quotes and later plans,
    until the end of the last day, until `release`, or until `accept` makes it a firm order.
    """
    from fulfil.render.holds import hold_page
    from fulfil.usecases import holds as usecase
    from fulfil.usecases.quote_documents import quote_number

    number = quote_number(quote)
    with open_database(context) as store:
        found = usecase.hold(store, number, days, customer, offer)
    show(hold_page(found), json=json)


def holds(
    context: typer.Context,
    every: Annotated[
        bool, typer.Option("--all", help="Every quote, whatever became of it.")
    ] = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """List what is held, the first to run out first."""
    from fulfil.render.holds import holds_page
    from fulfil.usecases import holds as usecase

    with open_database(context) as store:
        found = usecase.holds(store, every=every)
    show(holds_page(found), json=json, csv=csv)


def release(context: typer.Context, quote: QuoteName, json: Json = False) -> None:
    """Let a hold go, so that others may have what it kept.

    An accepted order goes out of the data again, as long as no data set that was loaded had it.
    """
    from fulfil.render.holds import release_page
    from fulfil.usecases import holds as usecase
    from fulfil.usecases.quote_documents import quote_number

    number = quote_number(quote)
    with open_database(context) as store:
        found = usecase.release(store, number)
    show(release_page(found), json=json)


def register(app: typer.Typer) -> None:
    for command in (promise, hold, holds, release):
        app.command()(command)

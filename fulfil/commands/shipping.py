"""Commands for shipping: transfers, orders."""

from __future__ import annotations

from typing import Annotated

import typer

from fulfil.commands.options import Csv, Every, Json, PlanNumber, open_database, show

Days = Annotated[
    int | None,
    typer.Option(
        "--days",
        metavar="N",
        min=1,
        help="Only what leaves within N calendar days; 1 is the planning date.",
    ),
]


def transfers(
    context: typer.Context,
    days: Days = None,
    origin: Annotated[
        str | None, typer.Option("--from", metavar="P", help="Only what leaves this point.")
    ] = None,
    destination: Annotated[
        str | None, typer.Option("--to", metavar="P", help="Only what goes to this point.")
    ] = None,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show what to move between points, when, and for whom."""
    from fulfil.render.shipping import transfers_page
    from fulfil.usecases import shipping as usecase

    with open_database(context) as store:
        found = usecase.transfers(store, number, origin=origin, destination=destination, days=days)
    show(transfers_page(found, every=every), json=json, csv=csv)


def orders(
    context: typer.Context,
    order: Annotated[
        str | None,
        typer.Argument(metavar="[ORDER]", help="One parts order, or one line as ORDER/LINE."),
    ] = None,
    late: Annotated[bool, typer.Option("--late", help="Only late lines.")] = False,
    days: Days = None,
    origin: Annotated[
        str | None, typer.Option("--from", metavar="P", help="Only what ships from this point.")
    ] = None,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show from where parts orders ship and when they arrive.

    With ORDER also why: what each point has to spare, how soon it would arrive and at what cost.
    """
    from fulfil.render.orders import order_page, orders_page
    from fulfil.usecases import shipping as usecase

    if order is not None and (late or days is not None or origin is not None):
        raise typer.BadParameter("--late, --days and --from are for the list, not for one order")
    with open_database(context) as store:
        page = (
            orders_page(
                usecase.orders(store, number, late_only=late, origin=origin, days=days),
                every=every,
            )
            if order is None
            else order_page(usecase.order(store, order, number))
        )
    show(page, json=json, csv=csv)


def register(app: typer.Typer) -> None:
    for command in (transfers, orders):
        app.command()(command)

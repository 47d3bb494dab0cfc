"""Commands for shipping: transfers, orders."""

from __future__ import annotations

from typing import Annotated

import typer

from fulfil.commands.options import Csv, Every, Json, PlanNumber, open_database, show


def transfers(
    context: typer.Context,
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
        found = usecase.transfers(store, number, origin=origin, destination=destination)
    show(transfers_page(found, every=every), json=json, csv=csv)


def orders(
    context: typer.Context,
    late: Annotated[bool, typer.Option("--late", help="Only late lines.")] = False,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show from where parts orders ship and when they arrive."""
    from fulfil.render.shipping import orders_page
    from fulfil.usecases import shipping as usecase

    with open_database(context) as store:
        found = usecase.orders(store, number, late_only=late)
    show(orders_page(found, every=every), json=json, csv=csv)


def register(app: typer.Typer) -> None:
    for command in (transfers, orders):
        app.command()(command)

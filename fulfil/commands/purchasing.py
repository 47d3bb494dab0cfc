"""Commands for purchasing: shortages, purchases."""

from __future__ import annotations

from typing import Annotated

import typer

from fulfil.commands.options import Csv, Every, Json, PlanNumber, open_database, show


def shortages(
    context: typer.Context,
    part: Annotated[
        str | None, typer.Argument(metavar="[PART]", help="One part, day by day.")
    ] = None,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show the parts that hold builds up.

    Of each: needed, on hand, on order, when it runs out, who waits for it and how long, and the
    last day to order. With PART all that comes and goes of one part, day by day.
    """
    from fulfil.render.purchasing import part_page, shortages_page
    from fulfil.usecases import purchasing as usecase

    with open_database(context) as store:
        page = (
            shortages_page(usecase.shortages(store, number), every=every)
            if part is None
            else part_page(usecase.part(store, part, number), every=every)
        )
    show(page, json=json, csv=csv)


def purchases(
    context: typer.Context,
    supplier: Annotated[
        str | None, typer.Option("--supplier", metavar="S", help="Only this supplier.")
    ] = None,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show the new orders to place, by the day to place them."""
    from fulfil.render.purchasing import purchases_page
    from fulfil.usecases import purchasing as usecase

    with open_database(context) as store:
        found = usecase.purchases(store, number, supplier=supplier)
    show(purchases_page(found, every=every), json=json, csv=csv)


def register(app: typer.Typer) -> None:
    for command in (shortages, purchases):
        app.command()(command)

"""Commands for purchasing: shortages, purchases."""

from __future__ import annotations

from typing import Annotated

import typer

from fulfil.commands.options import (
    Csv,
    Every,
    Json,
    OnlyPart,
    OnlySupplier,
    PlanNumber,
    open_database,
    show,
)


def shortages(
    context: typer.Context,
    part: Annotated[
        str | None, typer.Argument(metavar="[PART]", help="One part, day by day.")
    ] = None,
    late: Annotated[
        bool, typer.Option("--late", help="Only parts that make something late.")
    ] = False,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show the parts that hold builds up.

    Of each: needed, on hand, on order, when nothing is left, who waits for it and how long, and the
    last day to order. With PART what an order placed today would bring, and all that comes and
    goes, day by day.
    """
    from fulfil.render.shortages import part_page, shortages_page
    from fulfil.usecases import purchasing as usecase

    if part is not None and late:
        raise typer.BadParameter("--late is for the list, not for one part")
    with open_database(context) as store:
        page = (
            shortages_page(usecase.shortages(store, number, late_only=late), every=every)
            if part is None
            else part_page(usecase.part(store, part, number), every=every)
        )
    show(page, json=json, csv=csv)


def purchases(
    context: typer.Context,
    days: Annotated[
        int | None,
        typer.Option(
            "--days",
            metavar="N",
            min=1,
            help="Only what is to be placed within N calendar days; 1 is the planning date.",
        ),
    ] = None,
    supplier: OnlySupplier = None,
    part: OnlyPart = None,
    placed: Annotated[
        bool,
        typer.Option(
            "--open", help="Instead, what is ordered already: whom would it hurt if it slipped."
        ),
    ] = False,
    doubtful: Annotated[
        bool,
        typer.Option("--doubtful", help="Of what is ordered, what is past due or not confirmed."),
    ] = False,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show the new orders to place, by the day to place them.

    With a supplier or a part also how much can be ordered at once and in a month. With --open or
    --doubtful the purchases that are ordered already.
    """
    from fulfil.render.purchasing import open_page, purchases_page
    from fulfil.usecases import purchasing as usecase

    if (placed or doubtful) and days is not None:
        raise typer.BadParameter("--days is for new orders, not for --open or --doubtful")
    with open_database(context) as store:
        page = (
            open_page(
                usecase.open_purchases(
                    store, number, supplier=supplier, part=part, doubtful_only=doubtful
                ),
                every=every,
            )
            if placed or doubtful
            else purchases_page(
                usecase.purchases(store, number, supplier=supplier, part=part, days=days),
                every=every,
            )
        )
    show(page, json=json, csv=csv)


def register(app: typer.Typer) -> None:
    for command in (shortages, purchases):
        app.command()(command)

"""Command for production: queue."""

from __future__ import annotations

from typing import Annotated

import typer

from fulfil.commands.options import Csv, Every, Json, PlanNumber, open_database, show


def queue(
    context: typer.Context,
    work_centre: Annotated[
        str | None, typer.Option("--work-centre", metavar="W", help="Only this work centre.")
    ] = None,
    days: Annotated[
        int,
        typer.Option(
            "--days", metavar="N", min=1, help="Calendar days to show from the planning date on."
        ),
    ] = 7,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show what starts when on which station.

    Of each operation whether its parts are in hand: clear to build, or waiting for what.
    """
    from fulfil.render.queue import queue_page
    from fulfil.usecases import queue as usecase

    with open_database(context) as store:
        found = usecase.queue(store, number, work_centre=work_centre, days=days)
    show(queue_page(found, every=every), json=json, csv=csv)


def register(app: typer.Typer) -> None:
    app.command()(queue)

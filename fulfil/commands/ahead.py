"""Commands for purchasing ahead of a shortage: leadtimes, cover, buy, chase, ration."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

import typer

from fulfil.commands.options import Csv, Every, Json, PlanNumber, open_database, show


def leadtimes(
    context: typer.Context,
    part: Annotated[
        str | None,
        typer.Argument(metavar="[PART]", help="One part, with the deliveries behind it."),
    ] = None,
    supplier: Annotated[
        str | None, typer.Option("--supplier", metavar="S", help="Only this supplier.")
    ] = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show how long parts take from their suppliers by the record.

    Learnt from receipts and from what is still open: median, 80th and 90th percentile, how well due
    dates are kept, and whether that drifts. Stated is the lead time to the point that most of the
    record goes to. With PART also when its open lines come, given how old they are.
    """
    from fulfil.render.leadtimes import leadtimes_page
    from fulfil.render.part_leadtimes import part_page
    from fulfil.usecases import leadtimes as usecase

    with open_database(context) as store:
        page = (
            leadtimes_page(usecase.lead_times(store, supplier=supplier), every=every)
            if part is None
            else part_page(usecase.part_lead_times(store, part, supplier=supplier), every=every)
        )
    show(page, json=json, csv=csv)


def chase(
    context: typer.Context,
    supplier: Annotated[
        str | None, typer.Option("--supplier", metavar="S", help="Only this supplier.")
    ] = None,
    part: Annotated[str | None, typer.Option("--part", metavar="P", help="Only this part.")] = None,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show which open purchase lines to chase, the most harmful first.

    Those past due that make something later come first, then by the weighted late days that a week
    of slipping does: everybody who draws on the line is timed again, nobody else is moved. Of the
    others, until when they may come at no harm.
    """
    from fulfil.render.chasing import chase_page
    from fulfil.usecases import chasing as usecase

    with open_database(context) as store:
        found = usecase.chase(store, number, supplier=supplier, part=part)
    show(chase_page(found, every=every), json=json, csv=csv)


def ration(
    context: typer.Context,
    part: Annotated[
        str | None, typer.Argument(metavar="[PART]", help="One part, month by month.")
    ] = None,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show the parts that suppliers ration, who gets them and who waits.

    With PART month by month, with what one more unit in each month would save - computed anew, and
    for a large book that takes a while -, and whether an alternate, expediting, a move or another
    supplier is cheaper than waiting.
    """
    from fulfil.render.rationing import ration_page, rations_page
    from fulfil.usecases import rationing as usecase

    with open_database(context) as store:
        page = (
            rations_page(usecase.rations(store, number), every=every)
            if part is None
            else ration_page(usecase.ration(store, part, number), every=every)
        )
    show(page, json=json, csv=csv)


def register(app: typer.Typer) -> None:
    commands: tuple[Callable[..., None], ...] = (
        leadtimes,
        chase,
        ration,
    )
    for command in commands:
        app.command()(command)

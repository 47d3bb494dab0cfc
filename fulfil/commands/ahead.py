"""Commands for purchasing ahead of a shortage: leadtimes, cover, buy, chase, ration."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from fulfil.commands.options import (
    Csv,
    Every,
    Json,
    Months,
    OnlyPart,
    OnlySupplier,
    PlanNumber,
    open_database,
    show,
)


def leadtimes(
    context: typer.Context,
    part: Annotated[
        str | None,
        typer.Argument(metavar="[PART]", help="One part, with the deliveries behind it."),
    ] = None,
    supplier: OnlySupplier = None,
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
    supplier: OnlySupplier = None,
    part: OnlyPart = None,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show which purchase lines to chase, the most harmful first.

    Those past due that do harm come first, then by the weighted late days that a week of slipping
    adds: everybody who draws on the line is timed again, nobody else is moved. Of the others, until
    when they may come at no harm.
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
    """Show parts that are rationed, who gets them and who waits.

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


def cover(
    context: typer.Context,
    part: Annotated[
        str | None, typer.Argument(metavar="[PART]", help="One part, month by month.")
    ] = None,
    months: Months = 12,
    weeks: Annotated[bool, typer.Option("--weeks", help="By week, not by month.")] = False,
    point: Annotated[
        str | None,
        typer.Option("--point", metavar="P", help="This point alone, without forecast needs."),
    ] = None,
    family: Annotated[
        str | None,
        typer.Option(
            "--family", metavar="F", help="Every bought part of a family, in one picture."
        ),
    ] = None,
    svg: Annotated[
        Path | None,
        typer.Option("--svg", metavar="FILE", help="Write the picture of a part or family, too."),
    ] = None,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show how long parts last, and the last day to order more.

    Of the parts that run out: when by stated dates of what is on order, and when by the dates the
    record of its suppliers makes likely (50 and 90 of 100), and whom it hits; the soonest last day
    to order first. With PART by month, with a chart of its needs and what is left.
    """
    from fulfil.usecases import cover as usecase

    if part is not None and family is not None:
        raise typer.BadParameter("name a part or a --family, not both")
    if svg is not None and part is None and family is None:
        raise typer.BadParameter("--svg draws one PART or a --family: name one")
    from fulfil.render.cover import cover_page
    from fulfil.render.svg_chart import picture, write_svg

    asked = usecase.Asked(months=months, weeks=weeks, part=part, family=family, point=point)
    with open_database(context) as store:
        found = usecase.cover(store, asked, number)
    if svg is not None:
        write_svg(svg, picture(found))
    show(cover_page(found, every=every), json=json, csv=csv)


def buy(
    context: typer.Context,
    months: Months = 12,
    service: Annotated[
        float,
        typer.Option(
            "--service",
            metavar="SHARE",
            help="Share of order cycles that the safety stock brings through without a shortage.",
        ),
    ] = 0.95,
    budget: Annotated[
        str | None,
        typer.Option(
            "--budget",
            metavar="AMOUNT",
            help="The most to be paid for what comes in a month, placing orders included.",
        ),
    ] = None,
    part: OnlyPart = None,
    supplier: OnlySupplier = None,
    seconds: Annotated[
        float,
        typer.Option("--seconds", metavar="S", min=0.1, help="Time for finding the best sizes."),
    ] = 60.0,
    accept: Annotated[
        bool,
        typer.Option(
            "--accept",
            help="Make the lines to be placed within a week open purchases; with --all every line.",
        ),
    ] = False,
    take_back: Annotated[
        str | None,
        typer.Option(
            "--take-back", metavar="ORDER", help="Instead, take an accepted order out again."
        ),
    ] = None,
    xlsx: Annotated[
        Path | None,
        typer.Option("--xlsx", metavar="FILE", help="Write the lines as a workbook, too."),
    ] = None,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show what to buy, from whom, and the day to order it.

    For what the plan draws on new orders, for what is in no plan, for what is expected, and for a
    safety stock, less what is there and on order. Sizes cost the least; each line is to be ordered
    so early that 90 of 100 such deliveries come in time by the record of the supplier.
    """
    from fulfil.render.buying import buy_page, taken_back_page, write_lines
    from fulfil.usecases import buying as usecase
    from fulfil.usecases.new_purchases import take_back as take_back_order

    if not 0 < service < 1:
        raise typer.BadParameter(f"--service {service:g} is not above 0 and below 1, e.g. 0.95")
    budget_micro = None if budget is None else amount(budget, "--budget")
    if take_back is not None:
        if accept or xlsx is not None:
            raise typer.BadParameter("--take-back stands alone, without --accept or --xlsx")
        with open_database(context) as store:
            page = taken_back_page(take_back_order(store, take_back))
        show(page, json=json, csv=csv)
        return
    asked = usecase.Asked(months, service, budget_micro, part, supplier, seconds)
    with open_database(context) as store:
        found = usecase.buy(store, asked, number)
        if xlsx is not None:
            write_lines(xlsx, found)
        accepted = usecase.accept(store, found, every=every) if accept else None
    show(buy_page(found, accepted, every=every, file=xlsx), json=json, csv=csv)


def amount(text: str, option: str) -> int:
    """An amount of money as typed, in millionths. Raises BadParameter for what is none."""
    from fulfil_models.cells import CellError, parse_decimal

    try:
        found = parse_decimal(text.strip(), 6)
    except CellError as error:
        raise typer.BadParameter(f"{option} {text} {error.wrong}: {error.remedy}") from error
    if found < 0:
        raise typer.BadParameter(f"{option} {text} is below 0; give 0 or more")
    return found


def register(app: typer.Typer) -> None:
    commands: tuple[Callable[..., None], ...] = (
        leadtimes,
        cover,
        chase,
        ration,
        buy,
    )
    for command in commands:
        app.command()(command)

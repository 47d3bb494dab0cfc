"""Commands for sales that ask: builds, build, available."""

from __future__ import annotations

from typing import Annotated

import typer

from fulfil.commands.options import Csv, Every, Json, PlanNumber, open_database, show


def builds(
    context: typer.Context,
    late: Annotated[bool, typer.Option("--late", help="Only late ones, the latest first.")] = False,
    point: Annotated[
        str | None, typer.Option("--point", metavar="P", help="Only those assembled there.")
    ] = None,
    product: Annotated[
        str | None, typer.Option("--product", metavar="P", help="Only those of a product.")
    ] = None,
    customer: Annotated[
        str | None,
        typer.Option(
            "--customer", metavar="NAME", help="Only those for it; part of a name will do."
        ),
    ] = None,
    number: PlanNumber = None,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show when each build ships and what holds it up.

    Of each: promised and ship date, late days, lead time, and what holds it up first, with the
    days by which it could ship sooner without that.
    """
    from fulfil.render.builds import builds_page
    from fulfil.usecases import builds as usecase

    with open_database(context) as store:
        found = usecase.builds(
            store, number, late_only=late, point=point, product=product, customer=customer
        )
    show(builds_page(found, every=every), json=json, csv=csv)


def build(
    context: typer.Context,
    name: Annotated[str, typer.Argument(metavar="ID", help="The build.")],
    number: PlanNumber = None,
    json: Json = False,
) -> None:
    """Show when one build ships and why.

    What holds it up, by how many days, and what may be tried; its operations, where each part comes
    from, and the fit of alternates.
    """
    from fulfil.render.build import build_page
    from fulfil.usecases import builds as usecase

    with open_database(context) as store:
        found = usecase.build(store, name, number)
    show(build_page(found), json=json)


def available(
    context: typer.Context,
    part: Annotated[str, typer.Argument(metavar="PART", help="The part.")],
    point: Annotated[
        str | None,
        typer.Option("--point", metavar="P", help="This point alone; else all together."),
    ] = None,
    weeks: Annotated[
        int,
        typer.Option(
            "--weeks", metavar="N", min=1, max=520, help="Weeks to show; all are looked at."
        ),
    ] = 12,
    new_orders: Annotated[
        bool,
        typer.Option(
            "--new-orders", help="Count the plan's new orders, though nobody has placed them."
        ),
    ] = False,
    number: Annotated[
        int | None,
        typer.Option(
            "--plan", metavar="N", min=1, help="A plan by its number; else the accepted one."
        ),
    ] = None,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show how much of a part may be promised, week by week.

    Available to promise from stock, purchases on order and what is being made, less what builds and
    parts orders take when the accepted plan draws it (the newest plan, where none is accepted).
    """
    from fulfil.render.available import available_page
    from fulfil.usecases import available as usecase

    with open_database(context) as store:
        found = usecase.available(
            store, part, number, point=point, weeks=weeks, count_new_orders=new_orders
        )
    show(available_page(found), json=json, csv=csv)


def register(app: typer.Typer) -> None:
    for command in (builds, build, available):
        app.command()(command)

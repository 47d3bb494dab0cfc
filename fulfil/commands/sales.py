"""Commands for sales: builds, build."""

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

    Of each: promised and ship date, late days, lead time, and what holds it up most, with the days
    by which it could ship sooner without that.
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


def register(app: typer.Typer) -> None:
    for command in (builds, build):
        app.command()(command)

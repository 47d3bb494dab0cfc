"""Commands about bills: explode, where-used."""

from __future__ import annotations

from typing import Annotated

import typer

from fulfil.clock import today
from fulfil.commands.options import Csv, Every, Json, open_database, show


def explode(
    context: typer.Context,
    name: Annotated[str, typer.Argument(metavar="PART|BUILD", help="A part or a build.")],
    quantity: Annotated[
        str, typer.Option("--quantity", metavar="N", help="Units of a part; a build is one.")
    ] = "1",
    points: Annotated[
        bool, typer.Option("--points", help="Show the stock at every point.")
    ] = False,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show the indented bill of a part or of a build.

    With quantities, make or buy, and the stock at each point; of a build with its options, and
    the parts that the rules of its ship-to region commonly require.
    """
    from fulfil_models.cells import CellError, parse_decimal

    from fulfil.render.structure import explode_page
    from fulfil.usecases import structure

    try:
        units_milli = parse_decimal(quantity, 3)
    except CellError as error:
        raise typer.BadParameter(f"--quantity {quantity} {error.wrong}: {error.remedy}") from error
    if units_milli <= 0:
        raise typer.BadParameter(f"--quantity {quantity} is not above 0")
    with open_database(context) as store:
        tree = structure.explode(store, name, units_milli, today())
    show(explode_page(tree, every=every, points=points), json=json, csv=csv)


def where_used(
    context: typer.Context,
    part: Annotated[str, typer.Argument(metavar="PART", help="The part.")],
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Show where a part goes: parents, builds and parts orders."""
    from fulfil.render.structure import where_used_page
    from fulfil.usecases import structure

    with open_database(context) as store:
        found = structure.where_used(store, part, today())
    show(where_used_page(found, every=every), json=json, csv=csv)


def register(app: typer.Typer) -> None:
    app.command()(explode)
    app.command("where-used")(where_used)

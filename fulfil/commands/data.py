"""Commands that bring data in and out: template, check, load, export."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fulfil.clock import today
from fulfil.commands.options import Csv, Every, Json, open_database, program, show
from fulfil.errors import REFUSED, Failed

Source = Annotated[
    Path,
    typer.Argument(
        metavar="PATH",
        # what cannot be read is found like everything else that is wrong with the data
        readable=False,
        help="Folder of CSV files, or one .xlsx workbook.",
    ),
]


def template(
    directory: Annotated[
        Path,
        typer.Argument(
            metavar="DIR", readable=False, help="New folder, or new file that ends in .xlsx."
        ),
    ],
    xlsx: Annotated[
        bool, typer.Option("--xlsx", help="Write one workbook with a sheet for each table.")
    ] = False,
    json: Json = False,
) -> None:
    """Write empty tables to fill in.

    With headings, a descriptor and a page that explains each column.
    """
    from fulfil.render.data import template_page
    from fulfil.usecases import data

    show(template_page(data.template(directory, xlsx=xlsx)), json=json)


def check(
    context: typer.Context,
    path: Source,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Check a data set and change nothing.

    Every problem is shown in one go: its place, what is wrong, and what would mend it.
    """
    from fulfil.render.data import check_page
    from fulfil.usecases import data

    found = data.check(path, today())
    page = check_page(found, every=every, program=program(context))
    show(page, json=json, csv=csv)
    if not found.good:
        raise Failed(REFUSED)


def load(
    context: typer.Context,
    path: Source,
    every: Every = False,
    json: Json = False,
    csv: Csv = False,
) -> None:
    """Load a data set in the place of the last one.

    All of it or nothing: one error keeps the whole set out. Says what is not as it was stored.
    """
    from fulfil.render.data import load_page
    from fulfil.usecases import data

    with open_database(context, create=True) as store:
        found = data.load(store, path, today())
    page = load_page(found, every=every, program=program(context))
    show(page, json=json, csv=csv)
    if not found.loaded:
        raise Failed(REFUSED)


def export(
    context: typer.Context,
    path: Annotated[
        Path,
        typer.Argument(
            metavar="PATH", readable=False, help="Folder, or a file that ends in .xlsx."
        ),
    ],
    json: Json = False,
) -> None:
    """Write the stored data to a folder or a workbook.

    What is written can be loaded again and gives the same data.
    """
    from fulfil.render.data import export_page
    from fulfil.usecases import data

    with open_database(context) as store:
        found = data.export(store, path)
    show(export_page(found), json=json)


def register(app: typer.Typer) -> None:
    for command in (template, check, load, export):
        app.command()(command)

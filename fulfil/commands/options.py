"""Options that several commands share, and the way an answer reaches the screen."""

from __future__ import annotations

import os
import shlex
import shutil
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from fulfil.errors import Refused

if TYPE_CHECKING:
    from fulfil.render.page import Page
    from fulfil.store.session import Store


def _one_form(context: typer.Context, asked: bool) -> bool:
    """Refuses two forms at once before anything is done. Called for each form option."""
    if asked and (context.params.get("json") or context.params.get("csv")):
        raise typer.BadParameter("--json and --csv exclude each other")
    return asked


Json = Annotated[bool, typer.Option("--json", callback=_one_form, help="Print one JSON document.")]
Csv = Annotated[
    bool, typer.Option("--csv", callback=_one_form, help="Print CSV with a heading row.")
]
Every = Annotated[bool, typer.Option("--all", help="Show every row of a long list.")]
PlanNumber = Annotated[
    int | None,
    typer.Option("--plan", metavar="N", min=1, help="A plan by its number; else the newest."),
]
OnlySupplier = Annotated[
    str | None, typer.Option("--supplier", metavar="S", help="Only this supplier.")
]
OnlyPart = Annotated[str | None, typer.Option("--part", metavar="P", help="Only this part.")]
Months = Annotated[
    int, typer.Option("--months", metavar="N", min=1, max=36, help="Calendar months to look at.")
]

WIDTH = 100
WIDEST = 160


@dataclass(frozen=True, slots=True)
class Globals:
    """What stands before the command."""

    database: str | None
    """as given with --db; None where it was not"""

    @property
    def url(self) -> str | None:
        return self.database or os.environ.get("FULFIL_DB") or None


def open_database(context: typer.Context, *, create: bool = False) -> Store:
    """The store a command works on.

    Raises Refused where its file is not there and the command would not fill it: a question asked
    in the wrong folder must not leave an empty database behind.
    """
    from fulfil.store import open_store
    from fulfil.store.dialect import address_of

    path = address_of(context.obj.url).path
    if not create and path is not None and not path.exists():
        raise Refused(
            f"there is no database {path}",
            "load a data set with `fulfil load PATH`, see `fulfil demo`, or name the database "
            "with --db or FULFIL_DB",
        )
    return open_store(context.obj.url)


def program(context: typer.Context) -> str:
    """How to call the program on the same database in the next command.

    An address is not repeated: it may hold a password.
    """
    named: str | None = context.obj.database
    if named is None or "://" in named:
        return "fulfil"
    return f"fulfil --db {shlex.quote(named)}"


def width() -> int:
    """Columns to write in: those of the terminal within bounds, or 100 where there is none."""
    from fulfil.render.text import NARROWEST

    if sys.stdout is None or not sys.stdout.isatty():
        return WIDTH
    return max(NARROWEST, min(shutil.get_terminal_size((WIDTH, 24)).columns, WIDEST))


def show(page: Page, *, json: bool = False, csv: bool = False) -> None:
    """Prints an answer in the form asked for; what is no data goes to the error stream."""
    from fulfil.render.machine import csv_text, json_text
    from fulfil.render.text import paragraph

    if json:
        text = json_text(page.document(), indent=page.indent)
    elif csv:
        text = csv_text(page.headings, page.records())
    else:
        text = "\n".join(page.lines(width())) + "\n"
    typer.echo(text, nl=False)
    if sys.stdout is not None:
        sys.stdout.flush()
    for note in page.notes:
        typer.echo("\n".join(paragraph(f"note: {note}", width(), "  ")), err=True)

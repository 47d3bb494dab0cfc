"""The command that shows the program at work: demo."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from fulfil.clock import today
from fulfil.commands.options import Json
from fulfil.commands.planning import run_planning, show_outcome
from fulfil.errors import INTERRUPTED, REFUSED, Failed, Refused

if TYPE_CHECKING:
    from pathlib import Path

    from fulfil.store.session import Store

DATABASE = "demo.db"

NEXT = (
    ("builds --late", "what ships late, and why"),
    ("build {build}", "the one that is latest, from part to part"),
    ("shortages", "what runs out, and who waits for it"),
    ("queue --days 2", "what to start today and tomorrow"),
    ("orders", "from where parts orders ship"),
)


def demo(
    context: typer.Context,
    seconds: Annotated[
        float,
        typer.Option("--seconds", metavar="N", min=1, help="About how many seconds to search."),
    ] = 20.0,
    json: Json = False,
) -> None:
    """Load and plan an invented scenario.

    It goes into a database of its own: demo.db in the current folder, or that of --db.
    """
    from fulfil.demo import demo_folder
    from fulfil.render.data import load_page
    from fulfil.store import open_store
    from fulfil.usecases import data

    # only --db counts here: the database of FULFIL_DB may hold work that is in use
    database = context.obj.database or DATABASE
    folder = demo_folder()
    with open_store(database) as store:
        _refuse_other_data(store, folder)
        loaded = data.load(store, folder, today())
        if not loaded.loaded:
            typer.echo("\n".join(load_page(loaded, every=True).lines(100)), err=True)
            raise Failed(REFUSED)
        rows = sum(row.rows for row in loaded.check.tables)
        typer.echo(f"loaded the demo into {store.name} ({rows:,} rows), planning", err=True)
        sys.stderr.flush()
        outcome = run_planning(store, seconds=seconds, seed=0, repeatable=True)
        program = f"fulfil --db {database}"
        show_outcome(store, outcome, program=program, json=json, following=False)
    if not json:
        late = sorted(outcome.plan.builds, key=lambda row: (-row.late_days, row.build))
        typer.echo("\ntry next:")
        for words, meaning in NEXT:
            command = words.format(build=late[0].build if late else "ID")
            typer.echo(f"  {f'{program} {command}':<46}  {meaning}")
    if outcome.interrupted:
        raise Failed(INTERRUPTED)


def _refuse_other_data(store: Store, folder: Path) -> None:
    """Raises Refused where the database holds data that are not the demo's."""
    from fulfil.exchange import load_rows
    from fulfil.store import data_hash

    stored = store.data_hash()
    if stored is None:
        return
    dataset, _ = load_rows(folder, today())
    if dataset is None or data_hash(dataset) != stored:
        raise Refused(
            f"{store.name} holds other data, which the demo would replace",
            "name another database: fulfil --db FILE demo",
        )


def register(app: typer.Typer) -> None:
    app.command()(demo)

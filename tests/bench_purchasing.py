"""How soon purchasing is told what runs out and what to chase, on a book with months of forecast.

Each whole command beside a process that reads the rows of the same tables with pandas, and imports
what it needs for that.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from bench_promises import in_turn
from bench_results import CHECK_SECONDS, Measure, succeeded
from bench_runs import command, run

TIMES = 10
"""runs of each command, of which the median counts"""
MOST = 3.0
"""times as long as reading that a command may take"""
DATABASE = "fulfil.db"
READ = """\
import sqlite3, sys
import pandas, sqlalchemy
connection = sqlite3.connect(sys.argv[1])
frames = [pandas.read_sql(f"SELECT * FROM {name}", connection) for name in sys.argv[2:]]
"""
"""reads tables of a database, which is the first word; straight from it is the quickest way"""


def measure_purchasing(name: str, folder: Path) -> Iterator[Measure]:
    """How soon `cover` and `chase` answer in a folder with a plan that is worked by."""
    asked = run(command("cover", "--json"), folder, CHECK_SECONDS)
    part = succeeded(asked, "cover --json").document()["parts"][0]["part"]
    questions = (
        ("cover", ["cover"], cover_tables()),
        ("cover PART", ["cover", part], cover_tables()),
        ("chase", ["chase"], chase_tables()),
    )
    for what, words, tables in questions:
        taken, base = in_turn([command(*words)] * TIMES, folder, reading(DATABASE, tables))
        yield Measure(name, f"rows of {what} with pandas, median of {TIMES}", base, "s")
        yield Measure(name, f"{what}, median of {TIMES}", taken, "s")
        yield Measure(name, f"{what} / rows with pandas", taken / base, "ratio", MOST)


def reading(database: str, tables: Sequence[str]) -> list[str]:
    """A process that reads these tables with pandas."""
    return [sys.executable, "-c", READ, database, *tables]


def cover_tables() -> list[str]:
    from fulfil.usecases.cover import TABLES

    return [*TABLES, "quotes", *plan_tables()]


def chase_tables() -> list[str]:
    from fulfil.usecases.chasing import TABLES

    return [*TABLES, "quotes", *plan_tables()]


def plan_tables() -> list[str]:
    """Those of a plan, as it is stored."""
    from fulfil.store.plan_rows import BLOCKERS, PARTS, REASONS

    parts = (*PARTS.values(), REASONS, BLOCKERS)
    return ["plans", "plan_notes", *(part.table.name for part in parts)]

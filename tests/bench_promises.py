"""How soon promises are told, on a book that is loaded, planned and worked by.

The whole command beside the import of what it needs, one process that is asked again and again, and
the queue re-ordered.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from statistics import median
from typing import Any

from bench_books import firm
from bench_results import CHECK_SECONDS, Measure, succeeded
from bench_runs import command, environment, run
from fulfil_models.tables import Dataset

LIBRARIES = [sys.executable, "-c", "import pandas, sqlalchemy"]
QUESTIONS = 100
"""asked of one process"""
COMMANDS = 20
"""runs of a whole command, of which the median counts"""
REORDER_SECONDS = 20.0
PLANNED_SECONDS = 20
"""of the search for the plan that promises are told beside"""


@dataclass(frozen=True)
class Wanted:
    """A machine as somebody asks for it."""

    product: str
    point: str

    @property
    def words(self) -> list[str]:
        return ["promise", self.product, "--point", self.point]


@dataclass(frozen=True)
class Asked:
    """Milliseconds that questions took in one process.

    Attributes
    ----------
    first: of the first, which reads data and plan.
    others: of those after it, one each.
    """

    first: float
    others: tuple[float, ...]

    @property
    def median(self) -> float:
        return median(self.others)

    @property
    def worst(self) -> float:
        return max(self.others)


def measure_promises(name: str, book: Path, dataset: Dataset, folder: Path) -> Iterator[Measure]:
    """How soon promises are told, beside a plan of this book that is worked by."""
    seconds = PLANNED_SECONDS
    for words in (("load", str(book)), ("plan", "--seconds", f"{seconds:g}"), ("accept",)):
        succeeded(run(command(*words), folder, 3 * seconds + CHECK_SECONDS), words[0])
    wanted = machines(dataset, QUESTIONS)
    taken, base = in_turn(commands(wanted[:COMMANDS]), folder)
    yield Measure(name, f"import pandas, sqlalchemy, median of {COMMANDS}", base, "s")
    yield Measure(name, f"promise, median of {COMMANDS}", taken, "s")
    yield Measure(name, "promise / import", taken / base, "ratio", 2)
    told = ask_stored(wanted, folder / "fulfil.db")
    yield Measure(name, "first question of a process", told.first, "ms")
    yield Measure(name, f"{QUESTIONS} more, median", told.median, "ms", 100)
    yield Measure(name, f"{QUESTIONS} more, worst", told.worst, "ms", 100)
    ran = succeeded(run(reordering(wanted[0]), folder, CHECK_SECONDS), "promise --resequence")
    most = REORDER_SECONDS
    about: dict[str, Any] = {"mode": "resequence", "seconds": REORDER_SECONDS}
    yield Measure(name, "promise --resequence", ran.seconds, "s", most, **about)
    later = days_later(ran.document())
    yield Measure(name, "re-ordered, days later than plain", later, "days", 0, **about)


def machines(dataset: Dataset, count: int) -> list[Wanted]:
    """So many machines as they are ordered in a book, spread over all its products; again from the
    first where it has fewer."""
    points = {row.product: row.point for row in firm(dataset)}
    known = [Wanted(product, point) for product, point in sorted(points.items())]
    return [known[place % len(known)] for place in spread(len(known), count)]


def spread(there: int, count: int) -> list[int]:
    """So many places, evenly spread over those there are, or going on beyond them."""
    return [place * max(there, count) // count for place in range(count)]


def in_turn(
    commands: Iterable[Sequence[str]], folder: Path, base: Sequence[str] = LIBRARIES
) -> tuple[float, float]:
    """Median seconds of some commands, and of another that runs before each of them: so that both
    meet the same computer. Each must end well."""
    before, taken = [], []
    for words in commands:
        before.append(seconds_of(base, folder))
        taken.append(seconds_of(words, folder))
    return median(taken), median(before)


def seconds_of(words: Sequence[str], folder: Path) -> float:
    began = time.perf_counter()
    subprocess.run(words, cwd=folder, env=environment(), check=True, capture_output=True)
    return time.perf_counter() - began


def commands(wanted: Iterable[Wanted]) -> list[list[str]]:
    return [command(*row.words) for row in wanted]


def asked(wanted: Sequence[Wanted], ask: Callable[[Wanted], object]) -> Asked:
    """Times of questions one after the other; the first is asked twice, once to begin with."""

    def milliseconds(row: Wanted) -> float:
        began = time.perf_counter()
        ask(row)
        return (time.perf_counter() - began) * 1000

    return Asked(milliseconds(wanted[0]), tuple(milliseconds(row) for row in wanted))


def ask_stored(wanted: Sequence[Wanted], database: Path) -> Asked:
    """Questions to one process about the plan of a database."""
    from fulfil.store import open_store
    from fulfil.usecases.asking import ask_machine
    from fulfil.usecases.promise import Promises

    with open_store(str(database)) as store:
        promises = Promises(store)
        return asked(wanted, lambda row: promises.quote(ask_machine(row.product, row.point)))


def reordering(wanted: Wanted) -> list[str]:
    return command(*wanted.words, "--resequence", "--seconds", f"{REORDER_SECONDS:g}", "--json")


def days_later(answer: dict[str, Any]) -> int:
    """Days by which the date with the queue re-ordered is after the plain one; else 0 or below."""
    return (
        date.fromisoformat(answer["reordered"]["ships"]) - date.fromisoformat(answer["ships"])
    ).days

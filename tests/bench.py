"""Measure the program on order books and write what was measured to data/benchmarks/results.csv.

    python tests/bench.py [BOOK ...]

A BOOK is `demo`, a job shop of data/cases, the folder of a data set, or the name of a folder in
--folder (or the environment's BOOKS_DIR). Without any, all of these are measured. Every figure
comes from the program run as a user runs it, in a folder of its own; growth is measured on the
functions of the models, many questions to one process on the use case. data/benchmarks/README.md
explains the columns. The computer should have nothing else to do.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Any

from bench_ahead import prepare
from bench_books import firm, repeated, weeks_of_promises, widened
from bench_buying import measure_buying
from bench_promises import measure_promises
from bench_purchasing import measure_purchasing
from bench_results import (
    CHECK_SECONDS,
    MIB,
    RESULTS,
    ROOT,
    Measure,
    Results,
    Unmeasured,
    say,
    succeeded,
)
from bench_runs import best_of, command, run
from cases import SHOPS

MODES = ("repeatable", "best")

BEST_KNOWN = {"y060": (373_317, 1.01), "y200": (929_534, 1.03), "y700": (282_251, 1.03)}
"""cost of the best plan known of three order books that are kept elsewhere, and how much above it
a plan of 60 seconds may be"""
LARGE_BUILDS = 2_000
LARGE_SECONDS = 240
LARGE_WITHIN_SECONDS = 300

# ---- one book


def measure_load(name: str, book: Path, folder: Path) -> Iterator[Measure]:
    ran = succeeded(run(command("load", str(book)), folder, CHECK_SECONDS), "load")
    yield Measure(name, "load", ran.seconds, "s", 5 if name == "y700" else None)


def measure_plan(
    name: str, book: Path, folder: Path, mode: str, seconds: float, checker: Path | None
) -> Iterator[Measure]:
    """One plan: how long, how good, how large, and whether it is a plan."""
    words = command("plan", "--seconds", f"{seconds:g}", f"--{mode}", "--json")
    ran = succeeded(run(words, folder, 3 * seconds + CHECK_SECONDS), f"plan --{mode}")
    plan = ran.document()

    def measure(what: str, value: float, unit: str, most: float | None = None) -> Measure:
        return Measure(name, what, value, unit, most, mode, seconds)

    large = name.startswith("repeated")
    within = LARGE_WITHIN_SECONDS if large else 1.25 * seconds + 5
    yield measure("plan", ran.seconds, "s", within)
    first = ran.seen("first checked plan")
    if first is not None:
        yield measure("first checked plan", first, "s", None if large else 3)
    if ran.peak_bytes:
        yield measure("peak memory", ran.peak_bytes / MIB, "MiB", None if large else 1536)
    cost, gap = plan["objective"]["total"], plan["gap"]
    best = best_cost(name, seconds)
    yield measure("objective", cost, "currency", best)
    yield measure("bound", plan["bound"], "currency")
    yield measure("gap", gap, "share", wanted_gap(name, seconds))
    late = [row for row in plan["builds"] if row["promised"] and row["late_minutes"] > 0]
    yield measure("builds", len(plan["builds"]), "builds")
    yield measure("builds late", len(late), "builds")
    audit = run(command("audit", "--json"), folder, CHECK_SECONDS)
    yield measure("violations, own checker", len(audit.document()["violations"]), "rules", 0)
    if checker is not None:
        document = folder / f"{mode}.json"
        document.write_text(ran.out, encoding="utf-8")
        told = run([sys.executable, str(checker), str(book), str(document)], folder, CHECK_SECONDS)
        found = re.search(r"(\d+) violations", told.out)
        if found is None:
            raise Unmeasured(f"the external checker did not answer: {told.out}{told.err}")
        yield measure("violations, external checker", int(found[1]), "rules", 0)


def best_cost(name: str, seconds: float) -> float | None:
    """What a plan of a minute may cost; the published optimum, of a job shop."""
    for shop in SHOPS:
        if shop.folder == name:
            return float(shop.expected) + 1  # the last operation takes a minute
    if name in BEST_KNOWN and seconds == 60:
        known, factor = BEST_KNOWN[name]
        return known * factor
    return None


def wanted_gap(name: str, seconds: float) -> float | None:
    if name in {shop.folder for shop in SHOPS}:
        return 0
    return 0.025 if name in BEST_KNOWN and seconds == 60 else None


def measure_answers(name: str, folder: Path) -> Iterator[Measure]:
    """How soon commands answer beside what it takes to import the libraries they need."""
    libraries = [sys.executable, "-c", "import pandas, sqlalchemy"]
    typer = [sys.executable, "-c", "import typer"]
    base = best_of(libraries, folder)
    yield Measure(name, "import pandas, sqlalchemy", base, "s")
    for words in (("builds",), ("builds", "--late")):
        taken = best_of(command(*words), folder)
        yield Measure(name, " ".join(words), taken, "s")
        yield Measure(name, f"{' '.join(words)} / import", taken / base, "ratio", 2)
    base = best_of(typer, folder)
    yield Measure(name, "import typer", base, "s")
    taken = best_of(command("--version"), folder)
    yield Measure(name, "--version", taken, "s")
    yield Measure(name, "--version / import", taken / base, "ratio", 3)


# ---- growth


def measure_growth(name: str, book: Path) -> Iterator[Measure]:
    """Explosion and netting per row of bills, on a book and on one with ten times the rows."""
    from fulfil_models.book import Book
    from fulfil_models.explosion import total_needs
    from fulfil_models.problem import Problem
    from fulfil_models.settings import parse_settings

    once, today = read(book), this_day()
    settings = parse_settings(once.settings, today)
    per_row: dict[str, list[float]] = {"explosion": [], "netting": []}
    for times in (1, 10):
        dataset = widened(once, times)
        demand = {build.product: 1000 for build in firm(dataset)}
        rows = len(dataset.bills)
        for what in per_row:
            taken = []
            for _ in range(3):
                problem = Problem(dataset, settings)
                began = time.perf_counter()
                if what == "explosion":
                    total_needs(problem, demand)
                else:
                    Book(problem)
                taken.append(time.perf_counter() - began)
            seconds = min(taken)
            per_row[what].append(seconds / rows)
            yield Measure(name, f"{what} of {rows} bill rows", seconds, "s")
            yield Measure(name, f"{what} per bill row, x{times}", seconds / rows * 1e6, "us")
    for what, (one, ten) in per_row.items():
        yield Measure(name, f"{what} per row, x10 / x1", ten / one, "ratio", 2)


def read(book: Path) -> Any:
    """The data set of a folder; raises Unmeasured where it has errors."""
    from fulfil.exchange import load_rows

    dataset, findings = load_rows(book, this_day())
    if dataset is None:
        raise Unmeasured("\n".join(finding.text() for finding in findings))
    return dataset


def this_day() -> date:
    return datetime.now().astimezone().date()


def write_repeated(book: Path, folder: Path) -> str:
    """Writes a book of at least so many builds as a folder; its name."""
    from fulfil_models.settings import parse_settings

    from fulfil.exchange import write_folder

    dataset, today = read(book), this_day()
    as_of = parse_settings(dataset.settings, today).as_of
    times = -(-LARGE_BUILDS // len(firm(dataset)))
    large = repeated(dataset, times, weeks_of_promises(dataset, as_of), today)
    write_folder(large, folder)
    return f"repeated {book.name}"


# ---- all of it


def find_books(names: list[str], folder: Path | None) -> dict[str, Path]:
    """Folders by name; all that are known where none are named."""
    known = {"demo": ROOT / "data" / "demo", **{shop.folder: shop.path for shop in SHOPS}}
    if folder is not None:
        known |= {path.parent.name: path.parent for path in sorted(folder.glob("*/builds.csv"))}
    if not names:
        return known
    books = {}
    for name in names:
        path = known.get(name, Path(name))
        if not (path / "builds.csv").is_file():
            raise SystemExit(f"{name} is neither one of {', '.join(known)} nor a folder of tables")
        books[path.name] = path.resolve()
    return books


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("books", nargs="*", metavar="BOOK")
    parser.add_argument("--folder", type=Path, default=os.environ.get("BOOKS_DIR") or None)
    parser.add_argument("--checker", type=Path, default=os.environ.get("CHECKER") or None)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--modes", nargs="+", choices=MODES, default=MODES)
    parser.add_argument(
        "--large", metavar="BOOK", help="repeat this book to 2,000 builds, and plan"
    )
    parser.add_argument("--promises", metavar="BOOK", help="time promises on this book")
    parser.add_argument("--ahead", metavar="BOOK", help="time purchasing ahead on this book, grown")
    parser.add_argument("--large-seconds", type=float, default=LARGE_SECONDS)
    parser.add_argument("--results", type=Path, default=RESULTS)
    asked = parser.parse_args()
    for name in ("folder", "checker"):
        path = getattr(asked, name)
        setattr(asked, name, None if path is None else path.resolve())
    return asked


def measure_book(name: str, book: Path, asked: argparse.Namespace, results: Results) -> None:
    with tempfile.TemporaryDirectory(prefix="fulfil-bench-") as path:
        folder = Path(path)
        results.add(measure_load(name, book, folder))
        for mode in asked.modes:
            results.add(measure_plan(name, book, folder, mode, asked.seconds, asked.checker))
        results.add(measure_answers(name, folder))
    if name not in {shop.folder for shop in SHOPS}:
        results.add(measure_growth(name, book))


def measure_large(book: Path, asked: argparse.Namespace, results: Results) -> None:
    with tempfile.TemporaryDirectory(prefix="fulfil-bench-") as path:
        folder, large = Path(path), Path(path) / "book"
        name = write_repeated(book, large)
        results.add(measure_load(name, large, folder))
        seconds = asked.large_seconds
        results.add(measure_plan(name, large, folder, "repeatable", seconds, asked.checker))


def measure_answering(name: str, book: Path, results: Results) -> None:
    with tempfile.TemporaryDirectory(prefix="fulfil-bench-") as path:
        results.add(measure_promises(name, book, read(book), Path(path)))


def measure_ahead(name: str, book: Path, results: Results) -> None:
    """What purchasing asks months ahead, on a book with a forecast and many parts to buy."""
    with tempfile.TemporaryDirectory(prefix="fulfil-bench-") as path:
        folder = Path(path)
        prepare(read(book), folder)
        results.add(measure_purchasing(f"grown {name}", folder))
        results.add(measure_buying(f"grown {name}", folder))


def main() -> None:
    asked = arguments()
    alone = asked.promises or asked.ahead
    books = find_books(asked.books, asked.folder) if asked.books or not alone else {}
    largest = None if asked.books or alone else max(books, key=lambda b: lines(books[b]))
    large, promises = asked.large or largest, asked.promises or largest
    ahead = asked.ahead or largest
    results = Results(asked.results)
    failed = []
    for name, book in books.items():
        try:
            measure_book(name, book, asked, results)
        except Unmeasured as error:
            failed.append(f"{name}: {error}")
    if promises is not None:
        try:
            measure_answering(*find_books([promises], asked.folder).popitem(), results)
        except Unmeasured as error:
            failed.append(f"{promises}, promises: {error}")
    if ahead is not None:
        try:
            measure_ahead(*find_books([ahead], asked.folder).popitem(), results)
        except Unmeasured as error:
            failed.append(f"{ahead}, purchasing ahead: {error}")
    if large is not None:
        try:
            measure_large(find_books([large], asked.folder).popitem()[1], asked, results)
        except Unmeasured as error:
            failed.append(f"{large} repeated: {error}")
    say(f"\n{results.missed} targets missed, {len(failed)} books not measured to the end")
    for text in failed:
        say(text)
    sys.exit(1 if failed else 0)


def lines(book: Path) -> int:
    return (book / "builds.csv").read_bytes().count(b"\n")


if __name__ == "__main__":
    main()

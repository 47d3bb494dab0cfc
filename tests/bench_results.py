"""What was measured: figures, and the file that they are written to, a row each."""

from __future__ import annotations

import csv
import os
import platform
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from importlib import metadata
from pathlib import Path
from typing import Any

from bench_runs import Ran, memory_of_computer, processor

ROOT = Path(__file__).resolve().parents[1]
RESULTS = ROOT / "data" / "benchmarks" / "results.csv"
CHECK_SECONDS = 600
MIB = 1024 * 1024

COLUMNS = (
    "date",
    "cores",
    "machine",
    "python",
    "fulfil",
    "ortools",
    "numpy",
    "book",
    "mode",
    "seconds",
    "measure",
    "value",
    "unit",
    "target",
    "passed",
)


@dataclass(frozen=True)
class Measure:
    """One figure. `most` is the target: the value may be no more than it; None for no target."""

    book: str
    name: str
    value: float
    unit: str
    most: float | None = None
    mode: str = ""
    seconds: float | None = None
    """what the plan was asked to take"""


class Unmeasured(Exception):
    """Why something could not be measured; nothing is written for it."""


class Results:
    """Appends measures to the file as they come, and shows them."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.missed = 0
        self.common = {
            "date": datetime.now().astimezone().date().isoformat(),
            "cores": os.cpu_count(),
            "machine": f"{processor()}, {memory_of_computer() / MIB / 1024:.0f} GiB",
            "python": platform.python_version(),
            **{name: metadata.version(name) for name in ("fulfil", "ortools", "numpy")},
        }

    def add(self, measures: Iterable[Measure]) -> None:
        for measure in measures:
            passed = "" if measure.most is None else "no"
            if measure.most is not None and measure.value <= measure.most:
                passed = "yes"
            self.missed += passed == "no"
            row = {
                **self.common,
                "book": measure.book,
                "mode": measure.mode,
                "seconds": "" if measure.seconds is None else f"{measure.seconds:g}",
                "measure": measure.name,
                "value": _figure(measure.value),
                "unit": measure.unit,
                "target": "" if measure.most is None else f"<= {_figure(measure.most)}",
                "passed": passed,
            }
            self._append(row)
            say(
                f"{measure.book:<12} {measure.mode:<10} {measure.name:<36} "
                f"{row['value']:>12} {measure.unit:<10} {row['target']:<14} {passed}"
            )

    def _append(self, row: dict[str, Any]) -> None:
        new = not self.path.exists()
        self.path.parent.mkdir(parents=True, exist_ok=True)
        with self.path.open("a", encoding="utf-8", newline="") as handle:
            writer = csv.DictWriter(handle, COLUMNS, lineterminator="\n")
            if new:
                writer.writeheader()
            writer.writerow(row)


def _figure(value: float) -> str:
    """Six significant digits, and whole numbers in full."""
    return str(int(value)) if value == int(value) else f"{value:.6g}"


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def succeeded(ran: Ran, what: str) -> Ran:
    """The run itself; raises Unmeasured where the program did not end well."""
    if ran.code != 0:
        raise Unmeasured(f"{what} ended with exit code {ran.code}: {ran.err[-2_000:].strip()}")
    return ran

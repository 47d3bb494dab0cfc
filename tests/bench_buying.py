"""How long `buy` takes and how near to the least cost it is, with and without a limit of cash.

On a book with months of forecast. Limits are shares of what is paid in the month in which most is,
where there is no limit.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from bench_ahead import MONTHS
from bench_results import CHECK_SECONDS, Measure, Unmeasured, succeeded
from bench_runs import Ran, command, run

SHARES = (75, 50)
"""limits, in hundredths of the month in which most is paid"""
MOST_SECONDS, MOST_GAP = 60.0, 0.01


def measure_buying(name: str, folder: Path) -> Iterator[Measure]:
    """Seconds and gap of `buy` in a folder with a plan that is worked by."""
    free = bought(folder)
    yield from measured(name, "buy", free)
    most = busiest(free.document())
    for share in SHARES:
        limited = bought(folder, "--budget", f"{most * share / 100:.2f}")
        yield from measured(name, f"buy, {share} % of the cash", limited)


def bought(folder: Path, *words: str) -> Ran:
    asked = command("buy", "--months", str(MONTHS), "--json", *words)
    return succeeded(run(asked, folder, CHECK_SECONDS), "buy")


def measured(name: str, what: str, ran: Ran) -> Iterator[Measure]:
    yield Measure(name, what, ran.seconds, "s", MOST_SECONDS)
    yield Measure(name, f"{what}, gap", ran.document()["gap"], "share", MOST_GAP)


def busiest(answer: Mapping[str, Any]) -> float:
    """What is paid for lines due in the month in which most is, without placing them.

    Raises Unmeasured where nothing is to be paid.
    """
    paid: Counter[str] = Counter()
    for line in answer["lines"]:
        paid[line["due_on"][:7]] += (line["cost"] or 0) + line["expedite_cost"]
    most = max(paid.values(), default=0)
    if not most:
        raise Unmeasured("nothing is to be bought")
    return most

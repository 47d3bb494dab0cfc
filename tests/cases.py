"""The worked cases in data/cases: which folder, what must come out, and who says so.

"From memory" marks a source that was not read again; its figure is recomputed in test_cases.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

CASES = Path(__file__).parents[1] / "data" / "cases"


@dataclass(frozen=True)
class Case:
    """A folder of data/cases and the published figure of the best answer."""

    folder: str
    expected: Fraction
    source: str

    @property
    def path(self) -> Path:
        return CASES / self.folder


def _case(folder: str, expected: str, source: str) -> Case:
    return Case(folder, Fraction(expected), source)


SHOPS = (
    _case("ft06", "55", "Fisher & Thompson 1963"),
    _case("la01", "666", "Lawrence 1984"),
    _case("la02", "655", "Lawrence 1984"),
)
"""job shops: the least makespan in minutes. The best plan is one minute later (the last operation):
its weighted late minutes, and its cost, are the makespan + 1."""

TRANSPORTS = (
    _case("transport-dantzig", "153.675", "Dantzig 1963, from memory"),
    _case("transport-power", "1020", "Winston, power plants and cities, from memory"),
    _case("transport-canneries", "152535", "Hillier & Lieberman, canneries and warehouses"),
    _case("transport-mills", "435", "Taha, silos and mills, from memory"),
    _case("transport-generators", "39500", "textbook, plants and centres, from memory"),
    _case("transport-warehouses", "8600", "PuLP manual, two warehouses, from memory"),
    _case("transport-desks", "3900", "textbook, furniture maker, from memory"),
)
"""transportation problems as parts orders: the least cost of deliveries"""

TOTALS = {
    "gozinto": {
        "A": 300,
        "B": 200,
        "C": 250,
        "D": 300,
        "E": 300,
        "F": 200,
        "G": 250,
        "H": 250,
        "I": 600,
        "J": 2250,
        "K": 1100,
    },
    "four-levels": {"Z": 59, "A": 118, "B": 177, "C": 472, "D": 472, "E": 944},
    "low-level-codes": {"A": 30, "B": 120, "C": 30, "D": 180, "E": 300, "F": 300},
}
"""total requirements of one TOP. gozinto: Vázsonyi 1958, from memory; the other two: textbook
examples, the first from memory, recomputed"""

LOW_LEVEL_CODES = {"A": 0, "C": 1, "B": 2, "D": 3, "E": 3, "F": 4}
"""of low-level-codes, with A at the top (in the data set TOP is above it)"""

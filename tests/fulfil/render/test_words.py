"""Figures, days and blockers in words."""

from __future__ import annotations

from datetime import date, datetime
from fractions import Fraction

import pytest
from fulfil_models.plan import Blocker, BlockerKind

from fulfil.render import words


@pytest.mark.parametrize(
    ("milli", "text"),
    [(1000, "1 ea"), (1500, "1.5 ea"), (1, "0.001 ea"), (-2250, "-2.25 ea"), (0, "0 ea")],
)
def test_quantities_are_exact(milli: int, text: str) -> None:
    assert words.quantity(milli, "ea") == text


@pytest.mark.parametrize(
    ("amount", "text"),
    [
        (1_234_567_890_000, "1,234,567.89"),
        (Fraction(1, 3), "0.33"),
        (Fraction(2, 3), "0.67"),
        (Fraction(-5, 4), "-1.25"),
        (Fraction(0), "0.00"),
    ],
)
def test_money_to_two_places(amount: Fraction | int, text: str) -> None:
    assert words.money(amount) == text


def test_days_have_their_unit() -> None:
    assert [words.days(n) for n in (0, 1, -1, 2)] == ["0 days", "1 day", "-1 day", "2 days"]
    assert words.day(None) == "-"
    assert words.day(date(2026, 3, 2)) == "2026-03-02"
    assert words.day(datetime(2026, 3, 2, 8, 5)) == "2026-03-02 08:05"


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        (BlockerKind.PART, "part X until 2026-03-05 (3 days)"),
        (BlockerKind.WORK_CENTRE, "queue at X until 2026-03-05 (3 days)"),
        (BlockerKind.EARLIEST, "no start before 2026-03-05 (3 days)"),
        (BlockerKind.WORK, "its own work (3 days)"),
    ],
)
def test_blockers(kind: BlockerKind, text: str) -> None:
    row = Blocker(kind, "X", datetime(2026, 3, 5, 8), 3, "why")
    assert words.blocker(row) == text


def test_many_names() -> None:
    assert words.listed(["A", "B", "C", "D", "E"], 3) == "A, B, C and 2 more"
    assert words.listed(["A", "B"], 3) == "A, B"
